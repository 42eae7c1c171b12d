//! Peak and RMS levels with the same time constant, and their ratio.

use super::TICK;
use crate::math::smoothing;
use crate::units::SampleRate;

/// Time constant of both levels, ms.
/// Source: Giannoulis, Massberg, Reiss, "Parameter Automation in a Dynamic Range Compressor", JAES 61(10), 2013.
const TIME_MS: f64 = 200.0;

/// Peak level that rises at once and falls with a time constant, and mean-square level with the same time constant,
/// updated once per [`TICK`] frames.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CrestFactor {
    kept: f64,
    peak_power: f64,
    mean_power: f64,
    peak_so_far: f64,
    sum_so_far: f64,
    frames: u32,
}

impl CrestFactor {
    /// A detector that has heard nothing.
    #[must_use]
    pub fn fresh(rate: SampleRate) -> Self {
        Self {
            kept: smoothing(TIME_MS, rate.hz(), f64::from(TICK)),
            peak_power: 0.0,
            mean_power: 0.0,
            peak_so_far: 0.0,
            sum_so_far: 0.0,
            frames: 0,
        }
    }

    /// Takes one sample's power; true once per [`TICK`] frames, when the levels have been brought up to date.
    #[inline(always)]
    pub fn feed(&mut self, power: f64) -> bool {
        self.peak_so_far = if power > self.peak_so_far { power } else { self.peak_so_far };
        self.sum_so_far += power;
        self.frames += 1;
        if self.frames < TICK {
            return false;
        }
        let mean = self.sum_so_far * (1.0 / f64::from(TICK));
        self.mean_power = mean + self.kept * (self.mean_power - mean);
        let fallen = self.peak_so_far + self.kept * (self.peak_power - self.peak_so_far);
        self.peak_power = if self.peak_so_far > fallen { self.peak_so_far } else { fallen };
        if self.mean_power < 1e-30 {
            (self.mean_power, self.peak_power) = (0.0, 0.0);
        }
        (self.peak_so_far, self.sum_so_far, self.frames) = (0.0, 0.0, 0);
        true
    }

    /// Peak power, full scale = 1.
    #[must_use]
    pub fn peak_power(&self) -> f64 {
        self.peak_power
    }

    /// Mean-square power.
    #[must_use]
    pub fn mean_power(&self) -> f64 {
        self.mean_power
    }

    /// Peak power over mean power; 2 for a sine, 1 in silence.
    #[must_use]
    pub fn squared(&self) -> f64 {
        if self.mean_power > 0.0 { self.peak_power / self.mean_power } else { 1.0 }
    }
}
