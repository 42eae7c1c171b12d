//! Whether a profile that was read can be one.
//!
//! Proposing settings is safe whatever a profile holds; but a text that somebody has changed by hand, or that was damaged on
//! its way, is better refused with a reason than believed.

use crate::TextError;
use toml::Value;
use voicechain_core::SampleRate;
use voicechain_core::measure::Profile;

/// No number of a profile is larger: the samples of a day at 192 kHz are fewer.
const LARGEST: f64 = 1e12;

const ADVICE: &str = "copy it again from the track, or remove the table [voice.profile]";

fn refusal(what: String) -> TextError {
    TextError::new(what, ADVICE)
}

/// Numbers are finite; a level may be minus infinity, and a band that does not exist is NaN.
pub(crate) fn check_numbers(table: &Value) -> Result<(), TextError> {
    fn walk(name: &str, value: &Value, in_list: bool) -> Result<(), TextError> {
        match value {
            Value::Float(x) if x.is_nan() && in_list => Ok(()),
            Value::Float(x) if *x == f64::NEG_INFINITY || x.abs() <= LARGEST => Ok(()),
            Value::Float(x) => Err(refusal(format!("the profile's {name} is {x:?}"))),
            Value::Array(list) => list.iter().try_for_each(|value| walk(name, value, true)),
            Value::Table(table) => table.iter().try_for_each(|(name, value)| walk(name, value, false)),
            _ => Ok(()),
        }
    }
    walk("number", table, false)
}

