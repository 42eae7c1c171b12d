//! K-weighting: ITU-R BS.1770 Annex 1.

use super::rate;
use approx::assert_abs_diff_eq;
use std::f64::consts::PI;
use voicechain_core::filters::Section;
use voicechain_core::filters::k_weighting::{KWeighting, KWeightingState, accumulate};
use voicechain_core::meters::gating::loudness;

/// Magnitude response of biquads at a frequency, dB.
fn magnitude(sections: &[Section], frequency: f64, hz: f64) -> f64 {
    let w = 2.0 * PI * frequency / hz;
    let power = |c: [f64; 3]| {
        let re = c[0] + c[1] * w.cos() + c[2] * (2.0 * w).cos();
        let im = c[1] * w.sin() + c[2] * (2.0 * w).sin();
        re * re + im * im
    };
    sections.iter().map(|s| 10.0 * (power([s.b0, s.b1, s.b2]) / power([1.0, s.a1, s.a2])).log10()).sum()
}

/// BS.1770-5 Annex 1, Tables 1 and 2 (via an independent implementation); at 44.1 kHz a design of the same analog
/// prototype, computed with scipy.
#[test]
fn k_weighting_coefficients_match_bs_1770() {
    let check = |hz: f64, shelf: [f64; 5], high_pass: [f64; 5], tolerance: f64| {
        for (section, expected) in KWeighting::new(rate(hz)).sections().iter().zip([shelf, high_pass]) {
            let &Section { b0, b1, b2, a1, a2 } = section;
            for (value, expected) in [b0, b1, b2, a1, a2].into_iter().zip(expected) {
                assert_abs_diff_eq!(value, expected, epsilon = tolerance);
            }
        }
    };
    check(
        48_000.0,
        [1.53512485958697, -2.69169618940638, 1.19839281085285, -1.69065929318241, 0.73248077421585],
        [1.0, -2.0, 1.0, -1.99004745483398, 0.99007225036621],
        1e-12,
    );
    let g = 0.99956006661849;
    check(
        44_100.0,
        [1.530841230050, -2.650979995155, 1.169079079922, -1.663655113256, 0.712595428073],
        [g, -2.0 * g, g, -1.98916967777235, 0.98919903990713],
        1e-6,
    );
}

const FREQUENCIES: [f64; 18] = [
    20.0, 25.0, 31.5, 50.0, 63.0, 80.0, 100.0, 200.0, 500.0, 997.0, 1000.0, 1500.0, 2000.0, 4000.0, 5000.0, 8000.0,
    10000.0, 16000.0,
];
const SHELF_DB: [f64; 18] = [
    0.000, 0.000, 0.000, 0.000, 0.000, 0.000, 0.0001, 0.0012, 0.0494, 0.6604, 0.6670, 1.9978, 3.0311, 3.9255, 3.9706,
    3.9963, 3.9987, 3.9998,
];
const K_DB: [f64; 18] = [
    -13.2754, -10.3928, -7.7900, -3.9341, -2.6639, -1.7318, -1.1335, -0.2649, 0.0425, 0.6910, 0.6977, 2.0355, 3.0713,
    3.9680, 4.0134, 4.0394, 4.0419, 4.0431,
];

/// Magnitude responses of BS.1770-5 Annex 1, Tables 1 and 2, computed with scipy.
#[test]
fn k_weighting_magnitude_matches_bs_1770() {
    let sections = KWeighting::new(rate(48_000.0)).sections();
    for ((frequency, shelf), k) in FREQUENCIES.into_iter().zip(SHELF_DB).zip(K_DB) {
        assert_abs_diff_eq!(magnitude(&sections[..1], frequency, 48_000.0), shelf, epsilon = 1e-4);
        assert_abs_diff_eq!(magnitude(&sections, frequency, 48_000.0), k, epsilon = 1e-4);
    }
}

/// Filtered sines have the levels of the table. Negative control: unfiltered sines miss every row.
#[test]
fn filtered_sines_have_the_k_weighted_level() {
    let filter = KWeighting::new(rate(48_000.0));
    for (frequency, k) in FREQUENCIES.into_iter().zip(K_DB) {
        let sine: Vec<[f32; 1]> =
            (0..96_000).map(|n| [(2.0 * PI * frequency * f64::from(n) / 48_000.0).sin() as f32]).collect();
        let mut state = KWeightingState::new();
        accumulate(&filter, std::array::from_mut(&mut state), [&sine[..48_000]]);
        state.take_energy(&filter);
        accumulate(&filter, std::array::from_mut(&mut state), [&sine[48_000..]]);
        let [energy] = state.take_energy(&filter);
        let plain: f64 = sine[48_000..].iter().map(|&[sample]| f64::from(sample).powi(2)).sum();
        let level = |energy: f64| 10.0 * (energy / 24_000.0).log10();
        // One second is not a whole number of periods at 31.5 Hz.
        let tolerance = if frequency == 31.5 { 0.06 } else { 2e-4 };
        assert_abs_diff_eq!(level(energy), k, epsilon = tolerance);
        assert!((level(plain) - k).abs() > tolerance, "{frequency} Hz");
    }
}

/// BS.1770-5 Annex 1: other sample rates shall have the response of 48 kHz. The deviation of the prewarped bilinear
/// transform was computed with scipy for 44.1 kHz (0.0015 dB) and 96 kHz (0.006 dB). The other bounds are those in the
/// documentation of the filter, up to 0.45 of the rate.
#[test]
fn k_weighting_deviates_little_at_other_rates() {
    let table = KWeighting::new(rate(48_000.0)).sections();
    for (hz, tolerance) in [
        (8_000.0, 0.29),
        (11_025.0, 0.15),
        (16_000.0, 0.07),
        (22_050.0, 0.032),
        (32_000.0, 0.011),
        (44_100.0, 0.0016),
        (88_200.0, 0.006),
        (96_000.0, 0.0065),
        (192_000.0, 0.008),
    ] {
        let sections = KWeighting::new(rate(hz)).sections();
        let mut worst = 0.0_f64;
        let mut frequency = 20.0;
        while frequency < 20_000.0_f64.min(0.45 * hz) {
            worst = worst.max((magnitude(&sections, frequency, hz) - magnitude(&table, frequency, 48_000.0)).abs());
            frequency *= 1.02;
        }
        println!("{hz} Hz: {worst:.4} dB");
        assert!(worst <= tolerance, "{hz} Hz: {worst} dB");
    }
}

/// K-weighted loudness minus RMS level of white noise up to 24 kHz and of pink noise from 20 Hz to 20 kHz, computed
/// with scipy.
#[test]
fn white_and_pink_noise_have_the_expected_k_weighted_level() {
    let filter = KWeighting::new(rate(48_000.0));
    // White noise has the loudness of the energy of the impulse response.
    let mut impulse = vec![[0.0_f32]; 48_000];
    impulse[0] = [1.0];
    let mut state = KWeightingState::new();
    accumulate(&filter, std::array::from_mut(&mut state), [&impulse]);
    assert_abs_diff_eq!(loudness(state.take_energy(&filter)[0]), 3.138, epsilon = 1e-3);
    // Pink noise has equal power in equal parts of an octave.
    let sections = filter.sections();
    let steps = 20_000;
    let power: f64 = (0..steps)
        .map(|n| 20.0 * 1_000_f64.powf((f64::from(n) + 0.5) / f64::from(steps)))
        .map(|frequency| 10_f64.powf(magnitude(&sections, frequency, 48_000.0) / 10.0))
        .sum();
    assert_abs_diff_eq!(loudness(power / f64::from(steps)), 0.734, epsilon = 2e-3);
}
