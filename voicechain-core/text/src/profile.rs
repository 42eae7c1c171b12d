//! Validation of profiles that were read from text.
//!
//! Proposing settings is safe for any profile. A text that was edited by hand or damaged is nevertheless rejected with
//! a reason.

use crate::TextError;
use toml::Value;
use voicechain_core::SampleRate;
use voicechain_core::measure::Profile;

/// Maximum magnitude of a number in a profile: more than the samples of a day at 192 kHz.
const MAX_MAGNITUDE: f64 = 1e12;

const ADVICE: &str = "copy it again from the track, or remove the table [voice.profile]";

fn error(what: String) -> TextError {
    TextError::new(what, ADVICE)
}

/// Checks that numbers are finite. A level may be minus infinity, and an absent band in a list is NaN.
pub(crate) fn check_numbers(table: &Value) -> Result<(), TextError> {
    fn walk(name: &str, value: &Value, in_list: bool) -> Result<(), TextError> {
        match value {
            Value::Float(x) if x.is_nan() && in_list => Ok(()),
            Value::Float(x) if *x == f64::NEG_INFINITY || x.abs() <= MAX_MAGNITUDE => Ok(()),
            Value::Float(x) => Err(error(format!("the profile's {name} is out of range: {x:?}"))),
            Value::Array(list) => list.iter().try_for_each(|value| walk(name, value, true)),
            Value::Table(table) => table.iter().try_for_each(|(name, value)| walk(name, value, false)),
            _ => Ok(()),
        }
    }
    walk("number", table, false)
}

