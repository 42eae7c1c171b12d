//! What was measured, in words.

use crate::audio_file;
use voicechain_core::measure::profile::{Doubt, Subject};
use voicechain_core::propose::{Context, Delivery, Proposal, Role, Warning};

/// Why something is not known, as a person reads it.
pub(super) fn doubt(doubt: Doubt) -> &'static str {
    match doubt {
        Doubt::Silence => "nothing is heard",
        Doubt::TooShort => "there is not enough speech for it",
        Doubt::TooNoisy => "the noise is too close to the voice",
        Doubt::NotAVoice => "it does not behave like one voice",
        Doubt::NoBand => "the recording does not contain the frequencies that it needs",
        Doubt::NotHeard => "the voice never shows what it takes",
        Doubt::NotMeasured => "this version does not measure it",
    }
}

/// The same as an identifier.
pub(super) fn doubt_id(doubt: Doubt) -> &'static str {
    match doubt {
        Doubt::Silence => "silence",
        Doubt::TooShort => "too_short",
        Doubt::TooNoisy => "too_noisy",
        Doubt::NotAVoice => "not_a_voice",
        Doubt::NoBand => "no_band",
        Doubt::NotHeard => "not_heard",
        Doubt::NotMeasured => "not_measured",
    }
}

/// What is heard, as a sentence.
pub(crate) fn subject(subject: Subject) -> &'static str {
    match subject {
        Subject::Voice => "One voice.",
        Subject::SeveralVoices => "Several voices take turns: every number describes their mixture.",
        Subject::Silence => "Silence: no voice to be measured.",
        Subject::TooShort => "Less than two seconds of speech: too short to be judged.",
        Subject::Tone => "A steady tone, not a voice.",
        Subject::Noise => "Noise, not a voice.",
        Subject::Music => "Music, not a voice alone.",
        Subject::Garbage => "No sound of this world, not a voice.",
    }
}

/// The same as an identifier.
pub(super) fn subject_id(subject: Subject) -> &'static str {
    match subject {
        Subject::Voice => "voice",
        Subject::SeveralVoices => "several_voices",
        Subject::Silence => "silence",
        Subject::TooShort => "too_short",
        Subject::Tone => "tone",
        Subject::Noise => "noise",
        Subject::Music => "music",
        Subject::Garbage => "garbage",
    }
}

/// What the voice is for.
pub(super) fn context(context: Context) -> String {
    let delivery = match context.delivery {
        Delivery::Spoken => "spoken",
        Delivery::Sung => "sung",
    };
    let role = match context.role {
        Role::SoloVoice => "alone",
        Role::OverMusic => "over music",
    };
    format!("a {delivery} voice {role}")
}

/// What a proposal warns of, beyond what the file itself warns of already.
pub(crate) fn warnings_beside(file: &[audio_file::Warning], proposal: &Proposal) -> Vec<String> {
    let said = |warning: &Warning| {
        file.iter().any(|of_file| match (of_file, warning) {
            (audio_file::Warning::Clipped { .. }, Warning::Clipped(_)) => true,
            // The rate alone explains a band that reaches nearly to its end.
            (audio_file::Warning::LowRate { rate_hz }, Warning::Telephone(hz)) => {
                0.5 * f64::from(*rate_hz) <= 1.35 * hz
            }
            _ => false,
        })
    };
    proposal.warnings().filter(|warning| !said(warning)).map(ToString::to_string).collect()
}
