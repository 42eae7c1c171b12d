//! Measure, propose, undo, copy, paste and carry over in a host, as performed by an editor's buttons.

use crate::bit_exact::{assert_bit_exact, rounded, voice};
use clack_extensions::params::ParamInfoFlags;
use std::sync::PoisonError;
use std::sync::atomic::Ordering;
use voicechain_core::frame::Frame;
use voicechain_core::measure::ProfileMeter;
use voicechain_core::propose::{Context, carry_over, propose};
use voicechain_core::settings::rows;
use voicechain_core::strip::StartingPoint;
use voicechain_core::{SampleRate, Strip, StripCoefs, StripSettings};
use voicechain_host_tests::test_bench::TestBench;
use voicechain_host_tests::{ParameterEvent, clap_value};
use voicechain_plugin::instance::NotMeasured;

const RATES: [f64; 5] = [8_000.0, 44_100.0, 48_000.0, 96_000.0, 192_000.0];

/// Processes a signal in pieces, each measured before the next follows, so that no frame is lost.
fn play<const C: usize>(bench: &mut TestBench, frames: &[[f32; C]], rate_hz: f64) -> Vec<Vec<f32>> {
    let mut out = vec![Vec::new(); C];
    let frames_measured =
        |bench: &TestBench| bench.instance.voice_meter.lock().unwrap_or_else(PoisonError::into_inner).frames();
    let start = frames_measured(bench);
    let mut played = 0;
    for piece in frames.chunks((0.2 * rate_hz) as usize) {
        let mut signal: Vec<Vec<f32>> = (0..C).map(|c| piece.iter().map(|frame| frame[c]).collect()).collect();
        bench.plugin.run(&mut signal, &[], || 480);
        played += piece.len() as u64;
        while bench.instance.is_measuring() && frames_measured(bench) < start + played {
            std::thread::yield_now();
        }
        out.iter_mut().zip(signal).for_each(|(to, from)| to.extend(from));
    }
    out
}

fn profile_matches_library<const C: usize>(rate_hz: f64)
where
    [f32; C]: Frame,
{
    let frames = voice::<C>(rate_hz, 0.6, 5);
    let mut bench = TestBench::new(C);
    assert_eq!(bench.instance.measured(), None);
    assert!(bench.plugin.activate(rate_hz, 512));
    bench.instance.measure().unwrap();
    assert!(bench.instance.is_measuring());
    play(&mut bench, &frames, rate_hz);
    bench.instance.stop_measuring();
    let result = bench.instance.measured().unwrap();
    let mut meter = Box::new(ProfileMeter::<C>::new(SampleRate::new(rate_hz).unwrap()));
    meter.push(&frames);
    // Debug output compares NaN as equal and shows every bit of a number.
    assert_eq!(format!("{:?}", result.profile), format!("{:?}", meter.profile()), "{C} channels at {rate_hz} Hz");
    assert_eq!((result.lost_frames, result.captured_fraction), (0, 1.0));
    // Signal after the end of the measurement is ignored.
    play(&mut bench, &frames, rate_hz);
    assert_eq!(bench.instance.measured().unwrap().profile.duration_s, result.profile.duration_s);
    assert_eq!(*bench.plugin.requests.complaints.lock().unwrap(), Vec::<String>::new());
}

#[test]
fn the_measured_profile_equals_that_of_the_library() {
    for rate_hz in RATES {
        profile_matches_library::<1>(rate_hz);
        profile_matches_library::<2>(rate_hz);
    }
}

