//! True peak: ITU-R BS.1770 Annex 2, EBU Tech 3341 cases 15 to 23.

use super::rate;
use approx::assert_abs_diff_eq;
use ebur128::{EbuR128, Mode};
use proptest::prelude::*;
use std::f64::consts::{PI, TAU};
use std::ops::Range;
use voicechain_core::meters::TruePeakMeter;
use voicechain_tests::tones::{Random, sine, wandering_noise};

/// Phases 0 and 1 of the filter in BS.1770-5 Annex 2 (via an independent implementation). Phases 3 and 2 are their
/// reverses.
const PRINTED: [[f64; 12]; 2] = [
    [
        0.0017089843750,
        0.0109863281250,
        -0.0196533203125,
        0.0332031250000,
        -0.0594482421875,
        0.1373291015625,
        0.9721679687500,
        -0.1022949218750,
        0.0476074218750,
        -0.0266113281250,
        0.0148925781250,
        -0.0083007812500,
    ],
    [
        -0.0291748046875,
        0.0292968750000,
        -0.0517578125000,
        0.0891113281250,
        -0.1665039062500,
        0.4650878906250,
        0.7797851562500,
        -0.2003173828125,
        0.1015625000000,
        -0.0582275390625,
        0.0330810546875,
        -0.0189208984375,
    ],
];

/// Peak of the samples and of the output of the printed filter: all four phases, or only phases 1 and 2. Silence
/// precedes the samples.
fn printed(samples: &[f32], four: bool) -> f64 {
    printed_in(samples, 0..samples.len(), four)
}

/// The same while these samples enter the filter.
fn printed_in(samples: &[f32], range: Range<usize>, four: bool) -> f64 {
    let sample = |n: usize, k: usize| if n >= k { f64::from(samples[n - k]) } else { 0.0 };
    let mut peak = 0.0_f64;
    for n in range {
        peak = peak.max(f64::from(samples[n].abs()));
        for phase in if four { &PRINTED[..] } else { &PRINTED[1..] } {
            let forward: f64 = (0..12).map(|k| phase[k] * sample(n, k)).sum();
            let reverse: f64 = (0..12).map(|k| phase[11 - k] * sample(n, k)).sum();
            peak = peak.max(forward.abs()).max(reverse.abs());
        }
    }
    peak
}

fn dbtp(hz: f64, samples: &[f32]) -> f64 {
    let frames: Vec<[f32; 2]> = samples.iter().map(|&sample| [sample, 0.5 * sample]).collect();
    let mut meter = TruePeakMeter::new(rate(hz));
    meter.push(&frames);
    meter.finish();
    let [left, right] = meter.hold_dbtp();
    assert_abs_diff_eq!(left - right, 20.0 * 2_f64.log10(), epsilon = 1e-5);
    assert!(meter.hold()[0] >= meter.sample_hold()[0]);
    left
}

/// Half a second of a sine with fades of 10 ms.
fn faded(hz: f64, cycles: f64, amplitude: f64, degrees: f64) -> Vec<f32> {
    let mut samples = sine(cycles, amplitude, degrees, (hz / 2.0) as usize);
    let (fade, length) = ((hz / 100.0) as usize, samples.len());
    for n in 0..fade {
        samples[n] *= n as f64 / fade as f64;
        samples[length - 1 - n] *= n as f64 / fade as f64;
    }
    samples.into_iter().map(|sample| sample as f32).collect()
}

/// Tech 3341 Table 1, cases 15 to 19: +0.2 / -0.4 dB. Below 96 kHz the readings also equal those of the printed filter
/// (computed with numpy).
#[test]
fn tech_3341_cases_15_to_19() {
    for hz in [44_100.0, 48_000.0, 96_000.0] {
        for (cycles, amplitude, degrees, expected, filter) in [
            (1.0 / 4.0, 0.5, 0.0, -6.0, -6.021),
            (1.0 / 4.0, 0.5, 45.0, -6.0, -5.976),
            (1.0 / 6.0, 0.5, 60.0, -6.0, -6.316),
            (1.0 / 8.0, 0.5, 67.5, -6.0, -6.028),
            (1.0 / 4.0, 1.41, 45.0, 3.0, 3.029),
        ] {
            let samples = faded(hz, cycles, amplitude, degrees);
            let reading = dbtp(hz, &samples);
            println!("{hz} {cycles} {degrees}: {reading:.4}");
            assert!((-0.4..=0.2).contains(&(reading - expected)), "{hz} Hz, {cycles}: {reading}");
            if hz < 96_000.0 {
                assert_abs_diff_eq!(reading, filter, epsilon = 5e-3);
            }
        }
    }
}

