//! What is under the voice: noise floor, signal-to-noise, rumble.

use super::active_level::ActiveLevel;
use super::histogram::LevelHistogram;
use super::profile::{Doubt, Measured};
use super::ticks::Ticks;
use crate::filters::{Cascade, CascadeState, design};
use crate::math::power_to_db;
use crate::units::SampleRate;

/// Powers per second, five of which make a level.
const PER_S: f64 = 100.0;
const POWERS: usize = 5;
/// Less is no sound but what is left of it when a recording is muted or gated, dB. It says nothing of the noise.
const MUTED_DB: f64 = -115.0;
/// Fewest levels that show the pauses: two seconds.
const FEWEST: u64 = 200;
/// What is at most so far over the quietest twentieth is pause, dB.
const PAUSE_DB: f64 = 6.0;
/// The speech must have this share of the noise's power before its level means anything.
const LEAST_SPEECH: f64 = 0.1;

/// Hears what is left in the pauses of a voice.
///
/// The noise floor is read from the powers of 50 ms, every 10 ms: mean power of those that are less than 6 dB over their
/// 5th percentile. That is too high by what the voice leaves in the pauses, and too low where the noise itself rises and
/// falls; both can be seen in how the quietest levels are spread, and are corrected by a rule that was fitted to voices
/// with known noise (see `correction_db`). The signal-to-noise ratio compares the power of everything beyond the noise,
/// over the time in which somebody speaks, with the noise. Memory 5.5 kB. Tested by
/// `the_floor_of_a_broken_tone_is_the_noise` and measured by the group `levels` of `tests/reach`.
#[derive(Clone, Debug)]
pub struct GroundMeter {
    ticks: Ticks,
    energy: f64,
    powers: [f64; POWERS],
    count: u64,
    levels: LevelHistogram,
    muted: u64,
    rumble: Rumble,
}

/// Noise floor and what depends on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Floor {
    /// Noise floor, dBFS.
    pub noise_dbfs: Measured<f64>,
    /// Active speech level without the noise, over the noise floor, dB.
    pub snr_db: Measured<f64>,
    /// Level of what lies under 60 Hz, dBFS, median over time.
    pub rumble_dbfs: f64,
}

impl GroundMeter {
    /// A meter for a rate in Hz, from 8 to 192 kHz.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        Self {
            ticks: Ticks::new(rate_hz, PER_S),
            energy: 0.0,
            powers: [0.0; POWERS],
            count: 0,
            levels: LevelHistogram::new(),
            muted: 0,
            rumble: Rumble::new(rate_hz),
        }
    }

    /// Takes samples without offset.
    pub fn push(&mut self, samples: &[f32]) {
        self.rumble.push(samples);
        let Self { ticks, energy, powers, count, levels, muted, .. } = self;
        ticks.feed(samples, |part, complete| {
            for &sample in part {
                let x = f64::from(sample);
                *energy += x * x;
            }
            let Some(length) = complete else { return };
            powers[(*count % POWERS as u64) as usize] = *energy / length;
            *energy = 0.0;
            *count += 1;
            if *count >= POWERS as u64 {
                let db = power_to_db(powers.iter().sum::<f64>() / POWERS as f64);
                if db > MUTED_DB {
                    levels.push(db);
                } else {
                    *muted += 1;
                }
            }
        });
    }

    /// What was found, with the active level of the same samples.
    #[must_use]
    pub fn result(&self, active: &ActiveLevel) -> Floor {
        let noise_dbfs = self.noise_dbfs();
        let snr_db = noise_dbfs.and_then(|noise_dbfs| {
            // Where the recording is muted there is no noise either.
            let share = self.levels.total() as f64 / (self.levels.total() + self.muted) as f64;
            speech_dbov(active, noise_dbfs, share).map(|speech_dbov| speech_dbov - noise_dbfs)
        });
        Floor { noise_dbfs, snr_db, rumble_dbfs: self.rumble.level_dbfs() }
    }

    fn noise_dbfs(&self) -> Measured<f64> {
        let (Some(lowest), Some(low)) = (self.levels.percentile(0.01), self.levels.percentile(0.05)) else {
            return Err(if self.count < FEWEST { Doubt::TooShort } else { Doubt::Silence });
        };
        if self.levels.total() < FEWEST {
            return Err(Doubt::TooShort);
        }
        let floor = power_to_db(self.levels.mean_power_below(low + PAUSE_DB).ok_or(Doubt::Silence)?);
        Ok(floor + correction_db(low - lowest, floor - low))
    }
}

/// What the noise is over the mean of the quiet levels, dB, from two distances in dB: from their 1st to their 5th
/// percentile, and from there to that mean.
///
/// Steady noise gives levels that lie close together with a wide share of voice above them: the mean is some 0.5 to 1.4 dB
/// too high. Noise that rises and falls, as many voices do, spreads the lowest levels: the mean is up to 3 dB too low. Fitted
/// (robust least squares) on half of some seventy real voices with hiss, pink noise, fans, buzz and babble at 5 to 30 dB; on
/// the other half 97 % were within 2 dB.
fn correction_db(spread_db: f64, over_db: f64) -> f64 {
    let (u, v) = (spread_db.clamp(0.0, 4.0), over_db.clamp(0.0, 4.0));
    0.797 + u * (1.039 - 0.086 * u) + v * (0.529 * v - 2.255)
}

/// A threshold so far over the noise is not reached by it, dB.
const CLEAR_DB: f64 = 6.0;
/// The margin of ITU-T P.56, dB.
const MARGIN_DB: f64 = 15.9;
/// Resolution of the threshold, dB.
const STEP_DB: f64 = 0.25;
/// Above this nothing is looked for, dB.
const TOP_DB: f64 = 3.0;

/// Active speech level without the noise, which is heard for a share of the time.
///
/// As P.56, but the energy is that beyond the noise, and the threshold is not lower than 6 dB over the noise. A voice's level
/// over a higher threshold is higher; by how much is nearly the same for all voices.
fn speech_dbov(active: &ActiveLevel, noise_dbfs: f64, share: f64) -> Measured<f64> {
    let noise = share * libm::exp10(0.1 * noise_dbfs);
    let speech = active.mean_power() - noise;
    if speech < LEAST_SPEECH * noise {
        return Err(Doubt::TooNoisy);
    }
    let mut threshold = (libm::ceil((noise_dbfs + CLEAR_DB) / STEP_DB) * STEP_DB).max(super::active_level::LOWEST_DB);
    let mut found = None;
    while threshold < TOP_DB {
        let time = active.share_above(threshold);
        if time <= 0.0 {
            break;
        }
        let level = power_to_db(speech / time);
        found = Some(level - excess_db(level - threshold));
        if level - threshold <= MARGIN_DB {
            break;
        }
        threshold += STEP_DB;
    }
    found.ok_or(Doubt::TooNoisy)
}
