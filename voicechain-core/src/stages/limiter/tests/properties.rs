use super::*;
use core::f64::consts::PI;
use std::{println, vec, vec::Vec};

fn sine(hz: f64, rate: f64, level_db: f64, count: usize) -> Vec<f32> {
    let gain = libm::exp10(level_db / 20.0);
    (0..count).map(|n| (gain * libm::sin(2.0 * PI * hz * n as f64 / rate)) as f32).collect()
}

fn bits(frames: &[[f32; 2]]) -> Vec<u32> {
    frames.as_flattened().iter().map(|x| x.to_bits()).collect()
}

/// Noise bursts that alternate between limiting and idle.
fn bursts() -> Vec<[f32; 2]> {
    let mut noise = Noise(7);
    (0..12_000)
        .map(|n| {
            let level = if n % 3_000 < 700 { 2.0 } else { 0.02 };
            [(level * noise.normal()) as f32, (0.5 * level * noise.normal()) as f32]
        })
        .collect()
}

#[test]
fn below_the_ceiling_the_output_is_the_delayed_input() {
    let coefs = design(48_000.0, -1.0, 1.5, 80.0);
    let input = sine(997.0, 48_000.0, -1.12, 9_000);
    let output = limit(&coefs, &input);
    assert!(input.iter().zip(&output).all(|(x, y)| x.to_bits() == y.to_bits()));
}

#[test]
fn output_is_independent_of_block_size() {
    // The ceiling falls and rises again inside bursts.
    let (high, low) = (design(48_000.0, -1.0, 1.5, 10.0), design(48_000.0, -9.0, 1.5, 10.0));
    let run = |lengths: &[usize]| {
        let mut frames = bursts();
        let mut state = fresh::<2>();
        let mut next_length = lengths.iter().cycle();
        let (first, rest) = frames.split_at_mut(3_333);
        let (second, third) = rest.split_at_mut(3_000);
        for (coefs, mut part) in [(&high, first), (&low, second), (&high, third)] {
            while !part.is_empty() {
                let (now, later) = part.split_at_mut((*next_length.next().unwrap()).min(part.len()));
                Limiter::run(StageContext::new(coefs, &mut state), now);
                part = later;
            }
        }
        (bits(&frames), state.limiting_events(), <Limiter as Stage<2>>::take_reduction_db(&mut state))
    };
    let whole = run(&[12_000]);
    for lengths in [&[1_usize][..], &[7, 64, 1, 130], &[63], &[480, 3]] {
        assert!(whole == run(lengths), "{lengths:?}");
    }
}

#[test]
fn both_channels_share_one_gain() {
    let coefs = design(48_000.0, -6.0, 0.5, 10.0);
    let input = bursts();
    let mut output = input.clone();
    Limiter::run(StageContext::new(&coefs, &mut fresh::<2>()), &mut output);
    let latency = coefs.latency() as usize;
    for (x, y) in input.iter().zip(&output[latency..]) {
        let cross = f64::from(x[0]) * f64::from(y[1]) - f64::from(x[1]) * f64::from(y[0]);
        assert!(cross.abs() <= 3e-7 * f64::from(x[0]).abs() * f64::from(y[1]).abs() + 1e-30);
    }
    // Equal channels give the mono result.
    let mono: Vec<f32> = input.iter().map(|frame| frame[0]).collect();
    let mut pair: Vec<[f32; 2]> = mono.iter().map(|&x| [x, x]).collect();
    Limiter::run(StageContext::new(&coefs, &mut fresh::<2>()), &mut pair);
    let alone = limit(&coefs, &mono);
    assert!(pair[latency..].iter().zip(&alone).all(|(p, &m)| p[0] == m && p[1] == m));
}

#[test]
fn latency_matches_the_delay_of_an_impulse() {
    let expected = [
        (8_000.0, 0.5, 150),
        (8_000.0, 5.0, 150),
        (44_100.0, 0.5, 150),
        (48_000.0, 1.5, 150),
        (48_000.0, 5.0, 294),
        (96_000.0, 0.5, 150),
        (192_000.0, 0.5, 158),
        (192_000.0, 5.0, 1_014),
    ];
    for (hz, look_ahead_ms, latency) in expected {
        let coefs = design(hz, 0.0, look_ahead_ms, 10.0);
        assert_eq!(<Limiter as Stage<1>>::latency(&coefs), latency);
        assert_eq!(<Limiter as Stage<1>>::tail(&coefs), latency);
        let mut frames = vec![[0.0_f32]; 1_200];
        frames[0] = [0.5];
        Limiter::run(StageContext::new(&coefs, &mut fresh::<1>()), &mut frames);
        let nonzero: Vec<usize> = (0..1_200).filter(|&n| frames[n][0] != 0.0).collect();
        assert_eq!(nonzero, [latency as usize]);
    }
}

