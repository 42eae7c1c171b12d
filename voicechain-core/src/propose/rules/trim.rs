//! Trim: brings the voice to the working level.

use super::known::known;
use crate::levels::working_level_lufs;
use crate::measure::Profile;
use crate::propose::cause::Cause;
use crate::propose::proposal::Proposal;
use crate::settings::row;

/// Gain that brings the voice to the working level of its number of channels, limited to the range of the trim, dB.
fn trim_db(profile: &Profile) -> f64 {
    let reach = |gain: f64| row("trim.gain_db").map_or(gain, |info| gain.clamp(info.min, info.max));
    known(profile.level.integrated_lufs).map_or(0.0, |lufs| reach(working_level_lufs(profile.channels) - lufs))
}

/// Proposes the trim that brings the voice to the working level of its number of channels.
pub(in crate::propose) fn trim(profile: &Profile, proposal: &mut Proposal) {
    let Some(lufs) = known(profile.level.integrated_lufs) else { return };
    let target = working_level_lufs(profile.channels);
    let cause = Cause {
        reference_words: "the working level is",
        confidence: 1.0,
        source: "EBU R 128 programme level",
        ..Cause::new("the integrated loudness", lufs, target, "LUFS")
    };
    proposal.decide(cause, "trim.gain_db", trim_db(profile));
}
