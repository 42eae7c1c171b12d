//! Active speech level: ITU-T P.56 method B.
//!
//! The expected readings of synthetic tones come from an independent implementation with exact interpolation. On the
//! test file of the Recommendation that implementation reads the same as the reference software (-25.329 dBov, 96.625
//! %).

use approx::assert_abs_diff_eq;
use std::f64::consts::TAU;
use voicechain_core::measure::active_level::{ActiveLevelMeter, ActiveSpeech};

const RATES: [f64; 7] = [8_000.0, 11_025.0, 16_000.0, 22_050.0, 32_000.0, 44_100.0, 48_000.0];

/// 20 s of a 997 Hz tone, switched on and off periodically.
fn keyed(hz: f64, peak_db: f64, on_s: f64, off_s: f64) -> Vec<f32> {
    let amplitude = 10_f64.powf(peak_db / 20.0);
    (0..(20.0 * hz) as u64)
        .map(|n| {
            let on = (n as f64 / hz) % (on_s + off_s) < on_s;
            if on { (amplitude * (TAU * 997.0 * n as f64 / hz).sin()) as f32 } else { 0.0 }
        })
        .collect()
}

fn measured(hz: f64, signal: &[f32]) -> ActiveSpeech {
    let mut meter = ActiveLevelMeter::new(hz);
    meter.push(signal);
    meter.result().expect("a tone is above every threshold")
}

/// Seconds on and off, expected level (dBov) and expected activity (percent) of tones of -20 dBFS.
const READINGS: [(f64, f64, f64, f64); 6] = [
    (20.0, 0.0, -23.005, 99.9),
    (1.0, 0.2, -23.763, 99.9),
    (1.0, 0.5, -24.031, 85.4),
    (1.0, 1.0, -24.072, 63.9),
    (2.0, 2.0, -23.568, 56.9),
    (0.5, 3.0, -24.956, 23.5),
];

#[test]
fn switched_tones_have_the_published_active_level_at_every_rate() {
    for hz in RATES {
        for (on, off, level, activity) in READINGS {
            let found = measured(hz, &keyed(hz, -20.0, on, off));
            assert_abs_diff_eq!(found.level_dbov, level, epsilon = 0.01);
            assert_abs_diff_eq!(found.activity_percent, activity, epsilon = 0.1);
            assert_abs_diff_eq!(found.active_s, 0.2 * activity, epsilon = 0.02);
        }
    }
}

/// Negative control: neither the mean over everything nor that over the tone alone would pass.
#[test]
fn active_level_differs_from_both_plain_means() {
    let on_only = -23.0103;
    for (on, off, level, activity) in READINGS.into_iter().skip(3) {
        let everything = on_only + 10.0 * (on / (on + off)).log10();
        assert!(level > everything + 0.5 && level < on_only - 0.5, "{level}");
        assert!(activity > 100.0 * on / (on + off) + 5.0);
    }
}

/// Pauses below 100 ms count as speech, pauses above 350 ms do not (ITU-T G.191, manual of its P.56 tool).
#[test]
fn short_pauses_count_as_speech_and_long_ones_do_not() {
    assert_abs_diff_eq!(measured(16_000.0, &keyed(16_000.0, -20.0, 0.5, 0.1)).activity_percent, 100.0, epsilon = 0.3);
    let long = measured(16_000.0, &keyed(16_000.0, -20.0, 0.5, 0.6)).activity_percent;
    assert!(long < 85.0, "{long}");
}

/// The measurement is the same over 90 dB. Thresholds are a factor of 2 apart, so only such level steps are exact.
#[test]
fn active_level_measures_alike_over_90_db() {
    let reference = measured(16_000.0, &keyed(16_000.0, -6.0, 1.0, 1.0));
    for halvings in 1..=15 {
        let down = f64::from(halvings) * 20.0 * 2_f64.log10();
        let found = measured(16_000.0, &keyed(16_000.0, -6.0 - down, 1.0, 1.0));
        assert_abs_diff_eq!(found.level_dbov, reference.level_dbov - down, epsilon = 1e-4);
        assert_abs_diff_eq!(found.activity_percent, reference.activity_percent, epsilon = 1e-2);
    }
    let found = measured(16_000.0, &keyed(16_000.0, -26.0, 1.0, 1.0));
    assert_abs_diff_eq!(found.level_dbov, reference.level_dbov - 20.0, epsilon = 0.1);
    let mut silent = ActiveLevelMeter::new(16_000.0);
    silent.push(&[0.0; 16_000]);
    assert_eq!(silent.result(), None);
}

#[test]
fn active_level_is_independent_of_block_size() {
    let signal = keyed(11_025.0, -12.0, 0.3, 0.4);
    let mut split = ActiveLevelMeter::new(11_025.0);
    let mut rest = &signal[..];
    for size in (1..=997).cycle().step_by(61) {
        let (now, later) = rest.split_at(size.min(rest.len()));
        split.push(now);
        rest = later;
        if rest.is_empty() {
            break;
        }
    }
    assert_eq!(split.result(), Some(measured(11_025.0, &signal)));
}
