//! Texts and identifiers for measured classes, contexts and warnings.

use crate::audio_file;
use voicechain_core::measure::profile::{SignalClass, Unavailable};
use voicechain_core::propose::{Context, Proposal, Role, VocalStyle, Warning};

/// Reason why a quantity is not available, as an identifier.
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

/// Class of the signal, as a sentence.
pub(crate) fn signal_class(signal_class: SignalClass) -> &'static str {
    match signal_class {
        SignalClass::Voice => "One voice.",
        SignalClass::SeveralVoices => "Several voices take turns: every number describes their mixture.",
        SignalClass::Silence => "Silence: no voice to measure.",
        SignalClass::TooShort => "Less than two seconds of speech: too short to be judged.",
        SignalClass::Tone => "A steady tone, not a voice.",
        SignalClass::Noise => "Noise, not a voice.",
        SignalClass::Music => "Music, not a voice alone.",
        SignalClass::InvalidSignal => "Not an audio signal: invalid samples.",
    }
}

/// Class of the signal, as an identifier.
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

/// Role and vocal style, as text.
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

/// Warnings of a proposal that do not repeat a warning about the file.
pub(crate) fn warnings_beside(file: &[audio_file::Warning], proposal: &Proposal) -> Vec<String> {
    let repeated = |warning: &Warning| {
        file.iter().any(|of_file| match (of_file, warning) {
            (audio_file::Warning::FullScale { .. }, Warning::Clipped(_)) => true,
            // The sample rate alone explains a bandwidth close to half of it.
            (audio_file::Warning::LowSampleRate { rate_hz }, Warning::Narrowband(hz)) => {
                0.5 * f64::from(*rate_hz) <= 1.35 * hz
            }
            _ => false,
        })
    };
    proposal.warnings().filter(|warning| !repeated(warning)).map(ToString::to_string).collect()
}
