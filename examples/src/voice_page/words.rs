//! What was measured, in words.

use crate::audio_file;
use voicechain_core::measure::profile::{SignalClass, Unavailable};
use voicechain_core::propose::{Context, Proposal, Role, VocalStyle, Warning};

/// Why something is not known, as a person reads it.
pub(super) fn unavailable(unavailable: Unavailable) -> &'static str {
    match unavailable {
        Unavailable::Silence => "nothing is heard",
        Unavailable::TooShort => "there is not enough speech for it",
        Unavailable::TooNoisy => "the noise is too close to the voice",
        Unavailable::NotAVoice => "it does not behave like one voice",
        Unavailable::InsufficientBandwidth => "the recording does not contain the frequencies that it needs",
        Unavailable::NoSuitableSegment => "the voice never shows what it takes",
        Unavailable::NotMeasured => "this version does not measure it",
    }
}

/// The same as an identifier.
pub(super) fn unavailable_id(unavailable: Unavailable) -> &'static str {
    match unavailable {
        Unavailable::Silence => "silence",
        Unavailable::TooShort => "too_short",
        Unavailable::TooNoisy => "too_noisy",
        Unavailable::NotAVoice => "not_a_voice",
        Unavailable::InsufficientBandwidth => "insufficient_bandwidth",
        Unavailable::NoSuitableSegment => "no_suitable_segment",
        Unavailable::NotMeasured => "not_measured",
    }
}

/// What is heard, as a sentence.
pub(crate) fn signal_class(signal_class: SignalClass) -> &'static str {
    match signal_class {
        SignalClass::Voice => "One voice.",
        SignalClass::SeveralVoices => "Several voices take turns: every number describes their mixture.",
        SignalClass::Silence => "Silence: no voice to be measured.",
        SignalClass::TooShort => "Less than two seconds of speech: too short to be judged.",
        SignalClass::Tone => "A steady tone, not a voice.",
        SignalClass::Noise => "Noise, not a voice.",
        SignalClass::Music => "Music, not a voice alone.",
        SignalClass::InvalidSignal => "Not an audio signal: invalid samples.",
    }
}

/// The same as an identifier.
pub(super) fn signal_class_id(signal_class: SignalClass) -> &'static str {
    match signal_class {
        SignalClass::Voice => "voice",
        SignalClass::SeveralVoices => "several_voices",
        SignalClass::Silence => "silence",
        SignalClass::TooShort => "too_short",
        SignalClass::Tone => "tone",
        SignalClass::Noise => "noise",
        SignalClass::Music => "music",
        SignalClass::InvalidSignal => "invalid_signal",
    }
}

/// What the voice is for.
pub(super) fn context(context: Context) -> String {
    let vocal_style = match context.vocal_style {
        VocalStyle::Spoken => "spoken",
        VocalStyle::Sung => "sung",
    };
    let role = match context.role {
        Role::SoloVoice => "alone",
        Role::OverMusic => "over music",
    };
    format!("a {vocal_style} voice {role}")
}

/// What a proposal warns of, beyond what the file itself warns of already.
pub(crate) fn warnings_beside(file: &[audio_file::Warning], proposal: &Proposal) -> Vec<String> {
    let said = |warning: &Warning| {
        file.iter().any(|of_file| match (of_file, warning) {
            (audio_file::Warning::Clipped { .. }, Warning::Clipped(_)) => true,
            // The rate alone explains a band that reaches nearly to its end.
            (audio_file::Warning::LowSampleRate { rate_hz }, Warning::Narrowband(hz)) => {
                0.5 * f64::from(*rate_hz) <= 1.35 * hz
            }
            _ => false,
        })
    };
    proposal.warnings().filter(|warning| !said(warning)).map(ToString::to_string).collect()
}
