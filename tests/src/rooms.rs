//! Simulated rooms of known decay: impulse responses by the image method, and their decay time.

use std::f64::consts::PI;

/// Speed of sound in air at 20 °C, m/s.
const SPEED_OF_SOUND: f64 = 343.0;
/// Half the length, in samples, of the windowed sinc that places an arrival between two samples.
const SINC_HALF_LENGTH: i64 = 16;

/// A rectangular room whose walls all have the same reflection coefficient.
#[derive(Clone, Copy, Debug)]
pub struct Room {
    /// Length, width and height, m.
    pub size: [f64; 3],
    /// Pressure reflection coefficient of every wall, 0 to below 1.
    pub reflection: f64,
    /// Position of the voice, m from one corner.
    pub voice: [f64; 3],
    /// Position of the microphone, m from the same corner.
    pub microphone: [f64; 3],
}

impl Room {
    /// The first `seconds` of the impulse response (Allen & Berkley, "Image method for efficiently simulating
    /// small-room acoustics", J. Acoust. Soc. Am. 65(4):943-950, 1979).
    ///
    /// Each image of the voice arrives after distance / 343 m/s with gain `reflection^bounces / distance`. Then comes
    /// the high-pass of the paper: all images have the same sign, so without it they add up to energy near 0 Hz that no
    /// real room has. The decay time would then read up to a third too long, and noise mixed relative to the whole
    /// level would lie 10 dB too high relative to the voice.
    pub fn impulse_response(&self, rate_hz: f64, seconds: f64) -> Vec<f64> {
        let length = (rate_hz * seconds).ceil() as usize;
        let farthest = seconds * SPEED_OF_SOUND;
        let mut response = vec![0.0; length];
        // Along each axis: distance to every image in range, and the number of wall reflections on its path.
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
                        arrive(&mut response, distance / SPEED_OF_SOUND * rate_hz, gain);
                    }
                }
            }
        }
        high_pass(&mut response, rate_hz);
        response
    }
}

/// High-pass of Allen & Berkley 1979 (from memory): two poles at 100 Hz, two zeros, one of them at 0 Hz.
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

/// Adds one arrival at a fractional sample position: a sinc under a raised-cosine window.
fn arrive(response: &mut [f64], at: f64, gain: f64) {
    let nearest = at.round() as i64;
    for index in nearest - SINC_HALF_LENGTH + 1..nearest + SINC_HALF_LENGTH {
        let away = index as f64 - at;
        let sinc = if away.abs() < 1e-9 { 1.0 } else { (PI * away).sin() / (PI * away) };
        let window = 0.5 + 0.5 * (PI * away / SINC_HALF_LENGTH as f64).cos();
        if let Some(sample) = usize::try_from(index).ok().and_then(|index| response.get_mut(index)) {
            *sample += gain * sinc * window;
        }
    }
}

/// T20, s: three times the time from -5 to -25 dB of the energy decay curve (Schroeder's backward integration), by
/// least squares. `None` if the response ends before -25 dB.
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
    fn without_reflections_the_response_is_one_delayed_impulse() {
        let response = ROOM.impulse_response(34_300.0, 0.02);
        // One metre at 343 m/s and 34.3 kHz is 100 samples. After it comes the tail of the high-pass, at most 1 - r =
        // 0.018 with r = exp(-2 pi 100 / 34 300).
        assert!((response[100] - 1.0).abs() < 1e-6);
        assert!(response[..100].iter().all(|x| x.abs() < 1e-6));
        assert!(response[101..].iter().all(|x| x.abs() < 0.0185));
    }

    #[test]
    fn the_response_has_no_energy_at_0_hz() {
        let response = Room { reflection: 0.9, ..ROOM }.impulse_response(34_300.0, 0.5);
        let power = |hz: f64| {
            let [re, im] = [f64::cos, f64::sin].map(|wave| {
                let turn = 2.0 * PI * hz / 34_300.0;
                response.iter().enumerate().map(|(n, x)| x * wave(turn * n as f64)).sum::<f64>()
            });
            re * re + im * im
        };
        // All arrivals have the same sign: without the high-pass, the energy at 0 Hz is far above the band of the
        // voice.
        let voice = (0..40).map(|k| power(500.0 + 50.0 * f64::from(k))).sum::<f64>() / 40.0;
        assert!(power(0.0) < 1e-3 * voice, "{} of {voice}", power(0.0));
    }

    #[test]
    fn the_first_reflection_arrives_from_the_nearest_wall() {
        let dry = ROOM.impulse_response(34_300.0, 0.0075);
        let wet = Room { reflection: 0.5, ..ROOM }.impulse_response(34_300.0, 0.0075);
        // First reflection: the wall 1 m to the side, path sqrt(1 + 2^2) = 2.236 m, 223.6 samples.
        assert!((0..200).all(|index| (dry[index] - wet[index]).abs() < 1e-3));
        assert!(wet[220..228].iter().any(|x| x.abs() > 0.1));
    }

    #[test]
    fn decay_time_of_an_exponential_decay_is_within_2_percent() {
        for seconds in [0.2, 0.5, 1.2] {
            let decay: Vec<f64> = (0..16_000).map(|n| 10f64.powf(-3.0 * f64::from(n) / 8000.0 / seconds)).collect();
            let read = decay_time(&decay, 8000.0).unwrap();
            assert!((read / seconds - 1.0).abs() < 0.02, "{seconds} s read as {read} s");
        }
        assert!(decay_time(&[0.0; 100], 8000.0).is_none());
    }
}
