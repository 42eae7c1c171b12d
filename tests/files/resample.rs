//! The resampler: level, time, length, and independence of block size.

use proptest::prelude::*;
use std::f64::consts::TAU;
use voicechain_examples::JobErrorKind;
use voicechain_examples::resample::Resampler;

fn resample(input: &[f32], from: u32, to: u32, channels: usize, part: usize) -> Vec<f32> {
    let mut resampler = Resampler::new(from, to, channels).unwrap();
    let mut out = Vec::new();
    for chunk in input.chunks(part * channels) {
        resampler.push(chunk, &mut out);
    }
    resampler.finish(&mut out);
    out
}

/// Gain (dB), delay (samples) and residual (dB) of a sine of `hz` in the middle of `out`.
fn measure(out: &[f32], rate: u32, hz: f64, amplitude: f64) -> (f64, f64, f64) {
    let skip = out.len() / 4;
    let middle = &out[skip..out.len() - skip];
    // Least squares with both quadratures: exact for any length.
    let (mut cc, mut cs, mut ss, mut xc, mut xs) = (0.0, 0.0, 0.0, 0.0, 0.0);
    let angle = |n: usize| TAU * hz * (n + skip) as f64 / f64::from(rate);
    for (n, &x) in middle.iter().enumerate() {
        let (s, c) = angle(n).sin_cos();
        cc += c * c;
        cs += c * s;
        ss += s * s;
        xc += f64::from(x) * c;
        xs += f64::from(x) * s;
    }
    let det = cc * ss - cs * cs;
    let (a, b) = ((xc * ss - xs * cs) / det, (xs * cc - xc * cs) / det);
    let residual: f64 = middle
        .iter()
        .enumerate()
        .map(|(n, &x)| {
            let (s, c) = angle(n).sin_cos();
            (f64::from(x) - a * c - b * s).powi(2)
        })
        .sum();
    let gain = 20.0 * (a.hypot(b) / amplitude).log10();
    let delay = -a.atan2(b) / (TAU * hz) * f64::from(rate);
    let residual_db = 10.0 * (residual / middle.len() as f64 / (amplitude * amplitude / 2.0)).max(1e-30).log10();
    (gain, delay, residual_db)
}

const RATE_PAIRS: [(u32, u32); 9] = [
    (44_100, 48_000),
    (48_000, 44_100),
    (96_000, 48_000),
    (192_000, 44_100),
    (88_200, 48_000),
    (32_000, 48_000),
    (8_000, 48_000),
    (22_050, 48_000),
    (44_056, 48_000),
];

#[test]
fn resampled_sines_keep_level_and_time_with_residual_below_minus_100_db() {
    let (mut worst_gain, mut worst_delay, mut worst_residual): (f64, f64, f64) = (0.0, 0.0, -999.0);
    for (from, to) in RATE_PAIRS {
        let half = f64::from(from.min(to)) / 2.0;
        for hz in [60.0, 997.0, 5_000.0, 10_000.0, 15_000.0, 20_000.0].into_iter().filter(|hz| *hz < 0.91 * half) {
            let count = from; // one second
            let input: Vec<f32> =
                (0..count).map(|n| (0.5 * (TAU * hz * f64::from(n) / f64::from(from)).sin()) as f32).collect();
            let out = resample(&input, from, to, 1, 1_000);
            assert_eq!(out.len() as u32, to);
            let (gain, delay, residual) = measure(&out, to, hz, 0.5);
            assert!(gain.abs() < 0.05, "{from}>{to} {hz}: {gain} dB");
            assert!(delay.abs() < 0.001, "{from}>{to} {hz}: delay {delay} samples");
            assert!(residual < -100.0, "{from}>{to} {hz}: residual {residual} dB");
            worst_gain = worst_gain.max(gain.abs());
            worst_delay = worst_delay.max(delay.abs());
            worst_residual = worst_residual.max(residual);
        }
    }
    println!("worst: gain {worst_gain:.6} dB, delay {worst_delay:.2e} samples, residual {worst_residual:.1} dB");
}

