//! Level first, then what lies below the voice.

use super::{Context, Delivery, Profile, Proposal, Reason, Role, known};
use crate::settings::{Slope, row};
use crate::strip::starting_points::working_level_lufs;

/// The gain that brings the voice to the working level of its number of channels, as far as the trim reaches, dB. The
/// trim itself lies on a step: what else depends on the level is reckoned from this, so that a voice recorded louder or
/// quieter gets the same.
pub(super) fn trim_db(profile: &Profile) -> f64 {
    let reach = |gain: f64| row("trim.gain_db").map_or(gain, |info| gain.clamp(info.min, info.max));
    known(profile.level.integrated_lufs).map_or(0.0, |lufs| reach(working_level_lufs(profile.channels) - lufs))
}

/// Brings the voice to the working level of its number of channels.
pub(super) fn trim(profile: &Profile, proposal: &mut Proposal) {
    let Some(lufs) = known(profile.level.integrated_lufs) else { return };
    let target = working_level_lufs(profile.channels);
    let reason = Reason {
        reference_words: "the working level is",
        confidence: 1.0,
        source: "EBU R 128 programme level",
        ..Reason::new("the loudness", lufs, target, "LUFS")
    };
    proposal.decide(reason, "trim.gain_db", trim_db(profile));
}

/// The high-pass stays so far under the lowest pitch that it is left alone, as a factor.
const UNDER_THE_PITCH: f64 = 0.7;
/// What lies below the voice is usually at least so far under it, dB.
const USUAL_RUMBLE_DB: f64 = -30.0;
/// Where the pitch is not known: under every voice.
const UNKNOWN_PITCH_HZ: f64 = 50.0;

/// Under the lowest pitch, between 40 and 120 Hz; steeper for rumble, higher for a voice over music.
pub(super) fn high_pass(profile: &Profile, context: Context, proposal: &mut Proposal) {
    let low = profile.pitch.ok().map(|p| p.low_hz).filter(|hz| hz.is_finite() && *hz > 0.0);
    let over_music = if context.role == Role::OverMusic { 1.15 } else { 1.0 };
    let frequency = low.map_or(UNKNOWN_PITCH_HZ, |hz| (UNDER_THE_PITCH * over_music * hz).clamp(40.0, 120.0));
    let reason = Reason {
        reference_words: "the high-pass stays under it by a third, at",
        confidence: if low.is_some() { 0.9 } else { 0.3 },
        ..Reason::new("the lowest pitch", low.unwrap_or(f64::NAN), frequency, "Hz")
    };
    proposal.decide(reason, "high_pass.on", 1.0);
    proposal.decide(reason, "high_pass.frequency_hz", frequency);

    let under = known(profile.level.active_level_dbov).map_or(f64::NAN, |level| profile.ground.rumble_dbfs - level);
    let rumble = Reason {
        reference_words: "usual is at most",
        ..Reason::new("the rumble against the voice", under, USUAL_RUMBLE_DB, "dB")
    };
    if under > USUAL_RUMBLE_DB {
        proposal.decide(rumble, "high_pass.slope", f64::from(Slope::Db24 as u8));
    } else if context.delivery == Delivery::Sung {
        proposal.decide(rumble, "high_pass.slope", f64::from(Slope::Db12 as u8));
    }
}
