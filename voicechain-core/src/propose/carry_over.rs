//! Carrying a user's adjustments from one voice to another.

use crate::settings::{Scale, SettingInfo, StripSettings, rows};
use crate::units::Unit;

/// Settings for voice B: its proposal, moved by what the user changed on the proposal for voice A.
///
/// Each setting moves in its own scale: by the difference where it is linear, by the factor where it is logarithmic.
/// Switches, choices, slopes and the order of the stages come from A where the user changed them. Bands correspond by
/// slot. Moved values lie on the table's steps and inside its ranges. Without changes the result is exactly
/// `proposal_b`; with equal proposals it is exactly `settings_a`. Tested by
/// `carry_over_is_the_identity_without_changes_or_for_equal_proposals`.
///
/// ```
/// use voicechain_core::StripSettings;
/// use voicechain_core::propose::carry_over;
///
/// let (proposal_a, mut proposal_b) = (StripSettings::default(), StripSettings::default());
/// proposal_b.high_pass.frequency_hz = 100.0;
/// let mut changed = proposal_a;
/// changed.tone_eq.bell_gain_db = 2.0;
/// let carried = carry_over(&changed, &proposal_a, &proposal_b);
/// assert_eq!((carried.high_pass.frequency_hz, carried.tone_eq.bell_gain_db), (100.0, 2.0));
/// ```
#[must_use]
pub fn carry_over(settings_a: &StripSettings, proposal_a: &StripSettings, proposal_b: &StripSettings) -> StripSettings {
    let mut carried = *proposal_b;
    if settings_a.order != proposal_a.order {
        carried.order = settings_a.order;
    }
    for info in rows() {
        let of = |settings: &StripSettings| settings.get(info.id).unwrap_or(info.default);
        let value = info.nearest(moved(info, of(settings_a), of(proposal_a), of(proposal_b)));
        // The value is inside the range, so it is accepted.
        let _ = carried.set(info.id, value);
    }
    carried
}

/// Carries one setting over.
fn moved(info: &SettingInfo, set: f64, proposed_a: f64, proposed_b: f64) -> f64 {
    if set == proposed_a {
        return proposed_b;
    }
    let named = matches!(info.unit, Unit::Switch | Unit::Choice);
    // No difference exists to or from an infinite ratio: use the value that the user set.
    let infinite = !(set.is_finite() && proposed_a.is_finite() && proposed_b.is_finite());
    if named || infinite || proposed_a == proposed_b {
        return set;
    }
    info.on_step(match info.scale {
        Scale::Linear => proposed_b + (set - proposed_a),
        Scale::Logarithmic => proposed_b * (set / proposed_a),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::Slope;

    #[test]
    fn changes_carry_over_in_the_scale_of_each_setting() {
        let (mut a, mut b) = (StripSettings::default(), StripSettings::default());
        (a.high_pass.frequency_hz, a.tone_eq.bell_gain_db) = (70.0, 1.5);
        (b.high_pass.frequency_hz, b.high_pass.slope, b.tone_eq.bell_gain_db) = (90.0, Slope::Db24, 2.0);
        let mut set = a;
        set.high_pass.frequency_hz *= 2.0;
        set.tone_eq.bell_gain_db += 1.0;
        set.compressor.on = false;
        let carried = carry_over(&set, &a, &b);
        assert!((carried.high_pass.frequency_hz / b.high_pass.frequency_hz - 2.0).abs() < 0.015);
        assert!((carried.tone_eq.bell_gain_db - b.tone_eq.bell_gain_db - 1.0).abs() < 1e-9);
        assert!(!carried.compressor.on);
        assert_eq!(carried.high_pass.slope, b.high_pass.slope);
        assert_eq!(carry_over(&a, &a, &b), b);
        assert_eq!(carry_over(&set, &a, &a), set);
    }

    #[test]
    fn an_infinite_ratio_is_taken_over_as_set() {
        let mut set = StripSettings::default();
        let (a, mut b) = (set, set);
        b.compressor.ratio = 2.0;
        set.compressor.ratio = f64::INFINITY;
        assert_eq!(carry_over(&set, &a, &b).compressor.ratio, f64::INFINITY);
        assert_eq!(carry_over(&a, &set, &b).compressor.ratio, a.compressor.ratio);
    }

    #[test]
    fn carried_values_are_limited_to_the_range() {
        let (a, mut b, mut set) = (StripSettings::default(), StripSettings::default(), StripSettings::default());
        b.trim.gain_db = 20.0;
        set.trim.gain_db = 10.0;
        assert_eq!(carry_over(&set, &a, &b).trim.gain_db, 24.0);
    }

    #[test]
    fn values_are_rounded_to_steps() {
        for info in rows() {
            assert_eq!(info.on_step(info.default), info.default, "{}", info.id);
            assert!(info.check(info.on_step(1e300)).is_ok() && info.check(info.on_step(-1e300)).is_ok());
        }
        let info = crate::settings::row("trim.gain_db").expect("a row");
        assert_eq!(info.on_step(0.349), 0.3);
    }
}
