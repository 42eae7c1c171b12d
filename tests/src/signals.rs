//! Test signals for stages and strip: deterministic, in double precision, rounded to single precision once.

use crate::spectra::Noise;
use std::f64::consts::TAU;

/// `10^(db/20)`.
#[must_use]
pub fn gain(db: f64) -> f64 {
    10f64.powf(db / 20.0)
}

/// `20 log10(gain)`.
#[must_use]
pub fn db(gain: f64) -> f64 {
    20.0 * gain.log10()
}

/// Root-mean-square level, dBFS (0 dBFS is a square wave at full scale).
#[must_use]
pub fn rms_db(signal: &[f64]) -> f64 {
    10.0 * (signal.iter().map(|x| x * x).sum::<f64>() / signal.len() as f64).log10()
}

/// Sine; its level is the peak, dBFS.
#[must_use]
pub fn sine(hz: f64, level_db: f64, rate_hz: f64, samples: usize) -> Vec<f64> {
    (0..samples).map(|n| gain(level_db) * (TAU * (hz * n as f64 / rate_hz).fract()).sin()).collect()
}

/// The sequence `+A, -A, +A ...`: every sample has the same magnitude, so a detector of `|x|` reads a steady level.
#[must_use]
pub fn alternating(level_db: f64, samples: usize) -> Vec<f64> {
    (0..samples).map(|n| if n % 2 == 0 { gain(level_db) } else { -gain(level_db) }).collect()
}

/// Uniform white noise; its level is the peak, dBFS.
#[must_use]
pub fn white(level_db: f64, samples: usize, seed: u64) -> Vec<f64> {
    let mut noise = Noise::new(seed);
    (0..samples).map(|_| gain(level_db) * noise.sample()).collect()
}

/// Noise that falls by about 3 dB per octave: a sum of ten sample-and-hold white noises, each updated half as often as
/// the one before.
#[must_use]
pub fn pinkish(level_db: f64, samples: usize, seed: u64) -> Vec<f64> {
    let mut noise = Noise::new(seed);
    let mut held = [0.0; 10];
    (0..samples)
        .map(|n| {
            let row = (n.trailing_zeros() as usize).min(held.len() - 1);
            held[row] = noise.sample();
            gain(level_db) * held.iter().sum::<f64>() * 0.3
        })
        .collect()
}

/// Noise with the given third-octave levels (dB): eight sines of random phase per third, up to 0.45 of the rate. The
/// whole is scaled to the level `rms`, dBFS.
#[must_use]
pub fn shaped(thirds: &[(f64, f64)], rms: f64, rate_hz: f64, samples: usize, seed: u64) -> Vec<f64> {
    const EACH: usize = 8;
    let mut noise = Noise::new(seed);
    let mut signal = vec![0.0; samples];
    for &(centre, level) in thirds {
        for k in 0..EACH {
            let place = (k as f64 + noise.between(0.05, 0.95)) / EACH as f64 - 0.5;
            let hz = centre * 2f64.powf(place / 3.0);
            let phase = noise.between(0.0, TAU);
            if hz > 0.45 * rate_hz {
                continue;
            }
            let (step_sin, step_cos) = (TAU * hz / rate_hz).sin_cos();
            let (mut sin, mut cos) = phase.sin_cos();
            for value in &mut signal {
                *value += gain(level) * sin;
                (sin, cos) = (sin * step_cos + cos * step_sin, cos * step_cos - sin * step_sin);
            }
        }
    }
    let scale = gain(rms - rms_db(&signal));
    signal.iter_mut().for_each(|x| *x *= scale);
    signal
}

/// Long-term average speech spectrum in thirds of an octave, dB: Byrne et al. 1994, JASA 96(4), Table 2, combined
/// column (via independent implementations).
pub const BYRNE: [(f64, f64); 25] = [
    (63.0, 38.6),
    (80.0, 43.5),
    (100.0, 54.4),
    (125.0, 57.7),
    (160.0, 56.8),
    (200.0, 60.2),
    (250.0, 60.3),
    (315.0, 59.0),
    (400.0, 62.1),
    (500.0, 62.1),
    (630.0, 60.5),
    (800.0, 56.8),
    (1_000.0, 53.7),
    (1_250.0, 53.0),
    (1_600.0, 52.0),
    (2_000.0, 48.7),
    (2_500.0, 48.1),
    (3_150.0, 46.8),
    (4_000.0, 45.6),
    (5_000.0, 44.5),
    (6_300.0, 44.3),
    (8_000.0, 43.7),
    (10_000.0, 43.4),
    (12_500.0, 41.3),
    (16_000.0, 40.7),
];