/// Checks the invariants of every measured profile.
pub(crate) fn check(profile: &Profile) -> Result<(), TextError> {
    if SampleRate::new(profile.rate_hz).is_err() {
        return Err(error(format!("the profile's rate_hz is out of range: {}", profile.rate_hz)));
    }
    if !(1..=2).contains(&profile.channels) {
        return Err(error(format!("the profile's channels are out of range: {}", profile.channels)));
    }
    let ranges =
        [("duration_s", profile.duration_s, f64::MAX), ("activity_percent", profile.level.activity_percent, 100.0)];
    for (name, value, max) in ranges {
        if !(0.0..=max).contains(&value) {
            return Err(error(format!("the profile's {name} is out of range: {value}")));
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use crate::{SettingsBundle, read, read_bundle, write, write_bundle};
    use voicechain_core::measure::Profile;
    use voicechain_core::measure::profile::{
        BackgroundNoise, Bandwidth, Clipping, Hum, Level, LevelConsistency, Pitch, Resonance, Reverberation, Sibilance,
        SignalClass, THIRD_OCTAVES, TonalBalance, Transients, Unavailable,
    };
    use voicechain_core::strip::StartingPoint;

    /// A profile with every measurement available.
    fn known() -> Profile {
        let band = |k: usize| (k > 2 && k < 22).then_some(-30.25 - k as f64);
        let resonance = |frequency_hz| Resonance { frequency_hz, prominence_db: 7.5, q: 6.0, confidence: 0.75 };
        Profile {
            rate_hz: 44_100.0,
            duration_s: 61.234_567_890_123,
            channels: 2,
            signal_class: SignalClass::SeveralVoices,
            level: Level {
                integrated_lufs: Ok(-23.1),
                loudness_range_lu: Ok(5.5),
                true_peak_dbtp: -1.0,
                sample_peak_dbfs: -1.1,
                clipping: Clipping { runs: 3, samples: 12_345_678_901 },
                active_level_dbov: Ok(-22.0),
                activity_percent: 71.5,
                active_s: 43.7,
                crest_db: Ok(21.0),
                speech_peak_dbfs: Ok(-8.0),
            },
            level_consistency: Ok(LevelConsistency {
                phrase_count: 18,
                standard_deviation_db: 1.7,
                median_step_db: 0.9,
            }),
            transients: Ok(Transients { count: 2, per_10_s: 0.3, max_excess_db: 6.1 }),
            background_noise: BackgroundNoise {
                noise_floor_dbfs: Ok(-60.0),
                noise_bands_dbfs: std::array::from_fn(|k| -80.0 - k as f64),
                snr_db: Ok(38.0),
                rumble_dbfs: -62.0,
                dc_offset: -1e-5,
            },
            hum: Ok(Some(Hum {
                frequency_hz: 50.012,
                level_dbfs: -58.0,
                harmonics_dbfs: std::array::from_fn(|k| (k % 3 != 1).then_some(-60.0 - k as f64)),
            })),
            pitch: Ok(Pitch { low_hz: 98.0, median_hz: 118.0, high_hz: 160.0, voiced_share: 0.6 }),
            tonal_balance: Ok(TonalBalance {
                bands_dbfs: std::array::from_fn(band),
                deviation_db: std::array::from_fn(band),
                low_end_db: Ok(1.0),
                presence_db: Ok(-2.0),
                top_end_db: Err(Unavailable::InsufficientBandwidth),
            }),
            bandwidth: Ok(Bandwidth { high_hz: 11_000.0, limited: true, narrowband: false }),
            resonances: Ok([Some(resonance(310.0)), Some(resonance(1_250.0)), None]),
            sibilance: Ok(Sibilance { frequency_hz: 6_800.0, excess_db: 3.0, share_percent: 12.0, ratio_p90_db: 1.5 }),
            reverberation: Ok(Reverberation { decay_time_s: 0.35, dry: false }),
        }
    }

    /// A profile with every measurement unavailable.
    fn unknown(reason: Unavailable) -> Profile {
        let mut profile = known();
        profile.signal_class = SignalClass::Silence;
        profile.level = Level {
            integrated_lufs: Err(reason),
            loudness_range_lu: Err(reason),
            true_peak_dbtp: f64::NEG_INFINITY,
            sample_peak_dbfs: f64::NEG_INFINITY,
            clipping: Clipping::default(),
            active_level_dbov: Err(reason),
            activity_percent: 0.0,
            active_s: 0.0,
            crest_db: Err(reason),
            speech_peak_dbfs: Err(reason),
        };
        profile.background_noise = BackgroundNoise {
            noise_floor_dbfs: Err(reason),
            noise_bands_dbfs: [f64::NEG_INFINITY; THIRD_OCTAVES],
            snr_db: Err(reason),
            rumble_dbfs: f64::NEG_INFINITY,
            dc_offset: 0.0,
        };
        Profile {
            level_consistency: Err(reason),
            transients: Err(reason),
            hum: Err(reason),
            pitch: Err(reason),
            tonal_balance: Err(reason),
            bandwidth: Err(reason),
            resonances: Err(reason),
            sibilance: Err(reason),
            reverberation: Err(reason),
            ..profile
        }
    }

    fn bundle(profile: Profile) -> SettingsBundle {
        SettingsBundle {
            settings: StartingPoint::SpokenClose.settings(),
            proposed: Some(StartingPoint::SpokenLiveRoom.settings()),
            profile: Some(profile),
        }
    }

    #[test]
    fn a_profile_survives_writing_and_reading() {
        let mut none = known();
        (none.hum, none.resonances) = (Ok(None), Ok([None; 3]));
        let mut all = vec![known(), none];
        all.extend(
            [
                Unavailable::Silence,
                Unavailable::TooShort,
                Unavailable::TooNoisy,
                Unavailable::NotAVoice,
                Unavailable::InsufficientBandwidth,
                Unavailable::NotMeasured,
            ]
            .map(unknown),
        );
        for profile in all {
            let bundle = bundle(profile);
            let text = write_bundle(&bundle).unwrap();
            assert_eq!(read_bundle(&text).unwrap(), bundle, "{text}");
            // The text starts with the settings file, and reading settings alone skips the rest.
            assert!(text.starts_with(&write(&bundle.settings).unwrap()));
            assert_eq!(read(&text).unwrap(), bundle.settings);
            assert!(text.len() < 16_000, "{}", text.len());
        }
    }

    #[test]
    fn a_profile_is_human_readable() {
        let text = write_bundle(&bundle(known())).unwrap();
        for line in
            ["[voice.profile]", "signal_class = \"several_voices\"", "integrated_lufs = -23.1", "[voice.profile.pitch]"]
        {
            assert!(text.lines().any(|found| found == line), "{line}\n{text}");
        }
        let text = write_bundle(&bundle(unknown(Unavailable::TooShort))).unwrap();
        assert!(text.lines().any(|line| line == "pitch = \"too_short\""), "{text}");
    }

    #[test]
    fn missing_quantities_are_unavailable() {
        let text = write_bundle(&bundle(unknown(Unavailable::TooShort)))
            .unwrap()
            .replace("reverberation = \"too_short\"\n", "");
        let expected = Profile { reverberation: Err(Unavailable::NotMeasured), ..unknown(Unavailable::TooShort) };
        assert_eq!(read_bundle(&text).unwrap().profile, Some(expected));
    }

    #[test]
    fn an_invalid_profile_is_rejected_with_a_reason() {
        let text = write_bundle(&bundle(known())).unwrap();
        let cases = [
            ("rate_hz = 44100.0", "rate_hz = 4.0", "rate_hz"),
            ("rate_hz = 44100.0", "rate_hz = nan", "rate_hz"),
            ("channels = 2", "channels = 3", "channels"),
            ("channels = 2", "channels = -1", "-1"),
            ("duration_s = 61.", "duration_s = -61.", "duration_s"),
            ("activity_percent = 71.5", "activity_percent = 171.5", "activity_percent"),
            ("integrated_lufs = -23.1", "integrated_lufs = inf", "integrated_lufs"),
            ("integrated_lufs = -23.1", "integrated_lufs = 1e300", "integrated_lufs"),
            ("integrated_lufs = -23.1", "integrated_lufs = \"loud\"", "loud"),
            ("integrated_lufs = -23.1", "integrated_lufs = []", "quantity"),
            ("signal_class = \"several_voices\"", "signal_class = \"a_choir\"", "a_choir"),
            ("median_hz = 118.0", "median_hz = 118.0\nwarmth = 3.0", "warmth"),
            ("-80.0, ", "", "25 numbers"),
            ("[voice.profile.reverberation]", "[voice.profile.cellar]", "cellar"),
            ("[voice.profile]", "[voice.mood]\n[voice.profile]", "mood"),
        ];
        for (from, to, word) in cases {
            let wrong = text.replacen(from, to, 1);
            assert_ne!(wrong, text, "{from} is in the text");
            let line = read_bundle(&wrong).unwrap_err().to_string();
            assert!(line.contains(word), "{to}: {line}");
            assert!(!line.contains('\n') && line.len() < 300, "one line: {line}");
            // Reading the settings alone is rejected as well.
            assert!(read(&wrong).is_err());
        }
    }

    #[test]
    fn a_damaged_text_is_rejected_as_a_whole() {
        let whole = bundle(known());
        let text = write_bundle(&whole).unwrap();
        for end in (0..text.len()).step_by(11) {
            if let Ok(read) = read_bundle(&text[..end]) {
                assert_eq!(read.settings.check(), Ok(()));
                assert!(read.proposed.is_none_or(|proposed| proposed.check().is_ok()));
                // A profile keeps the parts that cannot be unavailable on their own.
                assert!(read.profile.is_none_or(|profile| profile.level == whole.profile.unwrap().level));
            }
        }
        // Corrupt single bytes: never a panic.
        for at in (0..text.len()).step_by(53) {
            for byte in [b'0', b'-', b'"', b'[', b'\n', b'e', 0x01] {
                let mut bytes = text.clone().into_bytes();
                bytes[at] = byte;
                if let Ok(read) = read_bundle(std::str::from_utf8(&bytes).unwrap()) {
                    assert_eq!(read.settings.check(), Ok(()));
                }
            }
        }
    }
}
