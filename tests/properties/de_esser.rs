//! The de-esser attenuates sibilants only.

use crate::rate;
use approx::{abs_diff_eq, assert_abs_diff_eq};
use voicechain_core::frame::Frame;
use voicechain_core::settings::{DeEsserMode, DeEsserSettings};
use voicechain_core::stages::{DeEsser, Processor, Stage};
use voicechain_tests::channels::ChannelPattern;
use voicechain_tests::signals::{buzz, channel, gain, hiss, mono, rms_db, sine};
use voicechain_tests::strips::first_difference;

const HZ: f64 = 48_000.0;
const SAMPLES: usize = 48_000;

fn process<const C: usize>(settings: &DeEsserSettings, hz: f64, frames: &[[f32; C]]) -> Vec<[f32; C]>
where
    [f32; C]: Frame,
{
    let mut out = frames.to_vec();
    Processor::<DeEsser, C>::design(settings, rate(hz)).expect("allowed settings").run(&mut out);
    out
}

/// One second of a vowel, 0.2 s of a strong "s" over a faint vowel, then the vowel again.
fn with_sibilant(level: f64) -> (Vec<f64>, std::ops::Range<usize>) {
    let mut signal = buzz(120.0, level, HZ, 2 * SAMPLES);
    let s = hiss(level - 2.0, HZ, 2 * SAMPLES, 3);
    let range = SAMPLES..SAMPLES + 9_600;
    for n in range.clone() {
        signal[n] = gain(-25.0) * signal[n] + s[n];
    }
    (signal, range)
}

/// Attenuation of the steady part of the "s", dB.
fn reduction_db(settings: &DeEsserSettings, level: f64) -> f64 {
    let (signal, range) = with_sibilant(level);
    let out = channel(&process(settings, HZ, &mono(&signal)), 0);
    let settled = range.start + 2_400..range.end;
    rms_db(&signal[settled.clone()]) - rms_db(&out[settled])
}

#[test]
fn de_esser_attenuates_sibilants_only() {
    let default = DeEsserSettings::default();
    // A vowel passes bit-exact, quiet or loud.
    for level in [-40.0, -20.0, -6.0] {
        let vowel = buzz(120.0, level, HZ, SAMPLES);
        for pattern in ChannelPattern::ALL {
            let vowel = pattern.frames(&vowel);
            let out = process(&default, HZ, &vowel);
            assert_eq!(first_difference(&out, &vowel), None, "a vowel at {level} dB, {pattern:?}");
        }
    }
    // A strong "s" (over 20 dB above the voiced band) is attenuated by the whole range, and no more.
    for range_db in [3.0, 6.0, 12.0, 18.0] {
        let settings = DeEsserSettings { range_db, ..default };
        let wideband = DeEsserSettings { mode: DeEsserMode::Wideband, ..settings };
        let (split_band, wide) = (reduction_db(&settings, -20.0), reduction_db(&wideband, -20.0));
        assert!(wide > range_db - 0.5 && wide < range_db + 1e-3, "wideband, range {range_db} dB: {wide}");
        // The split at 5 kHz leaves a part of the sibilant band below it.
        assert!(split_band > 0.25 * range_db && split_band < range_db, "split-band, range {range_db} dB: {split_band}");
        // A quiet "s" is attenuated like a loud one.
        for settings in [settings, wideband] {
            let (loud, quiet) = (reduction_db(&settings, -14.0), reduction_db(&settings, -34.0));
            assert!(abs_diff_eq!(loud, quiet, epsilon = 0.5), "range {range_db} dB: loud {loud}, quiet {quiet}");
        }
    }
    // Before the "s" nothing changes; after the release the vowel is bit-exact again.
    let (signal, range) = with_sibilant(-20.0);
    let frames = mono(&signal);
    let out = process(&default, HZ, &frames);
    assert_eq!(first_difference(&out[..range.start], &frames[..range.start]), None);
    let after = range.end + (0.6 * HZ) as usize;
    assert_eq!(first_difference(&out[after..], &frames[after..]), None);
}