#[test]
fn gain_returns_to_exactly_one() {
    let coefs = design(48_000.0, -12.0, 0.5, 10.0);
    let mut input = sine(440.0, 48_000.0, -20.0, 40_000);
    for x in &mut input[..500] {
        *x *= 100.0;
    }
    let output = limit(&coefs, &input);
    // 32 dB decay to 1e-3 dB in ln(32 / 1e-3) = 10.4 time constants, 5 000 samples.
    assert!(input[..500].iter().zip(&output).any(|(x, y)| x != y));
    assert!(input[6_500..].iter().zip(&output[6_500..]).all(|(x, y)| x.to_bits() == y.to_bits()));
}

#[test]
fn a_steady_sine_is_limited_to_the_ceiling() {
    let coefs = design(48_000.0, -3.0, 1.5, 80.0);
    let output = limit(&coefs, &sine(3_000.0, 48_000.0, 6.0, 20_000));
    let peak = output[10_000..].iter().fold(0.0_f64, |m, &y| m.max(f64::from(y).abs()));
    // The samples of this sine include its peak. The margin is 0.03 dB.
    assert!((db(peak) - (-3.03)).abs() < 0.02, "{}", db(peak));
    assert!((coefs.gain_db(6.0) - (-9.03)).abs() < 1e-6);
    assert_eq!(coefs.gain_db(-10.0), 0.0);
}

#[test]
fn reduction_and_limiting_events_are_reported_once() {
    let coefs = design(48_000.0, -1.0, 1.5, 80.0);
    let mut state = fresh::<1>();
    let mut frames: Vec<[f32; 1]> = sine(1_000.0, 48_000.0, 5.0, 4_800).iter().map(|&x| [x]).collect();
    frames.resize(24_000, [0.0]);
    Limiter::run(StageContext::new(&coefs, &mut state), &mut frames);
    assert!((<Limiter as Stage<1>>::take_reduction_db(&mut state) - 6.03).abs() < 0.02);
    assert_eq!(<Limiter as Stage<1>>::take_reduction_db(&mut state), 0.0);
    assert_eq!(state.limiting_events(), 1);
}

#[test]
fn huge_samples_do_not_affect_later_output() {
    let coefs = design(48_000.0, -1.0, 0.5, 10.0);
    let mut state = fresh::<2>();
    let mut noise = Noise(3);
    let mut huge: Vec<[f32; 2]> =
        (0..3_000).map(|_| [f32::MAX * noise.sign() as f32, 1e30 * noise.next() as f32]).collect();
    huge.resize(20_000, [0.0, 0.0]);
    Limiter::run(StageContext::new(&coefs, &mut state), &mut huge);
    assert!(huge.as_flattened().iter().all(|x| x.abs() <= coefs.ceiling()));
    let mut after = bursts();
    let mut expected = bursts();
    Limiter::run(StageContext::new(&coefs, &mut state), &mut after);
    Limiter::run(StageContext::new(&coefs, &mut fresh::<2>()), &mut expected);
    assert!(bits(&after) == bits(&expected));
}

#[test]
fn bypass_delays_the_input_and_updates_the_state() {
    let coefs = design(48_000.0, -6.0, 0.5, 10.0);
    let latency = coefs.latency() as usize;
    let input = bursts();
    let (mut on, mut off, mut both) = (input.clone(), input.clone(), input.clone());
    let mut delayed = vec![[0.0; 2]; input.len()];
    Limiter::run(StageContext::new(&coefs, &mut fresh::<2>()), &mut on);
    let mut state = fresh::<2>();
    <Limiter as Stage<2>>::run_bypassed(StageContext::new(&coefs, &mut state), &mut off[..6_100]);
    assert_eq!((state.limiting_events(), <Limiter as Stage<2>>::take_reduction_db(&mut state)), (0, 0.0));
    assert!(bits(&off[latency..6_100]) == bits(&input[..6_100 - latency]));
    // Switched on within a burst, the output equals that of a limiter that was always on.
    Limiter::run(StageContext::new(&coefs, &mut state), &mut off[6_100..]);
    assert!(bits(&off[6_100..]) == bits(&on[6_100..]));
    <Limiter as Stage<2>>::run_with_bypass(StageContext::new(&coefs, &mut fresh::<2>()), &mut both, &mut delayed);
    assert!(bits(&both) == bits(&on));
    assert!(bits(&delayed[latency..]) == bits(&input[..input.len() - latency]));
}

