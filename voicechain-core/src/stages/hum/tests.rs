use super::*;
use crate::blank::Blank;
use crate::settings::HumSettings;
extern crate std;
use std::vec::Vec;

fn hum(hz: f64, rate_hz: f64, amplitudes: &[f64], seconds: f64) -> Vec<f64> {
    (0..(seconds * rate_hz) as usize)
        .map(|n| {
            let t = n as f64 / rate_hz;
            let harmonic =
                |(k, a): (usize, &f64)| a * libm::sin(core::f64::consts::TAU * hz * (k + 1) as f64 * t + k as f64);
            amplitudes.iter().enumerate().map(harmonic).sum()
        })
        .collect()
}

fn level_db(x: &[f32]) -> f64 {
    10.0 * libm::log10(x.iter().map(|x| f64::from(*x).powi(2)).sum::<f64>() / x.len() as f64 + 1e-30)
}

fn clear_state(rate: SampleRate) -> HumState<1> {
    let mut state = HumState::BLANK;
    Hum::clear(&mut state, rate);
    state
}

fn run(settings: HumSettings, rate_hz: f64, signal: &[f64]) -> (Vec<f32>, HumState<1>) {
    let rate = SampleRate::new(rate_hz).unwrap();
    let coefs = <Hum as Stage<1>>::design(&settings, rate).unwrap();
    let mut state = clear_state(rate);
    let mut frames: Vec<[f32; 1]> = signal.iter().map(|&x| [x as f32]).collect();
    Hum::run(StageContext::new(&coefs, &mut state), &mut frames);
    (frames.iter().map(|f| f[0]).collect(), state)
}

/// Hum alone, up to 0.5 Hz off the nominal frequency, ten falling harmonics from -50 dBFS: at least 25 dB of
/// attenuation after one second at any sample rate.
#[test]
fn hum_is_removed_within_a_second_at_any_mains_frequency() {
    let harmonics: Vec<f64> = (0..10).map(|k| 3.16e-3 * 2f64.sqrt() / (1.0 + 0.3 * k as f64)).collect();
    for rate_hz in [8_000.0, 11_025.0, 44_100.0, 48_000.0, 96_000.0] {
        for (mains, nominal) in [(Mains::Hz50, 50.0), (Mains::Hz60, 60.0)] {
            for off in [-0.5, -0.17, 0.0, 0.03, 0.31, 0.5] {
                let signal = hum(nominal + off, rate_hz, &harmonics, 2.0);
                let (out, state) = run(HumSettings { on: true, mains, ..HumSettings::default() }, rate_hz, &signal);
                let second = rate_hz as usize;
                let before = level_db(&signal[second..].iter().map(|&x| x as f32).collect::<Vec<_>>());
                let after = level_db(&out[second..second + second / 2]);
                assert!(after < before - 25.0, "{rate_hz} Hz, {nominal} {off:+}: {before:.1} to {after:.1} dB");
                let found = state.frequency_hz().expect("hum");
                assert!((found - nominal - off).abs() < 0.02, "{found} for {}", nominal + off);
            }
        }
    }
}

/// Signals without hum pass: noise, a gliding voice-like tone, tones between the harmonics.
#[test]
fn signals_without_hum_pass_bit_for_bit() {
    let rate_hz = 48_000.0;
    let mut seed = 1u32;
    let mut noise = || {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f64::from(seed >> 8) / 8_388_608.0 - 1.0
    };
    let hiss: Vec<f64> = (0..240_000).map(|_| 0.01 * noise()).collect();
    let mut phase = 0.0;
    let glide: Vec<f64> = (0..240_000)
        .map(|n| {
            phase += (100.0 + 12.0 * libm::sin(n as f64 * 2e-4)) / rate_hz;
            (1..12).map(|k| 0.05 / k as f64 * libm::sin(core::f64::consts::TAU * phase * k as f64)).sum()
        })
        .collect();
    let between = hum(53.0, rate_hz, &[0.01, 0.01, 0.01], 5.0);
    for (name, signal) in [("noise", &hiss), ("gliding voice", &glide), ("tones between harmonics", &between)] {
        let (out, _) = run(HumSettings { on: true, ..HumSettings::default() }, rate_hz, signal);
        let same = out.iter().zip(signal).all(|(o, x)| o.to_bits() == (*x as f32).to_bits());
        assert!(same, "{name}");
    }
}

