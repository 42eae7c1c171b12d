//! The compressor beyond its static curve and its time constants (those are in `standards::dynamics`).

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

fn process<const C: usize>(settings: &CompressorSettings, frames: &[[f32; C]]) -> Vec<[f32; C]>
where
    [f32; C]: Frame,
{
    let mut out = frames.to_vec();
    Processor::<Compressor, C>::design(settings, rate(HZ)).expect("allowed settings").run(&mut out);
    out
}

/// Gain reduction of each sample, dB.
fn reduction<const C: usize>(out: &[[f32; C]], frames: &[[f32; C]], c: usize) -> Vec<f64> {
    out.iter().zip(frames).map(|(y, x)| -db(f64::from(y[c]) / f64::from(x[c]))).collect()
}

/// Two channels with steady levels.
fn pair(left_db: f64, right_db: f64, samples: usize) -> Vec<[f32; 2]> {
    let (left, right) = (alternating(left_db, samples), alternating(right_db, samples));
    left.iter().zip(&right).map(|(&l, &r)| [l as f32, r as f32]).collect()
}

#[test]
fn stereo_link_drives_both_channels_by_the_louder_one() {
    let frames = pair(-10.0, -24.0, 24_000);
    // Ratio 2:1 above -30 dB: 10 dB at -10 dB, 3 dB at -24 dB. Half linked, -17 dB drives the quieter channel: 6.5 dB.
    for (link, right) in [(0.0, 3.0), (50.0, 6.5), (100.0, 10.0)] {
        let settings = CompressorSettings { stereo_link_percent: link, ..plain() };
        let out = process(&settings, &frames);
        for (c, expected) in [(0, 10.0), (1, right)] {
            let found = reduction(&out, &frames, c)[23_999];
            assert!(abs_diff_eq!(found, expected, epsilon = 0.01), "{link} %, channel {c}: {found} dB, not {expected}");
        }
    }
}

#[test]
fn changing_the_stereo_link_does_not_jump() {
    // Unlinked, the loud right channel alone is reduced. Linked, both are reduced alike; the change must not jump.
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
        // The fastest change of a 1 ms attack over 10 dB: 10 / 48 dB per sample.
        assert!(step < 0.22, "channel {c} jumps by {step} dB");
        assert!(abs_diff_eq!(r[47_999], 10.0, epsilon = 0.01), "channel {c} ends at {}", r[47_999]);
    }
}

#[test]
fn mix_sums_dry_and_compressed_signal() {
    let frames = mono(&alternating(-10.0, 24_000));
    for percent in [0.0, 25.0, 100.0] {
        let out = process(&CompressorSettings { mix_percent: percent, make_up_db: 4.0, ..plain() }, &frames);
        let expected = 1.0 + 0.01 * percent * (gain(-10.0 + 4.0) - 1.0);
        let found = f64::from(out[23_999][0] / frames[23_999][0]);
        assert!(abs_diff_eq!(db(found), db(expected), epsilon = 0.01), "{percent} %: {found}, not {expected}");
        if percent == 0.0 {
            assert_eq!(first_difference(&out, &frames), None);
        }
    }
}

/// The meter reads how much compression lowers the output, whatever the mix and the make-up. Unequal channels.
#[test]
fn gain_reduction_meter_reads_the_mixed_signal() {
    let frames = pair(-10.0, -24.0, 24_000);
    for mix_percent in [0.0, 1.0, 25.0, 50.0, 99.0, 100.0] {
        for make_up_db in [-6.0, 0.0, 6.0] {
            let settings = CompressorSettings { mix_percent, make_up_db, ..plain() };
            let run = |settings: &CompressorSettings| {
                let mut compressor = Processor::<Compressor, 2>::design(settings, rate(HZ)).expect("allowed settings");
                let mut out = frames.clone();
                compressor.run(&mut out);
                (f64::from(out[23_999][0]), compressor.take_reduction_db())
            };
            let (compressed, metered) = run(&settings);
            let (uncompressed, none) = run(&CompressorSettings { ratio: 1.0, ..settings });
            let expected = db(uncompressed / compressed);
            assert!(
                abs_diff_eq!(metered, expected, epsilon = 0.01),
                "{mix_percent} %, {make_up_db} dB: {metered} dB, not {expected} dB"
            );
            assert_eq!(none, 0.0);
        }
    }
    // Negative control: fully mixed, the meter reads the 10 dB of the static curve.
    assert!(design(&plain()).mixed_reduction_db(10.0) == 10.0);
}

