//! Any input gives a valid output and is forgotten within one second.

use crate::events::{events_until, play, random_events, readings};
use crate::rate;
use voicechain_core::settings::{SpectralLatency, StageId};
use voicechain_core::strip::{METERED_STAGES, SanitisedSamples, StartingPoint};
use voicechain_core::{SampleRate, Strip, StripSettings};
use voicechain_examples::timing::block_processor;
use voicechain_tests::channels::ChannelPattern;
use voicechain_tests::signals::{alternating, buzz, gain, phrases, unequal, white};
use voicechain_tests::spectra::Noise;
use voicechain_tests::strips::{all_off, coefs, first_invalid, random_settings, run, strip};

/// Invalid and extreme inputs.
fn hostile_inputs(samples: usize) -> Vec<(&'static str, Vec<f64>)> {
    let every = |f: &dyn Fn(usize) -> f64| -> Vec<f64> { (0..samples).map(f).collect() };
    vec![
        ("NaN", every(&|_| f64::NAN)),
        ("infinity", every(&|n| if n % 3 == 0 { f64::INFINITY } else { 0.1 })),
        ("minus infinity and NaN", every(&|n| if n % 2 == 0 { f64::NEG_INFINITY } else { f64::NAN })),
        ("NaN and 60 dB above full scale", every(&|n| if n % 3 == 0 { f64::NAN } else { 1_000.0 })),
        ("subnormal", every(&|n| f64::from(f32::from_bits(1 + n as u32 % 1_000)))),
        ("full-scale square", every(&|n| if (n / 50) % 2 == 0 { 1.0 } else { -1.0 })),
        ("full-scale DC", every(&|_| 1.0)),
        ("30 dB above full scale", alternating(30.0, samples)),
        ("the largest finite number", every(&|n| f64::from(if n % 2 == 0 { f32::MAX } else { f32::MIN }))),
        ("60 dB above full scale", alternating(60.0, samples)),
        ("silence", every(&|_| 0.0)),
        ("loud noise", white(6.0, samples, 8)),
    ]
}

fn check_output(out: &[[f32; 2]], what: &str) {
    if let Some(n) = first_invalid(out) {
        panic!("{what}: {:?} at sample {n}", out[n]);
    }
}

/// Largest difference from a new strip one second after the input, dB relative to the peak.
fn memory(
    settings: &StripSettings,
    rate: SampleRate,
    hostile_input: &[[f32; 2]],
    after: &[[f32; 2]],
    what: &str,
) -> f64 {
    let (mut used, mut fresh): (Box<Strip<2>>, Box<Strip<2>>) = (strip(settings, rate), strip(settings, rate));
    check_output(&run(&mut used, hostile_input), what);
    let (used, fresh) = (run(&mut used, after), run(&mut fresh, after));
    check_output(&used, what);
    let (mut difference, mut peak) = (0.0f64, 0.0f64);
    let second = rate.hz() as usize;
    for (a, b) in used[second..].iter().flatten().zip(fresh[second..].iter().flatten()) {
        difference = difference.max(f64::from(a - b).abs());
        peak = peak.max(f64::from(*b).abs());
    }
    20.0 * (difference / peak.max(1e-9)).log10()
}

/// The channels of the hostile input and of the sound after it are drawn: one side alone, opposite polarity, drop-outs.
#[test]
fn strip_recovers_from_any_input_within_one_second() {
    let mut settings: Vec<(&str, StripSettings)> =
        StartingPoint::ALL.iter().map(|point| (point.name(), point.settings())).collect();
    settings.push(("default", StripSettings::default()));
    let sounding: Vec<ChannelPattern> =
        ChannelPattern::ALL.into_iter().filter(|pattern| *pattern != ChannelPattern::Silent).collect();
    let mut random = Noise::new(12);
    let mut failures = Vec::new();
    // A whole number of periods of every clock in the strip, so that the new strip ticks at the same samples.
    for (hz, samples) in [(8_000.0, 10_400), (48_000.0, 9_600)] {
        let voice = phrases(-22.0, hz, 2.5, 4);
        let quiet = white(-60.0, (2.0 * hz) as usize, 6);
        let hostile_inputs = hostile_inputs(samples);
        for (name, settings) in &settings {
            for (kind, hostile_input) in &hostile_inputs {
                for (after, signal) in [("a voice", &voice), ("quiet noise", &quiet)] {
                    let [before_pattern, after_pattern] =
                        [(); 2].map(|()| ChannelPattern::one_of(&sounding, &mut random));
                    let what = format!("{name}, {kind} {before_pattern:?}, then {after} {after_pattern:?}, {hz} Hz");
                    let (before, after) = (before_pattern.frames(hostile_input), after_pattern.frames(signal));
                    let found = memory(settings, rate(hz), &before, &after, &what);
                    if found > -120.0 {
                        failures.push(format!("{what}: {found:.1} dB"));
                    }
                }
            }
        }
    }
    assert!(failures.is_empty(), "{failures:#?}");
}