#[test]
fn frames_lost_by_a_blocked_meter_are_reported() {
    let rate_hz = 48_000.0;
    let frames = voice::<1>(rate_hz, 3.0, 6);
    let mut bench = TestBench::new(1);
    assert!(bench.plugin.activate(rate_hz, 512));
    bench.instance.measure().unwrap();
    // The locked meter reads nothing from the ring buffer of half a second.
    let voice_meter = bench.instance.voice_meter.clone();
    let held = voice_meter.lock().unwrap();
    let mut signal = vec![frames.iter().map(|frame| frame[0]).collect::<Vec<f32>>()];
    bench.plugin.run(&mut signal, &[], || 512);
    drop(held);
    bench.instance.stop_measuring();
    let result = bench.instance.measured().unwrap();
    assert_eq!(result.lost_frames, 144_000 - 24_000);
    assert!((result.captured_fraction - 1.0 / 6.0).abs() < 1e-12, "{}", result.captured_fraction);
    let host = bench.host();
    let refused = bench.instance.propose(Context::default(), &host).unwrap_err();
    assert_eq!(refused, NotMeasured::TooLittle(result.captured_fraction));
    assert!(refused.to_string().contains("17 %"), "{refused}");
    bench.plugin.deactivate();
    bench.plugin.flush(&[]);
    assert_eq!(bench.plugin.parameter_events, []);
}

/// Complete gestures for all differences, in table order.
fn gestures(bench: &TestBench, from: &StripSettings, to: &StripSettings) -> Vec<ParameterEvent> {
    let mut all = Vec::new();
    for info in rows() {
        let (before, after) = (from.get(info.id).unwrap(), info.rounded(to.get(info.id).unwrap()));
        if before != after {
            let id = bench.plugin.parameter(info).id;
            all.extend([
                ParameterEvent::Begin(id),
                ParameterEvent::Value(id, clap_value(info, after)),
                ParameterEvent::End(id),
            ]);
        }
    }
    all
}

#[test]
fn a_proposal_reaches_the_host_as_gestures_and_the_strip_at_once() {
    let rate_hz = 48_000.0;
    let rate = SampleRate::new(rate_hz).unwrap();
    let frames = voice::<2>(rate_hz, 6.0, 8);
    let mut bench = TestBench::new(2);
    let start = bench.instance.parameters.settings();
    let host = bench.host();
    assert_eq!(bench.instance.propose(Context::default(), &host).unwrap_err(), NotMeasured::Nothing);
    assert!(bench.plugin.activate(rate_hz, 512));
    let mut strip = Strip::<2>::new(&StripCoefs::design(&start, rate).unwrap());
    bench.instance.measure().unwrap();
    let host_out = play(&mut bench, &frames, rate_hz);
    let mut core = frames.clone();
    strip.run(&mut core);
    assert_bit_exact(&host_out, &core, "while measuring");
    bench.instance.stop_measuring();
    assert_eq!(bench.plugin.parameter_events, [], "measuring moves nothing");

    let proposal = bench.instance.propose(Context::default(), &host).unwrap();
    let wanted = proposal.settings.rounded();
    assert_ne!(wanted, start);
    assert!(bench.plugin.requests.flushes.load(Ordering::Relaxed) > 0, "a flush was requested");
    assert_eq!(bench.instance.parameters.settings(), start, "only the host changes parameters");
    // The host receives the gestures with the first block; the strip follows from the second block on. Settings that
    // change the latency wait for a restart by the host.
    let once = &frames[..9_600];
    let host_out = play(&mut bench, once, rate_hz);
    assert_eq!(bench.plugin.parameter_events, gestures(&bench, &start, &wanted));
    assert_eq!(bench.instance.parameters.settings(), wanted);
    let mut core = once.to_vec();
    strip.run(&mut core[..480]);
    let mut at_once = wanted;
    at_once.spectral.latency = start.spectral.latency;
    at_once.limiter.look_ahead_ms = start.limiter.look_ahead_ms;
    strip.set(&StripCoefs::design(&at_once, rate).unwrap());
    strip.run(&mut core[480..]);
    assert_bit_exact(&host_out, &core, "while the proposal is applied");

    // The host may record and play back the gestures; the plugin's own undo reverts them as gestures.
    bench.plugin.parameter_events.clear();
    assert!(bench.instance.commands.undo(&host));
    play(&mut bench, once, rate_hz);
    assert_eq!(bench.plugin.parameter_events, gestures(&bench, &wanted, &start));
    assert_eq!(bench.instance.parameters.settings(), start);
    assert!(!bench.instance.commands.undo(&host));
    // While inactive, the host receives them with a flush.
    bench.plugin.deactivate();
    bench.plugin.parameter_events.clear();
    assert!(bench.instance.commands.redo(&host));
    assert_eq!(bench.instance.parameters.settings(), start);
    bench.plugin.flush(&[]);
    assert_eq!(bench.plugin.parameter_events, gestures(&bench, &start, &wanted));
    assert_eq!(bench.instance.parameters.settings(), wanted);
    assert_eq!(*bench.plugin.requests.complaints.lock().unwrap(), Vec::<String>::new());
}

