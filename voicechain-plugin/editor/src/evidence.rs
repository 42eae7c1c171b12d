//! What was measured, in a few words.

use crate::words::{hertz, number, signed};
use voicechain_core::measure::Profile;
use voicechain_core::measure::profile::{Doubt, Subject};
use voicechain_core::settings::StageId;

/// Seconds of voice that are enough.
pub(crate) const ENOUGH_S: f64 = 30.0;

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

/// What was measured for a stage, in a few words.
pub(crate) fn evidence(stage: StageId, p: &Profile) -> String {
    match stage {
        StageId::Trim => {
            p.level.active_level_dbov.map_or_else(unknown, |v| format!("active speech at {} dBov", number(v, 1)))
        }
        StageId::Hum => p.hum.map_or_else(unknown, |found| match found {
            None => "none found".into(),
            Some(hum) => format!("{} Hz at {} dBFS", number(hum.frequency_hz, 1), number(hum.level_dbfs, 0)),
        }),
        StageId::HighPass => p.pitch.map_or_else(unknown, |v| format!("lowest pitch {}", hertz(v.low_hz))),
        StageId::DeReverb => p.room.map_or_else(unknown, |v| {
            let dry = if v.dry { ": dry" } else { "" };
            format!("decay {} s{dry}", number(v.decay_time_s, 2))
        }),
        StageId::Expander => {
            p.ground.snr_db.map_or_else(unknown, |v| format!("pauses {} dB under the voice", number(v, 0)))
        }
        StageId::CorrectiveEq => match p.resonances.map(|list| list[0]) {
            Err(why) => unknown(why),
            Ok(None) => "nothing stands out".into(),
            Ok(Some(r)) => format!("{} stands out {} dB", hertz(r.frequency_hz), number(r.prominence_db, 1)),
        },
        StageId::DeEsser => p.sibilance.map_or_else(unknown, |v| match v.excess_db {
            e if e >= 0.5 => format!("\u{201c}s\u{201d} {} dB stronger than usual", number(e, 1)),
            e if e <= -0.5 => format!("\u{201c}s\u{201d} {} dB softer than usual", number(-e, 1)),
            _ => "\u{201c}s\u{201d} as usual".into(),
        }),
        StageId::Compressor => {
            let peaks = p.level.speech_peak_dbfs.map_or_else(unknown, |v| format!("peaks at {} dBFS", number(v, 0)));
            match p.spikes {
                Ok(spikes) if spikes.count == 1 => format!("{peaks}; one spike"),
                Ok(spikes) if spikes.count > 1 => format!("{peaks}; {} spikes", spikes.count),
                _ => peaks,
            }
        }
        StageId::Leveller => {
            p.phrases.map_or_else(unknown, |v| format!("phrases spread {} dB", number(v.spread_db, 1)))
        }
        StageId::ToneEq => p.colour.map_or_else(unknown, |v| {
            let low = v.low_end_db.ok().map(|db| format!("low end {}", signed(db, 1)));
            let presence = v.presence_db.ok().map(|db| format!("2\u{2013}5 kHz {} dB", signed(db, 1)));
            match (low, presence) {
                (Some(low), Some(presence)) => format!("{low}, {presence}"),
                (Some(one), None) | (None, Some(one)) => one,
                (None, None) => "too little of its spectrum known".into(),
            }
        }),
        StageId::Limiter => format!("largest peak {} dBTP", number(p.level.true_peak_dbtp, 1)),
        StageId::Output => String::new(),
    }
}

/// What is known of the voice at all: seconds, and what they are worth.
pub(crate) fn subject(profile: &Profile, measuring: bool, validity: f64) -> String {
    let seconds = profile.level.active_s;
    let heard = format!("{seconds:.0} s of voice");
    let worth = match profile.subject {
        // Load on the computer made gaps.
        _ if validity < 0.995 => return gaps(&heard, validity, measuring),
        Subject::Voice if seconds >= ENOUGH_S => "enough",
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gaps_in_what_was_heard_are_said() {
        let profile =
            voicechain_core::measure::ProfileMeter::<1>::new(voicechain_core::SampleRate::new(8_000.0).unwrap());
        let profile = profile.profile();
        assert!(subject(&profile, false, 0.6).ends_with("only 60 % could be listened to"));
        assert!(subject(&profile, true, 1.0).starts_with("measuring: 0 s of voice, "));
    }
}
