//! Each filter design against its closed form or its analog prototype.

use approx::{assert_abs_diff_eq, relative_eq};
use biquad::{Coefficients, ToHertz, Type};
use std::f64::consts::{FRAC_1_SQRT_2, PI};
use voicechain_core::filters::design::{
    BUTTERWORTH_Q, MAX_BUTTERWORTH_ORDER, bell, butterworth_high_pass, first_order_high_pass, high_pass, high_shelf,
    low_pass, low_shelf, notch,
};
use voicechain_core::filters::{Cascade, Section};
use voicechain_core::units::SampleRate;
use voicechain_tests::spectra::{
    RATES, analog_bell_db, analog_high_shelf_db, analog_low_shelf_db, db_at, octaves, rate,
};

const ORDERS: [u32; 8] = [1, 2, 3, 4, 5, 6, 7, 8];

fn high_pass_db(order: u32, f0: f64, hz: f64, rate: SampleRate) -> f64 {
    Cascade::new(butterworth_high_pass(order, f0, rate)).response(2.0 * PI * hz / rate.hz()).db()
}

/// Butterworth high-pass of order n: `|H|^2 = 1 / (1 + (W0/W)^2n)`. The prewarped bilinear transform replaces an analog
/// frequency exactly by `tan(pi f / rate)`.
#[test]
fn high_pass_matches_the_closed_form() {
    for hz in RATES {
        let rate = rate(hz);
        let warped = |f: f64| (PI * f / hz).tan();
        for f0 in octaves(20.0, 400.0, 3.0) {
            for order in ORDERS {
                for f in octaves(2.0, 0.49 * hz, 4.0) {
                    let n = 2 * order as i32;
                    let expected = -10.0 * (1.0 + (warped(f0) / warped(f)).powi(n)).log10();
                    let found = high_pass_db(order, f0, f, rate);
                    // The zeros lie at 0 Hz, so the response there is a difference of rounded numbers.
                    let tolerance = if f < f0 / 4.0 { 1e-3 } else { 1e-6 };
                    assert!((found - expected).abs() < tolerance, "{order} {f0} {f} {hz}: {found} not {expected}");
                }
            }
        }
    }
}

/// Attenuation of 3.0103 dB at the corner for every order, also beyond the highest; at half and a quarter of it for orders 2, 3 and 4. Computed
/// with scipy (`signal.butter(n, 1, analog=True)`).
#[test]
fn high_pass_is_3_db_down_at_the_corner() {
    let rate = rate(48_000.0);
    for order in 0..=20 {
        assert_abs_diff_eq!(high_pass_db(order, 80.0, 80.0, rate), -3.0103, epsilon = 5e-5);
    }
    for order in [9, 10, u32::MAX] {
        assert_eq!(butterworth_high_pass(order, 80.0, rate), butterworth_high_pass(MAX_BUTTERWORTH_ORDER, 80.0, rate));
    }
    // At 80 Hz and 48 kHz the bilinear transform warps by about 1e-5, which is 0.0003 dB at most.
    for (order, half, quarter) in [(2, 12.3045, 24.0993), (3, 18.1291, 36.1247), (4, 24.0993, 48.1649)] {
        assert_abs_diff_eq!(high_pass_db(order, 80.0, 40.0, rate), -half, epsilon = 4e-4);
        assert_abs_diff_eq!(high_pass_db(order, 80.0, 20.0, rate), -quarter, epsilon = 4e-4);
    }
}

/// 80 Hz at 48 kHz, computed with scipy (`signal.butter(n, 80, 'high', fs=48000, output='sos')`, `signal.sosfreqz`).
#[test]
fn high_pass_at_80_hz_matches_tabulated_attenuation() {
    let rate = rate(48_000.0);
    let frequencies = [20.0, 31.5, 40.0, 50.0, 63.0, 80.0, 100.0, 125.0, 160.0];
    let second = [-24.0995, -16.2945, -12.3046, -8.7816, -5.5632, -3.0103, -1.4909, -0.6735, -0.2633];
    let fourth = [-48.1652, -32.3851, -24.0996, -16.4297, -8.8991, -3.0103, -0.6736, -0.1205, -0.0169];
    for (k, f) in frequencies.into_iter().enumerate() {
        // The table has four decimals.
        assert_abs_diff_eq!(high_pass_db(2, 80.0, f, rate), second[k], epsilon = 5.1e-5);
        assert_abs_diff_eq!(high_pass_db(4, 80.0, f, rate), fourth[k], epsilon = 5.1e-5);
    }
}

