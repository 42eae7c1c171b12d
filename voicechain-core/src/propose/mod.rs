//! Proposed settings: from a measured profile to settings with evidence, and from one voice's settings to another's.
//!
//! Equal profiles give equal proposals. Proposed settings are valid and lie on the table's steps. Every setting that
//! differs from [`Proposal::idle`] has its evidence, and every stage that a rule leaves off says why.

mod carry_over;
mod cause;
mod context;
mod evidence;
mod left_off;
mod proposal;
mod reasons;
mod resonance_bell;
mod rules;
#[cfg(test)]
mod tests;
mod warning;

pub use carry_over::carry_over;
pub use cause::Cause;
pub use context::{Context, ContextReason, Role, VocalStyle};
pub use evidence::Evidence;
pub use left_off::LeftOff;
pub use proposal::{MAX_EVIDENCE, MAX_LEFT_OFF, MAX_WARNINGS, Proposal};
pub use reasons::{Reason, Reasons};
pub use resonance_bell::{TrialBell, trial_bell};
pub use warning::Warning;

use crate::measure::profile::{Profile, SignalClass};

/// Proposes settings for a measured voice, with evidence for each setting and with warnings about the recording.
///
/// `profile` comes from a [`ProfileMeter`](crate::measure::ProfileMeter); `context` is the intended use of the voice.
/// The rules decide stage by stage. A rule without its main measurement leaves its stage as in [`Proposal::idle`],
/// except that the high-pass falls back to 50 Hz with low confidence. All settings lie on the table's steps and inside
/// its ranges. No profile makes it panic.
///
/// Unless the signal class is [`Voice`](SignalClass::Voice) or [`SeveralVoices`](SignalClass::SeveralVoices), the
/// result is [`Proposal::idle`] with the warning [`Warning::NotAVoice`]. Tested by
/// `any_profile_gives_a_valid_proposal` and `cuts_that_use_up_the_limit_leave_no_tone_change`.
#[must_use]
pub fn propose(profile: &Profile, context: Context) -> Proposal {
    let mut proposal = Proposal::idle();
    rules::warn_of_recording(profile, &mut proposal);
    if !matches!(profile.signal_class, SignalClass::Voice | SignalClass::SeveralVoices) {
        return proposal;
    }
    rules::trim(profile, &mut proposal);
    rules::hum(profile, &mut proposal);
    rules::high_pass(profile, context, &mut proposal);
    rules::de_reverb(profile, &mut proposal);
    rules::expander(profile, &mut proposal);
    rules::leveller(profile, &mut proposal);
    rules::corrective_eq(profile, context, &mut proposal);
    rules::de_esser(profile, &mut proposal);
    rules::compressor(profile, context, &mut proposal);
    rules::tone_eq(profile, context, &mut proposal);
    rules::limiter(profile, &mut proposal);
    proposal
}
