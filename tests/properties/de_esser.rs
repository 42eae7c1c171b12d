//! The de-esser takes from sibilants only.

use crate::rate;
use approx::{abs_diff_eq, assert_abs_diff_eq};
use voicechain_core::frame::Frame;
use voicechain_core::settings::{DeEsserMode, DeEsserSettings};
use voicechain_core::stages::{DeEsser, Processor, Stage};
use voicechain_tests::signals::{buzz, channel, gain, hiss, mono, rms_db, sine, unequal};
use voicechain_tests::strips::first_difference;

const HZ: f64 = 48_000.0;
const SAMPLES: usize = 48_000;

fn through<const C: usize>(settings: &DeEsserSettings, hz: f64, frames: &[[f32; C]]) -> Vec<[f32; C]>
where
    [f32; C]: Frame,
{
    let mut out = frames.to_vec();
    Processor::<DeEsser, C>::design(settings, rate(hz)).expect("allowed settings").run(&mut out);
    out
}

/// A vowel of one second, then a strong "s" of 0.2 s over a little of the vowel, then the vowel again.
fn with_sibilant(level: f64) -> (Vec<f64>, std::ops::Range<usize>) {
    let mut signal = buzz(120.0, level, HZ, 2 * SAMPLES);
    let s = hiss(level - 2.0, HZ, 2 * SAMPLES, 3);
    let range = SAMPLES..SAMPLES + 9_600;
    for n in range.clone() {
        signal[n] = gain(-25.0) * signal[n] + s[n];
    }
    (signal, range)
}

/// By how many dB the settled part of the "s" became quieter.
fn reduction_db(settings: &DeEsserSettings, level: f64) -> f64 {
    let (signal, range) = with_sibilant(level);
    let out = channel(&through(settings, HZ, &mono(&signal)), 0);
    let settled = range.start + 2_400..range.end;
    rms_db(&signal[settled.clone()]) - rms_db(&out[settled])
}

#[test]
fn de_esser_takes_from_sibilants_only() {
    let default = DeEsserSettings::default();
    // A vowel is untouched, bit for bit, quiet or loud.
    for level in [-40.0, -20.0, -6.0] {
        let vowel = unequal(&buzz(120.0, level, HZ, SAMPLES));
        assert_eq!(first_difference(&through(&default, HZ, &vowel), &vowel), None, "a vowel at {level} dB");
    }
    // A strong "s" (over 20 dB above the voiced band) loses the whole range, and no more.
    for range_db in [3.0, 6.0, 12.0, 18.0] {
        let settings = DeEsserSettings { range_db, ..default };
        let whole = DeEsserSettings { mode: DeEsserMode::Wideband, ..settings };
        let (high, all) = (reduction_db(&settings, -20.0), reduction_db(&whole, -20.0));
        assert!(all > range_db - 0.5 && all < range_db + 1e-3, "wideband, range {range_db} dB: {all}");
        // The split at 5 kHz leaves a part of a band that begins there.
        assert!(high > 0.25 * range_db && high < range_db, "split-band, range {range_db} dB: {high}");
        // A quiet "s" is judged as a loud one.
        for settings in [settings, whole] {
            let (loud, quiet) = (reduction_db(&settings, -14.0), reduction_db(&settings, -34.0));
            assert!(abs_diff_eq!(loud, quiet, epsilon = 0.5), "range {range_db} dB: loud {loud}, quiet {quiet}");
        }
    }
    // Outside the "s" nothing changes, and the vowel returns to its bits once the release is over.
    let (signal, range) = with_sibilant(-20.0);
    let frames = mono(&signal);
    let out = through(&default, HZ, &frames);
    assert_eq!(first_difference(&out[..range.start], &frames[..range.start]), None);
    let after = range.end + (0.6 * HZ) as usize;
    assert_eq!(first_difference(&out[after..], &frames[after..]), None);
}

#[test]
fn the_high_band_falls_as_a_shelf() {
    // Second-order Butterworth shape: |H|^2 = (1 + g^2 x^4) / (1 + x^4), x = tan(pi f / rate) / tan(pi f0 / rate).
    let settings = DeEsserSettings { range_db: 18.0, ..DeEsserSettings::default() };
    let coefs = <DeEsser as Stage<1>>::design(&settings, rate(HZ)).expect("allowed");
    let warped = |hz: f64| (std::f64::consts::PI * hz / HZ).tan();
    let shelf = |hz: f64, reduction: f64| {
        let x4 = (warped(hz) / warped(settings.frequency_hz)).powi(4);
        10.0 * ((1.0 + gain(-reduction).powi(2) * x4) / (1.0 + x4)).log10()
    };
    for reduction in [0.0, 0.5, 3.0, 6.0, 18.0] {
        for k in 1..240 {
            let hz = 100.0 * f64::from(k);
            let found = coefs.response_at(hz, reduction).db();
            assert_abs_diff_eq!(found, shelf(hz, reduction), epsilon = 1e-6);
            assert!(found > -reduction - 1e-9 && found < 1e-9);
        }
    }
    // And it is what is heard: tones inside a strong "s", measured by their Fourier components over whole periods.
    let (mut signal, range) = with_sibilant(-20.0);
    let tones = [1_000.0, 4_000.0, 6_000.0, 12_000.0];
    for hz in tones {
        signal.iter_mut().zip(sine(hz, -30.0, HZ, 2 * SAMPLES)).for_each(|(x, t)| *x += t);
    }
    let settings = DeEsserSettings { range_db: 6.0, ..settings };
    let out = channel(&through(&settings, HZ, &mono(&signal)), 0);
    let settled = range.start + 4_800..range.end;
    for hz in tones {
        let level = |x: &[f64]| {
            let [re, im] = voicechain_tests::spectra::fourier(x, std::f64::consts::TAU * hz / HZ);
            10.0 * (re * re + im * im).log10()
        };
        let found = level(&out[settled.clone()]) - level(&signal[settled.clone()]);
        assert_abs_diff_eq!(found, shelf(hz, 6.0), epsilon = 0.1);
    }
}

