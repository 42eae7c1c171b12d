//! Signal class: one voice, several, or something else.
//!
//! A voice changes its level with its syllables; noise and most music change far less. Level rises that repeat at a
//! fixed interval, a beat, indicate music. Tones keep their level or their partials. Thresholds were chosen on the
//! development recordings. Hit and false-alarm rates on both halves are measured by the group `signal_class` of
//! `tests/accuracy`.

mod envelope_modulation;
mod invalid_signal;
mod partial_tracker;
mod speaker_turns;

pub(crate) use invalid_signal::InvalidSignalDetector;

use super::profile::SignalClass;
use super::spectra::{Framing, Spectrum};
use crate::blank::blank;
use crate::detectors::voice_activity::P56_MARGIN_DB;
use envelope_modulation::EnvelopeModulation;
use partial_tracker::PartialTracker;
use speaker_turns::SpeakerTurns;

/// Minimum share of steady partials in a tone.
const MIN_STEADY_SHARE: f64 = 0.5;
/// A signal is also a tone if its level rises by less than this, dB. Voices with 10 dB of noise rise by at least
/// 3.7 dB.
const MAX_TONE_RISE_DB: f64 = 2.0;
/// Its spectral flatness must also be below this, which is less than that of any noise, dB.
const MAX_TONE_FLATNESS_DB: f64 = -12.0;
/// Minimum syllabic modulation of a voice without a beat.
const MIN_SYLLABIC_MODULATION: f64 = 0.093;
/// Increase of that minimum for a full beat, nepers.
const BEAT_EXPONENT: f64 = 3.95;
/// Syllabic modulation that suffices whatever the beat.
const SUFFICIENT_MODULATION: f64 = 0.4;
/// Alternative for reverberant voices in noise, whose pauses and gaps are filled: minimum syllabic modulation above the
/// floor, as a multiple of the required modulation.
const OVER_FLOOR_FACTOR: f64 = 2.8;
/// Minimum level rise for this alternative, dB.
const MIN_RISE_DB: f64 = 3.1;
/// Maximum standard deviation of the spectral flatness of noise, dB.
const MAX_NOISE_DEVIATION_DB: f64 = 1.65;

/// Classifies a mono recording from its spectra and pitch. Memory 8 kB.
#[derive(Clone, Debug)]
pub(crate) struct SignalClassifier {
    modulation: EnvelopeModulation,
    partials: PartialTracker,
    turns: SpeakerTurns,
}

blank! { SignalClassifier { modulation, partials, turns } }

impl SignalClassifier {
    /// A classifier for spectra of short and long frames.
    pub(crate) fn new(short: &Framing, long: &Framing) -> Self {
        Self {
            modulation: EnvelopeModulation::new(short),
            partials: PartialTracker::new(long),
            turns: SpeakerTurns::new(),
        }
    }

    /// Processes the spectrum of a short frame.
    pub(crate) fn short_frame(&mut self, spectrum: &Spectrum<'_>) {
        self.modulation.frame(spectrum);
    }

    /// Processes the spectrum of a long frame.
    pub(crate) fn long_frame(&mut self, spectrum: &Spectrum<'_>) {
        self.partials.frame(spectrum);
    }

    /// Processes the pitch in Hz, if voiced, and the level in dB of a hop of 20 ms.
    pub(crate) fn pitch(&mut self, pitch: Option<f32>, level_db: f64) {
        self.turns.push(pitch, level_db);
    }

    /// Class of at least two seconds of sound at an active level.
    pub(crate) fn signal_class(&self, active_level_dbov: f64) -> SignalClass {
        let from_db = active_level_dbov - P56_MARGIN_DB;
        let [flatness, flatness_deviation] = self.modulation.flatness_db(from_db);
        if self.partials.share(from_db) > MIN_STEADY_SHARE
            || (self.modulation.rise_db() < MAX_TONE_RISE_DB && flatness < MAX_TONE_FLATNESS_DB)
        {
            return SignalClass::Tone;
        }
        let required =
            (MIN_SYLLABIC_MODULATION * libm::exp(BEAT_EXPONENT * self.modulation.beat())).min(SUFFICIENT_MODULATION);
        let syllabic_modulation = self.modulation.syllabic_modulation();
        let over_floor = self.modulation.rise_db() > MIN_RISE_DB
            && self.modulation.syllabic_modulation_over_floor() > OVER_FLOOR_FACTOR * required;
        if syllabic_modulation < required && !over_floor {
            return if flatness_deviation < MAX_NOISE_DEVIATION_DB { SignalClass::Noise } else { SignalClass::Music };
        }
        if self.turns.several() { SignalClass::SeveralVoices } else { SignalClass::Voice }
    }
}