#[test]
fn frequencies_above_the_lower_band_are_attenuated_by_100_db() {
    for (from, to, hz) in [(48_000, 16_000, 9_000.0), (96_000, 44_100, 24_000.0), (48_000, 44_100, 22_800.0)] {
        let input: Vec<f32> =
            (0..from).map(|n| (0.5 * (TAU * hz * f64::from(n) / f64::from(from)).sin()) as f32).collect();
        let out = resample(&input, from, to, 1, 4_096);
        let middle = &out[out.len() / 4..out.len() * 3 / 4];
        let power = middle.iter().map(|&x| f64::from(x).powi(2)).sum::<f64>() / middle.len() as f64;
        let db = 10.0 * (power / 0.125).log10();
        assert!(db < -100.0, "{from}>{to}, {hz} Hz: {db} dB");
    }
}

/// Greatest common divisor (Euclid).
fn gcd(a: u32, b: u32) -> u32 {
    if b == 0 { a } else { gcd(b, a % b) }
}

#[test]
fn resampled_impulses_keep_their_position() {
    for (from, to) in RATE_PAIRS {
        // At instants that are whole frames at both rates, the output peaks exactly at that frame.
        let divisor = gcd(from, to);
        let (unit_in, unit_out) = ((from / divisor) as usize, (to / divisor) as usize);
        for k in [0, 1, 7] {
            let mut input = vec![0.0; 8 * unit_in + 3_000];
            input[k * unit_in] = 1.0;
            let out = resample(&input, from, to, 1, 333);
            let peak = (0..out.len()).max_by(|&a, &b| out[a].total_cmp(&out[b])).unwrap();
            assert_eq!(peak, k * unit_out, "{from}>{to}");
            let (before, after) = (out[peak.saturating_sub(1)], out[peak + 1]);
            assert!(k == 0 || (before - after).abs() < 1e-5, "{from}>{to}: {before} and {after} beside the peak");
        }
    }
}

#[test]
fn non_finite_samples_become_zero_and_are_counted() {
    let mut input = vec![0.1; 10_000];
    input[500] = f32::NAN;
    input[5_000] = f32::NEG_INFINITY;
    let mut resampler = Resampler::new(44_100, 48_000, 1).unwrap();
    let mut out = Vec::new();
    resampler.push(&input, &mut out);
    assert_eq!(resampler.non_finite(), 2);
    resampler.finish(&mut out);
    assert!(out.iter().all(|s| s.is_finite() && s.abs() < 0.3));
}

#[test]
fn rates_out_of_range_are_refused() {
    for (from, to) in [(7_999, 48_000), (48_000, 192_001), (0, 48_000)] {
        assert_eq!(Resampler::new(from, to, 1).unwrap_err().error_kind(), JobErrorKind::Rate);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]
    #[test]
    fn length_is_exact_and_output_is_independent_of_block_size(
        frames in 0usize..9_000, part in 1usize..4_000, pair in 0usize..5, stereo: bool,
    ) {
        let (from, to) = RATE_PAIRS[pair];
        let channels = 1 + usize::from(stereo);
        let input: Vec<f32> = (0..frames * channels).map(|n| (n as f32 * 0.37).sin()).collect();
        let out = resample(&input, from, to, channels, part);
        prop_assert_eq!((out.len() / channels) as u64, Resampler::output_frames(frames as u64, from, to));
        let exact = frames as f64 * f64::from(to) / f64::from(from);
        prop_assert!(((out.len() / channels) as f64 - exact).abs() <= 0.5 + 1e-9);
        prop_assert_eq!(out, resample(&input, from, to, channels, frames.max(1)));
    }

    #[test]
    fn equal_rates_are_bit_exact(words in prop::collection::vec(any::<u32>(), 0..2_000), part in 1usize..900) {
        let input: Vec<f32> = words.iter().map(|&w| f32::from_bits(w)).collect();
        let out = resample(&input, 44_100, 44_100, 1, part);
        prop_assert!(out.iter().map(|s| s.to_bits()).eq(words));
    }

    #[test]
    fn channels_do_not_mix(left in prop::collection::vec(-1.0f32..1.0, 1..5_000)) {
        let stereo: Vec<f32> = left.iter().flat_map(|&l| [l, 0.0]).collect();
        let out = resample(&stereo, 48_000, 44_100, 2, 512);
        let mono = resample(&left, 48_000, 44_100, 1, 512);
        prop_assert!(out.chunks_exact(2).map(|f| f[0]).eq(mono));
        prop_assert!(out.chunks_exact(2).all(|f| f[1] == 0.0));
    }
}
