//! The latency is exact. The stated tail is never shorter than the true tail and at most twice as long.

use crate::rate;
use voicechain_core::settings::Slope;
use voicechain_core::stages::{
    CorrectiveEq, HighPass, Limiter, OutputTrim, Processor, Stage, StageCoefs, ToneEq, Trim,
};
use voicechain_core::strip::{MonitorMode, Monitoring, StartingPoint};
use voicechain_core::{Strip, StripSettings};
use voicechain_tests::channels::ChannelPattern;
use voicechain_tests::signals::white;
use voicechain_tests::spectra::{Noise, RATES};
use voicechain_tests::strips::{all_off, coefs, first_difference, peak, random_settings, run, strip};

/// Channels of an impulse at one time: both, one, or opposite.
const IMPULSES: [ChannelPattern; 4] =
    [ChannelPattern::Equal, ChannelPattern::OnlyLeft, ChannelPattern::OnlyRight, ChannelPattern::Opposite];

/// An impulse too quiet for the dynamics to act, and silence.
fn impulse(pattern: ChannelPattern, samples: usize) -> Vec<[f32; 2]> {
    let mut signal = vec![0.0; samples];
    signal[0] = 0.03;
    pattern.frames(&signal)
}

/// Asserts that nothing has reached a channel without an impulse.
fn check_silent_channels(response: &[[f32; 2]], impulse: &[[f32; 2]]) {
    for c in 0..2 {
        let silent = impulse[0][c] == 0.0;
        assert!(!silent || response.iter().all(|frame| frame[c] == 0.0), "sound in the silent channel {c}");
    }
}

#[test]
fn latency_is_exact() {
    let mut random = Noise::new(20);
    for hz in RATES {
        for tenth in [5, 6, 10, 13, 15, 20, 30, 37, 50] {
            let mut settings = all_off();
            settings.limiter.look_ahead_ms = 0.1 * f64::from(tenth);
            let mut latency = None;
            for on in [false, true] {
                settings.limiter.on = on;
                let mut strip = strip::<2>(&settings, rate(hz));
                let expected = strip.latency() as usize;
                assert_eq!(*latency.get_or_insert(expected), expected);
                let pattern = ChannelPattern::one_of(&IMPULSES, &mut random);
                let frames = impulse(pattern, expected + 400);
                let response = run(&mut strip, &frames);
                let what = format!("{tenth} tenths of a ms at {hz} Hz, limiter {on}, {pattern:?}");
                assert!(response[..expected].iter().flatten().all(|&x| x == 0.0), "{what}");
                assert_eq!(first_difference(&response[expected..], &frames[..400]), None, "{what}");
            }
        }
    }
}

#[test]
fn stated_tail_bounds_the_impulse_response() {
    let (mut random, mut channels) = (Noise::new(21), Noise::new(24));
    for hz in [8_000.0, 16_000.0, 44_100.0, 48_000.0, 96_000.0] {
        for round in 0..12 {
            let mut settings = random_settings(&mut random);
            settings.trim.gain_db = 0.0;
            settings.output.gain_db = 0.0;
            // Thresholds above an impulse of -30 dBFS: the tail is that of the filters.
            settings.compressor.on = false;
            settings.de_esser.threshold_db = 24.0;
            // The hum stage is off: an impulse contains no hum, so the response would not show its tail.
            settings.hum.on = false;
            settings.limiter.on = true;
            settings.limiter.ceiling_dbtp = 0.0;
            for id in
                ["corrective_eq.bell_1_q", "corrective_eq.bell_2_q", "corrective_eq.bell_3_q", "corrective_eq.bell_4_q"]
            {
                settings.set(id, random.between(0.3, 4.0)).expect("a Q");
            }
            if round == 0 {
                settings = StripSettings::default();
            }
            if round == 1 {
                settings = all_off();
                settings.high_pass.on = true;
                settings.high_pass.slope = Slope::Db48;
                settings.high_pass.frequency_hz = 20.0;
            }
            let designed = coefs::<2>(&settings, rate(hz));
            let tail = designed.tail() as usize;
            let frames = impulse(ChannelPattern::one_of(&IMPULSES, &mut channels), tail + 4_000);
            let response = run(&mut Strip::new(&designed), &frames);
            check_silent_channels(&response, &frames);
            let last = response_end(&response);
            assert!(last <= tail, "{hz} Hz: response ends at {last}, stated tail {tail}: {settings:?}");
            assert!(tail <= 2 * last, "{hz} Hz: response ends at {last}, stated tail {tail}: {settings:?}");
        }
    }
    for point in StartingPoint::ALL {
        let mut settings = point.settings();
        settings.compressor.on = false;
        let designed = coefs::<2>(&settings, rate(48_000.0));
        let tail = designed.tail() as usize;
        let frames = impulse(ChannelPattern::one_of(&IMPULSES, &mut channels), tail + 4_000);
        let last = response_end(&run(&mut Strip::new(&designed), &frames));
        assert!(last <= tail && tail <= 2 * last, "{point:?}: response ends at {last}, stated tail {tail}");
    }
}

