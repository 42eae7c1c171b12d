//! The compressor beyond its static curve and its times (those are in `standards::dynamics`).

use crate::rate;
use approx::{abs_diff_eq, assert_abs_diff_eq};
use voicechain_core::frame::Frame;
use voicechain_core::settings::{CompressorSettings, MakeUp};
use voicechain_core::stages::compressor::CompressorCoefs;
use voicechain_core::stages::{Compressor, Processor, Stage, StageCoefs};
use voicechain_tests::signals::{alternating, channel, db, gain, mono, sine, white};
use voicechain_tests::strips::first_difference;

const HZ: f64 = 48_000.0;

fn plain() -> CompressorSettings {
    CompressorSettings {
        threshold_db: -30.0,
        ratio: 2.0,
        knee_db: 0.0,
        attack_ms: 1.0,
        release_ms: 100.0,
        auto_release: false,
        side_chain_high_pass_hz: 20.0,
        ..CompressorSettings::default()
    }
}

fn design(settings: &CompressorSettings) -> CompressorCoefs {
    <Compressor as Stage<1>>::design(settings, rate(HZ)).expect("allowed settings")
}

fn through<const C: usize>(settings: &CompressorSettings, frames: &[[f32; C]]) -> Vec<[f32; C]>
where
    [f32; C]: Frame,
{
    let mut out = frames.to_vec();
    Processor::<Compressor, C>::design(settings, rate(HZ)).expect("allowed settings").run(&mut out);
    out
}

/// Reduction of each sample, dB.
fn reduction<const C: usize>(out: &[[f32; C]], frames: &[[f32; C]], c: usize) -> Vec<f64> {
    out.iter().zip(frames).map(|(y, x)| -db(f64::from(y[c]) / f64::from(x[c]))).collect()
}

/// Two levels, steady, in two channels.
fn pair(left_db: f64, right_db: f64, samples: usize) -> Vec<[f32; 2]> {
    let (left, right) = (alternating(left_db, samples), alternating(right_db, samples));
    left.iter().zip(&right).map(|(&l, &r)| [l as f32, r as f32]).collect()
}

#[test]
fn the_stereo_link_shares_the_louder_level() {
    let frames = pair(-10.0, -24.0, 24_000);
    // R2 over -30 dB: 10 dB for -10 dB, 3 dB for -24 dB; half linked, the quiet one is driven by -17 dB: 6.5 dB.
    for (link, right) in [(0.0, 3.0), (50.0, 6.5), (100.0, 10.0)] {
        let settings = CompressorSettings { stereo_link_percent: link, ..plain() };
        let out = through(&settings, &frames);
        for (c, expected) in [(0, 10.0), (1, right)] {
            let found = reduction(&out, &frames, c)[23_999];
            assert!(abs_diff_eq!(found, expected, epsilon = 0.01), "{link} %, channel {c}: {found} dB, not {expected}");
        }
    }
}

#[test]
fn a_new_link_does_not_jump() {
    // Unlinked, only the loud right channel is turned down; linked, both are driven alike, but neither may jump there.
    let frames = pair(-60.0, -10.0, 48_000);
    let [apart, linked] = [0.0, 100.0].map(|stereo_link_percent| {
        let settings = CompressorSettings { stereo_link_percent, release_ms: 500.0, ..plain() };
        StageCoefs::<Compressor, 2>::design(&settings, true, rate(HZ)).expect("allowed settings")
    });
    let mut compressor = Processor::new(&apart);
    let mut out = frames.clone();
    compressor.run(&mut out[..24_000]);
    compressor.set(&linked);
    compressor.run(&mut out[24_000..]);
    for c in 0..2 {
        let r = reduction(&out, &frames, c);
        let step = r.windows(2).map(|w| (w[1] - w[0]).abs()).fold(0.0, f64::max);
        // The fastest that an attack of 1 ms over 10 dB moves: 10 / 48 dB per sample.
        assert!(step < 0.22, "channel {c} jumps by {step} dB");
        assert!(abs_diff_eq!(r[47_999], 10.0, epsilon = 0.01), "channel {c} ends at {}", r[47_999]);
    }
}

#[test]
fn mix_is_a_sum_of_dry_and_compressed() {
    let frames = mono(&alternating(-10.0, 24_000));
    for percent in [0.0, 25.0, 100.0] {
        let out = through(&CompressorSettings { mix_percent: percent, make_up_db: 4.0, ..plain() }, &frames);
        let expected = 1.0 + 0.01 * percent * (gain(-10.0 + 4.0) - 1.0);
        let found = f64::from(out[23_999][0] / frames[23_999][0]);
        assert!(abs_diff_eq!(db(found), db(expected), epsilon = 0.01), "{percent} %: {found}, not {expected}");
        if percent == 0.0 {
            assert_eq!(first_difference(&out, &frames), None);
        }
    }
}

