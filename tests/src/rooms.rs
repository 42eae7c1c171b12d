//! Rooms of known decay: impulse responses by the image method, and what is measured on them.

use std::f64::consts::PI;

/// Speed of sound in metres per second, air of 20 °C.
const SPEED: f64 = 343.0;
/// Half the length, in samples, of the windowed sinc that places an arrival between samples.
const REACH: i64 = 16;

/// A rectangular room whose walls all reflect alike.
#[derive(Clone, Copy, Debug)]
pub struct Room {
    /// Length, width and height in metres.
    pub size: [f64; 3],
    /// Share of the pressure that each wall reflects, 0 to below 1.
    pub reflection: f64,
    /// Place of the voice, metres from one corner.
    pub voice: [f64; 3],
    /// Place of the microphone, metres from the same corner.
    pub microphone: [f64; 3],
}

impl Room {
    /// The first `seconds` of the impulse response (Allen & Berkley, "Image method for efficiently simulating small-room
    /// acoustics", J. Acoust. Soc. Am. 65(4):943-950, 1979): each image of the voice arrives after distance / 343 m/s with
    /// `reflection^bounces / distance`; then their high-pass, because images that all have one sign add up to a sound of no
    /// frequency that no room has. Without it the decay reads up to a third longer, and noise that is set against the whole
    /// level lies 10 dB too high under the voice.
    pub fn impulse_response(&self, rate_hz: f64, seconds: f64) -> Vec<f64> {
        let length = (rate_hz * seconds).ceil() as usize;
        let farthest = seconds * SPEED;
        let mut response = vec![0.0; length];
        // Along each axis: distance to every image within reach, and how often its path met a wall.
        let axes: [Vec<(f64, i32)>; 3] = std::array::from_fn(|axis| {
            let most = (farthest / (2.0 * self.size[axis])).ceil() as i32 + 1;
            (-most..=most)
                .flat_map(|n| [(n, 0), (n, 1)])
                .map(|(n, mirrored)| {
                    let sign = f64::from(1 - 2 * mirrored);
                    let at = sign * self.voice[axis] + 2.0 * f64::from(n) * self.size[axis];
                    (at - self.microphone[axis], (n - mirrored).abs() + n.abs())
                })
                .collect()
        });
        for &(x, bounces_x) in &axes[0] {
            for &(y, bounces_y) in &axes[1] {
                for &(z, bounces_z) in &axes[2] {
                    let distance = (x * x + y * y + z * z).sqrt();
                    let gain = self.reflection.powi(bounces_x + bounces_y + bounces_z) / distance;
                    if distance < farthest && gain != 0.0 {
                        arrive(&mut response, distance / SPEED * rate_hz, gain);
                    }
                }
            }
        }
        high_pass(&mut response, rate_hz);
        response
    }
}

/// The high-pass of Allen & Berkley 1979 (from memory): two poles at 100 Hz, a zero at 0 Hz.
fn high_pass(response: &mut [f64], rate_hz: f64) {
    let turn = 2.0 * PI * 100.0 / rate_hz;
    let r = (-turn).exp();
    let (mut last, mut before) = (0.0, 0.0);
    for x in response {
        let next = *x + 2.0 * r * turn.cos() * last - r * r * before;
        *x = next - (1.0 + r) * last + r * before;
        (before, last) = (last, next);
    }
}

/// Adds one arrival at a place between samples: a sinc under a raised cosine.
fn arrive(response: &mut [f64], at: f64, gain: f64) {
    let nearest = at.round() as i64;
    for index in nearest - REACH + 1..nearest + REACH {
        let away = index as f64 - at;
        let sinc = if away.abs() < 1e-9 { 1.0 } else { (PI * away).sin() / (PI * away) };
        let window = 0.5 + 0.5 * (PI * away / REACH as f64).cos();
        if let Some(sample) = usize::try_from(index).ok().and_then(|index| response.get_mut(index)) {
            *sample += gain * sinc * window;
        }
    }
}