/// What every profile of a meter keeps.
pub(crate) fn check(profile: &Profile) -> Result<(), TextError> {
    if SampleRate::new(profile.rate_hz).is_err() {
        return Err(refusal(format!("the profile's rate_hz is {}", profile.rate_hz)));
    }
    if !(1..=2).contains(&profile.channels) {
        return Err(refusal(format!("the profile's channels are {}", profile.channels)));
    }
    let shares =
        [("duration_s", profile.duration_s, f64::MAX), ("activity_percent", profile.level.activity_percent, 100.0)];
    for (name, value, most) in shares {
        if !(0.0..=most).contains(&value) {
            return Err(refusal(format!("the profile's {name} is {value}")));
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use crate::{Clip, read, read_clip, write, write_clip};
    use voicechain_core::measure::Profile;
    use voicechain_core::measure::profile::{
        BANDS, Bandwidth, Clipping, Colour, Doubt, Ground, Hum, Level, Phrases, Pitch, Resonance, Room, Sibilance,
        Spikes, Subject,
    };
    use voicechain_core::strip::StartingPoint;

    /// Everything is known.
    fn known() -> Profile {
        let band = |k: usize| (k > 2 && k < 22).then_some(-30.25 - k as f64);
        let resonance = |frequency_hz| Resonance { frequency_hz, prominence_db: 7.5, q: 6.0, confidence: 0.75 };
        Profile {
            rate_hz: 44_100.0,
            duration_s: 61.234_567_890_123,
            channels: 2,
            subject: Subject::SeveralVoices,
            level: Level {
                integrated_lufs: Ok(-23.1),
                loudness_range_lu: Ok(5.5),
                true_peak_dbtp: -1.0,
                sample_peak_dbfs: -1.1,
                clipping: Clipping { stretches: 3, samples: 12_345_678_901 },
                active_level_dbov: Ok(-22.0),
                activity_percent: 71.5,
                active_s: 43.7,
                crest_db: Ok(21.0),
                speech_peak_dbfs: Ok(-8.0),
            },
            phrases: Ok(Phrases { count: 18, spread_db: 1.7, step_db: 0.9 }),
            spikes: Ok(Spikes { count: 2, per_10_s: 0.3, max_excess_db: 6.1 }),
            ground: Ground {
                noise_floor_dbfs: Ok(-60.0),
                noise_bands_dbfs: std::array::from_fn(|k| -80.0 - k as f64),
                snr_db: Ok(38.0),
                rumble_dbfs: -62.0,
                offset: -1e-5,
            },
            hum: Ok(Some(Hum {
                frequency_hz: 50.012,
                level_dbfs: -58.0,
                lines_dbfs: std::array::from_fn(|k| (k % 3 != 1).then_some(-60.0 - k as f64)),
            })),
            pitch: Ok(Pitch { low_hz: 98.0, median_hz: 118.0, high_hz: 160.0, voiced_share: 0.6 }),
            colour: Ok(Colour {
                bands_dbfs: std::array::from_fn(band),
                deviation_db: std::array::from_fn(band),
                low_end_db: Ok(1.0),
                presence_db: Ok(-2.0),
                top_end_db: Err(Doubt::NoBand),
            }),
            bandwidth: Ok(Bandwidth { high_hz: 11_000.0, limited: true, telephone: false }),
            resonances: Ok([Some(resonance(310.0)), Some(resonance(1_250.0)), None]),
            sibilance: Ok(Sibilance { frequency_hz: 6_800.0, excess_db: 3.0, share_percent: 12.0, loud_ratio_db: 1.5 }),
            room: Ok(Room { decay_time_s: 0.35, dry: false }),
        }
    }

    /// Nothing is known.
    fn unknown(doubt: Doubt) -> Profile {
        let mut profile = known();
        profile.subject = Subject::Silence;
        profile.level = Level {
            integrated_lufs: Err(doubt),
            loudness_range_lu: Err(doubt),
            true_peak_dbtp: f64::NEG_INFINITY,
            sample_peak_dbfs: f64::NEG_INFINITY,
            clipping: Clipping::default(),
            active_level_dbov: Err(doubt),
            activity_percent: 0.0,
            active_s: 0.0,
            crest_db: Err(doubt),
            speech_peak_dbfs: Err(doubt),
        };
        profile.ground = Ground {
            noise_floor_dbfs: Err(doubt),
            noise_bands_dbfs: [f64::NEG_INFINITY; BANDS],
            snr_db: Err(doubt),
            rumble_dbfs: f64::NEG_INFINITY,
            offset: 0.0,
        };
        Profile {
            phrases: Err(doubt),
            spikes: Err(doubt),
            hum: Err(doubt),
            pitch: Err(doubt),
            colour: Err(doubt),
            bandwidth: Err(doubt),
            resonances: Err(doubt),
            sibilance: Err(doubt),
            room: Err(doubt),
            ..profile
        }
    }

    fn clip(profile: Profile) -> Clip {
        Clip {
            settings: StartingPoint::SpokenClose.settings(),
            proposed: Some(StartingPoint::SpokenLiveRoom.settings()),
            profile: Some(profile),
        }
    }

    #[test]
    fn a_profile_is_read_as_it_was_written() {
        let mut none = known();
        (none.hum, none.resonances) = (Ok(None), Ok([None; 3]));
        let mut all = vec![known(), none];
        all.extend(
            [Doubt::Silence, Doubt::TooShort, Doubt::TooNoisy, Doubt::NotAVoice, Doubt::NoBand, Doubt::NotMeasured]
                .map(unknown),
        );
        for profile in all {
            let clip = clip(profile);
            let text = write_clip(&clip).unwrap();
            assert_eq!(read_clip(&text).unwrap(), clip, "{text}");
            // It begins as the settings file does, and whoever reads settings alone passes over the rest.
            assert!(text.starts_with(&write(&clip.settings).unwrap()));
            assert_eq!(read(&text).unwrap(), clip.settings);
            assert!(text.len() < 16_000, "{}", text.len());
        }
    }

    #[test]
    fn a_profile_is_readable() {
        let text = write_clip(&clip(known())).unwrap();
        for line in
            ["[voice.profile]", "subject = \"several_voices\"", "integrated_lufs = -23.1", "[voice.profile.pitch]"]
        {
            assert!(text.lines().any(|found| found == line), "{line}\n{text}");
        }
        let text = write_clip(&clip(unknown(Doubt::TooShort))).unwrap();
        assert!(text.lines().any(|line| line == "pitch = \"too_short\""), "{text}");
    }

    #[test]
    fn a_profile_of_an_older_version_is_completed_with_doubts() {
        let text = write_clip(&clip(unknown(Doubt::TooShort))).unwrap().replace("room = \"too_short\"\n", "");
        let expected = Profile { room: Err(Doubt::NotMeasured), ..unknown(Doubt::TooShort) };
        assert_eq!(read_clip(&text).unwrap().profile, Some(expected));
    }

    #[test]
    fn what_no_meter_has_measured_is_refused_with_the_reason() {
        let text = write_clip(&clip(known())).unwrap();
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
            ("subject = \"several_voices\"", "subject = \"a_choir\"", "a_choir"),
            ("median_hz = 118.0", "median_hz = 118.0\nwarmth = 3.0", "warmth"),
            ("-80.0, ", "", "25 numbers"),
            ("[voice.profile.room]", "[voice.profile.cellar]", "cellar"),
            ("[voice.profile]", "[voice.mood]\n[voice.profile]", "mood"),
        ];
        for (from, to, word) in cases {
            let wrong = text.replacen(from, to, 1);
            assert_ne!(wrong, text, "{from} is in the text");
            let line = read_clip(&wrong).unwrap_err().to_string();
            assert!(line.contains(word), "{to}: {line}");
            assert!(!line.contains('\n') && line.len() < 300, "one line: {line}");
            // Half of it is not taken either.
            assert!(read(&wrong).is_err());
        }
    }

    #[test]
    fn no_damaged_text_is_believed_half() {
        let whole = clip(known());
        let text = write_clip(&whole).unwrap();
        for end in (0..text.len()).step_by(11) {
            if let Ok(read) = read_clip(&text[..end]) {
                assert_eq!(read.settings.check(), Ok(()));
                assert!(read.proposed.is_none_or(|proposed| proposed.check().is_ok()));
                // A profile is whole in what has no doubt of its own.
                assert!(read.profile.is_none_or(|profile| profile.level == whole.profile.unwrap().level));
            }
        }
        // Every byte in turn becomes another: never a panic.
        for at in (0..text.len()).step_by(53) {
            for byte in [b'0', b'-', b'"', b'[', b'\n', b'e', 0x01] {
                let mut bytes = text.clone().into_bytes();
                bytes[at] = byte;
                if let Ok(read) = read_clip(std::str::from_utf8(&bytes).unwrap()) {
                    assert_eq!(read.settings.check(), Ok(()));
                }
            }
        }
    }
}
