//! Background noise: noise floor, signal-to-noise ratio, rumble.

use super::active_level::ActiveLevelMeter;
use super::profile::{Measured, Unavailable};
use crate::blank::blank;
use crate::detectors::voice_activity::P56_MARGIN_DB;
use crate::dsp::{LevelHistogram, SubBlockClock, TriangleDecimator};
use crate::filters::{Cascade, CascadeState, design};
use crate::math::power_to_db;
use crate::units::SampleRate;

/// Sub-blocks in one level.
const POWERS: usize = 5;
/// Levels up to this one count as muted or gated and carry no information about the noise, dB.
const MUTED_DB: f64 = -115.0;
/// Minimum number of levels: two seconds.
const MIN_LEVELS: u64 = 200;
/// Levels within this distance above the 5th percentile count as pauses, dB.
const PAUSE_DB: f64 = 6.0;
/// Minimum speech power relative to the noise power.
const MIN_SPEECH_SHARE: f64 = 0.1;

/// Measures the background noise in the pauses of a voice.
///
/// Noise floor: mean power of the 50 ms levels, taken every 10 ms, that are less than 6 dB above their 5th percentile.
/// Residual speech in the pauses raises this estimate; fluctuating noise lowers it. Both are corrected from the spread
/// of the quietest levels (see `correction_db`).
///
/// Signal-to-noise ratio: power beyond the noise, over the active time, relative to the noise floor.
///
/// Memory 5.5 kB. Tested by `the_noise_floor_of_an_interrupted_tone_is_the_noise` and measured by the group `levels` of
/// `tests/accuracy`.
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

blank! { BackgroundNoiseMeter { clock, energy, powers, count, levels, muted, rumble } }

/// Noise floor and derived quantities.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NoiseFloor {
    /// Noise floor, dBFS.
    pub noise_dbfs: Measured<f64>,
    /// Active speech level without the noise, relative to the noise floor, dB.
    pub snr_db: Measured<f64>,
    /// Level below 60 Hz, dBFS, median over time.
    pub rumble_dbfs: f64,
}

impl BackgroundNoiseMeter {
    /// A meter for a sample rate.
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

    /// Processes samples without DC offset.
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

