//! Static curves and ballistics against tabulated values and closed forms from the literature.
//!
//! Curves: D. Giannoulis, M. Massberg, J. D. Reiss, "Digital Dynamic Range Compressor Design - A Tutorial and
//! Analysis", JAES 60(6):399-408, 2012, eq. (4); the table was computed from it, independently of this code.
//! Ballistics: the same paper, eq. (7), (16), (17).

use approx::{abs_diff_eq, assert_abs_diff_eq};
use voicechain_core::SampleRate;
use voicechain_core::gain::{
    CompressorCurve, ExpanderCurve, LimiterCurve, RangeLimitedCurve, SmoothBranching, SmoothDecoupled,
};
use voicechain_core::math::smoothing;
use voicechain_core::settings::CompressorSettings;
use voicechain_core::stages::{Compressor, Processor, StageCoefs};
use voicechain_tests::signals::{alternating, channel, db, mono};

const HZ: f64 = 48_000.0;

/// Threshold (dB), ratio and knee (dB) of each column of [`WORKED`].
const COLUMNS: [(f64, f64, f64); 6] = [
    (-20.0, 4.0, 0.0),
    (-20.0, 4.0, 6.0),
    (-20.0, 4.0, 10.0),
    (-24.0, 3.0, 12.0),
    (-18.0, 2.0, 6.0),
    (-10.0, f64::INFINITY, 6.0),
];

/// Input level, and output level in each column, dB (JAES 60(6), eq. 4; rounded to ten decimals).
#[rustfmt::skip]
const WORKED: [(f64, [f64; 6]); 15] = [
    (-30.0, [-30.0, -30.0, -30.0, -30.0, -30.0, -30.0]),
    (-27.0, [-27.0, -27.0, -27.0, -27.25, -27.0, -27.0]),
    (-24.0, [-24.0, -24.0, -24.0375, -25.0, -24.0, -24.0]),
    (-22.0, [-22.0, -22.0625, -22.3375, -23.777_777_777_8, -22.0, -22.0]),
    (-21.0, [-21.0, -21.25, -21.6, -23.25, -21.0, -21.0]),
    (-20.0, [-20.0, -20.5625, -20.9375, -22.777_777_777_8, -20.041_666_666_7, -20.0]),
    (-19.0, [-19.75, -20.0, -20.35, -22.361_111_111_1, -19.166_666_666_7, -19.0]),
    (-18.0, [-19.5, -19.5625, -19.8375, -22.0, -18.375, -18.0]),
    (-17.0, [-19.25, -19.25, -19.4, -21.666_666_666_7, -17.666_666_666_7, -17.0]),
    (-16.0, [-19.0, -19.0, -19.0375, -21.333_333_333_3, -17.041_666_666_7, -16.0]),
    (-15.0, [-18.75, -18.75, -18.75, -21.0, -16.5, -15.0]),
    (-12.0, [-18.0, -18.0, -18.0, -20.0, -15.0, -12.083_333_333_3]),
    (-10.0, [-17.5, -17.5, -17.5, -19.333_333_333_3, -14.0, -10.75]),
    (-6.0, [-16.5, -16.5, -16.5, -18.0, -12.0, -10.0]),
    (0.0, [-15.0, -15.0, -15.0, -16.0, -9.0, -10.0]),
];

fn rate() -> SampleRate {
    SampleRate::new(HZ).expect("48 kHz")
}

#[test]
fn static_curves_match_the_published_equation() {
    for (column, (threshold, ratio, knee)) in COLUMNS.into_iter().enumerate() {
        let exact = CompressorCurve::<f64>::new(threshold, ratio, knee);
        let single = CompressorCurve::<f32>::new(threshold, ratio, knee);
        for (level, outputs) in WORKED {
            let expected = outputs[column];
            let output = level + exact.gain_db(level);
            assert!((output - expected).abs() < 1e-9, "column {column}, {level} dB: {output}, not {expected}");
            let output = level + f64::from(single.gain_db(level as f32));
            assert!((output - expected).abs() < 1e-4, "single, column {column}, {level} dB: {output}, not {expected}");
            if ratio.is_infinite() {
                let output = level + LimiterCurve::<f64>::new(threshold, knee).gain_db(level);
                assert!((output - expected).abs() < 1e-9, "limiter, {level} dB: {output}, not {expected}");
            }
        }
        // JAES 60(6), eq. (4) at x = T: gain (1/R - 1) W / 8.
        let at_threshold = (1.0 / ratio - 1.0) * knee / 8.0;
        assert_abs_diff_eq!(exact.gain_db(threshold), at_threshold, epsilon = 1e-12);
    }
}