#[test]
fn a_moving_ceiling_causes_no_discontinuity() {
    let (high, low) = (design(48_000.0, 0.0, 1.5, 80.0), design(48_000.0, -12.0, 1.5, 80.0));
    let mut frames: Vec<[f32; 1]> = sine(200.0, 48_000.0, -0.5, 24_000).iter().map(|&x| [x]).collect();
    let mut state = fresh::<1>();
    Limiter::run(StageContext::new(&high, &mut state), &mut frames[..8_000]);
    Limiter::run(StageContext::new(&low, &mut state), &mut frames[8_000..16_000]);
    Limiter::run(StageContext::new(&high, &mut state), &mut frames[16_000..]);
    // The sine moves by at most 0.0247 per sample. The gain adds at most 12 dB within half its slope.
    let step = frames.windows(2).map(|w| (w[1][0] - w[0][0]).abs()).fold(0.0, f32::max);
    assert!(step < 0.08, "{step}");
    assert!(frames[8_500..16_000].iter().all(|y| y[0].abs() <= low.ceiling()));
}

/// Total harmonic distortion of 100 Hz at 6 dB over the ceiling, for default, slowest and fastest times.
#[test]
fn low_frequencies_have_low_distortion() {
    let mut measured = Vec::new();
    for (look_ahead_ms, release_ms) in [(1.5, 80.0), (5.0, 1_000.0), (0.5, 10.0)] {
        let coefs = design(48_000.0, -6.0, look_ahead_ms, release_ms);
        let output = limit(&coefs, &sine(100.0, 48_000.0, 0.0, 192_000));
        let tail = &output[output.len() - 48_000..];
        let level = |hz: f64| {
            let (mut re, mut im) = (0.0, 0.0);
            for (n, &y) in tail.iter().enumerate() {
                let phase = 2.0 * PI * hz * n as f64 / 48_000.0;
                re += f64::from(y) * libm::cos(phase);
                im += f64::from(y) * libm::sin(phase);
            }
            re * re + im * im
        };
        let harmonics: f64 = (2..20).map(|k| level(100.0 * f64::from(k))).sum();
        measured.push(100.0 * libm::sqrt(harmonics / level(100.0)));
    }
    println!(
        "THD of 100 Hz, 6 dB over the ceiling: default {:.3} %, slowest {:.3} %, fastest {:.3} %",
        measured[0], measured[1], measured[2]
    );
    assert!(measured[0] < 0.05 && measured[1] < 0.05 && measured[2] < 1.5, "{measured:?}");
}

#[test]
fn settings_outside_their_range_are_rejected() {
    let settings = LimiterSettings { look_ahead_ms: 0.4, ..LimiterSettings::default() };
    let error = <Limiter as Stage<1>>::design(&settings, rate(48_000.0)).unwrap_err();
    assert_eq!(error.setting, "limiter.look_ahead_ms");
}

#[test]
fn the_state_is_smaller_than_24_kib() {
    println!("state: {} bytes mono, {} bytes stereo", size_of::<LimiterState<1>>(), size_of::<LimiterState<2>>());
    assert!(size_of::<LimiterState<2>>() < 24 * 1_024);
}

#[test]
fn logarithm_and_exponential_stay_within_their_error_bounds() {
    use super::super::reduction::{DB_PER_STEP, STEPS, gain_of, reduction_for};
    let mut worst = [0.0_f64; 2];
    for k in 1..200_000 {
        let excess = libm::exp2f(k as f32 * 1.5e-4);
        let exact = libm::log2(f64::from(excess));
        worst[0] = worst[0].max((f64::from(reduction_for(excess)) / f64::from(STEPS) - exact).abs());
        let reduction = k * 131;
        let exact = libm::exp2(-f64::from(reduction) / f64::from(STEPS));
        worst[1] = worst[1].max((f64::from(gain_of(reduction)) / exact - 1.0).abs());
    }
    println!("logarithm {:.2e} of a doubling, exponential {:.2e}", worst[0], worst[1]);
    assert!(worst[0] < 2e-5 && worst[1] < 5e-6, "{worst:?}");
    assert_eq!((reduction_for(1.0), reduction_for(0.0), gain_of(0)), (0, 0, 1.0));
    assert!((DB_PER_STEP * f64::from(STEPS) - db(2.0)).abs() < 1e-12);
}
