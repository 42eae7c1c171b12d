//! The three monitor modes, and the loudness match that makes them comparable.

use crate::math::{from_db, power_to_db, to_db};
use crate::meters::gating::{ABSOLUTE_GATE, mean_square};

/// What is heard.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum MonitorMode {
    /// The strip's output.
    #[default]
    Processed,
    /// The input, delayed by the strip's latency.
    Unprocessed,
    /// The input minus the output: what the strip takes away.
    Removed,
}

/// What is heard, and whether loudness is matched.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Monitoring {
    /// What is heard.
    pub mode: MonitorMode,
    /// Sets the unprocessed side to the loudness of the processed one. Where it would then pass the ceiling, both sides
    /// (and what is removed) go down together. Off, the processed side is the strip's plain output and the unprocessed
    /// side the plain delayed input.
    pub loudness_matched: bool,
}

/// The last 30 s, one gating block per 100 ms.
const BLOCKS: usize = 300;
/// Fastest movement of an audible match, dB per second.
const MATCH_DB_PER_S: f64 = 1.0;
/// Fastest movement of the common headroom, dB per second.
const HEADROOM_DB_PER_S: f64 = 20.0;
/// Sub-blocks per second.
const STEPS_PER_S: f64 = 100.0;
/// The relative gate as a power ratio (-10 LU).
const RELATIVE_GATE: f64 = 0.1;

/// Keeps the gated loudness difference of input and output over a running 30 s.
///
/// Frozen in pauses; when it is heard it moves by at most 1 dB per second in steps of at most 0.01 dB. Tested by
/// `matched_sides_differ_by_less_than_0_2_lu`.
#[derive(Clone, Debug)]
pub(crate) struct LoudnessMatch {
    /// Mean squares at input and output, and the input's largest sample.
    blocks: [[f32; 3]; BLOCKS],
    count: usize,
    next: usize,
    wanted_db: f64,
    gain_db: f64,
    headroom_db: f64,
    peak: f32,
}

impl LoudnessMatch {
    pub(crate) fn new() -> Self {
        Self {
            blocks: [[0.0; 3]; BLOCKS],
            count: 0,
            next: 0,
            wanted_db: 0.0,
            gain_db: 0.0,
            headroom_db: 0.0,
            peak: 0.0,
        }
    }

    /// Takes one gating block: K-weighted mean squares of the same sound at input and output, and the input's largest
    /// sample in the last 100 ms.
    pub(crate) fn block(&mut self, input: f64, output: f64, peak: f32) {
        if input <= mean_square(ABSOLUTE_GATE) {
            return;
        }
        self.blocks[self.next] = [input as f32, output as f32, peak];
        self.next = (self.next + 1) % BLOCKS;
        self.count = (self.count + 1).min(BLOCKS);
        let blocks = &self.blocks[..self.count];
        let mean = blocks.iter().map(|b| f64::from(b[0])).sum::<f64>() / blocks.len() as f64;
        let mut sums = (0.0, 0.0);
        self.peak = 0.0;
        for &[input, output, peak] in blocks {
            let (input, output) = (f64::from(input), f64::from(output));
            if input > RELATIVE_GATE * mean {
                sums = (sums.0 + input, sums.1 + output);
            }
            self.peak = self.peak.max(peak);
        }
        if sums.0 > 0.0 && sums.1 > 0.0 {
            self.wanted_db = power_to_db(sums.1 / sums.0).clamp(-60.0, 60.0);
        }
    }

    /// One sub-block of 10 ms: moves towards what is wanted, at once when it is not heard.
    pub(crate) fn step(&mut self, heard: bool, speech: bool, ceiling_dbtp: f64) {
        if !heard {
            self.gain_db = self.wanted_db;
        } else if speech {
            let most = MATCH_DB_PER_S / STEPS_PER_S;
            self.gain_db += (self.wanted_db - self.gain_db).clamp(-most, most);
        }
        let over = to_db(f64::from(self.peak)) + self.gain_db - ceiling_dbtp;
        let wanted = if self.gain_db > 0.0 && over > 0.0 { -over } else { 0.0 };
        let most = HEADROOM_DB_PER_S / STEPS_PER_S;
        self.headroom_db += (wanted - self.headroom_db).clamp(-most, most);
    }

    pub(crate) fn gain_db(&self) -> f64 {
        self.gain_db
    }

    pub(crate) fn headroom_db(&self) -> f64 {
        self.headroom_db
    }

    /// Gains of the processed and of the unprocessed signal.
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
