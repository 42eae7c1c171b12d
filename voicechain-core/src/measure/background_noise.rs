//! What is under the voice: noise floor, signal-to-noise, rumble.

use super::active_level::ActiveLevelMeter;
use super::profile::{Measured, Unavailable};
use crate::detectors::voice_activity::P56_MARGIN_DB;
use crate::dsp::{LevelHistogram, SubBlockClock, TriangleDecimator};
use crate::filters::{Cascade, CascadeState, design};
use crate::math::power_to_db;
use crate::units::SampleRate;

/// Powers of sub-blocks that make a level.
const POWERS: usize = 5;
/// Less is no sound but what is left of it when a recording is muted or gated, dB. It says nothing of the noise.
const MUTED_DB: f64 = -115.0;
/// Fewest levels that show the pauses: two seconds.
const MIN_LEVELS: u64 = 200;
/// What is at most so far over the quietest twentieth is pause, dB.
const PAUSE_DB: f64 = 6.0;
/// The speech must have this share of the noise's power before its level means anything.
const MIN_SPEECH_SHARE: f64 = 0.1;

/// Hears what is left in the pauses of a voice.
///
/// The noise floor is read from the powers of 50 ms, every 10 ms: mean power of those that are less than 6 dB over their
/// 5th percentile. That is too high by what the voice leaves in the pauses, and too low where the noise itself rises and
/// falls; both can be seen in how the quietest levels are spread, and are corrected by a rule that was fitted to voices
/// with known noise (see `correction_db`). The signal-to-noise ratio compares the power of everything beyond the noise,
/// over the time in which somebody speaks, with the noise. Memory 5.5 kB. Tested by
/// `the_floor_of_a_broken_tone_is_the_noise` and measured by the group `levels` of `tests/accuracy`.
#[derive(Clone, Debug)]
pub struct BackgroundNoiseMeter {
    clock: SubBlockClock,
    energy: f64,
    powers: [f64; POWERS],
    count: u64,
    levels: LevelHistogram,
    muted: u64,
    rumble: Rumble,
}

/// Noise floor and what depends on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NoiseFloor {
    /// Noise floor, dBFS.
    pub noise_dbfs: Measured<f64>,
    /// Active speech level without the noise, over the noise floor, dB.
    pub snr_db: Measured<f64>,
    /// Level of what lies under 60 Hz, dBFS, median over time.
    pub rumble_dbfs: f64,
}