/// Low-pass of 1023 taps (delay 511) at an eighth of the rate, Kaiser window with parameter 12.
fn low_pass() -> Vec<f64> {
    let bessel = |x: f64| {
        let (mut term, mut sum) = (1.0, 1.0);
        for k in 1..60 {
            term *= (x / (2.0 * f64::from(k))).powi(2);
            sum += term;
        }
        sum
    };
    let taps: Vec<f64> = (-511..=511)
        .map(|n| {
            let t = f64::from(n);
            let sinc = if n == 0 { 0.25 } else { (PI * t / 4.0).sin() / (PI * t) };
            sinc * bessel(12.0 * (1.0 - (t / 511.5).powi(2)).max(0.0).sqrt()) / bessel(12.0)
        })
        .collect();
    let sum: f64 = taps.iter().sum();
    taps.into_iter().map(|tap| tap / sum).collect()
}

/// Tech 3341 Table 1, cases 20 to 23: 0 dBTP, +0.2 / -0.4 dB. The readings of the printed filter, and in case 20 the
/// larger sample peak, were computed with numpy.
#[test]
fn tech_3341_cases_20_to_23() {
    let mut signal = Vec::new();
    for n in 0..4_800 {
        signal.push(0.5 * (2.0 * PI * f64::from(n) / 24.0).sin());
    }
    for n in 0..16 {
        signal.push((2.0 * PI * f64::from(n) / 16.0).sin());
    }
    for n in 0..4_800 {
        signal.push(0.5 * (2.0 * PI * f64::from(n) / 24.0).sin());
    }
    // Fades of 480 samples at four times the rate.
    let length = signal.len();
    for n in 0..480 {
        signal[n] *= n as f64 / 480.0;
        signal[length - 1 - n] *= n as f64 / 480.0;
    }
    let taps = low_pass();
    let filtered = |n: usize| -> f64 {
        taps.iter().enumerate().map(|(k, tap)| if n >= k && n - k < length { tap * signal[n - k] } else { 0.0 }).sum()
    };
    for (offset, filter) in [-0.130, -0.075, -0.201, -0.075].into_iter().enumerate() {
        let samples: Vec<f32> = (offset + 511..length + 1_022).step_by(4).map(|n| filtered(n) as f32).collect();
        for hz in [44_100.0, 48_000.0, 96_000.0] {
            let reading = dbtp(hz, &samples);
            println!("offset {offset} {hz}: {reading:.4}");
            assert!((-0.4..=0.2).contains(&reading), "{hz} Hz, offset {offset}: {reading}");
            if hz < 96_000.0 {
                assert_abs_diff_eq!(reading, filter, epsilon = 2e-3);
            }
        }
    }
}

/// The meter equals the printed filter although it skips computations; at 192 kHz it reads the sample peak.
#[test]
fn true_peak_equals_the_printed_filter() {
    for seed in 0..20 {
        let samples: Vec<f32> = wandering_noise::<1>(48_000.0, 0.3, seed).into_iter().map(|[sample]| sample).collect();
        assert_abs_diff_eq!(
            dbtp(48_000.0, &samples),
            20.0 * printed(&[&samples[..], &[0.0; 12]].concat(), true).log10(),
            epsilon = 1e-5
        );
        assert_abs_diff_eq!(
            dbtp(96_000.0, &samples),
            20.0 * printed(&[&samples[..], &[0.0; 12]].concat(), false).log10(),
            epsilon = 1e-5
        );
        let sample_peak = samples.iter().fold(0.0_f32, |peak, sample| peak.max(sample.abs()));
        assert_abs_diff_eq!(dbtp(192_000.0, &samples), 20.0 * f64::from(sample_peak).log10(), epsilon = 1e-9);
    }
}

/// The square 1, 1, -1, -1 at full scale has a true peak of +3.0103 dBTP; the printed filter reads 0.045 dB more, as in
/// case 16. The signs of a sinc that is half a sample off are the largest peak that eight full-scale samples can hide:
/// +6.58 dB (computed with numpy). The printed filter has no phase midway between samples, but finds most of it.
#[test]
fn peaks_between_samples_are_found() {
    let square: Vec<[f32; 1]> = (0..4_000).map(|n| [if n % 4 < 2 { 1.0 } else { -1.0 }]).collect();
    let mut meter = TruePeakMeter::new(rate(48_000.0));
    meter.push(&square[..100]);
    meter.take_recent();
    meter.push(&square[100..]);
    assert_abs_diff_eq!(20.0 * meter.take_recent()[0].log10(), 3.0103 + 0.0446, epsilon = 1e-3);
    let mut samples = [0.0_f32; 40];
    samples[16..24].copy_from_slice(&[-1.0, 1.0, -1.0, 1.0, 1.0, -1.0, 1.0, -1.0]);
    let reading = dbtp(48_000.0, &samples);
    println!("eight samples: {reading:.3}");
    assert!((5.0..=6.58).contains(&reading), "{reading}");
}

