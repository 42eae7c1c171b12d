//! Numbers and evidence as text.

use voicechain_core::measure::Profile;
use voicechain_core::measure::profile::{Doubt, Subject};
use voicechain_core::propose::Proposal;
use voicechain_core::settings::{SettingInfo, StageId};
use voicechain_core::units::Unit;

/// A number with so many decimals, a true minus sign and no negative zero.
pub(crate) fn number(value: f64, decimals: usize) -> String {
    let text = format!("{:.decimals$}", value.abs());
    let zero = text.chars().all(|c| c == '0' || c == '.');
    if value < 0.0 && !zero { format!("\u{2212}{text}") } else { text }
}

/// The same, with a plus sign.
pub(crate) fn signed(value: f64, decimals: usize) -> String {
    let text = number(value, decimals);
    let zero = text.chars().all(|c| c == '0' || c == '.');
    if value > 0.0 && !zero { format!("+{text}") } else { text }
}

/// A frequency with three digits.
pub(crate) fn hertz(value: f64) -> String {
    match value {
        v if v >= 9_995.0 => format!("{} kHz", number(v / 1_000.0, 1)),
        v if v >= 999.5 => format!("{} kHz", number(v / 1_000.0, 2)),
        v => format!("{} Hz", number(v, 0)),
    }
}

/// The value of a setting as a row shows it: always as precise, so that nothing jumps while it is dragged.
pub(crate) fn value(info: &SettingInfo, value: f64) -> String {
    let gain = info.unit == Unit::Decibel && info.min < 0.0 && info.max > 0.0;
    match info.unit {
        Unit::Decibel if gain => format!("{} dB", signed(value, 1)),
        Unit::Decibel => format!("{} dB", number(value, 1)),
        Unit::DecibelTruePeak => format!("{} dBTP", number(value, 1)),
        Unit::Loudness => format!("{} LUFS", number(value, 1)),
        Unit::Hertz => hertz(value),
        Unit::Millisecond if value >= 999.5 => format!("{} s", number(value / 1_000.0, 2)),
        Unit::Millisecond if value >= 99.5 => format!("{} ms", number(value, 0)),
        Unit::Millisecond => format!("{} ms", number(value, 1)),
        Unit::Percent => format!("{} %", number(value, 0)),
        Unit::Ratio if value.is_infinite() => "\u{221e}:1".into(),
        Unit::Ratio => format!("{}:1", number(value, 1)),
        Unit::Number => number(value, 2),
        Unit::Switch => if value >= 0.5 { "on" } else { "off" }.into(),
        Unit::Choice => info.choices.get(value as usize).copied().unwrap_or("").into(),
    }
}

/// The most letters that [`value`] needs: what a slot is made for.
pub(crate) fn widest(info: &SettingInfo) -> usize {
    match info.unit {
        Unit::Decibel | Unit::Hertz => 8,
        Unit::DecibelTruePeak | Unit::Loudness => 10,
        Unit::Millisecond => 7,
        Unit::Percent => 5,
        Unit::Ratio => 6,
        Unit::Number => 5,
        Unit::Switch => 3,
        Unit::Choice => info.choices.iter().map(|name| name.chars().count()).max().unwrap_or(0),
    }
}

/// Why a typed text is no value of a setting, with what is.
pub(crate) fn refusal(info: &SettingInfo, text: &str) -> String {
    let short: String = text.chars().take(16).collect();
    let allowed = match info.unit {
        Unit::Switch => "on or off".to_string(),
        Unit::Choice => info.choices.join(", "),
        Unit::Ratio => "1:1 to 20:1, or infinite".to_string(),
        _ => format!("{} to {}", info.text(info.min), info.text(info.max)).replace('-', "\u{2212}"),
    };
    format!("\u{201c}{short}\u{201d} is no {}: {allowed}", info.name)
}

/// Why something is not known.
fn doubt(doubt: Doubt) -> &'static str {
    match doubt {
        Doubt::Silence => "nothing heard",
        Doubt::TooShort => "too little speech for it",
        Doubt::TooNoisy => "too much noise to tell",
        Doubt::NotAVoice => "not one voice",
        Doubt::NoBand => "not in this recording",
        Doubt::NotHeard => "not heard so far",
        Doubt::NotMeasured => "not measured",
    }
}

fn unknown(why: Doubt) -> String {
    doubt(why).into()
}