impl BackgroundNoiseMeter {
    /// A meter for a rate.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        Self {
            clock: SubBlockClock::new(rate),
            energy: 0.0,
            powers: [0.0; POWERS],
            count: 0,
            levels: LevelHistogram::new(),
            muted: 0,
            rumble: Rumble::new(rate.hz()),
        }
    }

    /// Takes samples without DC offset.
    pub fn push(&mut self, samples: &[f32]) {
        self.rumble.push(samples);
        let Self { clock, energy, powers, count, levels, muted, .. } = self;
        clock.cut(samples, |part, complete| {
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
    pub fn result(&self, active: &ActiveLevelMeter) -> NoiseFloor {
        let noise_dbfs = self.noise_dbfs();
        let snr_db = noise_dbfs.and_then(|noise_dbfs| {
            // Where the recording is muted there is no noise either.
            let share = self.levels.total() as f64 / (self.levels.total() + self.muted) as f64;
            speech_dbov(active, noise_dbfs, share).map(|speech_dbov| speech_dbov - noise_dbfs)
        });
        NoiseFloor { noise_dbfs, snr_db, rumble_dbfs: self.rumble.level_dbfs() }
    }

    fn noise_dbfs(&self) -> Measured<f64> {
        let (Some(lowest), Some(low)) = (self.levels.percentile(0.01), self.levels.percentile(0.05)) else {
            return Err(if self.count < MIN_LEVELS { Unavailable::TooShort } else { Unavailable::Silence });
        };
        if self.levels.total() < MIN_LEVELS {
            return Err(Unavailable::TooShort);
        }
        let floor = power_to_db(self.levels.mean_power_below(low + PAUSE_DB).ok_or(Unavailable::Silence)?);
        Ok(floor + correction_db(low - lowest, floor - low))
    }
}

/// What the noise is over the mean of the quiet levels, dB, from two distances in dB: from their 1st to their 5th
/// percentile, and from there to that mean.
///
/// Steady noise gives levels that lie close together with a wide share of voice above them: the mean is some 0.5 to 1.4 dB
/// too high. Noise that rises and falls, as many voices do, spreads the lowest levels: the mean is up to 3 dB too low. Fitted
/// (robust least squares) on half of thirty-five real voices with pink noise, fans, buzz and babble at 5 to 30 dB; on the
/// other half 97 % were within 2 dB.
fn correction_db(spread_db: f64, over_db: f64) -> f64 {
    let (u, v) = (spread_db.clamp(0.0, 4.0), over_db.clamp(0.0, 4.0));
    0.797 + u * (1.039 - 0.086 * u) + v * (0.529 * v - 2.255)
}

/// A threshold so far over the noise is not reached by it, dB.
const CLEAR_DB: f64 = 6.0;
/// Resolution of the threshold, dB.
const STEP_DB: f64 = 0.25;
/// Above this nothing is looked for, dB.
const TOP_DB: f64 = 3.0;

/// Active speech level without the noise, which is heard for a share of the time.
///
/// As P.56, but the energy is that beyond the noise, and the threshold is not lower than 6 dB over the noise. A voice's level
/// over a higher threshold is higher; by how much is nearly the same for all voices.
fn speech_dbov(active: &ActiveLevelMeter, noise_dbfs: f64, share: f64) -> Measured<f64> {
    let noise = share * libm::exp10(0.1 * noise_dbfs);
    let speech = active.mean_power() - noise;
    if speech < MIN_SPEECH_SHARE * noise {
        return Err(Unavailable::TooNoisy);
    }
    let mut threshold = (noise_dbfs + CLEAR_DB).max(super::active_level::LOWEST_DB);
    let mut found = None;
    while threshold < TOP_DB {
        let time = active.share_above(threshold);
        if time <= 0.0 {
            break;
        }
        let level = power_to_db(speech / time);
        found = Some(level - excess_db(level - threshold));
        if level - threshold <= P56_MARGIN_DB {
            break;
        }
        threshold += STEP_DB;
    }
    found.ok_or(Unavailable::TooNoisy)
}

/// How much higher a voice's active level is over a threshold that is less than 15.9 dB under it, dB, by that margin.
///
/// Medians of the same voices without noise; nine tenths lie within 0.9 dB at 4 dB, 0.4 dB at 8 dB and 0.2 dB at 12 dB.
fn excess_db(margin_db: f64) -> f64 {
    const EXCESS: [(f64, f64); 8] = [
        (3.0, 3.15),
        (4.0, 2.4),
        (5.0, 1.87),
        (6.0, 1.45),
        (8.0, 0.86),
        (10.0, 0.51),
        (12.0, 0.3),
        (P56_MARGIN_DB, 0.0),
    ];
    let mut last = EXCESS[0];
    for next in EXCESS {
        if margin_db <= next.0 {
            let part = if next.0 > last.0 { (margin_db - last.0).max(0.0) / (next.0 - last.0) } else { 0.0 };
            return last.1 + part * (next.1 - last.1);
        }
        last = next;
    }
    0.0
}

/// The rate at which rumble is heard is the lowest fraction of the input's that is not below this, Hz.
const LOW_RATE_HZ: f64 = 1_000.0;
/// Butterworth low-pass of order 8: 12.7 dB down at 60 Hz, 33 dB at the lowest notes of a man's voice.
const RUMBLE_HZ: f64 = 50.0;
/// Levels of rumble per second.
const RUMBLE_PER_S: f64 = 10.0;

/// The level of what lies below the voice.
///
/// The rate is lowered to some 1 kHz by a triangle of twice the step, which puts what would fold into the band at least
/// 45 dB down; then a low-pass of order 8. The median of the powers of 100 ms: a thump or a puff of breath does not count.
#[derive(Clone, Debug)]
struct Rumble {
    decimator: TriangleDecimator,
    filter: Cascade<4>,
    state: CascadeState<1, 4>,
    /// Low-rate samples per level; their number and energy so far.
    length: u32,
    count: u32,
    energy: f64,
    levels: LevelHistogram,
}

impl Rumble {
    fn new(rate_hz: f64) -> Self {
        let every = libm::floor(rate_hz / LOW_RATE_HZ).max(1.0);
        let low_rate_hz = rate_hz / every;
        Self {
            decimator: TriangleDecimator::new(every as u32),
            filter: Cascade::new(design::butterworth_low_pass_at(RUMBLE_HZ, low_rate_hz)),
            state: CascadeState::new(),
            length: (low_rate_hz / RUMBLE_PER_S) as u32,
            count: 0,
            energy: 0.0,
            levels: LevelHistogram::new(),
        }
    }

    fn push(&mut self, samples: &[f32]) {
        let Self { decimator, filter, state, length, count, energy, levels } = self;
        decimator.push(samples, |sample| {
            let mut frame = [[sample]];
            filter.run(state, &mut frame);
            let low = f64::from(frame[0][0]);
            *energy += low * low;
            *count += 1;
            if count == length {
                levels.push(power_to_db(*energy / f64::from(*count)));
                (*energy, *count) = (0.0, 0);
            }
        });
    }

    /// Median level, dBFS; -130 at the least.
    fn level_dbfs(&self) -> f64 {
        self.levels.percentile(0.5).unwrap_or(-130.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    extern crate std;
    use std::vec::Vec;

    struct Noise(u64);

    impl Noise {
        fn unit(&mut self) -> f64 {
            self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (self.0 >> 40) as f64 / f64::from(1 << 23) - 1.0
        }
    }

    /// Phrases of a tone whose level swings by 12 dB, 1.3 s on and 0.7 s off, over noise of a level in dBFS.
    fn broken_tone(rate_hz: f64, hz: f64, noise_db: f64) -> Vec<f32> {
        let mut noise = Noise(7);
        let amplitude = libm::exp10(noise_db / 20.0) * libm::sqrt(3.0);
        (0..(20.0 * rate_hz) as u64)
            .map(|n| {
                let t = n as f64 / rate_hz;
                let swing = libm::exp10(0.3 * libm::sin(std::f64::consts::TAU * 4.0 * t));
                let tone = 0.1 * swing * libm::sin(std::f64::consts::TAU * hz * t);
                ((if t % 2.0 < 1.3 { tone } else { 0.0 }) + amplitude * noise.unit()) as f32
            })
            .collect()
    }

    fn measured(rate_hz: f64, signal: &[f32], split: usize) -> NoiseFloor {
        let (mut background_noise, mut active) =
            (BackgroundNoiseMeter::new(SampleRate::new(rate_hz).unwrap()), ActiveLevelMeter::new(rate_hz));
        for piece in signal.chunks(split) {
            background_noise.push(piece);
            active.push(piece);
        }
        background_noise.result(&active)
    }

    #[test]
    fn the_floor_of_a_broken_tone_is_the_noise() {
        for rate_hz in [8_000.0, 11_025.0, 16_000.0, 44_100.0, 48_000.0] {
            let mut clean = ActiveLevelMeter::new(rate_hz);
            clean.push(&broken_tone(rate_hz, 300.0, -200.0));
            let speech = clean.result().unwrap().level_dbov;
            // Closer to the noise the level is completed by what voices do, which a tone does not.
            for noise_db in [-42.0, -50.0, -65.0, -80.0] {
                let floor = measured(rate_hz, &broken_tone(rate_hz, 300.0, noise_db), 1_000);
                let noise = floor.noise_dbfs.unwrap();
                assert!((noise - noise_db).abs() < 1.0, "{rate_hz} {noise_db}: {noise}");
                let snr = floor.snr_db.unwrap();
                assert!((snr - (speech - noise_db)).abs() < 1.5, "{rate_hz} {noise_db}: {snr}");
            }
        }
    }

    #[test]
    fn any_split_gives_the_same_bits_and_any_level_the_same_ratio() {
        let signal = broken_tone(11_025.0, 200.0, -45.0);
        let whole = measured(11_025.0, &signal, signal.len());
        assert_eq!(measured(11_025.0, &signal, 13), whole);
        let quiet: Vec<f32> = signal.iter().map(|s| 0.1 * s).collect();
        let quiet = measured(11_025.0, &quiet, 512);
        assert!((quiet.noise_dbfs.unwrap() + 20.0 - whole.noise_dbfs.unwrap()).abs() < 0.05);
        assert!((quiet.snr_db.unwrap() - whole.snr_db.unwrap()).abs() < 0.3);
    }

    #[test]
    fn noise_alone_has_no_ratio_and_silence_no_floor() {
        let mut noise = Noise(3);
        let signal: Vec<f32> = (0..160_000).map(|_| (0.1 * noise.unit()) as f32).collect();
        assert_eq!(measured(16_000.0, &signal, 100).snr_db, Err(Unavailable::TooNoisy));
        assert_eq!(measured(16_000.0, &[0.0; 80_000], 100).noise_dbfs, Err(Unavailable::Silence));
        assert_eq!(measured(16_000.0, &signal[..16_000], 100).noise_dbfs, Err(Unavailable::TooShort));
    }

    #[test]
    fn rumble_is_what_lies_below_the_voice() {
        for rate_hz in [8_000.0, 11_025.0, 44_100.0, 48_000.0] {
            let sine = |hz: f64| -> Vec<f32> {
                let turn = std::f64::consts::TAU * hz / rate_hz;
                (0..(4.0 * rate_hz) as u64).map(|n| (0.1 * libm::sin(turn * n as f64)) as f32).collect()
            };
            for hz in [12.0, 25.0, 40.0] {
                let level = measured(rate_hz, &sine(hz), 64).rumble_dbfs;
                assert!((level + 23.01).abs() < 0.5, "{rate_hz} {hz}: {level}");
            }
            // Negative control: the lowest voice, and what could fold.
            for hz in [80.0, 120.0, 960.0, 1_040.0, 2_000.0, 3_010.0] {
                let level = measured(rate_hz, &sine(hz), 64).rumble_dbfs;
                assert!(level < -23.0 - 30.0, "{rate_hz} {hz}: {level}");
            }
        }
    }
}