    /// Background noise so far, given the active level meter of the same samples.
    #[must_use]
    pub fn result(&self, active: &ActiveLevelMeter) -> NoiseFloor {
        let noise_dbfs = self.noise_dbfs();
        let snr_db = noise_dbfs.and_then(|noise_dbfs| {
            // Muted parts contain no noise.
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

/// Correction from the mean of the quiet levels to the noise floor, dB.
///
/// Inputs, in dB: the distance from the 1st to the 5th percentile, and from there to that mean. Steady noise has
/// closely spaced levels below a wide range of speech; the mean is 0.5 to 1.4 dB too high. Fluctuating noise, such as
/// babble, spreads the lowest levels; the mean is up to 3 dB too low. Fitted by robust least squares on the development
/// recordings with pink noise, fans, buzz and babble at 5 to 30 dB (see tests/accuracy/RESULTS.md).
fn correction_db(spread_db: f64, over_db: f64) -> f64 {
    let (u, v) = (spread_db.clamp(0.0, 4.0), over_db.clamp(0.0, 4.0));
    0.797 + u * (1.039 - 0.086 * u) + v * (0.529 * v - 2.255)
}

/// Minimum distance of a threshold above the noise, which the noise then does not reach, dB.
const CLEAR_DB: f64 = 6.0;
/// Resolution of the threshold, dB.
const STEP_DB: f64 = 0.25;
/// Highest threshold, dB.
const TOP_DB: f64 = 3.0;

/// Active speech level without the noise, which is present for a `share` of the time.
///
/// As in P.56, but with the energy beyond the noise and a threshold of at least 6 dB above the noise. A higher
/// threshold yields a higher level; the difference is nearly the same for all voices (see `excess_db`).
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

/// Excess of the active speech level measured with a threshold `margin_db` below it instead of 15.9 dB, dB.
///
/// Medians over the same voices without noise. Nine tenths lie within 0.9 dB at 4 dB, 0.4 dB at 8 dB and 0.2 dB at
/// 12 dB.
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

/// Lower limit of the decimated rate at which rumble is measured, Hz.
const LOW_RATE_HZ: f64 = 1_000.0;
/// Cut-off of the eighth-order Butterworth low-pass, Hz: 12.7 dB down at 60 Hz, 33 dB at the lowest notes of a male
/// voice.
const RUMBLE_HZ: f64 = 50.0;
/// Rumble levels per second.
const RUMBLE_PER_S: f64 = 10.0;

/// Measures the level of rumble below the voice.
///
/// The rate is decimated to about 1 kHz by a triangle of twice the step, which attenuates aliases into the band by at
/// least 45 dB. An eighth-order low-pass follows. The result is the median of 100 ms powers, so a single thump or puff
/// of breath does not count.
#[derive(Clone, Debug)]
struct Rumble {
    decimator: TriangleDecimator,
    filter: Cascade<4>,
    state: CascadeState<1, 4>,
    /// Samples per level at the decimated rate.
    length: u32,
    /// Samples and energy of the current level.
    count: u32,
    energy: f64,
    levels: LevelHistogram,
}

blank! { Rumble { decimator, filter, state, length, count, energy, levels } }

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

    /// Median level, dBFS; at least -130 dBFS.
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

    /// Phrases of a tone, 1.3 s on and 0.7 s off, whose level swings by 12 dB, over noise of a level in dBFS.
    fn interrupted_tone(rate_hz: f64, hz: f64, noise_db: f64) -> Vec<f32> {
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
    fn the_noise_floor_of_an_interrupted_tone_is_the_noise() {
        for rate_hz in [8_000.0, 11_025.0, 16_000.0, 44_100.0, 48_000.0] {
            let mut clean = ActiveLevelMeter::new(rate_hz);
            clean.push(&interrupted_tone(rate_hz, 300.0, -200.0));
            let speech = clean.result().unwrap().level_dbov;
            // Closer noise engages the correction for voices, which does not fit a tone.
            for noise_db in [-42.0, -50.0, -65.0, -80.0] {
                let floor = measured(rate_hz, &interrupted_tone(rate_hz, 300.0, noise_db), 1_000);
                let noise = floor.noise_dbfs.unwrap();
                assert!((noise - noise_db).abs() < 1.0, "{rate_hz} {noise_db}: {noise}");
                let snr = floor.snr_db.unwrap();
                assert!((snr - (speech - noise_db)).abs() < 1.5, "{rate_hz} {noise_db}: {snr}");
            }
        }
    }

    #[test]
    fn block_size_does_not_change_the_result_nor_level_the_ratio() {
        let signal = interrupted_tone(11_025.0, 200.0, -45.0);
        let whole = measured(11_025.0, &signal, signal.len());
        assert_eq!(measured(11_025.0, &signal, 13), whole);
        let quiet: Vec<f32> = signal.iter().map(|s| 0.1 * s).collect();
        let quiet = measured(11_025.0, &quiet, 512);
        assert!((quiet.noise_dbfs.unwrap() + 20.0 - whole.noise_dbfs.unwrap()).abs() < 0.05);
        assert!((quiet.snr_db.unwrap() - whole.snr_db.unwrap()).abs() < 0.3);
    }

    #[test]
    fn noise_has_no_signal_to_noise_ratio_and_silence_no_noise_floor() {
        let mut noise = Noise(3);
        let signal: Vec<f32> = (0..160_000).map(|_| (0.1 * noise.unit()) as f32).collect();
        assert_eq!(measured(16_000.0, &signal, 100).snr_db, Err(Unavailable::TooNoisy));
        assert_eq!(measured(16_000.0, &[0.0; 80_000], 100).noise_dbfs, Err(Unavailable::Silence));
        assert_eq!(measured(16_000.0, &signal[..16_000], 100).noise_dbfs, Err(Unavailable::TooShort));
    }

    #[test]
    fn rumble_is_the_level_below_the_voice() {
        for rate_hz in [8_000.0, 11_025.0, 44_100.0, 48_000.0] {
            let sine = |hz: f64| -> Vec<f32> {
                let turn = std::f64::consts::TAU * hz / rate_hz;
                (0..(4.0 * rate_hz) as u64).map(|n| (0.1 * libm::sin(turn * n as f64)) as f32).collect()
            };
            for hz in [12.0, 25.0, 40.0] {
                let level = measured(rate_hz, &sine(hz), 64).rumble_dbfs;
                assert!((level + 23.01).abs() < 0.5, "{rate_hz} {hz}: {level}");
            }
            // Negative control: the lowest voice, and frequencies that could alias.
            for hz in [80.0, 120.0, 960.0, 1_040.0, 2_000.0, 3_010.0] {
                let level = measured(rate_hz, &sine(hz), 64).rumble_dbfs;
                assert!(level < -23.0 - 30.0, "{rate_hz} {hz}: {level}");
            }
        }
    }
}
