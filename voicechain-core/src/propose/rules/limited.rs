//! Whether a voice comes limited: its highest peak hardly exceeds its typical peaks.

use super::known::known;
use crate::measure::Profile;

/// Highest peak above the typical peak below which a voice is limited, dB. Chosen on the development recordings (see
/// tests/accuracy/RESULTS.md).
pub(super) const LIMITED_PEAK_DB: f64 = 1.5;
/// The same below which at least the loudest words are limited, dB. Chosen on copies of the recordings of both halves,
/// limited by 8 dB: five of 47 lie between the two. So do many recordings as they are.
pub(super) const FLATTENED_PEAK_DB: f64 = 3.5;

/// The quantity as the subject of a sentence.
pub(super) const HIGHEST_PEAK: &str = "the highest peak relative to the 95th percentile of speech peaks";

/// Highest sample peak relative to the 95th percentile of speech peaks, dB.
pub(super) fn highest_peak_db(profile: &Profile) -> Option<f64> {
    let level = &profile.level;
    Some(known(level.active_level_dbov)? + known(level.crest_db)? - known(level.speech_peak_dbfs)?)
}

/// True if the voice comes limited.
pub(super) fn is_limited(profile: &Profile) -> bool {
    highest_peak_db(profile).is_some_and(|db| db < LIMITED_PEAK_DB)
}

/// True if at least the loudest words come limited.
pub(super) fn is_flattened(profile: &Profile) -> bool {
    highest_peak_db(profile).is_some_and(|db| db < FLATTENED_PEAK_DB)
}