/// Voiced excitation: harmonics of `f0` that fall by 12 dB per octave above 500 Hz and end at 3.5 kHz. `rms` is its
/// level, dBFS.
#[must_use]
pub fn buzz(f0: f64, rms: f64, rate_hz: f64, samples: usize) -> Vec<f64> {
    let top = 3_500f64.min(0.4 * rate_hz);
    let mut signal = vec![0.0; samples];
    let mut k = 1;
    while k as f64 * f0 < top {
        let hz = k as f64 * f0;
        let (step_sin, step_cos) = (TAU * hz / rate_hz).sin_cos();
        let (mut sin, mut cos) = (0.7 * (k * k) as f64).sin_cos();
        let level = 1.0 / (1.0 + (hz / 500.0).powi(2));
        for value in &mut signal {
            *value += level * sin;
            (sin, cos) = (sin * step_cos + cos * step_sin, cos * step_cos - sin * step_sin);
        }
        k += 1;
    }
    let scale = gain(rms - rms_db(&signal));
    signal.iter_mut().for_each(|x| *x *= scale);
    signal
}

/// Fricative noise between 5 and 9 kHz, as in an "s", at the level `rms`, dBFS.
#[must_use]
pub fn hiss(rms: f64, rate_hz: f64, samples: usize, seed: u64) -> Vec<f64> {
    let thirds = [(5_000.0, 0.0), (6_300.0, 1.0), (8_000.0, 1.0)];
    shaped(&thirds, rms, rate_hz, samples, seed)
}

/// Phrases of 1.6 s and pauses of 0.6 s: voiced syllables with an occasional "s". `rms` is the level of the phrases,
/// dBFS; background noise lies 50 dB below.
#[must_use]
pub fn phrases(rms: f64, rate_hz: f64, seconds: f64, seed: u64) -> Vec<f64> {
    let samples = (rate_hz * seconds) as usize;
    let mut noise = Noise::new(seed);
    let voice = buzz(noise.between(95.0, 210.0), rms + 2.0, rate_hz, samples);
    let breath = shaped(&BYRNE, rms - 20.0, rate_hz, samples, seed + 1);
    let sharp = if rate_hz > 18_000.0 {
        hiss(rms - 6.0, rate_hz, samples, seed + 2)
    } else {
        shaped(&[(2_500.0, 0.0), (3_150.0, 1.0)], rms - 6.0, rate_hz, samples, seed + 2)
    };
    let syllable = (0.2 * rate_hz) as usize;
    let mut loud = 1.0;
    let mut last = usize::MAX;
    (0..samples)
        .map(|n| {
            let t = n as f64 / rate_hz;
            if n / syllable != last {
                last = n / syllable;
                loud = gain(noise.between(-6.0, 3.0));
            }
            let in_phrase = t % 2.2;
            let open = if in_phrase < 1.6 { 1.0 } else { 0.0 };
            let within = (n % syllable) as f64 / syllable as f64;
            let envelope = (std::f64::consts::PI * within).sin().powi(2).max(0.05);
            let ess = if last % 4 == 2 { envelope } else { 0.0 };
            let vowel = if last % 4 == 2 { 0.05 } else { envelope };
            let floor = gain(rms - 50.0) * noise.sample();
            open * (loud * (voice[n] * vowel + sharp[n] * ess) + breath[n]) + floor
        })
        .collect()
}

/// One channel in single precision.
#[must_use]
pub fn mono(signal: &[f64]) -> Vec<[f32; 1]> {
    signal.iter().map(|&x| [x as f32]).collect()
}

/// Two different channels in single precision: the right one is 4 dB quieter, inverted, and 11 samples late.
#[must_use]
pub fn unequal(signal: &[f64]) -> Vec<[f32; 2]> {
    (0..signal.len()).map(|n| [signal[n] as f32, if n < 11 { 0.0 } else { (-0.63 * signal[n - 11]) as f32 }]).collect()
}

/// One channel of the frames, in double precision.
#[must_use]
pub fn channel<const C: usize>(frames: &[[f32; C]], c: usize) -> Vec<f64> {
    frames.iter().map(|frame| f64::from(frame[c])).collect()
}
