//! High-pass: removes what lies below the voice.

use super::known::known;
use crate::measure::Profile;
use crate::propose::cause::Cause;
use crate::propose::context::{Context, Role, VocalStyle};
use crate::propose::proposal::Proposal;
use crate::settings::Slope;

/// Cutoff frequency as a share of the lowest pitch.
const CUTOFF_PER_PITCH: f64 = 0.7;
/// Typical maximum level of rumble relative to the voice, dB.
const USUAL_RUMBLE_DB: f64 = -30.0;
/// Cutoff for an unknown pitch, below every voice.
const UNKNOWN_PITCH_HZ: f64 = 50.0;

/// Proposes a cutoff below the lowest pitch, between 40 and 120 Hz; a steeper slope for rumble, a higher cutoff for a
/// voice over music.
pub(in crate::propose) fn high_pass(profile: &Profile, context: Context, proposal: &mut Proposal) {
    let lowest_pitch = profile.pitch.ok().map(|p| p.low_hz).filter(|hz| hz.is_finite() && *hz > 0.0);
    let over_music = if context.role == Role::OverMusic { 1.15 } else { 1.0 };
    let frequency = lowest_pitch.map_or(UNKNOWN_PITCH_HZ, |hz| (CUTOFF_PER_PITCH * over_music * hz).clamp(40.0, 120.0));
    let cause = Cause {
        reference_words: "the high-pass cutoff is set to",
        confidence: if lowest_pitch.is_some() { 0.9 } else { 0.3 },
        ..Cause::new("the lowest pitch", lowest_pitch.unwrap_or(f64::NAN), frequency, "Hz")
    };
    proposal.decide(cause, "high_pass.on", 1.0);
    proposal.decide(cause, "high_pass.frequency_hz", frequency);

    let rumble_db =
        known(profile.level.active_level_dbov).map_or(f64::NAN, |level| profile.background_noise.rumble_dbfs - level);
    let rumble = Cause {
        reference_words: "the typical maximum is",
        ..Cause::new("the rumble level relative to the voice", rumble_db, USUAL_RUMBLE_DB, "dB")
    };
    if rumble_db > USUAL_RUMBLE_DB {
        proposal.decide(rumble, "high_pass.slope", f64::from(Slope::Db24 as u8));
    } else if context.vocal_style == VocalStyle::Sung {
        proposal.decide(rumble, "high_pass.slope", f64::from(Slope::Db12 as u8));
    }
}
