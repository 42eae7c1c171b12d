//! Any input gives a valid output and is forgotten within one second.

use crate::rate;
use voicechain_core::settings::{SpectralLatency, StageId};
use voicechain_core::strip::{METERED_STAGES, SanitisedSamples, StartingPoint};
use voicechain_core::{Strip, StripSettings};
use voicechain_examples::timing::block_processor;
use voicechain_tests::signals::{alternating, gain, phrases, unequal, white};
use voicechain_tests::spectra::Noise;
use voicechain_tests::strips::{all_off, coefs, random_settings, run, strip};

/// Invalid and extreme inputs, with the numbers of samples that the strip must replace by silence and clamp.
fn hostile_inputs(samples: usize) -> Vec<(&'static str, Vec<[f32; 2]>, [u64; 2])> {
    let every = |f: &dyn Fn(usize) -> f32| -> Vec<[f32; 2]> { (0..samples).map(|n| [f(n), -f(n)]).collect() };
    let all = 2 * samples as u64;
    let third = 2 * samples.div_ceil(3) as u64;
    vec![
        ("NaN", every(&|_| f32::NAN), [all, 0]),
        ("infinity", every(&|n| if n % 3 == 0 { f32::INFINITY } else { 0.1 }), [third, 0]),
        ("minus infinity and NaN", every(&|n| if n % 2 == 0 { f32::NEG_INFINITY } else { f32::NAN }), [all, 0]),
        (
            "NaN and 60 dB above full scale",
            every(&|n| if n % 3 == 0 { f32::NAN } else { 1_000.0 }),
            [third, all - third],
        ),
        ("subnormal", every(&|n| f32::from_bits(1 + n as u32 % 1_000)), [0, 0]),
        ("full-scale square", every(&|n| if (n / 50) % 2 == 0 { 1.0 } else { -1.0 }), [0, 0]),
        ("full-scale DC", every(&|_| 1.0), [0, 0]),
        ("30 dB above full scale", unequal(&alternating(30.0, samples)), [0, 0]),
        ("the largest finite number", every(&|n| if n % 2 == 0 { f32::MAX } else { f32::MIN }), [0, all]),
        ("60 dB above full scale", every(&|n| if n % 2 == 0 { 1_000.0 } else { -1_000.0 }), [0, all]),
        ("silence", every(&|_| 0.0), [0, 0]),
        ("loud noise", unequal(&white(6.0, samples, 8)), [0, 0]),
    ]
}

fn check_output(out: &[[f32; 2]], what: &str) {
    for (n, x) in out.iter().flatten().enumerate() {
        assert!(x.is_finite() && (*x == 0.0 || x.is_normal()), "{what}: {x} at sample {n}");
    }
}

/// Largest difference from a new strip one second after the input, dB relative to the peak.
fn memory(settings: &StripSettings, hostile_input: &[[f32; 2]], after: &[[f32; 2]], what: &str) -> f64 {
    let rate = rate(48_000.0);
    let (mut used, mut fresh): (Box<Strip<2>>, Box<Strip<2>>) = (strip(settings, rate), strip(settings, rate));
    check_output(&run(&mut used, hostile_input), what);
    let (used, fresh) = (run(&mut used, after), run(&mut fresh, after));
    check_output(&used, what);
    let (mut difference, mut peak) = (0.0f64, 0.0f64);
    for (a, b) in used[48_000..].iter().flatten().zip(fresh[48_000..].iter().flatten()) {
        difference = difference.max(f64::from(a - b).abs());
        peak = peak.max(f64::from(*b).abs());
    }
    20.0 * (difference / peak.max(1e-9)).log10()
}

#[test]
fn strip_recovers_from_any_input_within_one_second() {
    let mut settings: Vec<(&str, StripSettings)> =
        StartingPoint::ALL.iter().map(|point| (point.name(), point.settings())).collect();
    settings.push(("default", StripSettings::default()));
    let voice = unequal(&phrases(-22.0, 48_000.0, 2.5, 4));
    let quiet = unequal(&white(-60.0, 96_000, 6));
    // A whole number of periods of every clock in the strip, so that the new strip ticks at the same samples.
    let hostile_input = hostile_inputs(9_600);
    let mut failures = Vec::new();
    for (name, settings) in &settings {
        for (kind, hostile_input, _) in &hostile_input {
            for (after, frames) in [("a voice", &voice), ("quiet noise", &quiet)] {
                let what = format!("{name}, {kind}, then {after}");
                let found = memory(settings, hostile_input, frames, &what);
                if found > -120.0 {
                    failures.push(format!("{what}: {found:.1} dB"));
                }
            }
        }
    }
    assert!(failures.is_empty(), "{failures:#?}");
}

