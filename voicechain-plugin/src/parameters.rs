//! Host parameters: one per row of the core's table of settings, and two for monitoring.
//!
//! The host sees positions from 0 to 1 and texts with units. The core maps them with
//! [`SettingInfo::value_at`](voicechain_core::settings::SettingInfo::value_at) and
//! [`text`](voicechain_core::settings::SettingInfo::text). The ids are those of the table and never change.

use crate::parameter::{ChangeCounter, Parameter, switch};
use crate::preferences::Preferences;
use nice_plug::prelude::BoolParam;
use std::sync::atomic::{AtomicBool, AtomicU32, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use voicechain_core::StripSettings;
use voicechain_core::measure::Profile;
use voicechain_core::settings::{DEFAULT_ORDER, REORDERABLE_STAGES, ReorderableStage, SectionId, SettingInfo};
use voicechain_core::strip::{AuditionBand, MonitorMode, Monitoring};

/// Id of the bypass parameter.
pub const BYPASS: &str = "bypass";
/// Id of the parameter that matches the loudness of the unprocessed and the processed signal.
pub const LOUDNESS_MATCH: &str = "loudness_match";

/// Measured profile and proposal for the voice on a track. The audio thread does not access it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct TrackAnalysis {
    /// Measured profile.
    pub profile: Option<Profile>,
    /// Settings that were proposed for it.
    pub proposed: Option<StripSettings>,
}

/// State shared by host, editor and audio thread.
#[derive(Debug)]
pub struct Parameters {
    /// One per row of the table, in the order of the sections and their rows.
    rows: Vec<Vec<Parameter>>,
    /// Bypass parameter of the host: the output is the delayed input.
    pub bypass: BoolParam,
    /// Sets the unprocessed and the processed signal to the same loudness.
    pub loudness_match: BoolParam,
    /// The order of the reorderable stages, packed; not a parameter, because it cannot be automated.
    order: AtomicU32,
    /// Monitor what the strip removes; not saved.
    monitor_removed: AtomicBool,
    /// Audition band: frequency in Hz, gain in dB and Q, as `f64` bits; 0 for a value that it does not have.
    audition_band: [AtomicU64; 3],
    changes: Arc<ChangeCounter>,
    /// Profile and proposal of this track; saved, but not a parameter.
    track_analysis: Mutex<TrackAnalysis>,
    /// Editor preferences.
    preferences: Mutex<Preferences>,
    /// Why the last state was refused.
    refused: Mutex<Option<String>>,
}

impl Default for Parameters {
    fn default() -> Self {
        let changes = Arc::new(ChangeCounter::default());
        let of_section =
            |section: &SectionId| section.rows().iter().map(|info| Parameter::new(*section, info, &changes)).collect();
        Self {
            rows: SectionId::ALL.iter().map(of_section).collect(),
            bypass: switch("Bypass", false, Arc::clone(&changes)).make_bypass(),
            loudness_match: switch("Bypass loudness match", false, Arc::clone(&changes)),
            order: AtomicU32::new(packed(DEFAULT_ORDER)),
            monitor_removed: AtomicBool::new(false),
            audition_band: Default::default(),
            changes,
            track_analysis: Mutex::default(),
            preferences: Mutex::default(),
            refused: Mutex::new(None),
        }
    }
}

/// Bits per stage in a packed order.
const BITS: usize = 4;
const MASK: usize = (1 << BITS) - 1;
const _: () = assert!(REORDERABLE_STAGES * BITS <= u32::BITS as usize && REORDERABLE_STAGES <= MASK + 1);

fn packed(order: [ReorderableStage; REORDERABLE_STAGES]) -> u32 {
    order.iter().rev().fold(0, |bits, &stage| bits << BITS | stage as u32)
}

fn unpacked(bits: u32) -> [ReorderableStage; REORDERABLE_STAGES] {
    std::array::from_fn(|place| ReorderableStage::ALL[(bits >> (BITS * place)) as usize & MASK])
}

impl Parameters {
    /// All rows with section and parameter, in table order.
    pub fn table(&self) -> impl Iterator<Item = (SectionId, &'static SettingInfo, &Parameter)> {
        let sections = SectionId::ALL.iter().zip(&self.rows);
        sections.flat_map(|(&section, rows)| {
            section.rows().iter().zip(rows).map(move |(info, parameter)| (section, info, parameter))
        })
    }

    fn read(&self, modulated: bool) -> StripSettings {
        let mut settings = StripSettings { order: self.order(), ..StripSettings::default() };
        for (&section, rows) in SectionId::ALL.iter().zip(&self.rows) {
            for (row, (info, parameter)) in section.rows().iter().zip(rows).enumerate() {
                settings.set_value(section, row, parameter.value(info, modulated));
            }
        }
        settings
    }

    /// Settings from the parameter values, without host modulation.
    #[must_use]
    pub fn settings(&self) -> StripSettings {
        self.read(false)
    }

