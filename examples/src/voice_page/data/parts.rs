//! Measured quantities in their JSON form.

use super::rounded::{to, two};
use serde::Serialize;
use voicechain_core::measure::profile;
use voicechain_core::speech::BYRNE_1994_COMBINED;

#[derive(Serialize)]
pub(super) struct Clipping {
    runs: u32,
    samples: u64,
}

impl From<profile::Clipping> for Clipping {
    fn from(clipping: profile::Clipping) -> Self {
        Self { runs: clipping.runs, samples: clipping.samples }
    }
}

#[derive(Serialize)]
pub(super) struct Transients {
    count: u32,
    per_10_s: Option<f64>,
    max_excess_db: Option<f64>,
}

impl From<profile::Transients> for Transients {
    fn from(transients: profile::Transients) -> Self {
        Self {
            count: transients.count,
            per_10_s: two(transients.per_10_s),
            max_excess_db: two(transients.max_excess_db),
        }
    }
}

#[derive(Serialize)]
pub(super) struct Hum {
    frequency_hz: Option<f64>,
    level_dbfs: Option<f64>,
}

impl From<profile::Hum> for Hum {
    fn from(hum: profile::Hum) -> Self {
        Self { frequency_hz: two(hum.frequency_hz), level_dbfs: two(hum.level_dbfs) }
    }
}

#[derive(Serialize)]
pub(super) struct Pitch {
    low: Option<f64>,
    median: Option<f64>,
    high: Option<f64>,
}

impl From<profile::Pitch> for Pitch {
    fn from(pitch: profile::Pitch) -> Self {
        Self { low: two(pitch.low_hz), median: two(pitch.median_hz), high: two(pitch.high_hz) }
    }
}

#[derive(Serialize)]
pub(super) struct Sibilance {
    frequency_hz: Option<f64>,
    excess_db: Option<f64>,
    share_percent: Option<f64>,
}

impl From<profile::Sibilance> for Sibilance {
    fn from(sibilance: profile::Sibilance) -> Self {
        Self {
            frequency_hz: two(sibilance.frequency_hz),
            excess_db: two(sibilance.excess_db),
            share_percent: two(sibilance.share_percent),
        }
    }
}

#[derive(Serialize)]
pub(super) struct Resonance {
    frequency_hz: Option<f64>,
    prominence_db: Option<f64>,
    q: Option<f64>,
    confidence: Option<f64>,
    acted_on: bool,
}

impl Resonance {
    /// A resonance; `acted_on` tells whether the proposal cuts it.
    pub(super) fn new(found: &profile::Resonance, acted_on: bool) -> Self {
        Self {
            frequency_hz: two(found.frequency_hz),
            prominence_db: two(found.prominence_db),
            q: two(found.q),
            confidence: to(4, found.confidence),
            acted_on,
        }
    }
}

#[derive(Serialize)]
pub(super) struct Band {
    frequency_hz: f64,
    level_dbfs: Option<f64>,
    deviation_db: Option<f64>,
}

/// Third-octave bands with levels and deviations from published speech.
pub(super) fn third_octaves(tonal_balance: &profile::TonalBalance) -> Vec<Band> {
    let bands = BYRNE_1994_COMBINED.iter().zip(tonal_balance.bands_dbfs).zip(tonal_balance.deviation_db);
    bands
        .map(|((&(frequency_hz, _), level), deviation)| Band {
            frequency_hz,
            level_dbfs: level.and_then(two),
            deviation_db: deviation.and_then(two),
        })
        .collect()
}
