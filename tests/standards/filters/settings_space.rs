//! Every setting at every rate: coefficients are finite and stable, and the gain stays in its range.

use proptest::prelude::*;
use std::f64::consts::PI;
use voicechain_core::filters::design::{
    MAX_FREQUENCY_OF_RATE, bell, butterworth_high_pass, fits, high_pass, high_shelf, low_pass, low_shelf, notch,
};
use voicechain_core::filters::{Cascade, Section};
use voicechain_core::settings::{CorrectiveEqSettings, HighPassSettings, SettingInfo, ToneEqSettings};
use voicechain_core::units::SampleRate;
use voicechain_tests::spectra::{RATES, octaves, rate};

const ORDERS: [u32; 5] = [1, 2, 3, 4, 8];

/// The limits in the settings table are those that this file covers.
#[test]
fn the_grid_covers_the_settings_table() {
    let limits = |rows: &'static [SettingInfo], end: &str| -> Vec<(f64, f64)> {
        rows.iter().filter(|row| row.id.ends_with(end)).map(|row| (row.min, row.max)).collect()
    };
    assert_eq!(limits(CorrectiveEqSettings::ROWS, "frequency_hz"), [(20.0, 20_000.0); 4]);
    assert_eq!(limits(CorrectiveEqSettings::ROWS, "gain_db"), [(-18.0, 18.0); 4]);
    assert_eq!(limits(CorrectiveEqSettings::ROWS, "_q"), [(0.3, 12.0); 4]);
    assert_eq!(limits(ToneEqSettings::ROWS, "frequency_hz"), [(20.0, 20_000.0); 3]);
    assert_eq!(limits(ToneEqSettings::ROWS, "shelf_gain_db"), [(-12.0, 12.0); 2]);
    assert_eq!(limits(HighPassSettings::ROWS, "frequency_hz"), [(20.0, 400.0)]);
}

/// A band above 0.45 of the sample rate is bypassed; up to there it is active.
#[test]
fn bands_above_0_45_of_the_rate_are_bypassed() {
    for hz in [8_000.0, 22_050.0, 44_100.0] {
        let rate = rate(hz);
        for (f0, bypassed) in [(0.4499 * hz, false), (0.4501 * hz, true), (20_000.0, 20_000.0 > 0.45 * hz)] {
            let sections = [
                bell(f0, 6.0, 1.0, rate),
                bell(f0, -6.0, 1.0, rate),
                high_shelf(f0, 6.0, rate),
                low_shelf(f0, 6.0, rate),
                notch(f0, 1.0, rate),
                low_pass(f0, 1.0, rate),
                high_pass(f0, 1.0, rate),
                butterworth_high_pass(2, f0, rate)[0],
            ];
            for (kind, section) in sections.iter().enumerate() {
                assert_eq!(section.is_identity(), bypassed, "{kind} {f0} {hz}");
            }
        }
    }
}

/// Finite, stable, and with a state-variable form that stays stable in transitions.
fn check_sound(section: &Section) -> Result<(), String> {
    if !section.is_stable() {
        return Err(format!("unstable: {section:?}"));
    }
    let form = section.state_variable();
    let all = [form.g, form.k, form.m0, form.m1, form.m2];
    if !(all.iter().all(|v| v.is_finite()) && form.g > 0.0 && form.k > 0.0) {
        return Err(format!("invalid state-variable form: {form:?} of {section:?}"));
    }
    Ok(())
}

/// Gain between `least` and `most` dB everywhere.
fn check_between(section: &Section, least: f64, most: f64, shares: &[f64]) -> Result<(), String> {
    for &share in shares {
        let db = section.response(PI * share).db();
        if !(least..=most).contains(&db) {
            return Err(format!("{db} dB at {share} of half the sample rate, allowed {least} to {most}: {section:?}"));
        }
    }
    Ok(())
}

/// Allowed excess of a gain, dB: rounding only.
const MARGIN: f64 = 1e-4;

fn check_bell(f0: f64, gain: f64, q: f64, rate: SampleRate, shares: &[f64]) -> Result<(), String> {
    let section = bell(f0, gain, q, rate);
    if !fits(f0, rate) || gain == 0.0 {
        return if section.is_identity() { Ok(()) } else { Err(format!("not bypassed: {section:?}")) };
    }
    check_sound(&section)?;
    let here = section.response(2.0 * PI * f0 / rate.hz()).db();
    if (here - gain).abs() > 1e-4 {
        return Err(format!("{here} dB at the centre"));
    }
    check_between(&section, gain.min(0.0) - MARGIN, gain.max(0.0) + MARGIN, shares)
}

