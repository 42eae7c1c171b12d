//! Active speech level (ITU-T P.56 method B).

use crate::blank::blank;
use crate::detectors::voice_activity::P56_MARGIN_DB;
use crate::math::{FLUSH_THRESHOLD, power_to_db, smoothing};

/// Time constant of each of the two smoothers of the envelope, ms.
const SMOOTHING_MS: f64 = 30.0;
/// Pauses up to this length count as speech, s.
const HANG_OVER_S: f64 = 0.2;
/// Number of thresholds, a factor of 2 apart; the highest is 1. The Recommendation uses 15, for 16 bits, from 1/2 down.
const THRESHOLDS: usize = 26;
/// Lowest threshold, dB.
pub(crate) const LOWEST_DB: f64 = -150.5;

/// Result of the P.56 measurement.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ActiveSpeech {
    /// Active speech level, dBov (a full-scale sine has -3.01 dBov).
    pub level_dbov: f64,
    /// Share of the time with active speech, percent.
    pub activity_percent: f64,
    /// Duration of active speech, s.
    pub active_s: f64,
}

/// Measures the active speech level: power per active time.
///
/// A sample is active while an envelope of the magnitude exceeds, or has exceeded within the last 0.2 s, a threshold
/// 15.9 dB below the active speech level itself.
///
/// ITU-T P.56 method B, with 26 thresholds instead of 15: speech down to -120 dBov is measured as accurately as speech
/// at -20 dBov. The level is interpolated exactly between thresholds; the reference implementation bisects to 0.5 dB.
/// The input is not filtered, so remove a DC offset first. Results do not depend on the block size. Tested by
/// `standards::active_level`.
///
/// Cost: two one-pole filters and one exponent per sample.
#[derive(Clone, Debug)]
pub struct ActiveLevelMeter {
    kept: f64,
    hang_over: u64,
    rate_hz: f64,
    first: f64,
    envelope: f64,
    energy: f64,
    samples: u64,
    /// Time of the latest sample in each step, counted in samples from 1. Step 0 is below all thresholds, step 1 starts
    /// at the lowest.
    last: [u64; THRESHOLDS + 1],
    /// Highest step within the hang-over time.
    held: usize,
    /// Time at which that step was entered, samples.
    since: u64,
    /// Samples at each held step, up to `since`.
    counts: [u64; THRESHOLDS + 1],
}

blank! { ActiveLevelMeter { kept, hang_over, rate_hz, first, envelope, energy, samples, last, held, since, counts } }

impl ActiveLevelMeter {
    /// A meter for a sample rate in Hz.
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

    /// Processes samples.
    pub fn push(&mut self, samples: &[f32]) {
        let (kept, taken) = (self.kept, 1.0 - self.kept);
        let (mut first, mut envelope, mut energy) = (self.first, self.envelope, self.energy);
        for &sample in samples {
            let x = f64::from(sample);
            energy += x * x;
            // The offset keeps the state out of the denormal range.
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

    /// Changes the held step at the current sample.
    fn hold(&mut self, step: usize) {
        self.counts[self.held] += self.samples - 1 - self.since;
        (self.held, self.since) = (step, self.samples - 1);
    }

    /// Mean power of all samples, relative to full scale squared.
    #[must_use]
    pub fn mean_power(&self) -> f64 {
        if self.samples == 0 { 0.0 } else { self.energy / self.samples as f64 }
    }

    /// Share of the time in which the envelope reaches a level in dB, hang-over included. Interpolated in dB.
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

    /// Active speech so far; `None` if no threshold is exceeded by the margin.
    #[must_use]
    pub fn result(&self) -> Option<ActiveSpeech> {
        let mut counts = self.counts;
        counts[self.held] += self.samples - self.since;
        let mut active = counts[1..].iter().sum::<u64>();
        // Level over the active time, and its distance above the threshold, at the threshold below.
        let mut below: Option<(f64, f64)> = None;
        // Upwards from the lowest threshold, so that a single loud bang does not determine the level.
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

/// Number of thresholds that an envelope reaches.
fn step_of(envelope: f64) -> usize {
    // The exponent of a positive `f64` starts at bit 52, with a bias of 1 023.
    let exponent = (envelope.to_bits() >> 52) as usize;
    (exponent.max(1_023 - THRESHOLDS) - (1_023 - THRESHOLDS)).min(THRESHOLDS)
}
