//! What is heard: a voice, several, or something else.
//!
//! A voice changes its level with its syllables; noise and most music do so far less. Rises of the level that repeat at
//! one distance, a beat, are music's, not a voice's. Tones keep their level or their partials. All thresholds stand
//! between what half of some fifty recorded voices (clean, with pink noise and air 10 dB below, in a room, whispered,
//! sung by a synthetic voice) and half of fifteen pieces of music show; hits and false alarms of each, on both halves, are
//! printed by the group `signal_class` of `tests/accuracy`.

mod envelope_modulation;
mod invalid_signal;
mod partial_tracker;
mod speaker_turns;

pub(crate) use invalid_signal::InvalidSignalDetector;

use super::profile::SignalClass;
use super::spectra::{Framing, Spectrum};
use crate::detectors::voice_activity::P56_MARGIN_DB;
use envelope_modulation::EnvelopeModulation;
use partial_tracker::PartialTracker;
use speaker_turns::SpeakerTurns;

/// A sound of which this share stands still is a tone.
const STILL: f64 = 0.5;
/// So is one whose level never rises by more than this, dB, with a spectrum less flat than any noise's, dB. A voice with 10 dB
/// of noise rises by 3.7 dB and more.
const LEVEL_DB: f64 = 2.0;
const PEAKED_DB: f64 = -12.0;
/// The least change by syllables that a voice has without a beat, by how many nepers a whole beat asks for more, and what
/// is enough whatever the beat (between voices in noise, 0.19 and more, and noise, 0.06 and less).
const SYLLABLES: f64 = 0.093;
const PER_BEAT: f64 = 3.95;
const ENOUGH: f64 = 0.4;
/// A voice in a room with noise under it changes the level less than that, for the noise fills the pauses and the room the
/// gaps. Over the floor alone it then changes so many times what is asked (4.2 times and more, music that is refused up to
/// 1.9), and its level rises by so much, dB (4.0 and more, noise up to 2.4; two voices that rise by 2.2 and 2.9 in their noise
/// stay unknown).
const OVER_FLOOR: f64 = 2.8;
const RISES_DB: f64 = 3.1;
/// Noise keeps its flatness within this standard deviation, dB.
const EVEN_DB: f64 = 1.65;

/// Tells voices from what is none, from the spectra and the pitch of a mono recording. Memory 8 kB.
#[derive(Clone, Debug)]
pub(crate) struct SignalClassifier {
    modulation: EnvelopeModulation,
    partials: PartialTracker,
    turns: SpeakerTurns,
}

impl SignalClassifier {
    /// For spectra of short and of long frames.
    pub(crate) fn new(short: &Framing, long: &Framing) -> Self {
        Self {
            modulation: EnvelopeModulation::new(short),
            partials: PartialTracker::new(long),
            turns: SpeakerTurns::new(),
        }
    }

    /// Takes the spectrum of a short frame.
    pub(crate) fn short_frame(&mut self, spectrum: &Spectrum<'_>) {
        self.modulation.frame(spectrum);
    }

    /// Takes the spectrum of a long frame.
    pub(crate) fn long_frame(&mut self, spectrum: &Spectrum<'_>) {
        self.partials.frame(spectrum);
    }

    /// Takes the pitch in Hz, where there is one, and the level in dB of a hop of 20 ms.
    pub(crate) fn pitch(&mut self, pitch: Option<f32>, level_db: f64) {
        self.turns.push(pitch, level_db);
    }

    /// What at least two seconds of sound at an active level are.
    pub(crate) fn signal_class(&self, active_level_dbov: f64) -> SignalClass {
        let from_db = active_level_dbov - P56_MARGIN_DB;
        let [flatness, varies] = self.modulation.flatness_db(from_db);
        if self.partials.share(from_db) > STILL || (self.modulation.rise_db() < LEVEL_DB && flatness < PEAKED_DB) {
            return SignalClass::Tone;
        }
        let asked = (SYLLABLES * libm::exp(PER_BEAT * self.modulation.beat())).min(ENOUGH);
        let syllabic_modulation = self.modulation.syllabic_modulation();
        let over_floor = self.modulation.rise_db() > RISES_DB
            && self.modulation.syllabic_modulation_over_floor() > OVER_FLOOR * asked;
        if syllabic_modulation < asked && !over_floor {
            return if varies < EVEN_DB { SignalClass::Noise } else { SignalClass::Music };
        }
        if self.turns.several() { SignalClass::SeveralVoices } else { SignalClass::Voice }
    }
}