#[test]
fn a_long_release_decays_with_its_time_constant_and_ends_at_zero() {
    // 40 dB of gain reduction decay with the set release: after 15 time constants less than 1.3e-5 dB remain, and below
    // a thousandth of a decibel the gain reduction becomes zero.
    let mut settings = all_off();
    settings.compressor.on = true;
    settings.compressor.auto_release = false;
    settings.compressor.release_ms = 300.0;
    settings.compressor.threshold_db = -40.0;
    settings.compressor.ratio = f64::INFINITY;
    let rate = rate(16_000.0);
    let mut used: Box<Strip<1>> = strip(&settings, rate);
    run(&mut used, &vec![[1.0f32]; 8_000]);
    let quiet: Vec<[f32; 1]> = (0..16_000 * 4).map(|n| [(gain(-70.0) * f64::from(n % 7 - 3)) as f32]).collect();
    let out = run(&mut used, &quiet);
    let latency = used.latency() as usize;
    // The side-chain high-pass follows the level step within a few periods; the theory holds from one second on.
    let mut last = f64::MAX;
    for second in [1.0f64, 1.5, 2.0, 3.0] {
        let n = (second * 16_000.0) as usize + 3;
        let n = n + (0..7).find(|k| quiet[n + k][0] != 0.0).expect("a sample");
        let reduction = -20.0 * f64::from(out[n + latency][0] / quiet[n][0]).log10();
        assert!(reduction <= 45.0 * (-second / 0.3).exp() + 1e-3, "{second} s: {reduction} dB");
        assert!(reduction <= last);
        last = reduction;
    }
    let idle = 16_000 * 4 - 8_000;
    assert_eq!(out[idle + latency..], quiet[idle..idle + out.len() - idle - latency]);
}

#[test]
fn sanitised_samples_are_counted_by_kind() {
    for (kind, frames, [non_finite, clamped]) in hostile_inputs(3_000) {
        let mut strip: Box<Strip<2>> = strip(&StripSettings::default(), rate(44_100.0));
        let out = run(&mut strip, &frames);
        check_output(&out, kind);
        assert_eq!(strip.sanitised_samples(), SanitisedSamples { non_finite, clamped }, "{kind}");
        strip.reset();
        assert_eq!(strip.sanitised_samples(), SanitisedSamples::default());
    }
}

#[test]
fn output_is_never_subnormal() {
    let mut random = Noise::new(40);
    for hz in [8_000.0, 48_000.0, 192_000.0] {
        for _ in 0..6 {
            let settings = random_settings(&mut random);
            let mut strip: Box<Strip<2>> = strip(&settings, rate(hz));
            for (kind, frames, _) in hostile_inputs(1_000) {
                check_output(&run(&mut strip, &frames), kind);
            }
            check_output(&run(&mut strip, &vec![[0.0; 2]; 20_000]), "silence");
            check_output(&run(&mut strip, &vec![[1e-36; 2]; 2_000]), "1e-36");
        }
    }
}