/// What was measured for a stage, in a few words. By id: a stage that is not there yet has its words.
pub(crate) fn evidence(stage: StageId, p: &Profile) -> String {
    match stage.id() {
        "trim" => p.level.active_level_dbov.map_or_else(unknown, |v| format!("active speech at {} dBov", number(v, 1))),
        "hum" => p.hum.map_or_else(unknown, |found| match found {
            None => "none found".into(),
            Some(hum) => format!("{} Hz at {} dBFS", number(hum.frequency_hz, 1), number(hum.level_dbfs, 0)),
        }),
        "high_pass" => p.pitch.map_or_else(unknown, |v| format!("lowest pitch {}", hertz(v.low_hz))),
        "de_reverb" => p.room.map_or_else(unknown, |v| {
            let dry = if v.dry { ": dry" } else { "" };
            format!("decay {} s{dry}", number(v.decay_time_s, 2))
        }),
        "expander" => p.ground.snr_db.map_or_else(unknown, |v| format!("pauses {} dB under the voice", number(v, 0))),
        "corrective_eq" => match p.resonances.map(|list| list[0]) {
            Err(why) => unknown(why),
            Ok(None) => "nothing stands out".into(),
            Ok(Some(r)) => format!("{} stands out {} dB", hertz(r.frequency_hz), number(r.prominence_db, 1)),
        },
        "de_esser" => p.sibilance.map_or_else(unknown, |v| match v.excess_db {
            e if e >= 0.5 => format!("\u{201c}s\u{201d} {} dB stronger than usual", number(e, 1)),
            e if e <= -0.5 => format!("\u{201c}s\u{201d} {} dB softer than usual", number(-e, 1)),
            _ => "\u{201c}s\u{201d} as usual".into(),
        }),
        "compressor" => {
            let peaks = p.level.speech_peak_dbfs.map_or_else(unknown, |v| format!("peaks at {} dBFS", number(v, 0)));
            match p.spikes {
                Ok(spikes) if spikes.count == 1 => format!("{peaks}; one spike"),
                Ok(spikes) if spikes.count > 1 => format!("{peaks}; {} spikes", spikes.count),
                _ => peaks,
            }
        }
        "leveller" => p.phrases.map_or_else(unknown, |v| format!("phrases spread {} dB", number(v.spread_db, 1))),
        "tone_eq" => p.colour.map_or_else(unknown, |v| {
            let low = v.low_end_db.ok().map(|db| format!("low end {}", signed(db, 1)));
            let presence = v.presence_db.ok().map(|db| format!("2\u{2013}5 kHz {} dB", signed(db, 1)));
            match (low, presence) {
                (Some(low), Some(presence)) => format!("{low}, {presence}"),
                (Some(one), None) | (None, Some(one)) => one,
                (None, None) => "too little of its spectrum known".into(),
            }
        }),
        "limiter" => format!("largest peak {} dBTP", number(p.level.true_peak_dbtp, 1)),
        _ => String::new(),
    }
}

/// What is known of the voice at all: seconds, and what they are worth.
pub(crate) fn subject(profile: &Profile, measuring: bool, validity: f64) -> String {
    let seconds = profile.level.active_s;
    let heard = format!("{seconds:.0} s of voice");
    let worth = match profile.subject {
        // Load on the computer made gaps.
        _ if validity < 0.995 => return gaps(&heard, validity, measuring),
        Subject::Voice if seconds >= 30.0 => "enough",
        Subject::Voice | Subject::TooShort => "half a minute tells more",
        Subject::SeveralVoices => "several voices take turns",
        Subject::Silence => "silence",
        Subject::Tone => "this is a tone",
        Subject::Noise => "this is noise",
        Subject::Music => "this sounds like music",
        Subject::Garbage => "this is no sound",
    };
    if measuring { format!("measuring: {heard}, {worth}") } else { format!("{heard} measured, {worth}") }
}

fn gaps(heard: &str, validity: f64, measuring: bool) -> String {
    let begin = if measuring { "measuring: " } else { "" };
    format!("{begin}{heard}; only {:.0} % could be listened to", 100.0 * validity)
}

/// Settings that a proposal would change: old and new, as text.
pub(crate) fn changes(stage: StageId, now: &voicechain_core::StripSettings, proposal: &Proposal) -> Vec<String> {
    let rows = stage.rows().iter().enumerate();
    rows.filter_map(|(row, info)| {
        let (old, new) = (now.value(stage, row)?, info.rounded(proposal.settings.value(stage, row)?));
        (info.rounded(old) != new).then(|| match info.unit {
            Unit::Switch if info.name == "on" => value(info, new),
            _ => format!("{} {}", info.name, value(info, new)),
        })
    })
    .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use voicechain_core::settings::rows;

    #[test]
    fn numbers_have_a_true_minus_and_no_negative_zero() {
        assert_eq!(number(-0.04, 1), "0.0");
        assert_eq!(signed(0.04, 1), "0.0");
        assert_eq!(number(-3.0, 1), "\u{2212}3.0");
        assert_eq!(signed(3.0, 1), "+3.0");
        assert_eq!([hertz(72.4), hertz(999.6), hertz(12_500.0)], ["72 Hz", "1.00 kHz", "12.5 kHz"]);
    }

    #[test]
    fn gaps_in_what_was_heard_are_said() {
        let profile =
            voicechain_core::measure::ProfileMeter::<1>::new(voicechain_core::SampleRate::new(8_000.0).unwrap());
        let profile = profile.profile();
        assert!(subject(&profile, false, 0.6).ends_with("only 60 % could be listened to"));
        assert!(subject(&profile, true, 1.0).starts_with("measuring: 0 s of voice, "));
    }

    #[test]
    fn every_value_fits_its_slot_and_is_read_back() {
        for info in rows() {
            for position in 0..=100 {
                let meant = info.value_at(f64::from(position) / 100.0);
                let text = value(info, meant);
                assert!(text.chars().count() <= widest(info), "{} {text}", info.id);
                assert!(info.parse(&text).is_some(), "{} {text}", info.id);
            }
        }
    }
}
