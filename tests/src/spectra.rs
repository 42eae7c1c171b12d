//! Analog prototypes, plain double-precision filters and Fourier sums, independent of the core.

use std::f64::consts::PI;
use voicechain_core::SampleRate;
use voicechain_core::filters::{Section, StateVariable};

/// Sample rates of the dense grids, Hz.
pub const RATES: [f64; 12] = [
    8_000.0, 11_025.0, 16_000.0, 22_050.0, 24_000.0, 32_000.0, 44_100.0, 48_000.0, 88_200.0, 96_000.0, 176_400.0,
    192_000.0,
];

/// An allowed sample rate.
///
/// # Panics
/// If the rate is not allowed.
#[must_use]
pub fn rate(hz: f64) -> SampleRate {
    SampleRate::new(hz).expect("an allowed rate")
}

/// Frequencies from `low` to `high` inclusive, `per_octave` per octave.
#[must_use]
pub fn octaves(low: f64, high: f64, per_octave: f64) -> Vec<f64> {
    let steps = ((high / low).log2() * per_octave).ceil().max(1.0);
    (0..=steps as usize).map(|k| low * (high / low).powf(k as f64 / steps)).collect()
}

/// Magnitude response of a section at a frequency, dB.
#[must_use]
pub fn db_at(section: &Section, hz: f64, rate: SampleRate) -> f64 {
    section.response(2.0 * PI * hz / rate.hz()).db()
}

fn power_db(power: f64) -> f64 {
    10.0 * power.log10()
}

/// Analog bell, dB: `((1-x^2)^2 + (A x/Q)^2) / ((1-x^2)^2 + (x/(A Q))^2)`, `A = 10^(gain/40)`, `x = f/f0`
/// (Audio EQ Cookbook, R. Bristow-Johnson, W3C Group Note 2021, s-domain prototype of peakingEQ).
#[must_use]
pub fn analog_bell_db(hz: f64, f0: f64, gain_db: f64, q: f64) -> f64 {
    let (a, x) = (10f64.powf(gain_db / 40.0), hz / f0);
    let away = (1.0 - x * x).powi(2);
    power_db((away + (a * x / q).powi(2)) / (away + (x / (a * q)).powi(2)))
}

/// Analog high shelf, dB: `A^2 ((1-A x^2)^2 + A x^2/Q^2) / ((A-x^2)^2 + A x^2/Q^2)` (Audio EQ Cookbook, highShelf).
#[must_use]
pub fn analog_high_shelf_db(hz: f64, f0: f64, gain_db: f64, q: f64) -> f64 {
    let (a, x2) = (10f64.powf(gain_db / 40.0), (hz / f0).powi(2));
    let damping = a * x2 / (q * q);
    power_db(a * a * ((1.0 - a * x2).powi(2) + damping) / ((a - x2).powi(2) + damping))
}

/// Analog low shelf, dB: `A^2 ((A-x^2)^2 + A x^2/Q^2) / ((1-A x^2)^2 + A x^2/Q^2)` (Audio EQ Cookbook, lowShelf).
#[must_use]
pub fn analog_low_shelf_db(hz: f64, f0: f64, gain_db: f64, q: f64) -> f64 {
    let (a, x2) = (10f64.powf(gain_db / 40.0), (hz / f0).powi(2));
    let damping = a * x2 / (q * q);
    power_db(a * a * ((a - x2).powi(2) + damping) / ((1.0 - a * x2).powi(2) + damping))
}

/// Runs sections in series in transposed direct form II and double precision, `y = b0 x + s1`.
pub fn run_direct(sections: &[Section], signal: &mut [f64]) {
    for s in sections {
        let (mut s1, mut s2) = (0.0, 0.0);
        for value in signal.iter_mut() {
            let x = *value;
            let y = s.b0 * x + s1;
            s1 = s.b1 * x - s.a1 * y + s2;
            s2 = s.b2 * x - s.a2 * y;
            *value = y;
        }
    }
}

/// Trapezoidal state-variable filter in double precision, as printed in A. Simper, "Solving the continuous SVF
/// equations using trapezoidal integration and equivalent currents", 2013.
pub fn run_state_variable(form: &StateVariable, signal: &mut [f64]) {
    let (mut ic1, mut ic2) = (0.0, 0.0);
    let a1 = 1.0 / (1.0 + form.g * (form.g + form.k));
    for value in signal.iter_mut() {
        let v0 = *value;
        let v1 = a1 * (ic1 + form.g * (v0 - ic2));
        let v2 = ic2 + form.g * v1;
        ic1 = 2.0 * v1 - ic1;
        ic2 = 2.0 * v2 - ic2;
        *value = form.m0 * v0 + form.m1 * v1 + form.m2 * v2;
    }
}

/// Unit impulse.
#[must_use]
pub fn impulse(length: usize) -> Vec<f64> {
    let mut signal = vec![0.0; length];
    signal[0] = 1.0;
    signal
}

/// Fourier transform of a signal at one frequency (radians per sample): real and imaginary part.
#[must_use]
pub fn fourier(signal: &[f64], omega: f64) -> [f64; 2] {
    signal.iter().enumerate().fold([0.0, 0.0], |[re, im], (n, v)| {
        let (sin, cos) = (omega * n as f64).sin_cos();
        [re + v * cos, im - v * sin]
    })
}

/// Repeatable white noise, uniform from -1 to 1 (xorshift64*).
#[derive(Clone, Debug)]
pub struct Noise(u64);

impl Noise {
    /// Noise that differs for every seed.
    #[must_use]
    pub fn new(seed: u64) -> Self {
        let mut noise = Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
        for _ in 0..8 {
            noise.sample();
        }
        noise
    }

    /// The next value, uniform from -1 to 1.
    pub fn sample(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        let bits = self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11;
        bits as f64 / (1u64 << 52) as f64 - 1.0
    }

    /// The next value, uniform between two bounds.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * 0.5 * (self.sample() + 1.0)
    }

    /// The next value between two bounds, uniform in octaves.
    pub fn octaves_between(&mut self, low: f64, high: f64) -> f64 {
        self.between(low.ln(), high.ln()).exp()
    }
}