#[test]
fn the_vowel_band_stays_while_the_high_band_goes() {
    // A tone of 500 Hz under a strong "s": measured by its Fourier component over whole periods.
    let tone = sine(500.0, -50.0, HZ, 2 * SAMPLES);
    let (mut signal, range) = with_sibilant(-20.0);
    signal.iter_mut().zip(&tone).for_each(|(x, t)| *x += t);
    let settings = DeEsserSettings { range_db: 18.0, ..DeEsserSettings::default() };
    let out = channel(&through(&settings, HZ, &mono(&signal)), 0);
    let settled = range.start + 2_400..range.end;
    let level = |x: &[f64]| {
        let [re, im] = voicechain_tests::spectra::fourier(x, std::f64::consts::TAU * 500.0 / HZ);
        10.0 * (re * re + im * im).log10()
    };
    let change = level(&out[settled.clone()]) - level(&signal[settled]);
    assert!(change.abs() < 0.5, "500 Hz changes by {change} dB");
}

#[test]
fn a_gentle_sibilant_meets_the_curve() {
    // Steady "s" at several ratios to a tone of 500 Hz in the voiced band; whole voice, so that what is taken is the gain.
    let settings = DeEsserSettings {
        mode: DeEsserMode::Wideband,
        threshold_db: 0.0,
        range_db: 12.0,
        attack_ms: 50.0,
        release_ms: 50.0,
        ..DeEsserSettings::default()
    };
    let coefs = <DeEsser as Stage<1>>::design(&settings, rate(HZ)).expect("allowed");
    let voiced = sine(500.0, -17.0, HZ, 2 * SAMPLES);
    for ratio in [-12.0, 4.0, 8.0, 20.0] {
        // 7 kHz lies in the middle of the sibilant band.
        let ess = sine(7_000.0, -17.0 + ratio, HZ, 2 * SAMPLES);
        let signal: Vec<f64> = voiced.iter().zip(&ess).map(|(a, b)| a + b).collect();
        let out = channel(&through(&settings, HZ, &mono(&signal)), 0);
        let taken = rms_db(&signal[SAMPLES..]) - rms_db(&out[SAMPLES..]);
        // The band edges are Butterworth of second order: 7 kHz between 4 and 10 kHz keeps all but 1.05 dB, 500 Hz below
        // 1.5 kHz all but 0.05 dB (closed form, warped frequencies); the curve has slope 1.
        let expected = -coefs.gain_db(ratio - 1.0);
        assert!((taken - expected).abs() < 0.2, "ratio {ratio} dB: {taken} dB taken, {expected} expected");
    }
}

#[test]
fn one_gain_serves_both_channels() {
    let (signal, _) = with_sibilant(-20.0);
    let frames = unequal(&signal);
    let settings = DeEsserSettings { mode: DeEsserMode::Wideband, ..DeEsserSettings::default() };
    let out = through(&settings, HZ, &frames);
    for (y, x) in out.iter().zip(&frames).filter(|(_, x)| x[0].abs() > 1e-3 && x[1].abs() > 1e-3) {
        assert_abs_diff_eq!(y[0] / x[0], y[1] / x[1], epsilon = 1e-6);
    }
}

#[test]
fn it_is_bypassed_where_the_rate_is_too_low() {
    for (hz, frequency_hz) in [(8_000.0, 5_000.0), (8_000.0, 3_000.0), (16_000.0, 8_000.0), (22_050.0, 12_000.0)] {
        let settings = DeEsserSettings { frequency_hz, threshold_db: -24.0, ..DeEsserSettings::default() };
        let frames = mono(&voicechain_tests::signals::white(-10.0, 16_000, 2));
        assert_eq!(first_difference(&through(&settings, hz, &frames), &frames), None, "{frequency_hz} Hz at {hz} Hz");
    }
    let settings = DeEsserSettings { threshold_db: -24.0, ..DeEsserSettings::default() };
    let frames = mono(&voicechain_tests::signals::white(-10.0, 16_000, 2));
    assert_ne!(first_difference(&through(&settings, 16_000.0, &frames), &frames), None, "16 kHz has room for 5 kHz");
}