#[test]
fn infinite_ratio_holds_the_output_at_the_threshold() {
    let settings = CompressorSettings { ratio: f64::INFINITY, ..plain() };
    for level in [-30.0, -20.0, -6.0, 0.0, 12.0] {
        let out = process(&settings, &mono(&alternating(level, 24_000)));
        let found = db(f64::from(out[23_999][0]).abs());
        assert!(abs_diff_eq!(found, -30.0, epsilon = 0.01), "{level} dB in, {found} dB out");
    }
}

#[test]
fn automatic_make_up_is_half_the_gain_reduction_at_minus_7_db() {
    let manual = design(&CompressorSettings { make_up_db: -3.5, ..plain() });
    assert_abs_diff_eq!(manual.make_up_db(), -3.5, epsilon = 1e-6);
    let mut before = 0.0;
    for ratio in [1.0, 1.5, 2.0, 4.0, 10.0, f64::INFINITY] {
        let automatic = design(&CompressorSettings { ratio, make_up: MakeUp::Automatic, make_up_db: 20.0, ..plain() });
        let make_up = automatic.make_up_db();
        // Half of the curve's gain reduction at -7 dB, as documented (common practice, no source).
        let expected = 0.5 * -automatic.gain_db(-7.0);
        assert!(abs_diff_eq!(make_up, expected, epsilon = 1e-5), "{ratio}: {make_up}, not {expected}");
        assert!(make_up >= before, "more ratio, less make-up");
        before = make_up;
    }
    let off = design(&CompressorSettings { ratio: 1.0, make_up: MakeUp::Automatic, ..plain() });
    assert_eq!(off.make_up_db(), 0.0);
}

#[test]
fn signal_below_the_side_chain_high_pass_causes_no_gain_reduction() {
    // A second-order Butterworth high-pass at 400 Hz attenuates 30 Hz by 45 dB (closed form 1/(1 + (f0/f)^4)).
    let frames = mono(&sine(30.0, 0.0, HZ, 96_000));
    let filtered = CompressorSettings { side_chain_high_pass_hz: 400.0, ..plain() };
    let out = process(&filtered, &frames);
    assert_eq!(first_difference(&out[48_000..], &frames[48_000..]), None);
    let out = process(&plain(), &frames);
    let reduction = db(channel(&frames, 0)[48_000..].iter().fold(0.0, |m: f64, x| m.max(x.abs())))
        - db(channel(&out, 0)[48_000..].iter().fold(0.0, |m: f64, x| m.max(x.abs())));
    assert!(reduction > 10.0, "30 Hz with the side chain at 20 Hz: {reduction} dB");
}

#[test]
fn auto_release_shortens_after_transients_only() {
    // Time from the end of a level until the gain reduction has fallen to 37 %, ms.
    let release = |settings: &CompressorSettings, before: &[f64]| {
        let quiet = alternating(-40.0, 96_000);
        let frames = mono(&[before, &quiet[..]].concat());
        let r = reduction(&process(settings, &frames), &frames, 0);
        let peak = r[before.len() - 1];
        let fallen = r[before.len()..].iter().position(|&now| now <= 0.37 * peak).expect("a release");
        fallen as f64 / HZ * 1e3
    };
    let fixed = plain();
    let auto = CompressorSettings { auto_release: true, ..plain() };
    let steady = alternating(-10.0, 48_000);
    // A transient: 4 ms at -4 dBFS after half a second at -60 dBFS.
    let mut transient = alternating(-60.0, 24_000);
    transient.extend(alternating(-4.0, 192));
    let (steady_fixed, steady_auto) = (release(&fixed, &steady), release(&auto, &steady));
    let (transient_fixed, transient_auto) = (release(&fixed, &transient), release(&auto, &transient));
    assert_abs_diff_eq!(steady_fixed, steady_auto, epsilon = 0.5);
    assert_abs_diff_eq!(steady_fixed, 100.0, epsilon = 4.0);
    assert!(transient_auto < 0.4 * transient_fixed, "transient: {transient_fixed} ms fixed, {transient_auto} ms auto");
    // The shortest auto release is a quarter of the set one; the 1 ms attack adds to it (decoupled detector).
    assert!(transient_auto > 24.0, "{transient_auto}");
    // Auto release is never longer than the set release.
    for seed in 0..6 {
        let frames = mono(
            &white(0.0, 48_000, seed)
                .iter()
                .enumerate()
                .map(|(n, x)| x * if (n / 3_000) % 3 == 0 { 1.0 } else { 0.01 })
                .collect::<Vec<_>>(),
        );
        let (a, b) = (process(&fixed, &frames), process(&auto, &frames));
        let (a, b) = (reduction(&a, &frames, 0), reduction(&b, &frames, 0));
        let worst = a.iter().zip(&b).map(|(a, b)| b - a).filter(|d| d.is_finite()).fold(f64::MIN, f64::max);
        assert!(worst < 1e-3, "auto release holds {worst} dB more gain reduction");
    }
}
