//! Example profile of a voice, for tests and benches.

use voicechain_core::measure::Profile;
use voicechain_core::measure::profile::{
    BackgroundNoise, Bandwidth, Clipping, Level, LevelConsistency, MAX_RESONANCES, Pitch, Resonance, Reverberation,
    Sibilance, SignalClass, TonalBalance, Transients,
};

/// Invented voice: boomy low end, one resonance, strong fricatives.
pub(crate) fn example_profile() -> Profile {
    let deviation: [f64; 25] = [
        17.0, 9.0, 6.5, -1.5, -2.5, -1.0, 0.5, 3.0, 6.5, 7.0, 3.5, 0.5, -1.0, -1.5, -2.0, -2.5, -3.0, -3.6, -2.0, 0.5,
        5.2, 5.0, 1.5, -2.5, -3.0,
    ];
    let mut candidates = [None; MAX_RESONANCES];
    candidates[0] = Some(Resonance { frequency_hz: 455.0, prominence_db: 7.6, q: 3.0, confidence: 0.7 });
    Profile {
        rate_hz: 48_000.0,
        duration_s: 61.0,
        channels: 1,
        signal_class: SignalClass::Voice,
        level: Level {
            integrated_lufs: Ok(-30.0),
            loudness_range_lu: Ok(7.1),
            true_peak_dbtp: -7.2,
            sample_peak_dbfs: -7.4,
            clipping: Clipping::default(),
            active_level_dbov: Ok(-31.4),
            activity_percent: 79.0,
            active_s: 48.0,
            crest_db: Ok(20.0),
            speech_peak_dbfs: Ok(-14.0),
        },
        level_consistency: Ok(LevelConsistency { phrase_count: 17, standard_deviation_db: 3.2, median_step_db: 2.1 }),
        transients: Ok(Transients { count: 6, per_10_s: 1.0, max_excess_db: 9.0 }),
        background_noise: BackgroundNoise {
            noise_floor_dbfs: Ok(-74.0),
            noise_bands_dbfs: [-88.0; 25],
            snr_db: Ok(43.0),
            rumble_dbfs: -50.0,
            dc_offset: 0.0,
        },
        hum: Ok(None),
        pitch: Ok(Pitch { low_hz: 92.0, median_hz: 118.0, high_hz: 164.0, voiced_share: 0.6 }),
        tonal_balance: Ok(TonalBalance {
            bands_dbfs: [Some(-40.0); 25],
            deviation_db: deviation.map(Some),
            low_end_db: Ok(-2.8),
            presence_db: Ok(-3.6),
            top_end_db: Ok(1.0),
        }),
        bandwidth: Ok(Bandwidth { high_hz: 20_000.0, limited: false, narrowband: false }),
        resonances: Ok(candidates),
        sibilance: Ok(Sibilance { frequency_hz: 6_400.0, excess_db: 6.4, share_percent: 30.0, ratio_p90_db: 4.0 }),
        reverberation: Ok(Reverberation { decay_time_s: 0.3, dry: false }),
    }
}