/// Another sample rate restarts every stage and meter in place: nothing of the former rate is left.
#[test]
fn a_strip_at_another_rate_equals_a_new_one() {
    let mut random = Noise::new(91);
    for (from, to) in [(48_000.0, 44_100.0), (192_000.0, 8_000.0), (11_025.0, 96_000.0)] {
        let mut settings = random_settings(&mut random);
        (settings.hum.on, settings.de_reverb.on) = (true, true);
        settings.spectral.latency = SpectralLatency::Low;
        let mut used: Box<Strip<2>> = strip(&settings, rate(from));
        run(&mut used, &unequal(&phrases(-14.0, from, 1.5, 3)));
        // Changes of order, settings and latency are in progress when the rate changes.
        let mut other = random_settings(&mut random);
        other.limiter.look_ahead_ms = 5.0;
        used.set(&coefs(&other, rate(from)));
        run(&mut used, &[[0.2, -0.1]; 37]);
        used.set(&coefs(&settings, rate(to)));
        let mut new: Box<Strip<2>> = strip(&settings, rate(to));
        assert_eq!((used.latency(), used.tail(), used.rate()), (new.latency(), new.tail(), new.rate()));
        let input = unequal(&phrases(-20.0, to, 2.0, 4));
        assert!(run(&mut used, &input) == run(&mut new, &input), "{from} to {to} Hz");
        let readings = |strip: &Strip<2>| {
            let reductions = METERED_STAGES.map(|stage| strip.reduction(stage).map(|meter| meter.now_db()));
            format!(
                "{:?} {:?} {:?} {:?} {:?} {:?}",
                strip.ledger(),
                strip.input_loudness().integrated(),
                strip.output_loudness().range(),
                [strip.input_true_peak().hold_dbtp(), strip.output_true_peak().hold_dbtp()],
                (strip.mains_hz(), strip.leveller_gain_db(), strip.loudness_match_db()),
                reductions,
            )
        };
        assert_eq!(readings(&used), readings(&new), "{from} to {to} Hz");
    }
}

/// A stage alone keeps the promise of the strip: one not-a-number, one infinity or one huge sample in one channel, and a
/// second later its output is that of a new stage. Hum, de-reverb, expander and leveller take the time that their
/// documentation states, so only finite output is required of them.
#[test]
fn a_stage_alone_survives_any_input() {
    let settings = block_processor::all_stages_active();
    for hz in [16_000.0, 48_000.0] {
        let voice = unequal(&phrases(-20.0, hz, 2.0, 5));
        for &stage in StageId::ALL {
            for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, f32::MAX, -1e20] {
                let mut used = block_processor::stage::<2>(stage, &settings, rate(hz)).expect("a stage");
                let mut new = block_processor::stage::<2>(stage, &settings, rate(hz)).expect("a stage");
                used.run(&mut [[0.1, 0.0]; 100]);
                used.run(&mut [[bad, 0.0]]);
                let (mut out, mut expected) = (voice.clone(), voice.clone());
                used.run(&mut out);
                new.run(&mut expected);
                check_output(&out, &format!("{stage:?} after {bad}"));
                let learns = [StageId::Hum, StageId::DeReverb, StageId::Expander, StageId::Leveller].contains(&stage);
                if learns {
                    continue;
                }
                let peak = expected.iter().flatten().fold(0.0_f32, |peak, x| peak.max(x.abs()));
                for (n, (a, b)) in out.iter().zip(&expected).enumerate().skip(hz as usize) {
                    for (a, b) in a.iter().zip(b) {
                        assert!((a - b).abs() <= 1e-6 * peak, "{stage:?} after {bad}, {hz} Hz, frame {n}: {a} and {b}");
                    }
                }
            }
        }
    }
}

/// With hum on, `hum.harmonics` rises while a channel is silent: the output stays finite, in one step (10 to 12 at 1 s)
/// and after any other rise.
#[test]
fn hum_stays_finite_when_harmonics_rise_with_a_silent_channel() {
    let mut random = Noise::new(31);
    for hz in [8_000.0, 44_100.0, 48_000.0, 96_000.0, 192_000.0] {
        let voice = phrases(-22.0, hz, 1.6, 4);
        let silent: [fn(f32) -> [f32; 2]; 3] = [|x| [x, 0.0], |x| [0.0, x], |_| [0.0; 2]];
        for one_sided in silent {
            let frames: Vec<[f32; 2]> = voice.iter().map(|&x| one_sided(x as f32)).collect();
            for round in 0..4 {
                let (from, to, at_s) = match round {
                    0 => (10.0, 12.0, 1.0),
                    _ => (random.between(1.0, 19.0).floor(), 20.0, random.between(0.3, 1.3)),
                };
                let mut settings = StripSettings::default();
                settings.hum.on = true;
                settings.hum.harmonics = from;
                let mut strip: Box<Strip<2>> = strip(&settings, rate(hz));
                let (before, after) = frames.split_at((at_s * hz) as usize);
                run(&mut strip, before);
                settings.hum.harmonics = to;
                strip.set(&coefs(&settings, rate(hz)));
                check_output(&run(&mut strip, after), &format!("harmonics {from} to {to} at {at_s:.2} s, {hz} Hz"));
            }
        }
    }
}
