//! The three monitor modes and their loudness match.

use crate::blank::blank;
use crate::math::{from_db, power_to_db, to_db};
use crate::meters::gating::{ABSOLUTE_GATE, mean_square};

/// Signal at the monitor output.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum MonitorMode {
    /// The strip's output.
    #[default]
    Processed,
    /// The input, delayed by the strip's latency.
    Unprocessed,
    /// The input minus the output: everything that the strip removes.
    Removed,
}

blank!(MonitorMode = Self::Processed);

/// Monitor mode and loudness matching.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Monitoring {
    /// Signal at the monitor output.
    pub mode: MonitorMode,
    /// Matches the unprocessed side to the loudness of the processed side. If the true peak of the unprocessed side
    /// would then exceed the ceiling, all modes are lowered together. When false, both sides have unity gain: the plain
    /// output and the plain delayed input.
    pub loudness_matched: bool,
}

blank! { Monitoring { mode, loudness_matched } }

/// Measuring window: 30 s, one gating block per 100 ms.
const BLOCKS: usize = 300;
/// Maximum slew rate of an audible match gain, dB per second.
const MATCH_DB_PER_S: f64 = 1.0;
/// Maximum slew rate of the common headroom, dB per second.
const HEADROOM_DB_PER_S: f64 = 20.0;
/// Sub-blocks per second.
const STEPS_PER_S: f64 = 100.0;
/// Relative gate as a power ratio (-10 LU).
const RELATIVE_GATE: f64 = 0.1;

/// Gated loudness difference between output and input over a running window of 30 s.
///
/// The gain is frozen in pauses. While audible it moves by at most 1 dB per second, in steps of at most 0.01 dB.
/// Tested by `matched_sides_differ_by_less_than_0_2_lu`.
#[derive(Clone, Debug)]
pub(crate) struct LoudnessMatch {
    /// Mean squares at input and output, and the input's true peak.
    blocks: [[f32; 3]; BLOCKS],
    count: usize,
    next: usize,
    target_db: f64,
    gain_db: f64,
    headroom_db: f64,
    true_peak: f32,
}

blank! { LoudnessMatch { blocks, count, next, target_db, gain_db, headroom_db, true_peak } }

impl LoudnessMatch {
    /// Forgets all blocks. The gains stay until the next block.
    pub(crate) fn forget(&mut self) {
        (self.count, self.next) = (0, 0);
    }

    /// Adds one gating block: K-weighted mean squares of the same audio at input and output, and the input's true peak
    /// in the last 100 ms.
    pub(crate) fn block(&mut self, input: f64, output: f64, true_peak: f64) {
        if input <= mean_square(ABSOLUTE_GATE) {
            return;
        }
        self.blocks[self.next] = [input as f32, output as f32, true_peak as f32];
        self.next = (self.next + 1) % BLOCKS;
        self.count = (self.count + 1).min(BLOCKS);
        let blocks = &self.blocks[..self.count];
        let mean = blocks.iter().map(|b| f64::from(b[0])).sum::<f64>() / blocks.len() as f64;
        let mut sums = (0.0, 0.0);
        self.true_peak = 0.0;
        for &[input, output, true_peak] in blocks {
            let (input, output) = (f64::from(input), f64::from(output));
            if input > RELATIVE_GATE * mean {
                sums = (sums.0 + input, sums.1 + output);
            }
            self.true_peak = self.true_peak.max(true_peak);
        }
        if sums.0 > 0.0 && sums.1 > 0.0 {
            self.target_db = power_to_db(sums.1 / sums.0).clamp(-60.0, 60.0);
        }
    }

    /// Moves the gains by one sub-block of 10 ms. An inaudible match gain reaches its target at once.
    pub(crate) fn step(&mut self, audible: bool, speech: bool, ceiling_dbtp: f64) {
        if !audible {
            self.gain_db = self.target_db;
        } else if speech {
            let max_step = MATCH_DB_PER_S / STEPS_PER_S;
            self.gain_db += (self.target_db - self.gain_db).clamp(-max_step, max_step);
        }
        let over = to_db(f64::from(self.true_peak)) + self.gain_db - ceiling_dbtp;
        let target_db = if self.gain_db > 0.0 && over > 0.0 { -over } else { 0.0 };
        let max_step = HEADROOM_DB_PER_S / STEPS_PER_S;
        self.headroom_db += (target_db - self.headroom_db).clamp(-max_step, max_step);
    }

    pub(crate) fn gain_db(&self) -> f64 {
        self.gain_db
    }

    pub(crate) fn headroom_db(&self) -> f64 {
        self.headroom_db
    }

    /// Gains of the processed and the unprocessed signal in the monitor mix.
    pub(crate) fn gains(&self, monitoring: Monitoring) -> [f32; 2] {
        let (gain, headroom) =
            if monitoring.loudness_matched { (from_db(self.gain_db), from_db(self.headroom_db)) } else { (1.0, 1.0) };
        let unprocessed = (gain * headroom) as f32;
        match monitoring.mode {
            MonitorMode::Processed => [headroom as f32, 0.0],
            MonitorMode::Unprocessed => [0.0, unprocessed],
            MonitorMode::Removed => [-headroom as f32, unprocessed],
        }
    }
}