#[test]
fn an_infinite_ratio_limits() {
    let settings = CompressorSettings { ratio: f64::INFINITY, ..plain() };
    for level in [-30.0, -20.0, -6.0, 0.0, 12.0] {
        let out = through(&settings, &mono(&alternating(level, 24_000)));
        let found = db(f64::from(out[23_999][0]).abs());
        assert!(abs_diff_eq!(found, -30.0, epsilon = 0.01), "{level} dB leaves {found}");
    }
}

#[test]
fn automatic_make_up_follows_the_curve() {
    let by_hand = design(&CompressorSettings { make_up_db: -3.5, ..plain() });
    assert_abs_diff_eq!(by_hand.make_up_db(), -3.5, epsilon = 1e-6);
    let mut before = 0.0;
    for ratio in [1.0, 1.5, 2.0, 4.0, 10.0, f64::INFINITY] {
        let automatic = design(&CompressorSettings { ratio, make_up: MakeUp::Automatic, make_up_db: 20.0, ..plain() });
        let make_up = automatic.make_up_db();
        // Half of what the curve takes at -7 dB, as documented (common practice, no source).
        let expected = 0.5 * -automatic.gain_db(-7.0);
        assert!(abs_diff_eq!(make_up, expected, epsilon = 1e-5), "{ratio}: {make_up}, not {expected}");
        assert!(make_up >= before, "more ratio, less make-up");
        before = make_up;
    }
    let off = design(&CompressorSettings { ratio: 1.0, make_up: MakeUp::Automatic, ..plain() });
    assert_eq!(off.make_up_db(), 0.0);
}

#[test]
fn what_lies_below_the_side_chain_high_pass_does_not_drive() {
    // 30 Hz under a second-order Butterworth high-pass at 400 Hz: 45 dB down (closed form 1/(1 + (f0/f)^4)).
    let frames = mono(&sine(30.0, 0.0, HZ, 96_000));
    let deaf = CompressorSettings { side_chain_high_pass_hz: 400.0, ..plain() };
    let out = through(&deaf, &frames);
    assert_eq!(first_difference(&out[48_000..], &frames[48_000..]), None);
    let out = through(&plain(), &frames);
    let taken = db(channel(&frames, 0)[48_000..].iter().fold(0.0, |m: f64, x| m.max(x.abs())))
        - db(channel(&out, 0)[48_000..].iter().fold(0.0, |m: f64, x| m.max(x.abs())));
    assert!(taken > 10.0, "30 Hz with the detector at 20 Hz: {taken} dB");
}

#[test]
fn auto_release_shortens_after_transients_only() {
    // Time from the end of a level until the reduction is within 4 dB of rest, samples.
    let release = |settings: &CompressorSettings, before: &[f64]| {
        let quiet = alternating(-40.0, 96_000);
        let frames = mono(&[before, &quiet[..]].concat());
        let r = reduction(&through(settings, &frames), &frames, 0);
        let peak = r[before.len() - 1];
        let fallen = r[before.len()..].iter().position(|&now| now <= 0.37 * peak).expect("a release");
        fallen as f64 / HZ * 1e3
    };
    let set = plain();
    let free = CompressorSettings { auto_release: true, ..plain() };
    let steady = alternating(-10.0, 48_000);
    // 4 ms of full level after half a second of very little: a transient.
    let mut transient = alternating(-60.0, 24_000);
    transient.extend(alternating(-4.0, 192));
    let (steady_set, steady_free) = (release(&set, &steady), release(&free, &steady));
    let (transient_set, transient_free) = (release(&set, &transient), release(&free, &transient));
    assert_abs_diff_eq!(steady_set, steady_free, epsilon = 0.5);
    assert_abs_diff_eq!(steady_set, 100.0, epsilon = 4.0);
    assert!(transient_free < 0.4 * transient_set, "transient: {transient_set} ms set, {transient_free} ms free");
    // A quarter of the set release is the shortest; the attack of 1 ms adds to it (decoupled).
    assert!(transient_free > 24.0, "{transient_free}");
    // Never longer than set, whatever plays.
    for seed in 0..6 {
        let frames = mono(
            &white(0.0, 48_000, seed)
                .iter()
                .enumerate()
                .map(|(n, x)| x * if (n / 3_000) % 3 == 0 { 1.0 } else { 0.01 })
                .collect::<Vec<_>>(),
        );
        let (a, b) = (through(&set, &frames), through(&free, &frames));
        let (a, b) = (reduction(&a, &frames, 0), reduction(&b, &frames, 0));
        let worst = a.iter().zip(&b).map(|(a, b)| b - a).filter(|d| d.is_finite()).fold(f64::MIN, f64::max);
        assert!(worst < 1e-3, "free holds {worst} dB longer");
    }
}
