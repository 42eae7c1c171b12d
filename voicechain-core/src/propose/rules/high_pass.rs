//! High-pass: removes what lies below the voice.

use super::known::{finite, known};
use super::limited::is_flattened;
use crate::measure::Profile;
use crate::measure::profile::{Measured, Unavailable};
use crate::propose::cause::Cause;
use crate::propose::context::{Context, ContextReason, Role, VocalStyle};
use crate::propose::proposal::Proposal;
use crate::settings::{Slope, StageId, row};

/// Cutoff frequency as a share of the lowest pitch, which is the 10th percentile (common practice, no source).
const CUTOFF_PER_PITCH: f64 = 0.7;
/// Factor on the cutoff frequency for a voice over music (common practice, no source).
const OVER_MUSIC: f64 = 1.15;
/// Bounds of the cutoff frequency, Hz (common practice, no source).
const CUTOFF_HZ: [f64; 2] = [40.0, 120.0];
/// Cutoff for an unknown pitch, below every voice, Hz.
const UNKNOWN_PITCH_HZ: f64 = 50.0;
/// Typical maximum level of rumble relative to the voice, dB (common practice, no source).
const USUAL_RUMBLE_DB: f64 = -30.0;
/// Level of rumble relative to the voice up to which there is nothing to remove, dB: 10 dB below the typical maximum
/// (common practice, no source).
const NO_RUMBLE_DB: f64 = -40.0;
/// The same for a voice whose peaks come limited: the phase shift of a high-pass turns them up by 2 to 6 dB. Rumble is
/// what lies below 60 Hz: 15 dB below a voice of 65 dB SPL it is at the threshold of hearing at 40 Hz (ISO 226, from
/// memory).
const FLATTENED_RUMBLE_DB: f64 = -15.0;

/// Proposes a high-pass for rumble, with a cutoff below the lowest pitch, between 40 and 120 Hz, higher for a voice over
/// music. A steeper slope for strong rumble, a gentler one for a sung voice. A voice whose peaks come limited gets one
/// only for audible rumble: the phase shift above the cutoff would raise its flattened peaks.
pub(in crate::propose) fn high_pass(profile: &Profile, context: Context, proposal: &mut Proposal) {
    let rumble_db =
        known(profile.level.active_level_dbov).map_or(f64::NAN, |level| profile.background_noise.rumble_dbfs - level);
    let rumble = |reference_words, reference| Cause {
        reference_words,
        ..Cause::new("the rumble level relative to the voice", rumble_db, reference, "dB")
    };
    let rumbles_over = |limit_db| rumble_db.is_finite() && rumble_db > limit_db;
    let (limit_db, [up_to, above]) = if is_flattened(profile) {
        let words = ["a limited voice needs no high-pass up to", "a limited voice needs a high-pass above"];
        (FLATTENED_RUMBLE_DB, words)
    } else {
        (NO_RUMBLE_DB, ["a high-pass is proposed above", "a high-pass is proposed above"])
    };
    if !rumbles_over(limit_db) {
        return proposal.leave_off(StageId::HighPass, rumble(up_to, limit_db));
    }
    let lowest_pitch = finite(profile.pitch.map(|p| p.low_hz))
        .and_then(|hz| if hz > 0.0 { Ok(hz) } else { Err(Unavailable::NotMeasured) });
    let (frequency, cause) = cutoff(lowest_pitch, context);
    proposal.decide(rumble(above, limit_db), "high_pass.on", 1.0);
    proposal.decide(cause, "high_pass.frequency_hz", frequency);
    if rumbles_over(USUAL_RUMBLE_DB) {
        proposal.decide(
            rumble("the typical maximum is", USUAL_RUMBLE_DB),
            "high_pass.slope",
            f64::from(Slope::Db24 as u8),
        );
    } else if context.vocal_style == VocalStyle::Sung {
        proposal.decide(Cause::of_context(ContextReason::Sung), "high_pass.slope", f64::from(Slope::Db12 as u8));
    }
}

/// Cutoff frequency, Hz, and its cause.
fn cutoff(lowest_pitch: Measured<f64>, context: Context) -> (f64, Cause) {
    let quantity = "the 10th percentile of the pitch";
    let hz = match lowest_pitch {
        Ok(hz) => hz,
        Err(why) => {
            let cause = Cause {
                measured: Err(why),
                reference_words: "the high-pass cutoff then lies below every voice, at",
                confidence: 0.3,
                ..Cause::new(quantity, f64::NAN, UNKNOWN_PITCH_HZ, "Hz")
            };
            return (UNKNOWN_PITCH_HZ, cause);
        }
    };
    let [least, most] = CUTOFF_HZ;
    let wanted_for = |role| CUTOFF_PER_PITCH * hz * if role == Role::OverMusic { OVER_MUSIC } else { 1.0 };
    let frequency = wanted_for(context.role).clamp(least, most);
    // The music is a cause only where it changes the cutoff.
    let over_music = (frequency != wanted_for(Role::SoloVoice).clamp(least, most)).then_some(ContextReason::OverMusic);
    let (reference_words, reference) = match wanted_for(context.role) {
        wanted if wanted < least => ("the high-pass cutoff is at least", least),
        wanted if wanted > most => ("the high-pass cutoff is at most", most),
        wanted => {
            let rounded = row("high_pass.frequency_hz").map_or(wanted, |info| info.on_step(wanted));
            ("the high-pass cutoff is set to", rounded)
        }
    };
    let cause =
        Cause { context: over_music, reference_words, confidence: 0.9, ..Cause::new(quantity, hz, reference, "Hz") };
    (frequency, cause)
}
