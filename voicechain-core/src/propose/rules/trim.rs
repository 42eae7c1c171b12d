//! Trim: brings the voice to the working level.

use super::known::known;
use crate::levels::working_level_lufs;
use crate::measure::Profile;
use crate::propose::cause::Cause;
use crate::propose::proposal::Proposal;
use crate::settings::row;

/// Proposes the trim that brings the voice to the working level of its number of channels, within its range.
pub(in crate::propose) fn trim(profile: &Profile, proposal: &mut Proposal) {
    let (Some(lufs), Some(info)) = (known(profile.level.integrated_lufs), row("trim.gain_db")) else { return };
    let target = working_level_lufs(profile.channels);
    let gain = target - lufs;
    let (reference_words, reference) = if gain > info.max {
        ("the largest boost reaches the working level from", target - info.max)
    } else if gain < info.min {
        ("the largest cut reaches the working level from", target - info.min)
    } else {
        ("the working level is", target)
    };
    let cause = Cause {
        reference_words,
        confidence: 1.0,
        source: if profile.channels == 2 {
            "EBU R 128 programme level, 3 dB more for two channels"
        } else {
            "EBU R 128 programme level"
        },
        ..Cause::new("the integrated loudness", lufs, reference, "LUFS")
    };
    proposal.decide(cause, "trim.gain_db", gain);
}
