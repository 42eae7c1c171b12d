//! Corrective EQ: cuts resonances whose prominence exceeds the typical one.

use super::known::finite;
use super::tone_budget::{MAX_TOTAL_GAIN_DB, ToneBudget};
use crate::measure::Profile;
use crate::measure::pitch_distribution::LOW_HARMONICS;
use crate::measure::profile::Resonances;
use crate::propose::cause::{COMMON_PRACTICE, Cause};
use crate::propose::context::{Context, ContextReason, VocalStyle};
use crate::propose::proposal::Proposal;
use crate::propose::resonance_bell::{
    MAX_CUT_DB, MIN_CONFIDENCE, MIN_CUT_DB, MIN_PROMINENCE_DB, USUAL_PROMINENCE_DB, bell_q, cut_db, is_placed,
};
use crate::settings::StageId;

/// Minimum ratio of two bell frequencies (an octave). Closer bells would add up, so the second one is left out.
const MIN_FREQUENCY_RATIO: f64 = 2.0;
const MEASURED: &str = "measured on 22 clean voices";

/// Settings of the bells for resonances, with the frequency below which each bell is the first choice, Hz.
const BELLS: [(f64, [&str; 3]); 3] = [
    (300.0, ["corrective_eq.bell_1_frequency_hz", "corrective_eq.bell_1_gain_db", "corrective_eq.bell_1_q"]),
    (670.0, ["corrective_eq.bell_2_frequency_hz", "corrective_eq.bell_2_gain_db", "corrective_eq.bell_2_q"]),
    (f64::INFINITY, ["corrective_eq.bell_3_frequency_hz", "corrective_eq.bell_3_gain_db", "corrective_eq.bell_3_q"]),
];

/// Proposes a bell at every candidate of sufficient confidence, as far as the limits on the gains allow. None for a sung
/// voice with a candidate among its low harmonics: notes that are held look like resonances.
pub(in crate::propose) fn corrective_eq(profile: &Profile, context: Context, proposal: &mut Proposal) {
    let candidates = match profile.resonances {
        Ok(candidates) => candidates,
        Err(why) => {
            let unknown = Cause::unknown("the prominence of resonances", why);
            return proposal.leave_off(StageId::CorrectiveEq, unknown);
        }
    };
    if let Some(why) = none_to_cut(&candidates) {
        return proposal.leave_off(StageId::CorrectiveEq, why);
    }
    if let Some(why) = cut_into_singing(profile, &candidates).filter(|_| context.vocal_style == VocalStyle::Sung) {
        return proposal.leave_off(StageId::CorrectiveEq, why);
    }
    let mut taken = [f64::NAN; 3];
    for resonance in candidates.iter().flatten() {
        let Some(wanted) = cut_db(resonance) else { continue };
        let cut = ToneBudget::after(proposal).limit(wanted);
        if cut > -MIN_CUT_DB {
            return;
        }
        let hz = resonance.frequency_hz;
        if taken.iter().any(|&other| hz < other * MIN_FREQUENCY_RATIO && other < hz * MIN_FREQUENCY_RATIO) {
            continue;
        }
        let first = BELLS.iter().position(|(below, _)| hz < *below).unwrap_or(0);
        let Some(slot) = [first, (first + 1) % 3, (first + 2) % 3].into_iter().find(|&i| taken[i].is_nan()) else {
            return;
        };
        taken[slot] = hz;
        let found = Cause {
            frequency_hz: Some(hz),
            confidence: resonance.confidence.min(1.0),
            source: MEASURED,
            ..Cause::new("the prominence of the resonance", resonance.prominence_db, USUAL_PROMINENCE_DB, "dB")
        };
        let limited = |reference_words, limit_db| Cause {
            reference_words,
            reference: Some(limit_db),
            source: COMMON_PRACTICE,
            ..found
        };
        let depth = if cut != wanted {
            limited("the gains of both EQs add up to at most", MAX_TOTAL_GAIN_DB)
        } else if -cut == MAX_CUT_DB {
            limited("a cut is at most", MAX_CUT_DB)
        } else {
            found
        };
        let (_, [frequency, gain, q]) = BELLS[slot];
        proposal.decide(found, frequency, hz);
        proposal.decide(depth, gain, cut);
        let bell_q = bell_q(resonance);
        let width = Cause {
            quantity: "the Q of the resonance",
            measured: Ok(Some(resonance.q)),
            reference_words: if bell_q > resonance.q {
                "the Q of the bell is at least"
            } else if bell_q < resonance.q {
                "the Q of the bell is at most"
            } else {
                "the Q of the bell is set to"
            },
            reference: Some(bell_q),
            unit: "",
            source: COMMON_PRACTICE,
            ..found
        };
        proposal.decide(width, q, bell_q);
    }
}

/// Why no candidate is cut if the voice is sung: one that would be cut lies among the low harmonics of the pitch. A pitch
/// that is not known may lie anywhere.
fn cut_into_singing(profile: &Profile, candidates: &Resonances) -> Option<Cause> {
    let pitch = finite(profile.pitch.map(|pitch| pitch.high_hz));
    let limit_hz = pitch.ok().map(|hz| LOW_HARMONICS * hz);
    let cause = Cause {
        context: Some(ContextReason::Sung),
        measured: pitch.map(Some),
        reference_words: if limit_hz.is_some() {
            "no resonance is cut among its low harmonics, which reach up to"
        } else {
            "no resonance is cut among its low harmonics"
        },
        reference: limit_hz,
        ..Cause::new("the 90th percentile of the pitch", 0.0, 0.0, "Hz")
    };
    let within = |hz: f64| limit_hz.is_none_or(|limit_hz| hz < limit_hz);
    let cuts = candidates.iter().flatten().any(|found| cut_db(found).is_some() && within(found.frequency_hz));
    cuts.then_some(cause)
}

/// Why no candidate is cut: that of the first one, which is the most prominent. `None` if one is cut.
fn none_to_cut(candidates: &Resonances) -> Option<Cause> {
    if candidates.iter().flatten().any(|candidate| cut_db(candidate).is_some()) {
        return None;
    }
    let cause = |measured, reference, unit| Cause {
        reference_words: "a cut is proposed from",
        ..Cause::new("the prominence of the resonance", measured, reference, unit)
    };
    let Some(first) = candidates.iter().flatten().find(|candidate| is_placed(candidate)) else {
        let none = Cause { quantity: "a resonance", measured: Ok(None), source: MEASURED, ..cause(0.0, 0.0, "dB") };
        return Some(Cause { reference_words: "", reference: None, ..none });
    };
    let found = if first.prominence_db >= MIN_PROMINENCE_DB {
        let quantity = "the confidence in the resonance";
        Cause { quantity, ..cause(100.0 * first.confidence, 100.0 * MIN_CONFIDENCE, "%") }
    } else {
        Cause { source: MEASURED, ..cause(first.prominence_db, MIN_PROMINENCE_DB, "dB") }
    };
    Some(Cause { frequency_hz: Some(first.frequency_hz), ..found })
}