/// T20 in seconds: three times the time from -5 to -25 dB of the energy still to come (Schroeder's backward
/// integration), by least squares; `None` when the response ends before it has fallen so far.
pub fn decay_time(response: &[f64], rate_hz: f64) -> Option<f64> {
    let mut left: Vec<f64> = response
        .iter()
        .rev()
        .scan(0.0, |sum, x| {
            *sum += x * x;
            Some(*sum)
        })
        .collect();
    left.reverse();
    let whole = *left.first().filter(|whole| **whole > 0.0)?;
    let levels: Vec<f64> = left.iter().map(|left| 10.0 * (left / whole).log10()).collect();
    let from = levels.iter().position(|level| *level <= -5.0)?;
    let to = levels.iter().position(|level| *level <= -25.0)?;
    let count = (to - from) as f64;
    if count < 2.0 || to + 1 >= levels.len() {
        return None;
    }
    let (middle, mean) = ((count - 1.0) / 2.0, levels[from..to].iter().sum::<f64>() / count);
    let (mut across, mut along) = (0.0, 0.0);
    for (index, level) in levels[from..to].iter().enumerate() {
        across += (index as f64 - middle) * (level - mean);
        along += (index as f64 - middle).powi(2);
    }
    Some(-60.0 * along / across / rate_hz)
}

#[cfg(test)]
mod tests {
    use super::*;

    const ROOM: Room =
        Room { size: [4.0, 3.0, 2.5], reflection: 0.0, voice: [1.0, 1.0, 1.2], microphone: [2.0, 1.0, 1.2] };

    #[test]
    fn without_reflections_one_arrival_comes_after_the_distance() {
        let response = ROOM.impulse_response(34_300.0, 0.02);
        // One metre at 343 m/s and 34.3 kHz is 100 samples. The high-pass leaves its poles behind it: at most 1 - r,
        // the 0.018 by which exp(-2 pi 100 / 34 300) falls short of one.
        assert!((response[100] - 1.0).abs() < 1e-6);
        assert!(response[..100].iter().all(|x| x.abs() < 1e-6));
        assert!(response[101..].iter().all(|x| x.abs() < 0.0185));
    }

    #[test]
    fn what_has_no_frequency_stays_out() {
        let response = Room { reflection: 0.9, ..ROOM }.impulse_response(34_300.0, 0.5);
        let power = |hz: f64| {
            let [re, im] = [f64::cos, f64::sin].map(|wave| {
                let turn = 2.0 * PI * hz / 34_300.0;
                response.iter().enumerate().map(|(n, x)| x * wave(turn * n as f64)).sum::<f64>()
            });
            re * re + im * im
        };
        // Arrivals of one sign add up: without the high-pass what has no frequency is far over the voice's.
        let voice = (0..40).map(|k| power(500.0 + 50.0 * f64::from(k))).sum::<f64>() / 40.0;
        assert!(power(0.0) < 1e-3 * voice, "{} of {voice}", power(0.0));
    }

    #[test]
    fn the_first_reflection_comes_from_the_nearest_wall_as_strong_as_said() {
        let dry = ROOM.impulse_response(34_300.0, 0.0075);
        let wet = Room { reflection: 0.5, ..ROOM }.impulse_response(34_300.0, 0.0075);
        // The wall 1 m to the side: sqrt(1 + 2^2) = 2.236 m, 223.6 samples; nothing reflected before it.
        assert!((0..200).all(|index| (dry[index] - wet[index]).abs() < 1e-3));
        assert!(wet[220..228].iter().any(|x| x.abs() > 0.1));
    }

    #[test]
    fn an_exponential_decay_is_read_as_its_own_decay_time() {
        for seconds in [0.2, 0.5, 1.2] {
            let decay: Vec<f64> = (0..16_000).map(|n| 10f64.powf(-3.0 * f64::from(n) / 8000.0 / seconds)).collect();
            let read = decay_time(&decay, 8000.0).unwrap();
            assert!((read / seconds - 1.0).abs() < 0.02, "{seconds} s read as {read} s");
        }
        assert!(decay_time(&[0.0; 100], 8000.0).is_none());
    }
}