#[test]
fn split_band_attenuation_is_a_butterworth_shelf() {
    // Second-order Butterworth shelf: |H|^2 = (1 + g^2 x^4) / (1 + x^4), x = tan(pi f / rate) / tan(pi f0 / rate).
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
    // The output has this response: Fourier components of tones inside a strong "s", over whole periods.
    let (mut signal, range) = with_sibilant(-20.0);
    let tones = [1_000.0, 4_000.0, 6_000.0, 12_000.0];
    for hz in tones {
        signal.iter_mut().zip(sine(hz, -30.0, HZ, 2 * SAMPLES)).for_each(|(x, t)| *x += t);
    }
    let settings = DeEsserSettings { range_db: 6.0, ..settings };
    let out = channel(&process(&settings, HZ, &mono(&signal)), 0);
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
fn split_band_mode_leaves_500_hz_unchanged() {
    // A 500 Hz tone under a strong "s", measured by its Fourier component over whole periods.
    let tone = sine(500.0, -50.0, HZ, 2 * SAMPLES);
    let (mut signal, range) = with_sibilant(-20.0);
    signal.iter_mut().zip(&tone).for_each(|(x, t)| *x += t);
    let settings = DeEsserSettings { range_db: 18.0, ..DeEsserSettings::default() };
    let out = channel(&process(&settings, HZ, &mono(&signal)), 0);
    let settled = range.start + 2_400..range.end;
    let level = |x: &[f64]| {
        let [re, im] = voicechain_tests::spectra::fourier(x, std::f64::consts::TAU * 500.0 / HZ);
        10.0 * (re * re + im * im).log10()
    };
    let change = level(&out[settled.clone()]) - level(&signal[settled]);
    assert!(change.abs() < 0.5, "500 Hz changes by {change} dB");
}

#[test]
fn attenuation_follows_the_static_curve() {
    // Steady "s" at several ratios to a 500 Hz tone in the voiced band; wideband, so that the attenuation is the gain.
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
        // 7 kHz lies inside the sibilant band, 4 to 10 kHz.
        let ess = sine(7_000.0, -17.0 + ratio, HZ, 2 * SAMPLES);
        let signal: Vec<f64> = voiced.iter().zip(&ess).map(|(a, b)| a + b).collect();
        let out = channel(&process(&settings, HZ, &mono(&signal)), 0);
        let attenuation = rms_db(&signal[SAMPLES..]) - rms_db(&out[SAMPLES..]);
        // Closed form of the second-order Butterworth band edges, warped frequencies: 7 kHz between 4 and 10 kHz loses
        // 1.05 dB, 500 Hz below 1.5 kHz loses 0.05 dB. The curve has slope 1.
        let expected = -coefs.gain_db(ratio - 1.0);
        assert!(
            (attenuation - expected).abs() < 0.2,
            "ratio {ratio} dB: attenuation {attenuation} dB, expected {expected}"
        );
    }
}

#[test]
fn both_channels_get_the_same_gain() {
    let (signal, _) = with_sibilant(-20.0);
    let settings = DeEsserSettings { mode: DeEsserMode::Wideband, ..DeEsserSettings::default() };
    for pattern in [ChannelPattern::Unequal, ChannelPattern::Opposite, ChannelPattern::DropOuts] {
        let frames = pattern.frames(&signal);
        let out = process(&settings, HZ, &frames);
        for (y, x) in out.iter().zip(&frames).filter(|(_, x)| x[0].abs() > 1e-3 && x[1].abs() > 1e-3) {
            assert_abs_diff_eq!(y[0] / x[0], y[1] / x[1], epsilon = 1e-6);
        }
    }
}

#[test]
fn de_esser_is_bypassed_at_rates_too_low_for_its_band() {
    for (hz, frequency_hz) in [(8_000.0, 5_000.0), (8_000.0, 3_000.0), (16_000.0, 8_000.0), (22_050.0, 12_000.0)] {
        let settings = DeEsserSettings { frequency_hz, threshold_db: -24.0, ..DeEsserSettings::default() };
        let frames = mono(&voicechain_tests::signals::white(-10.0, 16_000, 2));
        assert_eq!(first_difference(&process(&settings, hz, &frames), &frames), None, "{frequency_hz} Hz at {hz} Hz");
    }
    let settings = DeEsserSettings { threshold_db: -24.0, ..DeEsserSettings::default() };
    let frames = mono(&voicechain_tests::signals::white(-10.0, 16_000, 2));
    assert_ne!(first_difference(&process(&settings, 16_000.0, &frames), &frames), None, "16 kHz has room for 5 kHz");
}