fn check_shelf(low: bool, f0: f64, gain: f64, rate: SampleRate, shares: &[f64]) -> Result<(), String> {
    let section = if low { low_shelf(f0, gain, rate) } else { high_shelf(f0, gain, rate) };
    if !fits(f0, rate) || gain == 0.0 {
        return if section.is_identity() { Ok(()) } else { Err(format!("not bypassed: {section:?}")) };
    }
    check_sound(&section)?;
    check_between(&section, gain.min(0.0) - MARGIN, gain.max(0.0) + MARGIN, shares)
}

fn check_high_pass(order: u32, f0: f64, rate: SampleRate) -> Result<(), String> {
    let sections = butterworth_high_pass(order, f0, rate);
    sections.iter().try_for_each(check_sound)?;
    if !Cascade::new(sections).is_stable() {
        return Err("unstable".to_owned());
    }
    let active = sections.iter().filter(|s| !s.is_identity()).count();
    if active != order.div_ceil(2) as usize {
        return Err(format!("{active} sections for order {order}"));
    }
    Ok(())
}

/// Frequencies at which responses are read, as shares of half the sample rate; dense at both ends.
fn shares() -> Vec<f64> {
    let mut shares = octaves(1e-4, 0.5, 2.0);
    shares.extend((1..=50).map(|k| 0.5 + 0.01 * f64::from(k)));
    shares.push(0.0);
    shares
}

#[test]
fn filters_are_stable_over_the_whole_settings_space() {
    let mut failures = Vec::new();
    let mut note = |result: Result<(), String>, settings: &str, values: [f64; 4]| {
        if let Err(why) = result {
            failures.push(format!("{settings} {values:?}: {why}"));
        }
    };
    let shares = shares();
    for hz in RATES {
        let rate = rate(hz);
        let mut frequencies = octaves(20.0, 20_000.0, 4.0);
        frequencies.extend([0.25, 0.3, 0.35, 0.4, 0.449_999, MAX_FREQUENCY_OF_RATE, 0.450_001].map(|x| x * hz));
        frequencies.retain(|f| *f <= 20_000.0);
        for &f0 in &frequencies {
            let around = [0.7, 0.9, 0.97, 1.0, 1.03, 1.1, 1.4].map(|x| (x * 2.0 * f0 / hz).min(1.0));
            let near: Vec<f64> = around.into_iter().chain(shares.iter().copied()).collect();
            for gain in [0.01, 0.5, 3.0, 6.0, 12.0, 18.0] {
                for q in [0.3, 0.4, 0.55, 0.7, 1.0, 2.0, 5.0, 12.0] {
                    note(check_bell(f0, gain, q, rate, &near), "bell", [f0, gain, q, hz]);
                    note(check_bell(f0, -gain, q, rate, &around), "bell", [f0, -gain, q, hz]);
                }
            }
            for gain in [-12.0, -6.0, -1.0, -0.01, 0.01, 1.0, 6.0, 12.0] {
                note(check_shelf(true, f0, gain, rate, &near), "low shelf", [f0, gain, 0.0, hz]);
                note(check_shelf(false, f0, gain, rate, &near), "high shelf", [f0, gain, 0.0, hz]);
            }
            for q in [0.5, 30.0] {
                note(check_sound(&notch(f0, q, rate)), "notch", [f0, 0.0, q, hz]);
            }
        }
        for f0 in octaves(20.0, 400.0, 12.0) {
            for order in ORDERS {
                note(check_high_pass(order, f0, rate), "high-pass", [f64::from(order), f0, 0.0, hz]);
            }
        }
    }
    assert!(failures.is_empty(), "{} failures:\n{}", failures.len(), failures[..failures.len().min(60)].join("\n"));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 512, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_bell_is_stable_with_its_gain_in_range(
        octave in 0.0..=1.0, gain in -18.0..=18.0, width in 0.0..=1.0, hz in 8_000.0..=192_000.0,
    ) {
        let (f0, q) = (20.0 * 1_000f64.powf(octave), 0.3 * 40f64.powf(width));
        let result = check_bell(f0.min(20_000.0), gain, q.min(12.0), rate(hz), &shares());
        prop_assert!(result.is_ok(), "{} {} {} {}: {:?}", f0, gain, q, hz, result);
    }

    #[test]
    fn any_shelf_is_stable_with_its_gain_in_range(low: bool, octave in 0.0..=1.0, gain in -12.0..=12.0, hz in 8_000.0..=192_000.0) {
        let f0 = (20.0 * 1_000f64.powf(octave)).min(20_000.0);
        let result = check_shelf(low, f0, gain, rate(hz), &shares());
        prop_assert!(result.is_ok(), "{} {} {}: {:?}", f0, gain, hz, result);
    }

    #[test]
    fn any_high_pass_is_stable(order in 0usize..5, f0 in 20.0..=400.0, hz in 8_000.0..=192_000.0) {
        let result = check_high_pass(ORDERS[order], f0, rate(hz));
        prop_assert!(result.is_ok(), "{} {}: {:?}", f0, hz, result);
    }
}