/// Q of the sections of each order, computed with scipy (`signal.butter(n, 1, analog=True, output='zpk')`); read from
/// the state-variable form, whose damping is `1/Q`.
#[test]
fn high_pass_sections_have_the_butterworth_q() {
    let rate = rate(48_000.0);
    let tables: [(u32, &[f64]); 4] = [
        (2, &[FRAC_1_SQRT_2]),
        (3, &[1.0]),
        (4, &[0.541196, 1.306563]),
        (8, &[0.509796, 0.601345, 0.899976, 2.562915]),
    ];
    for (order, expected) in tables {
        let mut found: Vec<f64> = butterworth_high_pass(order, 100.0, rate)
            .iter()
            .filter(|s| !s.is_identity() && s.a2 != 0.0)
            .map(|s| 1.0 / s.state_variable().k)
            .collect();
        found.sort_by(f64::total_cmp);
        assert_eq!(found.len(), expected.len());
        for (q, e) in found.iter().zip(expected) {
            assert_abs_diff_eq!(*q, *e, epsilon = 1e-6);
        }
    }
}

/// Second-order low-pass and high-pass of the same Butterworth corner against closed forms, with `tan(pi f / rate)` for
/// the analog frequency.
#[test]
fn low_pass_and_high_pass_match_the_closed_form() {
    let rate = rate(44_100.0);
    let warped = |f: f64| (PI * f / 44_100.0).tan();
    for f0 in octaves(100.0, 12_000.0, 2.0) {
        let (low, high) = (low_pass(f0, BUTTERWORTH_Q, rate), high_pass(f0, BUTTERWORTH_Q, rate));
        let first = first_order_high_pass(f0, rate);
        for f in octaves(50.0, 20_000.0, 4.0) {
            let x = warped(f) / warped(f0);
            assert_abs_diff_eq!(db_at(&low, f, rate), -10.0 * (1.0 + x.powi(4)).log10(), epsilon = 1e-7);
            assert_abs_diff_eq!(db_at(&high, f, rate), -10.0 * (1.0 + x.powi(-4)).log10(), epsilon = 1e-7);
            assert_abs_diff_eq!(db_at(&first, f, rate), -10.0 * (1.0 + x.powi(-2)).log10(), epsilon = 1e-7);
        }
    }
}

/// Plain bilinear designs of the Audio EQ Cookbook, by another crate.
fn cookbook(kind: Type<f64>, f0: f64, q: f64, rate: SampleRate) -> Section {
    let c = Coefficients::from_params(kind, rate.hz().hz(), f0.hz(), q).expect("a cookbook design");
    Section { b0: c.b0, b1: c.b1, b2: c.b2, a1: c.a1, a2: c.a2 }
}

fn assert_coefficients(found: Section, expected: [f64; 5]) {
    for (f, e) in [found.b0, found.b1, found.b2, found.a1, found.a2].into_iter().zip(expected) {
        assert_abs_diff_eq!(f, e, epsilon = 1e-9);
    }
}

/// Coefficients of M. Vicanek, "Matched Second Order Digital Filters", 2016, sections 3 and 4, evaluated in Python.
#[test]
fn bell_has_the_published_coefficients() {
    let expected = [1.342189501548, -0.939120504904, 0.303719776836, -0.769677140883, 0.476465914363];
    assert_coefficients(bell(8_000.0, 6.0, 1.0, rate(48_000.0)), expected);
}

/// The negative control has the coefficients of the cookbook, computed with scipy.
#[test]
fn negative_control_has_cookbook_coefficients() {
    let peaking = cookbook(Type::PeakingEQ(6.0), 1_000.0, 1.0, rate(48_000.0));
    assert_coefficients(peaking, [1.043953086990, -1.895320723937, 0.867722284760, -1.895320723937, 0.911675371750]);
    let shelf = cookbook(Type::HighShelf(3.0), 8_000.0, FRAC_1_SQRT_2, rate(48_000.0));
    assert_coefficients(shelf, [1.253829141036, -0.889096302215, 0.328382722596, -0.528218318254, 0.221333879672]);
}

/// Largest errors against a prototype up to 16 kHz and up to 20 kHz, with extra points around `extra` Hz.
fn errors(section: &Section, rate: SampleRate, extra: f64, per_octave: f64, analog: impl Fn(f64) -> f64) -> [f64; 2] {
    let mut worst = [0.0_f64; 2];
    let mut grid = octaves(20.0, 20_000.0, per_octave);
    grid.extend([0.97, 0.99, 1.0, 1.01, 1.03].map(|x| x * extra));
    grid.push(16_000.0);
    for f in grid {
        let error = (db_at(section, f, rate) - analog(f)).abs();
        if f <= 16_000.0 {
            worst[0] = worst[0].max(error);
        }
        worst[1] = worst[1].max(error);
    }
    worst
}

/// Stated accuracy of the designs at 44.1 kHz: 0.4 dB up to 16 kHz, 0.6 dB up to 20 kHz.
fn passes([to_16, to_20]: [f64; 2]) -> bool {
    to_16 <= 0.4 && to_20 <= 0.6
}

