//! Peak and mean-square level of the same stretch of time, and their ratio.

use super::TICK;
use crate::units::SampleRate;

/// How far back both levels reach, ms: eight complete blocks and the running one.
/// Source: Giannoulis, Massberg, Reiss, "Parameter Automation in a Dynamic Range Compressor", JAES 61(10), 2013 (200 ms).
const TIME_MS: f64 = 200.0;
const BLOCKS: usize = 8;

/// A part of the past: its largest power, the sum of its powers, and the number of samples.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Block {
    peak: f64,
    sum: f64,
    samples: u32,
}

/// Peak and mean power of the last 200 to 225 ms, brought up to date once per [`TICK`] frames.
///
/// The window has an end: what was heard before it is forgotten completely, however loud it was.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CrestFactor {
    past: [Block; BLOCKS],
    next: usize,
    running: Block,
    block_samples: u32,
    peak_so_far: f64,
    sum_so_far: f64,
    frames: u32,
    peak_power: f64,
    mean_power: f64,
}

impl CrestFactor {
    /// A detector that has heard nothing.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        Self {
            past: [Block::default(); BLOCKS],
            next: 0,
            running: Block::default(),
            block_samples: rate.samples(TIME_MS / BLOCKS as f64),
            peak_so_far: 0.0,
            sum_so_far: 0.0,
            frames: 0,
            peak_power: 0.0,
            mean_power: 0.0,
        }
    }

    /// The samples until the levels are next brought up to date.
    #[must_use]
    pub fn remaining(&self) -> usize {
        (TICK - self.frames) as usize
    }

    /// Takes the amplitudes of samples, as many as there are; true when the levels have been brought up to date.
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
        let (mut peak, mut sum) = (self.peak_so_far, self.sum_so_far);
        for &amplitude in amplitudes {
            let power = f64::from(amplitude) * f64::from(amplitude);
            peak = if power > peak { power } else { peak };
            sum += power;
        }
        (self.peak_so_far, self.sum_so_far) = (peak, sum);
        self.frames += amplitudes.len() as u32;
        if self.frames < TICK {
            return false;
        }
        self.tick();
        true
    }

    fn tick(&mut self) {
        let running = &mut self.running;
        running.peak = running.peak.max(self.peak_so_far);
        running.sum += self.sum_so_far;
        running.samples += self.frames;
        (self.peak_so_far, self.sum_so_far, self.frames) = (0.0, 0.0, 0);
        let all = self.past.iter().fold(self.running, |all, block| Block {
            peak: all.peak.max(block.peak),
            sum: all.sum + block.sum,
            samples: all.samples + block.samples,
        });
        (self.peak_power, self.mean_power) = (all.peak, all.sum / f64::from(all.samples));
        if self.running.samples >= self.block_samples {
            self.past[self.next] = core::mem::take(&mut self.running);
            self.next = (self.next + 1) % BLOCKS;
        }
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