#[test]
fn slope_falls_linearly_through_the_knee() {
    // JAES 60(6), eq. (4): slope 1 below the knee, 1/R above it, linear in between.
    for (threshold, ratio, knee) in
        [(-20.0, 4.0, 6.0), (-24.0, 3.0, 12.0), (-30.0, 20.0, 24.0), (-10.0, f64::INFINITY, 1.0)]
    {
        let curve = CompressorCurve::<f64>::new(threshold, ratio, knee);
        let step = 1e-3;
        let output = |x: f64| x + curve.gain_db(x);
        let slope = |x: f64| (output(x + step) - output(x - step)) / (2.0 * step);
        let mut before = slope(-70.0);
        for i in 0..70_000 {
            let x = -70.0 + 1e-3 * f64::from(i);
            let now = slope(x);
            let ideal = 1.0 + (1.0 / ratio - 1.0) * ((x - threshold + 0.5 * knee) / knee).clamp(0.0, 1.0);
            assert!(abs_diff_eq!(now, ideal, epsilon = 1e-3 / knee + 1e-9), "{x}: slope {now}, not {ideal}");
            assert!(now <= before + 1e-9 && now >= 1.0 / ratio - 1e-9, "{x}: slope {now} after {before}");
            before = now;
        }
    }
}

#[test]
fn expander_and_range_limited_curves_match_their_closed_forms() {
    for (threshold, ratio, knee) in [(-40.0, 2.0, 0.0), (-45.0, 3.0, 10.0), (-30.0, 1.5, 6.0)] {
        let curve = ExpanderCurve::<f64>::new(threshold, ratio, knee);
        for i in 0..800 {
            let x = -80.0 + 0.1 * f64::from(i);
            // From eq. (4) by symmetry: T + (x - T) R below, x + (1 - R)(x - T - W/2)^2 / (2W) in the knee.
            let d = x - threshold;
            let expected = if 2.0 * d < -knee {
                threshold + d * ratio
            } else if 2.0 * d.abs() <= knee && knee > 0.0 {
                x + (1.0 - ratio) * (d - 0.5 * knee).powi(2) / (2.0 * knee)
            } else {
                x
            };
            assert!((x + curve.gain_db(x) - expected).abs() < 1e-9, "{x}");
        }
    }
    for (threshold, range, knee) in [(0.0, 6.0, 6.0), (-12.0, 18.0, 0.0), (3.0, 0.0, 6.0)] {
        let curve = RangeLimitedCurve::<f64>::new(threshold, range, knee);
        let limiter = LimiterCurve::<f64>::new(threshold, knee);
        for i in 0..1_000 {
            let x = -50.0 + 0.1 * f64::from(i);
            let expected = limiter.gain_db(x).max(-range);
            assert_abs_diff_eq!(curve.gain_db(x), expected, epsilon = 1e-12);
        }
    }
}

#[test]
fn smoothing_coefficients_match_the_published_equation() {
    // alpha = exp(-1/(tau fs)), JAES 60(6), eq. (7); computed with numpy.
    let times = [1.0, 5.0, 10.0, 50.0, 100.0, 200.0];
    let at_48 = [0.979382181331, 0.995842001845, 0.997918835299, 0.999583420127, 0.999791688367, 0.999895838758];
    let at_44 = [0.977579425259, 0.995475120860, 0.997734995307, 0.999546588083, 0.999773268338, 0.999886627742];
    for (hz, expected) in [(48_000.0, at_48), (44_100.0, at_44)] {
        for (ms, expected) in times.into_iter().zip(expected) {
            let found = smoothing(ms, hz, 1.0);
            assert!(abs_diff_eq!(found, expected, epsilon = 1e-12), "{ms} ms at {hz} Hz: {found}");
        }
    }
}