const GAINS: [f64; 8] = [-6.0, -3.0, -1.0, -0.1, 0.1, 1.0, 3.0, 6.0];
const QS: [f64; 8] = [0.7, FRAC_1_SQRT_2, 1.0, 1.4, 2.0, 4.0, 7.0, 12.0];

/// Against the s-domain prototype of the Audio EQ Cookbook; the bounds are this project's own.
#[test]
fn bells_match_the_analog_prototype() {
    let rate = rate(44_100.0);
    let mut worst = ([0.0_f64; 2], [[0.0; 3]; 2]);
    for f0 in octaves(20.0, 12_000.0, 3.0) {
        for gain in GAINS {
            for q in QS {
                let e = errors(&bell(f0, gain, q, rate), rate, f0, 12.0, |f| analog_bell_db(f, f0, gain, q));
                for (k, error) in e.into_iter().enumerate() {
                    if error > worst.0[k] {
                        worst.0[k] = error;
                        worst.1[k] = [f0, gain, q];
                    }
                }
            }
        }
    }
    println!("bell: {worst:?}");
    assert!(passes(worst.0), "{worst:?}");
}

/// Against the s-domain prototypes of the Audio EQ Cookbook with Q = 1/sqrt 2; the bounds are this project's own.
#[test]
fn shelves_match_the_analog_prototype() {
    let rate = rate(44_100.0);
    let mut worst = ([0.0_f64; 2], [[0.0; 2]; 2]);
    for f0 in octaves(20.0, 12_000.0, 6.0) {
        for gain in GAINS {
            let high = errors(&high_shelf(f0, gain, rate), rate, f0, 12.0, |f| {
                analog_high_shelf_db(f, f0, gain, FRAC_1_SQRT_2)
            });
            let low =
                errors(&low_shelf(f0, gain, rate), rate, f0, 12.0, |f| analog_low_shelf_db(f, f0, gain, FRAC_1_SQRT_2));
            for k in 0..2 {
                let error = high[k].max(low[k]);
                if error > worst.0[k] {
                    worst.0[k] = error;
                    worst.1[k] = [f0, gain];
                }
            }
        }
    }
    println!("shelf: {worst:?}");
    assert!(passes(worst.0), "{worst:?}");
}

/// Negative control: the bilinear designs exceed these bounds from 8 kHz (bells) and 10 kHz (shelves) up.
#[test]
fn plain_bilinear_designs_exceed_the_error_bounds() {
    let rate = rate(44_100.0);
    for (f0, gain, q) in
        [(8_000.0, 6.0, 1.0), (8_000.0, -6.0, 2.0), (10_000.0, 6.0, FRAC_1_SQRT_2), (12_000.0, 6.0, 1.0)]
    {
        let plain = cookbook(Type::PeakingEQ(gain), f0, q, rate);
        assert!(!passes(errors(&plain, rate, f0, 12.0, |f| analog_bell_db(f, f0, gain, q))), "bell {f0}");
    }
    for (f0, gain) in [(10_000.0, 6.0), (10_000.0, -6.0), (12_000.0, 6.0)] {
        let plain = cookbook(Type::HighShelf(gain), f0, FRAC_1_SQRT_2, rate);
        let analog = |f: f64| analog_high_shelf_db(f, f0, gain, FRAC_1_SQRT_2);
        assert!(!passes(errors(&plain, rate, f0, 12.0, analog)), "shelf {f0}");
    }
}