#[test]
fn applied_settings_arrive_smoothly_and_within_200_ms() {
    let rate_hz = 48_000.0;
    let mut bench = TestBench::new(1);
    let host = bench.host();
    let mut quiet = StripSettings::default();
    quiet.compressor.on = false;
    quiet.de_esser.on = false;
    // Without level compensation the bell has its full effect.
    quiet.tone_eq.level_compensation = false;
    assert!(bench.instance.commands.apply(&quiet, &host));
    bench.plugin.flush(&[]);
    assert!(bench.plugin.activate(rate_hz, 480));
    let mut loud = quiet;
    loud.trim.gain_db = 12.0;
    loud.tone_eq.bell_gain_db = 6.0;
    loud.tone_eq.bell_frequency_hz = 1_000.0;
    let tone = |n: usize| (0.01 * (std::f64::consts::TAU * 1_000.0 / rate_hz * n as f64).sin()) as f32;
    let mut signal = vec![(0..48_000).map(tone).collect::<Vec<f32>>()];
    bench.plugin.run(&mut signal, &[], || 480);
    assert!(bench.instance.commands.apply(&loud, &host));
    let mut after = vec![(48_000..96_000).map(tone).collect::<Vec<f32>>()];
    bench.plugin.run(&mut after, &[], || 480);
    // Levels of single periods, dB: a rise by 18 dB without overshoot and without jumps.
    let levels: Vec<f64> = after[0]
        .chunks(48)
        .map(|period| 10.0 * (period.iter().map(|x| f64::from(*x).powi(2)).sum::<f64>() / 48.0).log10())
        .collect();
    let (first, last) = (levels[0], levels[levels.len() - 1]);
    assert!((last - first - 18.0).abs() < 0.05, "{first} {last}");
    assert!(levels[200..].iter().all(|level| (level - last).abs() < 0.05), "settled within 200 ms");
    assert!(levels.iter().all(|level| (first - 0.1..=last + 0.1).contains(level)));
    assert!(levels.windows(2).all(|pair| (pair[1] - pair[0]).abs() < 6.0), "{levels:?}");
    let smooth = levels.iter().filter(|level| (first + 1.0..last - 1.0).contains(*level)).count();
    assert!(smooth >= 4, "number of periods at intermediate levels: {smooth}");
}

/// Bench with a measured voice and its applied proposal; also returns the proposed settings.
fn proposed(seed: u64, level: f32) -> (TestBench, StripSettings) {
    let mut frames = voice::<1>(48_000.0, 5.0, seed);
    frames.iter_mut().flatten().for_each(|x| *x *= level);
    let mut bench = TestBench::new(1);
    assert!(bench.plugin.activate(48_000.0, 512));
    bench.instance.measure().unwrap();
    play(&mut bench, &frames, 48_000.0);
    bench.instance.stop_measuring();
    let host = bench.host();
    let proposal = bench.instance.propose(Context::default(), &host).unwrap();
    play(&mut bench, &[[0.0]; 480], 48_000.0);
    (bench, proposal.settings.rounded())
}