/// Whatever the channels do while every setting, switch, order, latency and monitor mode changes: the output is finite,
/// normal or zero, and so is every meter reading. At 8 kHz the recording is long enough for hum to be found and lost.
#[test]
fn no_stage_gives_invalid_output_whatever_the_channels_do() {
    let mut random = Noise::new(77);
    let recordings = [8_000.0, 11_025.0, 22_050.0, 44_100.0, 48_000.0, 96_000.0, 192_000.0].map(|hz| {
        let seconds = if hz < 10_000.0 { 4.0 } else { 1.2 };
        let voice = phrases(-20.0, hz, seconds, 5);
        let hum = buzz(50.0 + random.between(-0.4, 0.4), -20.0, hz, voice.len());
        (hz, voice, hum)
    });
    let mut failures = Vec::new();
    for _ in 0..6 {
        for pattern in ChannelPattern::ALL {
            let other = random.between(1.0, recordings.len() as f64 - 1e-9) as usize;
            for (hz, voice, hum) in [&recordings[0], &recordings[other]] {
                let (hz, samples, hum_gain) = (*hz, voice.len(), gain(random.between(-40.0, 0.0)));
                let mut signal: Vec<f64> = voice.iter().zip(hum).map(|(v, h)| v + hum_gain * h).collect();
                for _ in 0..3 {
                    let at = random.between(0.0, samples as f64 - 500.0) as usize;
                    signal[at..at + 400].iter_mut().for_each(|x| *x *= gain(40.0));
                    signal[at] = f64::NAN;
                }
                let count = random.between(8.0, 60.0) as usize;
                let events = random_events(samples, count, &mut random);
                let (out, strip) = play(rate(hz), &pattern.frames(&signal), &events, 700, &mut random);
                if let Some(n) = first_invalid(&out) {
                    failures.push(format!("{pattern:?}, {hz} Hz: {:?} at {n}, {}", out[n], events_until(&events, n)));
                }
                let invalid = readings(&strip).iter().filter(|x| x.is_nan()).count();
                if invalid > 0 {
                    failures.push(format!("{pattern:?}, {hz} Hz: {invalid} readings, {events:?}"));
                }
            }
        }
    }
    assert!(failures.is_empty(), "{} failures, the first: {}", failures.len(), failures[0]);
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
    let mut random = Noise::new(13);
    for (kind, signal) in hostile_inputs(3_000) {
        let pattern = ChannelPattern::one_of(&ChannelPattern::ALL, &mut random);
        let frames = pattern.frames(&signal);
        let count = |of: fn(&f32) -> bool| frames.iter().flatten().filter(|x| of(x)).count() as u64;
        // +36 dBFS is a magnitude of 64.
        let (non_finite, clamped) = (count(|x| !x.is_finite()), count(|x| x.is_finite() && x.abs() > 64.0));
        let mut strip: Box<Strip<2>> = strip(&StripSettings::default(), rate(44_100.0));
        let out = run(&mut strip, &frames);
        check_output(&out, kind);
        assert_eq!(strip.sanitised_samples(), SanitisedSamples { non_finite, clamped }, "{kind} {pattern:?}");
        strip.reset();
        assert_eq!(strip.sanitised_samples(), SanitisedSamples::default());
    }
    // Both channels count.
    let mut strip: Box<Strip<2>> = strip(&StripSettings::default(), rate(44_100.0));
    run(&mut strip, &ChannelPattern::Equal.frames(&[f64::NAN, 0.5, f64::INFINITY]));
    assert_eq!(strip.sanitised_samples(), SanitisedSamples { non_finite: 4, clamped: 0 });
}

#[test]
fn output_is_never_subnormal() {
    let mut random = Noise::new(40);
    for hz in [8_000.0, 48_000.0, 192_000.0] {
        for _ in 0..6 {
            let settings = random_settings(&mut random);
            let mut strip: Box<Strip<2>> = strip(&settings, rate(hz));
            for (kind, signal) in hostile_inputs(1_000) {
                let pattern = ChannelPattern::one_of(&ChannelPattern::ALL, &mut random);
                check_output(&run(&mut strip, &pattern.frames(&signal)), kind);
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
                // A tenth of a second, so that the clocks of both stages agree.
                used.run(&mut vec![[0.1, 0.0]; (0.1 * hz) as usize - 1]);
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
        for pattern in [ChannelPattern::OnlyLeft, ChannelPattern::OnlyRight, ChannelPattern::Silent] {
            let frames = pattern.frames(&voice);
            for round in 0..2 {
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
