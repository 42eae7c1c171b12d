//! All that is measured of levels: speech, peaks, phrases, spikes, and what lies under them.

use super::active_level::{ActiveLevel, ActiveSpeech};
use super::ground::{Floor, GroundMeter};
use super::offset::Offset;
use super::peaks::Peaks;
use super::phrases::PhraseMeter;
use super::profile::{Doubt, Measured, Phrases, Spikes};
use crate::units::SampleRate;

/// Samples that are freed of their offset at once.
const BLOCK: usize = 256;
/// Speech with a lower active level is no speech, dB.
const LOWEST_DBOV: f64 = -75.0;

/// Measures all levels of a mono recording. A constant offset is taken away before; the same bits for every split.
#[derive(Clone, Debug)]
pub struct Levels {
    offset: Offset,
    active: ActiveLevel,
    peaks: Peaks,
    phrases: PhraseMeter,
    ground: GroundMeter,
}

/// What [`Levels`] measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Levelled {
    /// Active speech.
    pub active: Measured<ActiveSpeech>,
    /// Largest sample, without the offset, over the active speech level, dB.
    pub crest_db: Measured<f64>,
    /// 95th percentile of the sample peaks of 10 ms while somebody speaks, dBFS.
    pub speech_peak_dbfs: Measured<f64>,
    /// Phrases.
    pub phrases: Measured<Phrases>,
    /// Spikes.
    pub spikes: Measured<Spikes>,
    /// Noise floor, signal-to-noise, rumble.
    pub floor: Floor,
    /// The mean of all samples, as a share of full scale.
    pub offset: f64,
}

impl Levels {
    /// A meter for a rate.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        Self {
            offset: Offset::new(rate.hz()),
            active: ActiveLevel::new(rate.hz()),
            peaks: Peaks::new(rate),
            phrases: PhraseMeter::new(rate),
            ground: GroundMeter::new(rate),
        }
    }

    /// Takes samples, all finite.
    pub fn push(&mut self, samples: &[f32]) {
        let mut block = [0.0; BLOCK];
        for piece in samples.chunks(BLOCK) {
            let block = &mut block[..piece.len()];
            self.offset.run(piece, block);
            self.active.push(block);
            self.peaks.push(block);
            self.phrases.push(block);
            self.ground.push(block);
        }
    }

    /// What was found so far.
    #[must_use]
    pub fn result(&self) -> Levelled {
        let active = speech(&self.active);
        let (phrases, spikes) = self.phrases.result();
        Levelled {
            active,
            crest_db: active.map(|speech| self.peaks.highest_dbfs() - speech.level_dbov),
            speech_peak_dbfs: active
                .and_then(|speech| self.peaks.speech_peak_dbfs(speech.level_dbov).ok_or(Doubt::TooShort)),
            phrases: active.and(phrases),
            spikes: active.and(spikes),
            floor: self.ground.result(&self.active),
            offset: self.offset.mean(),
        }
    }
}

/// Active speech, where it is loud enough to be speech.
pub(crate) fn speech(active: &ActiveLevel) -> Measured<ActiveSpeech> {
    active.result().filter(|speech| speech.level_dbov >= LOWEST_DBOV).ok_or(Doubt::Silence)
}

#[cfg(test)]
mod tests {
    use super::*;
    extern crate std;
    use std::f64::consts::TAU;
    use std::vec::Vec;

    /// Phrases of a tone over faint hiss, with an offset.
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

    fn heard(signal: &[f32], split: usize) -> Levelled {
        let mut levels = Levels::new(SampleRate::new(16_000.0).unwrap());
        signal.chunks(split).for_each(|piece| levels.push(piece));
        levels.result()
    }

    /// Without its own removal an offset of -30 dB would be all noise floor.
    #[test]
    fn an_offset_changes_nothing_but_itself() {
        let (without, with) = (heard(&signal(0.0), 512), heard(&signal(0.03), 512));
        assert!((with.offset - 0.03).abs() < 1e-4 && without.offset.abs() < 1e-4);
        let near = |a: f64, b: f64| assert!((a - b).abs() < 0.05, "{a} {b}");
        near(with.active.unwrap().level_dbov, without.active.unwrap().level_dbov);
        near(with.active.unwrap().activity_percent, without.active.unwrap().activity_percent);
        near(with.floor.noise_dbfs.unwrap(), without.floor.noise_dbfs.unwrap());
        near(with.floor.snr_db.unwrap(), without.floor.snr_db.unwrap());
        near(with.crest_db.unwrap(), without.crest_db.unwrap());
        near(with.speech_peak_dbfs.unwrap(), without.speech_peak_dbfs.unwrap());
        near(with.phrases.unwrap().spread_db, without.phrases.unwrap().spread_db);
    }

    #[test]
    fn any_split_gives_the_same_bits() {
        let signal = signal(0.01);
        assert_eq!(heard(&signal, 1), heard(&signal, 4_096));
    }

    #[test]
    fn silence_says_so() {
        let found = heard(&[0.0; 100_000], 1_000);
        assert_eq!(found.active, Err(Doubt::Silence));
        assert_eq!(found.phrases, Err(Doubt::Silence));
        assert_eq!(found.floor.snr_db, Err(Doubt::Silence));
    }
}
