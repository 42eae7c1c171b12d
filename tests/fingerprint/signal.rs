//! A voice-like signal that is bit-identical on every machine: only sums and products.

use voicechain_tests::spectra::Noise;

/// Cosine and sine of a small angle by their series, without a library function.
fn turn(angle: f64) -> [f64; 2] {
    let square = angle * angle;
    let (mut cos, mut sin, mut term) = (1.0, angle, 1.0);
    for k in 1..12 {
        let k = f64::from(k);
        term *= -square / ((2.0 * k - 1.0) * (2.0 * k));
        cos += term;
        sin += angle * term / (2.0 * k + 1.0);
    }
    [cos, sin]
}

/// Oscillator of constant frequency.
struct Tone {
    at: [f64; 2],
    step: [f64; 2],
}

impl Tone {
    fn new(hz: f64, rate_hz: f64) -> Self {
        Self { at: [1.0, 0.0], step: turn(2.0 * std::f64::consts::PI * hz / rate_hz) }
    }

    fn next(&mut self) -> f64 {
        let ([c, s], [a, b]) = (self.at, self.step);
        // One Newton step keeps the radius at 1.
        let (re, im) = (c * a - s * b, c * b + s * a);
        let scale = 1.5 - 0.5 * (re * re + im * im);
        self.at = [re * scale, im * scale];
        self.at[1]
    }
}

/// Syllables of harmonics and fricatives, pauses, loud phrases, hum, noise and a few echoes; the channels differ.
pub(crate) fn voice<const C: usize>(seconds: f64, rate_hz: f64, seed: u64) -> Vec<[f32; C]> {
    let count = (seconds * rate_hz) as usize;
    let mut noise = Noise::new(seed);
    let mut harmonics: Vec<Tone> = (1..=24)
        .map(|k| 117.0 * f64::from(k))
        .filter(|hz| *hz < 0.4 * rate_hz)
        .map(|hz| Tone::new(hz, rate_hz))
        .collect();
    let mut hum: Vec<Tone> = [50.13, 150.39, 250.65].iter().map(|&hz| Tone::new(hz, rate_hz)).collect();
    let mut syllable = Tone::new(3.7, rate_hz);
    let echo = (0.031 * rate_hz) as usize;
    let mut dry = vec![0.0; count];
    let mut out = Vec::with_capacity(count);
    let mut last = 0.0;
    for n in 0..count {
        let time = n as f64 / rate_hz;
        let rhythm = syllable.next();
        let speaks = (time * 0.8).fract() < 0.72;
        let loud = if (time * 0.4).fract() > 0.6 { 0.42 } else { 0.11 };
        let envelope = if speaks && rhythm > -0.4 { loud * (rhythm + 0.4) } else { 0.0 };
        let voiced: f64 = harmonics.iter_mut().enumerate().map(|(k, tone)| tone.next() / (1.0 + 0.4 * k as f64)).sum();
        let white = noise.sample();
        let hiss = white - last;
        last = white;
        let fricative = if speaks && rhythm < -0.3 { 0.09 * hiss } else { 0.0 };
        dry[n] = envelope * 0.35 * voiced + fricative;
        let late: f64 = (1..6).filter(|k| n >= k * echo).map(|k| dry[n - k * echo] * 0.3 / (k * k) as f64).sum();
        let mains: f64 = hum.iter_mut().map(|tone| 0.004 * tone.next()).sum();
        let mono = dry[n] + late + mains;
        out.push(std::array::from_fn(|c| (mono * (1.0 - 0.3 * c as f64) + 0.0006 * noise.sample()) as f32));
    }
    out
}
