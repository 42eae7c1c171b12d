extern crate std;

mod properties;
mod true_peak_guarantee;

use super::{Limiter, LimiterCoefs, LimiterState};
use crate::blank::Blank;
use crate::settings::LimiterSettings;
use crate::stages::{Stage, StageContext};
use crate::units::SampleRate;
use std::vec::Vec;

fn rate(hz: f64) -> SampleRate {
    SampleRate::new(hz).unwrap()
}

fn design(hz: f64, ceiling_dbtp: f64, look_ahead_ms: f64, release_ms: f64) -> LimiterCoefs {
    let settings = LimiterSettings { on: true, ceiling_dbtp, look_ahead_ms, release_ms };
    <Limiter as Stage<1>>::design(&settings, rate(hz)).unwrap()
}

fn fresh<const C: usize>() -> LimiterState<C>
where
    [f32; C]: crate::frame::Frame,
{
    let mut state = LimiterState::BLANK;
    Limiter::clear(&mut state, rate(48_000.0));
    state
}

/// Limits a mono signal and removes the latency.
fn limit(coefs: &LimiterCoefs, signal: &[f32]) -> Vec<f32> {
    let mut state = fresh::<1>();
    let latency = coefs.latency() as usize;
    let mut frames: Vec<[f32; 1]> = signal.iter().map(|&x| [x]).collect();
    frames.resize(signal.len() + latency, [0.0]);
    Limiter::run(StageContext::new(coefs, &mut state), &mut frames);
    frames[latency..].iter().map(|frame| frame[0]).collect()
}

fn db(linear: f64) -> f64 {
    20.0 * libm::log10(linear)
}

/// Pseudo-random numbers from -1 to 1 (linear congruential generator).
struct Noise(u64);

impl Noise {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as f64 / f64::from(1_u32 << 30) - 1.0
    }

    fn sign(&mut self) -> f64 {
        if self.next() < 0.0 { -1.0 } else { 1.0 }
    }

    /// Nearly normal distribution with variance 1.
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.next()).sum::<f64>() / 2.0
    }
}

every_number_is_checked! {
    Limiter,
    LimiterSettings::default(),
    ceiling = f32::NAN,
    threshold = f32::NAN,
    threshold = 0.0,
    inverse_threshold = f32::NAN,
    release_coefficient = 1.0,
    release_coefficient = f64::NAN,
    slope = 0,
}
