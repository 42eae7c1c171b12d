//! High-pass: takes what lies below the voice.

use super::known::known;
use crate::measure::Profile;
use crate::propose::cause::Cause;
use crate::propose::context::{Context, Role, VocalStyle};
use crate::propose::proposal::Proposal;
use crate::settings::Slope;

/// The high-pass stays so far under the lowest pitch that it is left alone, as a factor.
const CUTOFF_PER_PITCH: f64 = 0.7;
/// What lies below the voice is usually at least so far under it, dB.
const USUAL_RUMBLE_DB: f64 = -30.0;
/// Where the pitch is not known: under every voice.
const UNKNOWN_PITCH_HZ: f64 = 50.0;

/// Under the lowest pitch, between 40 and 120 Hz; steeper for rumble, higher for a voice over music.
pub(in crate::propose) fn high_pass(profile: &Profile, context: Context, proposal: &mut Proposal) {
    let low = profile.pitch.ok().map(|p| p.low_hz).filter(|hz| hz.is_finite() && *hz > 0.0);
    let over_music = if context.role == Role::OverMusic { 1.15 } else { 1.0 };
    let frequency = low.map_or(UNKNOWN_PITCH_HZ, |hz| (CUTOFF_PER_PITCH * over_music * hz).clamp(40.0, 120.0));
    let cause = Cause {
        reference_words: "the high-pass stays under it by a third, at",
        confidence: if low.is_some() { 0.9 } else { 0.3 },
        ..Cause::new("the lowest pitch", low.unwrap_or(f64::NAN), frequency, "Hz")
    };
    proposal.decide(cause, "high_pass.on", 1.0);
    proposal.decide(cause, "high_pass.frequency_hz", frequency);

    let under =
        known(profile.level.active_level_dbov).map_or(f64::NAN, |level| profile.background_noise.rumble_dbfs - level);
    let rumble = Cause {
        reference_words: "usual is at most",
        ..Cause::new("the rumble against the voice", under, USUAL_RUMBLE_DB, "dB")
    };
    if under > USUAL_RUMBLE_DB {
        proposal.decide(rumble, "high_pass.slope", f64::from(Slope::Db24 as u8));
    } else if context.vocal_style == VocalStyle::Sung {
        proposal.decide(rumble, "high_pass.slope", f64::from(Slope::Db12 as u8));
    }
}