/// Largest error from 20 Hz to 20 kHz in dB, bilinear and matched, per filter and rate. Computed with scipy
/// (`signal.freqz` against `signal.freqs`) for M. Vicanek's designs of 2016 (bell) and 2024 (shelf).
#[test]
fn design_errors_equal_the_published_ones() {
    let q7 = FRAC_1_SQRT_2;
    let bells = [
        (44_100.0, 3_000.0, 6.0, 1.0, 0.198, 0.057),
        (44_100.0, 6_000.0, 6.0, 1.0, 0.755, 0.216),
        (44_100.0, 8_000.0, 6.0, 1.0, 1.299, 0.355),
        (44_100.0, 8_000.0, -6.0, 2.0, 0.865, 0.125),
        (44_100.0, 10_000.0, 6.0, q7, 2.631, 0.587),
        (44_100.0, 12_000.0, 6.0, 1.0, 2.716, 0.564),
        (44_100.0, 16_000.0, 6.0, q7, 4.156, 0.287),
        (48_000.0, 3_000.0, 6.0, 1.0, 0.167, 0.038),
        (48_000.0, 6_000.0, 6.0, 1.0, 0.643, 0.141),
        (48_000.0, 8_000.0, 6.0, 1.0, 1.108, 0.228),
        (48_000.0, 8_000.0, -6.0, 2.0, 0.728, 0.078),
        (48_000.0, 10_000.0, 6.0, q7, 2.293, 0.380),
        (48_000.0, 12_000.0, 6.0, 1.0, 2.337, 0.343),
        (48_000.0, 16_000.0, 6.0, q7, 2.926, 0.181),
        (96_000.0, 8_000.0, 6.0, 1.0, 0.294, 0.010),
        (96_000.0, 10_000.0, 6.0, q7, 0.542, 0.016),
        (96_000.0, 12_000.0, 6.0, 1.0, 0.582, 0.012),
    ];
    for (hz, f0, gain, q, plain, matched) in bells {
        let rate = rate(hz);
        let analog = |f: f64| analog_bell_db(f, f0, gain, q);
        let [_, found] = errors(&cookbook(Type::PeakingEQ(gain), f0, q, rate), rate, f0, 96.0, analog);
        assert_abs_diff_eq!(found, plain, epsilon = 0.003);
        let [_, found] = errors(&bell(f0, gain, q, rate), rate, f0, 96.0, analog);
        assert_abs_diff_eq!(found, matched, epsilon = 0.003);
    }
    let shelves = [
        (44_100.0, 6_000.0, 6.0, 0.269, 0.015),
        (44_100.0, 8_000.0, 6.0, 0.474, 0.036),
        (44_100.0, 10_000.0, 6.0, 0.731, 0.070),
        (44_100.0, 10_000.0, -6.0, 0.731, 0.070),
        (44_100.0, 12_000.0, 6.0, 1.034, 0.113),
        (48_000.0, 6_000.0, 6.0, 0.228, 0.011),
        (48_000.0, 8_000.0, 6.0, 0.402, 0.028),
        (48_000.0, 10_000.0, 6.0, 0.621, 0.055),
        (48_000.0, 12_000.0, 6.0, 0.881, 0.089),
    ];
    for (hz, f0, gain, plain, matched) in shelves {
        let rate = rate(hz);
        let analog = |f: f64| analog_high_shelf_db(f, f0, gain, q7);
        let [_, found] = errors(&cookbook(Type::HighShelf(gain), f0, q7, rate), rate, f0, 96.0, analog);
        assert_abs_diff_eq!(found, plain, epsilon = 0.003);
        let [_, found] = errors(&high_shelf(f0, gain, rate), rate, f0, 96.0, analog);
        assert_abs_diff_eq!(found, matched, epsilon = 0.003);
    }
}

/// A low shelf is a high shelf of the opposite gain with an overall gain: `low(G) = G high(1/G)`, as in the prototypes.
#[test]
fn low_shelf_mirrors_the_high_shelf() {
    let rate = rate(48_000.0);
    for f0 in [80.0, 160.0, 1_000.0, 9_000.0] {
        for gain in [-12.0, -3.0, 4.0, 12.0] {
            let (low, high) = (low_shelf(f0, gain, rate), high_shelf(f0, -gain, rate));
            for f in octaves(20.0, 20_000.0, 2.0) {
                assert_abs_diff_eq!(db_at(&low, f, rate), gain + db_at(&high, f, rate), epsilon = 1e-9);
            }
            assert_abs_diff_eq!(low.response(0.0).db(), gain, epsilon = 1e-6);
            assert_abs_diff_eq!(high.response(0.0).db(), 0.0, epsilon = 1e-6);
        }
    }
}

/// Notch prototype `(s^2 + 1) / (s^2 + s/Q + 1)` (Audio EQ Cookbook). Half the power passes at the two frequencies with
/// `|s - 1/s| = 1/Q`: their product is `f0^2` and their distance `f0/Q`, both in `tan(pi f/rate)`.
#[test]
fn notch_attenuates_150_db_and_has_the_width_of_its_q() {
    for hz in RATES {
        let rate = rate(hz);
        for f0 in [50.0, 60.0, 100.0, 1_000.0, 0.3 * hz] {
            for q in [0.7, 4.0, 30.0] {
                let section = notch(f0, q, rate);
                assert!(db_at(&section, f0, rate) < -150.0, "{f0} {q} {hz}: {}", db_at(&section, f0, rate));
                let middle = (PI * f0 / hz).tan();
                let half = 0.5 * middle / q;
                let root = (half * half + middle * middle).sqrt();
                let edges = [root - half, root + half].map(|warped: f64| warped.atan() * hz / PI);
                for edge in edges {
                    assert_abs_diff_eq!(db_at(&section, edge, rate), -3.0103, epsilon = 1e-4);
                }
                if f0 < 0.01 * hz {
                    // Far below half the sample rate the width in Hz is f0/Q as well.
                    assert!(relative_eq!(edges[1] - edges[0], f0 / q, max_relative = 2e-3), "{f0} {q} {hz}: {edges:?}");
                }
            }
        }
    }
}
