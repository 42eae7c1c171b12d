//! Validity of the quantities: `known`, or the reason why not.

use crate::voice_page::words;
use serde::Serialize;
use voicechain_core::measure::Profile;
use voicechain_core::measure::profile::{Measured, TonalBalance};

/// `known` or the reason for every quantity.
#[derive(Serialize)]
pub(super) struct Validity {
    integrated_lufs: &'static str,
    loudness_range_lu: &'static str,
    active_level_dbov: &'static str,
    crest_db: &'static str,
    level_standard_deviation_db: &'static str,
    transients: &'static str,
    noise_floor_dbfs: &'static str,
    snr_db: &'static str,
    hum: &'static str,
    pitch_hz: &'static str,
    bandwidth_hz: &'static str,
    third_octaves: &'static str,
    low_end_db: &'static str,
    presence_db: &'static str,
    top_end_db: &'static str,
    resonances: &'static str,
    sibilance: &'static str,
    decay_time_s: &'static str,
}

/// `known` or the reason why a quantity is not known.
pub(super) fn validity<T>(value: &Measured<T>) -> &'static str {
    value.as_ref().map_or_else(|&why| words::unavailable_id(why), |_| "known")
}

impl Validity {
    /// Validity of all quantities of a profile.
    pub(super) fn of(profile: &Profile) -> Self {
        let end = |pick: fn(&TonalBalance) -> Measured<f64>| {
            profile.tonal_balance.and_then(|tonal_balance| pick(&tonal_balance))
        };
        Self {
            integrated_lufs: validity(&profile.level.integrated_lufs),
            loudness_range_lu: validity(&profile.level.loudness_range_lu),
            active_level_dbov: validity(&profile.level.active_level_dbov),
            crest_db: validity(&profile.level.crest_db),
            level_standard_deviation_db: validity(&profile.level_consistency),
            transients: validity(&profile.transients),
            noise_floor_dbfs: validity(&profile.background_noise.noise_floor_dbfs),
            snr_db: validity(&profile.background_noise.snr_db),
            hum: validity(&profile.hum),
            pitch_hz: validity(&profile.pitch),
            bandwidth_hz: validity(&profile.bandwidth),
            third_octaves: validity(&profile.tonal_balance),
            low_end_db: validity(&end(|c| c.low_end_db)),
            presence_db: validity(&end(|c| c.presence_db)),
            top_end_db: validity(&end(|c| c.top_end_db)),
            resonances: validity(&profile.resonances),
            sibilance: validity(&profile.sibilance),
            decay_time_s: validity(&profile.reverberation),
        }
    }
}