/// Index of the last frame above -120 dB relative to the peak.
fn response_end(response: &[[f32; 2]]) -> usize {
    let limit = 1e-6 * peak(response);
    response.iter().rposition(|frame| frame.iter().any(|x| f64::from(x.abs()) > limit)).expect("an impulse")
}

/// Stated and measured tail of one stage, samples.
fn stage_tail<S: Stage<2>>(settings: &S::Settings, hz: f64, pattern: ChannelPattern) -> [usize; 2] {
    let designed = StageCoefs::<S, 2>::design(settings, true, rate(hz)).expect("allowed");
    let tail = designed.tail();
    let frames = impulse(pattern, 2 * tail as usize + 4_000);
    let mut response = frames.clone();
    Processor::new(&designed).run(&mut response);
    check_silent_channels(&response, &frames);
    [tail as usize, response_end(&response)]
}

#[test]
fn every_stage_states_its_tail() {
    let (mut random, mut channels) = (Noise::new(22), Noise::new(25));
    for hz in [8_000.0, 44_100.0, 96_000.0] {
        for _ in 0..12 {
            let mut s = random_settings(&mut random);
            for id in
                ["corrective_eq.bell_1_q", "corrective_eq.bell_2_q", "corrective_eq.bell_3_q", "corrective_eq.bell_4_q"]
            {
                s.set(id, random.between(0.3, 4.0)).expect("a Q");
            }
            s.compressor.make_up_db = 0.0;
            s.limiter.ceiling_dbtp = 0.0;
            let mut drawn = || ChannelPattern::one_of(&IMPULSES, &mut channels);
            let tails = [
                stage_tail::<Trim>(&s.trim, hz, drawn()),
                stage_tail::<HighPass>(&s.high_pass, hz, drawn()),
                stage_tail::<CorrectiveEq>(&s.corrective_eq, hz, drawn()),
                stage_tail::<ToneEq>(&s.tone_eq, hz, drawn()),
                stage_tail::<Limiter>(&s.limiter, hz, drawn()),
                stage_tail::<OutputTrim>(&s.output, hz, drawn()),
            ];
            for [stated, measured] in tails {
                // Rounding to single precision ends a response some samples early.
                assert!(
                    measured <= stated && stated <= 2 * measured + 8,
                    "{hz} Hz: response ends at {measured}, stated tail {stated}: {tails:?} {s:?}"
                );
            }
        }
    }
}

#[test]
fn unprocessed_monitoring_returns_the_delayed_input() {
    let mut random = Noise::new(23);
    for hz in RATES {
        for look_ahead_ms in [0.5, 1.5, 4.6, 4.8, 5.0] {
            let mut settings = StripSettings::default();
            settings.limiter.look_ahead_ms = look_ahead_ms;
            settings.compressor.threshold_db = -40.0;
            let mut strip = strip::<2>(&settings, rate(hz));
            strip.set_monitoring(Monitoring { mode: MonitorMode::Unprocessed, loudness_matched: false });
            let latency = strip.latency() as usize;
            let frames = ChannelPattern::one_of(&ChannelPattern::ALL, &mut random).frames(&white(0.0, 6_000, 3));
            let out = run(&mut strip, &frames);
            let start = latency.max(2_000);
            let same = first_difference(&out[start..], &frames[start - latency..6_000 - latency]);
            assert_eq!(same, None, "{look_ahead_ms} ms at {hz} Hz");
        }
    }
}