/// Steady tones against an independent meter (the `ebur128` crate) with another interpolation filter. Both are within
/// 0.5 dB of the truth up to 0.45 of the rate; EBU R 128 item m allows 0.3 dB up to 20 kHz.
#[test]
fn true_peak_agrees_with_an_independent_meter() {
    let mut random = Random::new(3);
    for hz in [44_100.0, 48_000.0] {
        for _ in 0..30 {
            let samples = faded(hz, 0.01 + 0.35 * random.unit(), 0.7, 360.0 * random.unit());
            let mut reference = EbuR128::new(1, hz as u32, Mode::TRUE_PEAK).unwrap();
            reference.add_frames_f32(&samples).unwrap();
            assert_abs_diff_eq!(dbtp(hz, &samples), 20.0 * reference.true_peak(0).unwrap().log10(), epsilon = 0.4);
        }
    }
    for seed in 0..5 {
        let noise: Vec<f32> = wandering_noise::<1>(48_000.0, 1.0, seed).into_iter().map(|[sample]| sample).collect();
        let mut reference = EbuR128::new(1, 48_000, Mode::TRUE_PEAK).unwrap();
        reference.add_frames_f32(&noise).unwrap();
        assert_abs_diff_eq!(dbtp(48_000.0, &noise), 20.0 * reference.true_peak(0).unwrap().log10(), epsilon = 1.0);
    }
}

/// A meter that is read often equals the printed filter although it skips what cannot exceed the peak since the last
/// read: low and high tones, noise and alternation at half the rate, in parts of falling and rising level.
#[test]
fn recent_peaks_equal_the_printed_filter() {
    let mut random = Random::new(8);
    let mut samples = Vec::new();
    for part in 0..60 {
        let (level, cycles) = (10_f64.powf(-1.5 * random.unit()), [0.003, 0.03, 0.24, 0.41][part % 4]);
        let noise = [0.0, 0.0, 0.3, 1.0][part / 4 % 4];
        samples.extend((0..97 + 13 * part).map(|n| {
            let tone = if part % 5 == 4 { [1.0, -1.0][n % 2] } else { (TAU * cycles * n as f64).sin() };
            (level * ((1.0 - noise) * tone + noise * random.signed())) as f32
        }));
    }
    for (hz, four) in [(48_000.0, true), (96_000.0, false)] {
        let mut meter = TruePeakMeter::<1>::new(rate(hz));
        let (mut from, mut length) = (0, 1);
        while from < samples.len() {
            let to = (from + length).min(samples.len());
            let frames: Vec<[f32; 1]> = samples[from..to].iter().map(|&sample| [sample]).collect();
            meter.push(&frames);
            let expected = printed_in(&samples, from..to, four);
            let difference = (meter.take_recent()[0] - expected).abs();
            assert!(difference <= 1e-5 * expected, "{hz} Hz, samples {from} to {to}: {difference}");
            (from, length) = (to, (5 * length + 3) % 1_009);
        }
    }
}

#[test]
fn recent_peak_hold_and_reset_are_separate() {
    let mut meter = TruePeakMeter::<1>::new(rate(48_000.0));
    meter.push(&[[0.5]; 100]);
    assert!(meter.take_recent()[0] >= 0.5);
    meter.push(&[[0.1]; 5]);
    assert!(meter.take_recent()[0] > 0.3, "the filter still holds earlier samples");
    meter.push(&[[0.1]; 20]);
    meter.take_recent();
    meter.push(&[[0.1]; 20]);
    assert_abs_diff_eq!(meter.take_recent()[0], 0.1, epsilon = 0.001);
    assert_eq!(meter.take_recent(), [0.0]);
    assert!(meter.hold()[0] >= 0.5);
    meter.push(&[[f32::NAN], [f32::INFINITY], [f32::MAX], [-f32::MAX], [1e-40]]);
    assert!(meter.hold()[0] < 1.0);
    meter.reset();
    assert_eq!(meter, TruePeakMeter::new(rate(48_000.0)));
    assert_eq!(meter.hold_dbtp(), [f64::NEG_INFINITY]);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn true_peak_is_independent_of_block_size(
        lengths in proptest::collection::vec(1_usize..150, 1..20),
        hz in prop_oneof![Just(48_000.0), Just(96_000.0), Just(192_000.0)],
        seed in 0_u64..1_000,
    ) {
        let frames = wandering_noise::<2>(hz, 0.1, seed);
        let mut whole = TruePeakMeter::new(rate(hz));
        whole.push(&frames);
        let mut split = TruePeakMeter::new(rate(hz));
        let (mut rest, mut lengths) = (&frames[..], lengths.iter().cycle());
        while !rest.is_empty() {
            let (now, later) = rest.split_at(rest.len().min(*lengths.next().unwrap()));
            split.push(now);
            rest = later;
        }
        prop_assert_eq!(split.hold().map(f64::to_bits), whole.hold().map(f64::to_bits));
        prop_assert_eq!(split.take_recent().map(f64::to_bits), whole.take_recent().map(f64::to_bits));
        prop_assert_eq!(split.sample_hold().map(f64::to_bits), whole.sample_hold().map(f64::to_bits));
    }
}