    /// Settings including host modulation, as the strip runs with them. Does not allocate.
    #[must_use]
    pub fn modulated_settings(&self) -> StripSettings {
        self.read(true)
    }

    /// Monitor mode and loudness match.
    #[must_use]
    pub fn monitoring(&self) -> Monitoring {
        let mode = match (self.bypass.value(), self.monitor_removed.load(Ordering::Relaxed)) {
            (true, _) => MonitorMode::Unprocessed,
            (false, true) => MonitorMode::Removed,
            (false, false) => MonitorMode::Processed,
        };
        Monitoring { mode, loudness_matched: self.loudness_match.value() }
    }

    /// Switches monitoring of the removed signal on or off.
    pub fn set_monitor_removed(&self, on: bool) {
        self.monitor_removed.store(on, Ordering::Relaxed);
        self.changes.increment();
    }

    /// Band of the recording that is auditioned.
    #[must_use]
    pub fn audition_band(&self) -> AuditionBand {
        let [frequency_hz, gain_db, q] =
            self.audition_band.each_ref().map(|bits| f64::from_bits(bits.load(Ordering::Relaxed)));
        match (frequency_hz, gain_db) {
            (0.0, _) => AuditionBand::Full,
            (_, 0.0) => AuditionBand::BandPass { frequency_hz, q },
            _ => AuditionBand::BellCut { frequency_hz, gain_db, q },
        }
    }

    /// Selects the band of the recording to audition. Neither saved nor a parameter.
    pub fn set_audition_band(&self, audition_band: AuditionBand) {
        let numbers = match audition_band {
            AuditionBand::Full => [0.0; 3],
            AuditionBand::BandPass { frequency_hz, q } => [frequency_hz, 0.0, q],
            AuditionBand::BellCut { frequency_hz, gain_db, q } => [frequency_hz, gain_db, q],
        };
        // The change is counted after the last store, so a reader that saw only some of them reads again.
        for (bits, number) in self.audition_band.iter().zip(numbers) {
            bits.store(f64::to_bits(number), Ordering::Relaxed);
        }
        self.changes.increment();
    }

    /// Order of the reorderable stages.
    #[must_use]
    pub fn order(&self) -> [ReorderableStage; REORDERABLE_STAGES] {
        unpacked(self.order.load(Ordering::Relaxed))
    }

    /// Sets the order of the reorderable stages. Each stage must occur once, as [`StripSettings::check`] requires.
    pub fn set_order(&self, order: [ReorderableStage; REORDERABLE_STAGES]) {
        self.order.store(packed(order), Ordering::Relaxed);
        self.changes.increment();
    }

    /// Number of changes so far, modulo 2³². While it stays the same, no parameter has changed.
    #[must_use]
    pub fn change_count(&self) -> u32 {
        self.changes.count()
    }

    /// Profile and proposal of the voice on this track.
    #[must_use]
    pub fn track_analysis(&self) -> TrackAnalysis {
        *self.track_analysis.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Stores profile and proposal of the voice on this track.
    pub fn set_track_analysis(&self, analysis: TrackAnalysis) {
        *self.track_analysis.lock().unwrap_or_else(PoisonError::into_inner) = analysis;
    }

    /// Preferences of the editor.
    #[must_use]
    pub fn preferences(&self) -> Preferences {
        self.preferences.lock().map_or_else(|_| Preferences::default(), |preferences| *preferences)
    }

    /// Stores the preferences of the editor.
    pub fn set_preferences(&self, preferences: Preferences) {
        if let Ok(mut stored) = self.preferences.lock() {
            *stored = preferences;
        }
    }

    /// Reason why the last loaded state was refused; `None` after an accepted one.
    #[must_use]
    pub fn refused(&self) -> Option<String> {
        self.refused.lock().ok().and_then(|reason| reason.clone())
    }

    /// Stores why the last state was refused, or that it was accepted.
    pub(crate) fn note_refusal(&self, reason: Option<String>) {
        if let Ok(mut refused) = self.refused.lock() {
            *refused = reason;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_audition_band_is_read_back_as_it_was_set() {
        let parameters = Parameters::default();
        assert_eq!(parameters.audition_band(), AuditionBand::Full);
        let band = AuditionBand::BandPass { frequency_hz: 455.5, q: 3.3 };
        for audition_band in
            [band, AuditionBand::BellCut { frequency_hz: 455.5, gain_db: -6.0, q: 3.3 }, AuditionBand::Full]
        {
            let before = parameters.change_count();
            parameters.set_audition_band(audition_band);
            assert_eq!(parameters.audition_band(), audition_band);
            assert_ne!(parameters.change_count(), before);
        }
    }

    #[test]
    fn an_order_survives_packing() {
        let parameters = Parameters::default();
        for shift in 0..REORDERABLE_STAGES {
            let mut order = DEFAULT_ORDER;
            order.rotate_left(shift);
            order.swap(0, 2);
            parameters.set_order(order);
            assert_eq!(parameters.order(), order);
        }
    }
}