/// One of the two smoothing forms: a step towards `target` returns the new gain reduction.
trait Follower: Default {
    fn next(&mut self, target: f64, attack: f64, release: f64) -> f64;
}
impl Follower for SmoothBranching {
    fn next(&mut self, target: f64, attack: f64, release: f64) -> f64 {
        self.step(target, attack, release)
    }
}
impl Follower for SmoothDecoupled {
    fn next(&mut self, target: f64, attack: f64, release: f64) -> f64 {
        self.step(target, attack, release)
    }
}

/// Samples from a step of `depth` dB until the gain reduction is within `margins[0]` of it, and from the end of the
/// step until it is within `margins[1]` of 0.
fn step_times<F: Follower>(depth: f64, ms: [f64; 2], margins: [f64; 2]) -> [f64; 2] {
    let [attack, release] = ms.map(|ms| smoothing(ms, HZ, 1.0));
    let mut follower = F::default();
    let count = |follower: &mut F, target: f64, done: &dyn Fn(f64) -> bool| {
        (1..10_000_000).find(|_| done(follower.next(target, attack, release))).expect("an end") as f64
    };
    let rise = count(&mut follower, depth, &|r| r >= depth - margins[0]);
    for _ in 0..(HZ * 0.05 * ms[0]) as usize {
        follower.next(depth, attack, release);
    }
    let fall = count(&mut follower, 0.0, &|r| r <= margins[1]);
    [rise, fall]
}

#[test]
fn attack_reaches_63_percent_after_the_set_time() {
    let samples = |ms: f64| ms * 1e-3 * HZ;
    // A step reaches 63.2 % after one time constant (JAES 60(6), eq. 7), 90 % after 2.302585.
    for tau in [1.0, 10.0, 100.0] {
        for (part, times) in [((-1f64).exp(), 1.0), (0.1, std::f64::consts::LN_10)] {
            let [rise, fall] = step_times::<SmoothBranching>(10.0, [tau, tau], [10.0 * part; 2]);
            assert_abs_diff_eq!(rise, samples(tau * times), epsilon = 1.0);
            assert_abs_diff_eq!(fall, samples(tau * times), epsilon = 1.0);
        }
    }
    // ANSI S3.22 (within 3 dB after attack, within 4 dB after release) on a one-pole filter in the log domain: tau
    // ln(D/3) and tau ln(D/4), with D = (1 - 1/R) times the step above the threshold.
    let rows = [
        (10.0, 1.204, 0.916),
        (15.0, 1.609, 1.322),
        (17.5, 1.764, 1.476),
        (23.33, 2.051, 1.763),
        (26.25, 2.169, 1.881),
    ];
    for (depth, attacks, releases) in rows {
        let [rise, fall] = step_times::<SmoothBranching>(depth, [10.0, 100.0], [3.0, 4.0]);
        assert_abs_diff_eq!(rise, samples(10.0 * (depth / 3.0f64).ln()), epsilon = 1.0);
        assert_abs_diff_eq!(fall, samples(100.0 * (depth / 4.0f64).ln()), epsilon = 1.0);
        // The tabulated factors have three decimals: half a unit of the last, times 10 ms and 100 ms.
        assert!(abs_diff_eq!(rise / samples(10.0), attacks, epsilon = 0.0005 + 1.0 / samples(10.0)), "{depth} dB");
        assert!(abs_diff_eq!(fall / samples(100.0), releases, epsilon = 0.0005 + 1.0 / samples(100.0)), "{depth} dB");
    }
    // Smooth decoupled detector, 10 and 100 ms, ratio 2:1 (10 dB): 12.02 ms and 102.15 ms, by simulation of eq. (17).
    let [rise, fall] = step_times::<SmoothDecoupled>(10.0, [10.0, 100.0], [3.0, 4.0]);
    // That simulation counts samples from 0.
    assert_abs_diff_eq!(rise - 1.0, samples(12.02), epsilon = 1.0);
    assert_abs_diff_eq!(fall - 1.0, samples(102.15), epsilon = 1.0);
    // Exact release of eq. (17): D (tR e^(-t/tR) - tA e^(-t/tA)) / (tR - tA).
    let [attack, release] = [10.0, 100.0].map(|ms| smoothing(ms, HZ, 1.0));
    let mut follower = SmoothDecoupled::default();
    for _ in 0..48_000 {
        follower.step(10.0, attack, release);
    }
    for n in 1..20_000 {
        let t = 1e3 * f64::from(n) / HZ;
        let now = follower.step(0.0, attack, release);
        let exact = 10.0 * (100.0 * (-t / 100.0).exp() - 10.0 * (-t / 10.0).exp()) / 90.0;
        // Tolerance: one sample at the steepest slope.
        assert!(abs_diff_eq!(now, exact, epsilon = 10.0 / 90.0 / 48.0 * 1.2), "{t} ms: {now}, not {exact}");
    }
}

