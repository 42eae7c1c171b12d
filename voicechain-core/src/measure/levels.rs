//! All level measurements: speech, peaks, level consistency, transients, background noise.

use super::active_level::{ActiveLevelMeter, ActiveSpeech};
use super::background_noise::{BackgroundNoiseMeter, NoiseFloor};
use super::dc_blocker::DcBlocker;
use super::level_consistency::LevelConsistencyMeter;
use super::peaks::SpeechPeakMeter;
use super::profile::{LevelConsistency, Measured, Transients, Unavailable};
use crate::blank::blank;
use crate::units::SampleRate;

/// Samples per block of DC removal.
const BLOCK: usize = 256;
/// Minimum active level of speech, dBov.
const LOWEST_DBOV: f64 = -75.0;

/// Measures all levels of a mono recording. A DC offset is removed first. Results do not depend on the block size.
#[derive(Clone, Debug)]
pub struct LevelMeter {
    dc_blocker: DcBlocker,
    active: ActiveLevelMeter,
    peaks: SpeechPeakMeter,
    level_consistency: LevelConsistencyMeter,
    background_noise: BackgroundNoiseMeter,
}

blank! { LevelMeter { dc_blocker, active, peaks, level_consistency, background_noise } }

/// Results of a [`LevelMeter`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LevelReadings {
    /// Active speech.
    pub active: Measured<ActiveSpeech>,
    /// Highest sample without DC offset, relative to the active speech level, dB.
    pub crest_db: Measured<f64>,
    /// 95th percentile of the sample peaks of 10 ms segments during active speech, dBFS.
    pub speech_peak_dbfs: Measured<f64>,
    /// Level consistency.
    pub level_consistency: Measured<LevelConsistency>,
    /// Transients.
    pub transients: Measured<Transients>,
    /// Noise floor, signal-to-noise ratio, rumble.
    pub noise_floor: NoiseFloor,
    /// Mean of all samples, as a fraction of full scale.
    pub dc_offset: f64,
}

impl LevelMeter {
    /// A meter for a sample rate.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        Self {
            dc_blocker: DcBlocker::new(rate.hz()),
            active: ActiveLevelMeter::new(rate.hz()),
            peaks: SpeechPeakMeter::new(rate),
            level_consistency: LevelConsistencyMeter::new(rate),
            background_noise: BackgroundNoiseMeter::new(rate),
        }
    }

    /// Processes finite samples.
    pub fn push(&mut self, samples: &[f32]) {
        let mut block = [0.0; BLOCK];
        for piece in samples.chunks(BLOCK) {
            let block = &mut block[..piece.len()];
            self.dc_blocker.run(piece, block);
            self.active.push(block);
            self.peaks.push(block);
            self.level_consistency.push(block);
            self.background_noise.push(block);
        }
    }

    /// Results so far.
    #[must_use]
    pub fn result(&self) -> LevelReadings {
        let active = active_speech(&self.active);
        let (level_consistency, transients) = self.level_consistency.result();
        LevelReadings {
            active,
            crest_db: active.map(|speech| self.peaks.peak_dbfs() - speech.level_dbov),
            speech_peak_dbfs: active
                .and_then(|speech| self.peaks.speech_peak_dbfs(speech.level_dbov).ok_or(Unavailable::TooShort)),
            level_consistency: active.and(level_consistency),
            transients: active.and(transients),
            noise_floor: self.background_noise.result(&self.active),
            dc_offset: self.dc_blocker.mean(),
        }
    }
}

/// Active speech, if it is loud enough to be speech.
pub(crate) fn active_speech(active: &ActiveLevelMeter) -> Measured<ActiveSpeech> {
    active.result().filter(|speech| speech.level_dbov >= LOWEST_DBOV).ok_or(Unavailable::Silence)
}

#[cfg(test)]
mod tests {
    use super::*;
    extern crate std;
    use std::f64::consts::TAU;
    use std::vec::Vec;

    /// Bursts of a tone over faint hiss, with a DC offset.
    fn signal(offset: f32) -> Vec<f32> {
        let mut state = 1_u32;
        (0..30 * 16_000_u32)
            .map(|n| {
                let t = f64::from(n) / 16_000.0;
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let hiss = f64::from(state >> 8) / f64::from(1 << 23) - 1.0;
                let on = if t % 2.0 < 1.2 { 0.1 } else { 0.0 };
                (on * libm::sin(TAU * 250.0 * t) + 1e-3 * hiss) as f32 + offset
            })
            .collect()
    }

    fn measured(signal: &[f32], split: usize) -> LevelReadings {
        let mut levels = LevelMeter::new(SampleRate::new(16_000.0).unwrap());
        signal.chunks(split).for_each(|piece| levels.push(piece));
        levels.result()
    }

    /// Without DC removal an offset of -30 dB would dominate the noise floor.
    #[test]
    fn a_dc_offset_affects_only_its_own_reading() {
        let (without, with) = (measured(&signal(0.0), 512), measured(&signal(0.03), 512));
        assert!((with.dc_offset - 0.03).abs() < 1e-4 && without.dc_offset.abs() < 1e-4);
        let near = |a: f64, b: f64| assert!((a - b).abs() < 0.05, "{a} {b}");
        near(with.active.unwrap().level_dbov, without.active.unwrap().level_dbov);
        near(with.active.unwrap().activity_percent, without.active.unwrap().activity_percent);
        near(with.noise_floor.noise_dbfs.unwrap(), without.noise_floor.noise_dbfs.unwrap());
        near(with.noise_floor.snr_db.unwrap(), without.noise_floor.snr_db.unwrap());
        near(with.crest_db.unwrap(), without.crest_db.unwrap());
        near(with.speech_peak_dbfs.unwrap(), without.speech_peak_dbfs.unwrap());
        near(
            with.level_consistency.unwrap().standard_deviation_db,
            without.level_consistency.unwrap().standard_deviation_db,
        );
    }

    #[test]
    fn any_split_gives_the_same_bits() {
        let signal = signal(0.01);
        assert_eq!(measured(&signal, 1), measured(&signal, 4_096));
    }

    #[test]
    fn silence_is_reported() {
        let found = measured(&[0.0; 100_000], 1_000);
        assert_eq!(found.active, Err(Unavailable::Silence));
        assert_eq!(found.level_consistency, Err(Unavailable::Silence));
        assert_eq!(found.noise_floor.snr_db, Err(Unavailable::Silence));
    }
}