#[test]
fn changes_carry_over_between_tracks() {
    let (mut a, proposal_a) = proposed(21, 1.0);
    let (mut b, proposal_b) = proposed(22, 0.4);
    assert_ne!(proposal_a, proposal_b, "two voices");
    let (host_a, host_b) = (a.host(), b.host());
    let mut changed = proposal_a;
    changed.tone_eq.bell_gain_db += 2.5;
    changed.high_pass.on = !changed.high_pass.on;
    changed.order.swap(0, 1);
    assert!(a.instance.commands.apply(&changed, &host_a));
    play(&mut a, &[[0.0]; 480], 48_000.0);
    let text = a.instance.commands.copy().unwrap();
    assert!(text.starts_with("format = 1\n") && text.contains("[voice.profile]"));
    // It is also a valid settings file.
    assert_eq!(voicechain_text::read(&text).unwrap(), changed);

    b.plugin.parameter_events.clear();
    b.instance.carry_over(&text, Context::default(), &host_b).unwrap();
    play(&mut b, &[[0.0]; 480], 48_000.0);
    let carried = carry_over(&changed, &proposal_a, &proposal_b).rounded();
    assert_eq!(b.instance.parameters.settings(), carried);
    assert_eq!(b.plugin.parameter_events, gestures(&b, &proposal_b, &carried));
    assert_eq!(carried.tone_eq.bell_gain_db, proposal_b.tone_eq.bell_gain_db + 2.5);
    assert_eq!(carried.high_pass.on, changed.high_pass.on);
    assert_eq!(carried.trim, proposal_b.trim);
    // Pasted settings equal those of the other track.
    b.instance.commands.paste(&text, &host_b).unwrap();
    play(&mut b, &[[0.0]; 480], 48_000.0);
    assert_eq!(b.instance.parameters.settings(), changed);
    // Two undo steps back.
    assert!(b.instance.commands.undo(&host_b) && b.instance.commands.undo(&host_b));
    play(&mut b, &[[0.0]; 480], 48_000.0);
    assert_eq!(b.instance.parameters.settings(), proposal_b);
    // Invalid texts change nothing.
    b.plugin.parameter_events.clear();
    for invalid in [
        String::new(),
        // Cut inside a line: what ends between two lines is a whole text with fewer settings.
        text[..text.rfind("ratio = ").expect("a ratio") + 4].into(),
        text.replace("rate_hz = 48000.0", "rate_hz = -1.0"),
        "[".repeat(100_000),
        text.replace("format = 1", "format = 9"),
    ] {
        let error = b.instance.carry_over(&invalid, Context::default(), &host_b).map_or_else(
            |e| e.to_string(),
            |()| {
                panic!("this was accepted: {invalid}");
            },
        );
        assert!(!error.is_empty() && error.len() < 400, "{error}");
    }
    play(&mut b, &[[0.0]; 480], 48_000.0);
    assert_eq!(b.plugin.parameter_events, []);
    assert_eq!(b.instance.parameters.settings(), proposal_b);
}

#[test]
fn profile_and_proposal_are_in_the_state() {
    let (mut a, proposal_a) = proposed(23, 0.7);
    let saved = a.plugin.save().unwrap();
    let mut later = TestBench::new(1);
    assert!(later.plugin.load(&saved));
    assert_eq!(later.instance.parameters.track_analysis(), a.instance.parameters.track_analysis());
    assert_eq!(later.instance.commands.copy().unwrap(), a.instance.commands.copy().unwrap());
    assert_eq!(later.instance.commands.proposed(), Some(proposal_a));
    assert_eq!(later.plugin.save().unwrap(), saved);
    // Loading a state without them removes them.
    assert!(later.plugin.load(&crate::states::state_of(&proposal_a)));
    assert_eq!(later.instance.commands.proposed(), None);
}

#[test]
fn proposed_settings_are_exactly_representable_as_parameters() {
    let (bench, proposal) = proposed(24, 0.2);
    let profile = bench.instance.parameters.track_analysis().profile.unwrap();
    assert_eq!(propose(&profile, Context::default()).settings.rounded(), proposal);
    assert_eq!(rounded(&proposal), proposal);
}