/// A compressor without auto release, and with its side-chain high-pass at the minimum.
fn plain(threshold_db: f64, ratio: f64, knee_db: f64) -> CompressorSettings {
    CompressorSettings {
        threshold_db,
        ratio,
        knee_db,
        attack_ms: 10.0,
        release_ms: 100.0,
        auto_release: false,
        side_chain_high_pass_hz: 20.0,
        ..CompressorSettings::default()
    }
}

#[test]
fn compressor_follows_its_static_curve_and_time_constants() {
    for (column, (threshold, ratio, knee)) in COLUMNS.into_iter().enumerate() {
        let settings = plain(threshold, ratio.min(1e300), knee);
        let settings = CompressorSettings { ratio, ..settings };
        let coefs = StageCoefs::<Compressor, 1>::design(&settings, true, rate()).expect("allowed");
        for (level, outputs) in WORKED {
            let expected = outputs[column];
            assert!((level + coefs.gain_db(level) - expected).abs() < 1e-9);
            // +A, -A, ...: |x| is steady, and a second-order Butterworth high-pass at 20 Hz has gain 1 at half the
            // sample rate.
            let mut frames = mono(&alternating(level, 24_000));
            Processor::new(&coefs).run(&mut frames);
            let output = db(f64::from(frames[23_999][0]).abs());
            assert!((output - expected).abs() < 0.01, "column {column}, {level} dB: {output}, not {expected}");
        }
    }
    // 1 kHz tone: with a slow release the detector holds the peaks.
    for (level, expected) in [(-12.0, -18.0), (0.0, -15.0), (-30.0, -30.0)] {
        let settings = CompressorSettings { attack_ms: 0.1, release_ms: 2_000.0, ..plain(-20.0, 4.0, 0.0) };
        let coefs = StageCoefs::<Compressor, 1>::design(&settings, true, rate()).expect("allowed");
        let mut frames = mono(&voicechain_tests::signals::sine(1_000.0, level, HZ, 48_000));
        Processor::new(&coefs).run(&mut frames);
        let output = db(channel(&frames[43_200..], 0).iter().fold(0.0, |m: f64, x| m.max(x.abs())));
        assert!(abs_diff_eq!(output, expected, epsilon = 0.01), "1 kHz at {level} dB: {output}, not {expected}");
    }
    // Times of the whole stage: the same step through the curve. Ratio 2:1 and 20 dB above the threshold: D = 10 dB.
    let coefs = StageCoefs::<Compressor, 1>::design(&plain(-30.0, 2.0, 0.0), true, rate()).expect("allowed");
    let quiet = mono(&alternating(-40.0, 48_000));
    let loud = mono(&alternating(-10.0, 48_000));
    let mut frames = [&quiet[..4_800], &loud[..], &quiet[..]].concat();
    let input = frames.clone();
    Processor::new(&coefs).run(&mut frames);
    let reduction: Vec<f64> = frames.iter().zip(&input).map(|(y, x)| -db(f64::from(y[0]) / f64::from(x[0]))).collect();
    let rise = reduction[4_800..].iter().position(|&r| r >= 7.0).expect("an attack") + 1;
    let fall = reduction[52_800..].iter().position(|&r| r <= 4.0).expect("a release") + 1;
    // 12.02 ms and 102.15 ms (smooth decoupled, JAES 60(6), eq. 17, by simulation), within one sample plus the rounding
    // of single precision on the flat slope of the release (0.04 dB per ms: one sample is 8e-4 dB).
    assert_abs_diff_eq!(rise as f64, 12.02e-3 * HZ, epsilon = 1.5);
    assert_abs_diff_eq!(fall as f64, 102.15e-3 * HZ, epsilon = 2.0);
}
