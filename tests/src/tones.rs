//! Test signals made in double precision and rounded to single precision once.

use std::f64::consts::TAU;

/// 1 kHz sine, equal in both channels and continuous in phase, through parts of (peak level in dBFS, seconds). A level
/// of minus infinity is silence.
#[must_use]
pub fn tones(hz: f64, parts: &[(f64, f64)]) -> Vec<[f32; 2]> {
    levels(hz, parts).map(|sample| [sample; 2]).collect()
}

/// The same signal in one channel.
#[must_use]
pub fn tones_mono(hz: f64, parts: &[(f64, f64)]) -> Vec<[f32; 1]> {
    levels(hz, parts).map(|sample| [sample]).collect()
}

fn levels(hz: f64, parts: &[(f64, f64)]) -> impl Iterator<Item = f32> {
    parts
        .iter()
        .flat_map(move |&(level, seconds)| {
            std::iter::repeat_n(10_f64.powf(level / 20.0), (seconds * hz).round() as usize)
        })
        .enumerate()
        .map(move |(n, amplitude)| (amplitude * (TAU * 1_000.0 * n as f64 / hz).sin()) as f32)
}

/// Sine of `cycles` per sample that starts at a phase in degrees.
#[must_use]
pub fn sine(cycles: f64, amplitude: f64, degrees: f64, samples: usize) -> Vec<f64> {
    (0..samples).map(|n| amplitude * (TAU * (cycles * n as f64).fract() + degrees.to_radians()).sin()).collect()
}

/// Random numbers that are the same on every machine.
#[derive(Clone, Debug)]
pub struct Random(u64);

impl Random {
    /// A different sequence for each seed.
    #[must_use]
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0xD1B5_4A32_D192_ED03)
    }

    /// Uniform from 0 to 1.
    pub fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Uniform from -1 to 1.
    pub fn signed(&mut self) -> f64 {
        2.0 * self.unit() - 1.0
    }

    /// Approximately normal, standard deviation 1, limited to 6 deviations.
    pub fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.unit()).sum::<f64>() - 6.0
    }
}

/// White noise whose level makes a random walk in steps of 2 dB (standard deviation) every 50 ms between -60 and -6
/// dBFS, independently in each channel.
#[must_use]
pub fn wandering_noise<const C: usize>(hz: f64, seconds: f64, seed: u64) -> Vec<[f32; C]> {
    let mut random = Random::new(seed);
    let mut level = [-20.0_f64; C];
    let step = (0.05 * hz) as usize;
    (0..(seconds * hz).round() as usize)
        .map(|n| {
            std::array::from_fn(|c| {
                if n % step == 0 {
                    level[c] = (level[c] + 2.0 * random.normal()).clamp(-60.0, -6.0);
                }
                (10_f64.powf(level[c] / 20.0) * random.signed()) as f32
            })
        })
        .collect()
}
