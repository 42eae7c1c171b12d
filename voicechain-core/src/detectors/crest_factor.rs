//! Crest factor: peak and mean-square level over the same window, and their ratio.

use super::TICK;
use crate::blank::blank;
use crate::units::SampleRate;

/// Window length, ms: eight complete blocks and the current one. Source: Giannoulis, Massberg, Reiss, "Parameter
/// Automation in a Dynamic Range Compressor", JAES 61(10), 2013 (200 ms).
const TIME_MS: f64 = 200.0;
const BLOCKS: usize = 8;

/// Peak power, sum of powers and number of samples of a part of the window.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Block {
    peak: f64,
    sum: f64,
    samples: u32,
}

blank! { Block { peak, sum, samples } }

/// Peak and mean power over the last 200 to 225 ms, updated once per [`TICK`] frames.
///
/// The window is finite: older samples have no influence, however loud they were.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CrestFactor {
    past: [Block; BLOCKS],
    /// Highest peak and number of samples of `past`.
    past_peak: f64,
    past_samples: u32,
    next: usize,
    running: Block,
    block_samples: u32,
    tick_peak: f64,
    tick_sum: f64,
    frames: u32,
    peak_power: f64,
    mean_power: f64,
}

blank! {
    CrestFactor {
        past, past_peak, past_samples, next, running, block_samples, tick_peak, tick_sum, frames, peak_power, mean_power
    }
}

impl CrestFactor {
    /// Creates a cleared detector.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        Self {
            past: [Block::default(); BLOCKS],
            past_peak: 0.0,
            past_samples: 0,
            next: 0,
            running: Block::default(),
            block_samples: rate.samples(TIME_MS / BLOCKS as f64),
            tick_peak: 0.0,
            tick_sum: 0.0,
            frames: 0,
            peak_power: 0.0,
            mean_power: 0.0,
        }
    }

    /// Samples until the next update.
    #[must_use]
    pub fn remaining(&self) -> usize {
        (TICK - self.frames) as usize
    }

    /// Processes magnitudes of samples, in a slice of any length. Returns true when the levels have been updated.
    #[inline(always)]
    pub fn push(&mut self, amplitudes: &[f32]) -> bool {
        let (mut rest, mut ticked) = (amplitudes, false);
        while !rest.is_empty() {
            let (now, later) = rest.split_at(rest.len().min(self.remaining()));
            ticked |= self.push_until_tick(now);
            rest = later;
        }
        ticked
    }

    #[inline(always)]
    fn push_until_tick(&mut self, amplitudes: &[f32]) -> bool {
        let (mut peak, mut sum) = (self.tick_peak, self.tick_sum);
        for &amplitude in amplitudes {
            let power = f64::from(amplitude) * f64::from(amplitude);
            peak = if power > peak { power } else { peak };
            sum += power;
        }
        (self.tick_peak, self.tick_sum) = (peak, sum);
        self.frames += amplitudes.len() as u32;
        if self.frames < TICK {
            return false;
        }
        self.tick();
        true
    }

    fn tick(&mut self) {
        let running = &mut self.running;
        running.peak = running.peak.max(self.tick_peak);
        running.sum += self.tick_sum;
        running.samples += self.frames;
        (self.tick_peak, self.tick_sum, self.frames) = (0.0, 0.0, 0);
        let sum = self.past.iter().fold(running.sum, |sum, block| sum + block.sum);
        self.peak_power = running.peak.max(self.past_peak);
        self.mean_power = sum / f64::from(running.samples + self.past_samples);
        if running.samples >= self.block_samples {
            self.past[self.next] = core::mem::take(running);
            self.next = (self.next + 1) % BLOCKS;
            self.past_peak = self.past.iter().fold(0.0, |peak, block| block.peak.max(peak));
            self.past_samples = self.past.iter().map(|block| block.samples).sum();
        }
    }

    /// Peak power, 1 at full scale.
    #[must_use]
    pub fn peak_power(&self) -> f64 {
        self.peak_power
    }

    /// Mean-square power, 1 at full scale.
    #[must_use]
    pub fn mean_power(&self) -> f64 {
        self.mean_power
    }

    /// Squared crest factor: peak power over mean power; 2 for a sine, 1 in silence.
    #[must_use]
    pub fn squared(&self) -> f64 {
        if self.mean_power > 0.0 { self.peak_power / self.mean_power } else { 1.0 }
    }
}