/// After hum stops, subtraction ends within three periods.
#[test]
fn subtraction_stops_when_the_hum_stops() {
    let rate_hz = 48_000.0;
    let mut signal = hum(50.2, rate_hz, &[0.01, 0.005, 0.003], 2.0);
    signal.extend([0.0; 24_000]);
    let (out, _) = run(HumSettings { on: true, ..HumSettings::default() }, rate_hz, &signal);
    assert!(out[96_000 + 3 * 960..].iter().all(|&x| x == 0.0));
}

/// A mains frequency that drifts by 5 mHz/s, faster than a usual grid, is tracked: its harmonics are attenuated by at
/// least 20 dB. Negative control: a drift of 0.25 Hz/s is not mains.
#[test]
fn a_drifting_mains_frequency_is_tracked() {
    let (rate_hz, seconds) = (48_000.0, 20.0);
    let change_db = |hz_per_s: f64| {
        let signal: Vec<f64> = (0..(seconds * rate_hz) as usize)
            .map(|n| {
                let t = n as f64 / rate_hz;
                let cycles = 49.95 * t + 0.5 * hz_per_s * t * t;
                (1..=10).map(|k| 4e-3 / k as f64 * libm::sin(core::f64::consts::TAU * cycles * k as f64)).sum()
            })
            .collect();
        let (out, _) = run(HumSettings { on: true, ..HumSettings::default() }, rate_hz, &signal);
        let from = 2 * rate_hz as usize;
        let before = level_db(&signal[from..].iter().map(|&x| x as f32).collect::<Vec<_>>());
        level_db(&out[from..]) - before
    };
    let (slow, quick) = (change_db(0.005), change_db(0.25));
    assert!(slow < -20.0, "{slow:.1} dB");
    assert!(quick > -1.0, "{quick:.1} dB");
}

/// Hum analysed in reverse is removed from the first sample on, wherever in a period the recording starts, and stays
/// removed.
#[test]
fn hum_analysed_in_reverse_is_removed_from_the_first_sample() {
    let harmonics: Vec<f64> = (0..10).map(|k| 3.16e-3 / (1.0 + 0.3 * k as f64)).collect();
    for rate_hz in [8_000.0, 11_025.0, 48_000.0] {
        for off in [-0.5, -0.17, 0.03, 0.42] {
            for skipped in [0, 1, 77, 400] {
                let signal = hum(60.0 + off, rate_hz, &harmonics, 3.0);
                let rate = SampleRate::new(rate_hz).unwrap();
                let settings = HumSettings { on: true, mains: Mains::Hz60, ..HumSettings::default() };
                let coefs = <Hum as Stage<1>>::design(&settings, rate).unwrap();
                let mut state = clear_state(rate);
                let forwards: Vec<[f32; 1]> = signal.iter().map(|&x| [x as f32]).collect();
                let mut backwards: Vec<[f32; 1]> = forwards[..forwards.len() - skipped].iter().rev().copied().collect();
                Hum::run(StageContext::new(&coefs, &mut state), &mut backwards);
                state.reverse_time(&coefs);
                let mut out = forwards.clone();
                Hum::run(StageContext::new(&coefs, &mut state), &mut out);
                let level = |x: &[[f32; 1]]| level_db(x.as_flattened());
                let tenth = (0.1 * rate_hz) as usize;
                for at in [0, tenth, 10 * tenth] {
                    let (before, after) = (level(&forwards[at..at + tenth]), level(&out[at..at + tenth]));
                    assert!(
                        after < before - 30.0,
                        "{rate_hz} Hz, {off:+} Hz, {skipped}, {at}: {before:.1} to {after:.1} dB"
                    );
                }
            }
        }
    }
}

every_number_is_checked! {
    Hum,
    HumSettings::default(),
    nominal_hz = f64::NAN,
    nominal_hz = 0.0,
    rate_hz = f64::NAN,
    share = f64::NAN,
    share = 1.5,
}