#[test]
fn starting_points_reach_the_host() {
    let mut bench = TestBench::new(2);
    let host = bench.host();
    for point in StartingPoint::ALL {
        let before = bench.instance.parameters.settings();
        bench.plugin.parameter_events.clear();
        assert!(bench.instance.commands.start_from(point, &host));
        bench.plugin.flush(&[]);
        assert_eq!(bench.plugin.parameter_events, gestures(&bench, &before, &point.settings()));
        assert_eq!(bench.instance.parameters.settings(), point.settings());
    }
    // Bypass is a host parameter of its own and not part of the settings.
    assert!(bench.plugin.parameters()[0].flags.contains(ParamInfoFlags::IS_BYPASS));
}

#[test]
fn the_editor_opens_and_closes_at_any_time() {
    let mut bench = TestBench::new(2);
    for round in 0..50 {
        assert!(bench.editor_is_open());
        assert!(!bench.plugin.open_editor(), "one at a time");
        let host = bench.host();
        assert!(bench.instance.commands.start_from(StartingPoint::ALL[round % StartingPoint::ALL.len()], &host));
        if round % 3 == 0 {
            assert!(bench.plugin.activate(48_000.0, 64));
            play(&mut bench, &[[0.1; 2]; 128], 48_000.0);
        }
        bench.plugin.close_editor();
        assert!(!bench.editor_is_open());
        bench.plugin.close_editor();
        bench.plugin.deactivate();
        bench.plugin.flush(&[]);
        assert_eq!(
            bench.instance.parameters.settings(),
            StartingPoint::ALL[round % StartingPoint::ALL.len()].settings()
        );
        assert!(bench.plugin.open_editor());
    }
    assert_eq!(*bench.plugin.requests.complaints.lock().unwrap(), Vec::<String>::new());
}

/// Number of measuring threads in this process, where the system reports it.
fn measuring_threads() -> Option<usize> {
    let tasks = std::fs::read_dir("/proc/self/task").ok()?;
    let names = tasks.flatten().filter_map(|task| std::fs::read_to_string(task.path().join("comm")).ok());
    Some(names.filter(|name| name.trim_end() == "voice meter").count())
}

#[test]
fn two_hundred_instances_measure_at_once_and_leave_no_thread() {
    let before = measuring_threads();
    let mut all: Vec<TestBench> = (0..200).map(|k| TestBench::new(1 + k % 2)).collect();
    for (k, bench) in all.iter_mut().enumerate() {
        assert!(bench.plugin.activate(RATES[k % 5], 256));
        bench.instance.measure().unwrap();
    }
    if let Some(before) = before {
        // A thread gives itself its name when it first runs, so the last one may not have it yet.
        let named = (0..10_000).find_map(|_| {
            std::thread::yield_now();
            measuring_threads().filter(|&now| now >= 200)
        });
        // Other tests may end at the same time.
        assert!(named.is_some(), "{before} threads became {:?}", measuring_threads());
    }
    for (k, bench) in all.iter_mut().enumerate() {
        let mut signal = vec![vec![0.01; 1_024]; 1 + k % 2];
        bench.plugin.run(&mut signal, &[], || 256);
    }
    // A third each: stopped, deactivated while measuring, dropped while measuring.
    for (k, bench) in all.iter_mut().enumerate() {
        match k % 3 {
            0 => {
                bench.instance.stop_measuring();
                let result = bench.instance.measured().unwrap();
                assert_eq!(bench.instance.voice_meter.lock().unwrap().frames(), 1_024);
                assert_eq!(result.captured_fraction, 1.0);
            }
            1 => bench.plugin.deactivate(),
            _ => {}
        }
    }
    let rings: Vec<_> = all.iter().map(|bench| std::sync::Arc::downgrade(&bench.instance.samples)).collect();
    drop(all);
    // A sample ring ends its thread before it is dropped.
    assert!(rings.iter().all(|ring| ring.upgrade().is_none()), "nothing keeps an instance alive");
}
