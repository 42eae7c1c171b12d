//! Active speech level (ITU-T P.56 method B).

use crate::detectors::voice_activity::P56_MARGIN_DB;
use crate::math::{FLUSH_THRESHOLD, power_to_db, smoothing};

/// Time constant of each of the two smoothers of the envelope, ms.
const SMOOTHING_MS: f64 = 30.0;
/// For so long a pause still counts as speech, s.
const HANG_OVER_S: f64 = 0.2;
/// Thresholds, a factor 2 apart; the highest is 1. The Recommendation has 15 of them, for 16 bits, from 1/2 down.
const THRESHOLDS: usize = 26;
/// The lowest, dB.
pub(crate) const LOWEST_DB: f64 = -150.5;

/// What P.56 says of a recording.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ActiveSpeech {
    /// Active speech level, dB of full scale (a full-scale sine has -3.01).
    pub level_dbov: f64,
    /// Share of the time in which somebody speaks, percent.
    pub activity_percent: f64,
    /// That time, s.
    pub active_s: f64,
}

/// Measures the active speech level: the power of what is heard, over the time in which an envelope of the magnitude is
/// above, or has been above within 0.2 s, a threshold 15.9 dB below that very level.
///
/// Method B of ITU-T P.56, with 26 thresholds in place of 15, so that speech down to -120 dBov is measured as speech at -20
/// is; between thresholds the level is interpolated without error (the reference implementation halves intervals until
/// 0.5 dB remain). Nothing is filtered: take a DC offset away before. The same bits for every split. Tested by
/// `standards::active_level`.
///
/// Cost: two one-poles and an exponent per sample.
#[derive(Clone, Debug)]
pub struct ActiveLevelMeter {
    kept: f64,
    hang_over: u64,
    rate_hz: f64,
    first: f64,
    envelope: f64,
    energy: f64,
    samples: u64,
    /// When the envelope was last between a threshold and the next (1 the lowest, 0 under all), in samples from 1 on.
    last: [u64; THRESHOLDS + 1],
    /// The highest step at which the envelope was within the hang-over, and since when.
    held: usize,
    since: u64,
    /// Samples at each held step, up to `since`.
    counts: [u64; THRESHOLDS + 1],
}

impl ActiveLevelMeter {
    /// A meter for a rate in Hz.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        Self {
            kept: smoothing(SMOOTHING_MS, rate_hz, 1.0),
            hang_over: (HANG_OVER_S * rate_hz + 0.5) as u64,
            rate_hz,
            first: 0.0,
            envelope: 0.0,
            energy: 0.0,
            samples: 0,
            last: [0; THRESHOLDS + 1],
            held: 0,
            since: 0,
            counts: [0; THRESHOLDS + 1],
        }
    }

    /// Takes samples.
    pub fn push(&mut self, samples: &[f32]) {
        let (kept, taken) = (self.kept, 1.0 - self.kept);
        let (mut first, mut envelope, mut energy) = (self.first, self.envelope, self.energy);
        for &sample in samples {
            let x = f64::from(sample);
            energy += x * x;
            // Nothing sinks into the subnormal numbers.
            first = kept * first + taken * (x.abs() + FLUSH_THRESHOLD);
            envelope = kept * envelope + taken * first;
            self.samples += 1;
            let step = step_of(envelope);
            self.last[step] = self.samples;
            if step >= self.held {
                if step > self.held {
                    self.hold(step);
                }
            } else if self.samples - self.last[self.held] > self.hang_over {
                let mut to = self.held - 1;
                while to > step && self.samples - self.last[to] > self.hang_over {
                    to -= 1;
                }
                self.hold(to);
            }
        }
        (self.first, self.envelope, self.energy) = (first, envelope, energy);
    }

    /// Changes the held step with the sample that has just come.
    fn hold(&mut self, step: usize) {
        self.counts[self.held] += self.samples - 1 - self.since;
        (self.held, self.since) = (step, self.samples - 1);
    }

    /// The mean power of everything, as a share of full scale squared.
    #[must_use]
    pub fn mean_power(&self) -> f64 {
        if self.samples == 0 { 0.0 } else { self.energy / self.samples as f64 }
    }

    /// Share of the time in which the envelope reaches a level in dB, hang-over included; interpolated in dB.
    #[must_use]
    pub fn share_above(&self, db: f64) -> f64 {
        if self.samples == 0 {
            return 0.0;
        }
        let place = (db / power_to_db(4.0) + THRESHOLDS as f64).clamp(1.0, THRESHOLDS as f64);
        let reached = |step: usize| {
            let counted: u64 = self.counts.iter().skip(step).sum();
            let present = if self.held >= step { self.samples - self.since } else { 0 };
            (counted + present) as f64 / self.samples as f64
        };
        let (step, part) = (place as usize, place - libm::floor(place));
        reached(step) + part * (reached(step + 1) - reached(step))
    }

    /// What was measured; `None` when nothing is above the lowest threshold by the margin.
    #[must_use]
    pub fn result(&self) -> Option<ActiveSpeech> {
        let mut counts = self.counts;
        counts[self.held] += self.samples - self.since;
        let mut active = counts[1..].iter().sum::<u64>();
        // Level over the active time, and how far that is above the threshold, at the threshold below.
        let mut below: Option<(f64, f64)> = None;
        // From the lowest up, so that one bang far above the voice does not stand for it.
        for (step, count) in counts.iter().enumerate().skip(1) {
            if active == 0 {
                return None;
            }
            let level = power_to_db(self.energy / active as f64);
            let over = level - power_to_db(4.0) * (step as f64 - THRESHOLDS as f64);
            active -= count;
            if over > P56_MARGIN_DB {
                below = Some((level, over));
                continue;
            }
            let (lower, over_lower) = below?;
            let level_dbov = lower + (level - lower) * (over_lower - P56_MARGIN_DB) / (over_lower - over);
            let share = (self.energy / libm::exp10(0.1 * level_dbov) / self.samples as f64).min(1.0);
            return Some(ActiveSpeech {
                level_dbov,
                activity_percent: 100.0 * share,
                active_s: share * self.samples as f64 / self.rate_hz,
            });
        }
        None
    }
}

/// How many thresholds an envelope reaches.
fn step_of(envelope: f64) -> usize {
    // The exponent of a positive number is where its bits begin; that of 1 is 1023.
    let exponent = (envelope.to_bits() >> 52) as usize;
    (exponent.max(1_023 - THRESHOLDS) - (1_023 - THRESHOLDS)).min(THRESHOLDS)
}
