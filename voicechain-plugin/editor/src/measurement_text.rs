//! Short texts for measurements.

use crate::formatting::{hertz, number, signed};
use voicechain_core::format::quantity;
use voicechain_core::measure::Profile;
use voicechain_core::measure::profile::{SignalClass, Unavailable};
use voicechain_core::settings::StageId;

/// Duration of active speech that is sufficient for a profile, s.
pub(crate) const SUFFICIENT_SPEECH_S: f64 = 30.0;

/// Text for an unavailable quantity.
fn unavailable(unavailable: Unavailable) -> &'static str {
    match unavailable {
        Unavailable::Silence => "nothing heard",
        Unavailable::TooShort => "too little speech for it",
        Unavailable::TooNoisy => "too much noise to tell",
        Unavailable::NotAVoice => "not one voice",
        Unavailable::InsufficientBandwidth => "not in this recording",
        Unavailable::NoSuitableSegment => "not heard so far",
        Unavailable::NotMeasured => "not measured",
    }
}

fn unknown(why: Unavailable) -> String {
    unavailable(why).into()
}

/// Measurement relevant to a stage, as a short text.
pub(crate) fn measurement(stage: StageId, p: &Profile) -> String {
    match stage {
        StageId::Trim => {
            p.level.active_level_dbov.map_or_else(unknown, |v| format!("active speech at {}", quantity(v, "dBov")))
        }
        StageId::Hum => p.hum.map_or_else(unknown, |found| match found {
            None => "none found".into(),
            Some(hum) => format!("{} Hz at {}", number(hum.frequency_hz, 1), quantity(hum.level_dbfs, "dBFS")),
        }),
        StageId::HighPass => p.pitch.map_or_else(unknown, |v| format!("lowest pitch {}", hertz(v.low_hz))),
        StageId::DeReverb => p.reverberation.map_or_else(unknown, |v| {
            let dry = if v.dry { ": dry" } else { "" };
            format!("decay {}{dry}", quantity(v.decay_time_s, "s"))
        }),
        StageId::Expander => p.background_noise.snr_db.map_or_else(unknown, |v| format!("SNR {}", quantity(v, "dB"))),
        StageId::CorrectiveEq => match p.resonances.map(|list| list[0]) {
            Err(why) => unknown(why),
            Ok(None) => "no resonance".into(),
            Ok(Some(r)) => format!("resonance {}, {}", hertz(r.frequency_hz), quantity(r.prominence_db, "dB").signed()),
        },
        StageId::DeEsser => p.sibilance.map_or_else(unknown, |v| match v.excess_db {
            e if e >= 0.5 => format!("\u{201c}s\u{201d} {} stronger than usual", quantity(e, "dB")),
            e if e <= -0.5 => format!("\u{201c}s\u{201d} {} softer than usual", quantity(-e, "dB")),
            _ => "\u{201c}s\u{201d} as usual".into(),
        }),
        StageId::Compressor => {
            let peaks = p.level.speech_peak_dbfs.map_or_else(unknown, |v| format!("peaks at {}", quantity(v, "dBFS")));
            match p.transients {
                Ok(transients) if transients.count == 1 => format!("{peaks}; one transient"),
                Ok(transients) if transients.count > 1 => format!("{peaks}; {} transients", transients.count),
                _ => peaks,
            }
        }
        StageId::Leveller => p
            .level_consistency
            .map_or_else(unknown, |v| format!("level deviation {}", quantity(v.standard_deviation_db, "dB"))),
        StageId::ToneEq => p.tonal_balance.map_or_else(unknown, |v| {
            let low = v.low_end_db.ok().map(|db| format!("low end {}", signed(db, 1)));
            let presence = v.presence_db.ok().map(|db| format!("2\u{2013}5 kHz {}", quantity(db, "dB").signed()));
            match (low, presence) {
                (Some(low), Some(presence)) => format!("{low}, {presence}"),
                (Some(one), None) | (None, Some(one)) => one,
                (None, None) => "too little of its spectrum known".into(),
            }
        }),
        StageId::Limiter => format!("true peak {}", quantity(p.level.true_peak_dbtp, "dBTP")),
        StageId::Output => String::new(),
    }
}

/// Duration and class of the measured signal, as a short text.
pub(crate) fn signal_class(profile: &Profile, measuring: bool, captured_fraction: f64) -> String {
    let seconds = profile.level.active_s;
    let duration = format!("{seconds:.0} s of voice");
    let verdict = match profile.signal_class {
        // Frames were dropped because of the load on the computer.
        _ if captured_fraction < 0.995 => return gaps(&duration, captured_fraction, measuring),
        SignalClass::Voice if seconds >= SUFFICIENT_SPEECH_S => "enough",
        SignalClass::Voice | SignalClass::TooShort => "half a minute tells more",
        SignalClass::SeveralVoices => "several voices take turns",
        SignalClass::Silence => "silence",
        SignalClass::Tone => "this is a tone",
        SignalClass::Noise => "this is noise",
        SignalClass::Music => "this sounds like music",
        SignalClass::InvalidSignal => "invalid signal",
    };
    if measuring { format!("measuring: {duration}, {verdict}") } else { format!("{duration} measured, {verdict}") }
}

fn gaps(duration: &str, captured_fraction: f64, measuring: bool) -> String {
    let begin = if measuring { "measuring: " } else { "" };
    format!("{begin}{duration}; only {:.0} % could be listened to", 100.0 * captured_fraction)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gaps_in_the_captured_signal_are_reported() {
        let profile =
            voicechain_core::measure::ProfileMeter::<1>::new(voicechain_core::SampleRate::new(8_000.0).unwrap());
        let profile = profile.profile();
        assert!(signal_class(&profile, false, 0.6).ends_with("only 60 % could be listened to"));
        assert!(signal_class(&profile, true, 1.0).starts_with("measuring: 0 s of voice, "));
    }
}
