//! The latency is exact. The stated tail is never shorter than the true tail and at most twice as long.

use crate::rate;
use voicechain_core::settings::Slope;
use voicechain_core::stages::{
    CorrectiveEq, HighPass, Limiter, OutputTrim, Processor, Stage, StageCoefs, ToneEq, Trim,
};
use voicechain_core::strip::{MonitorMode, Monitoring, StartingPoint};
use voicechain_core::{Strip, StripSettings};
use voicechain_tests::signals::{unequal, white};
use voicechain_tests::spectra::{Noise, RATES};
use voicechain_tests::strips::{all_off, coefs, first_difference, random_settings, run, strip};

/// The first `samples` of a strip's impulse response. The impulse is too quiet for the dynamics to act.
fn impulse_response(strip: &mut Strip<1>, samples: usize) -> Vec<f64> {
    let mut frames = vec![[0.0f32]; samples];
    frames[0] = [0.03];
    run(strip, &frames).iter().map(|f| f64::from(f[0]) / 0.03).collect()
}

#[test]
fn latency_is_exact() {
    for hz in RATES {
        for tenth in [5, 6, 10, 13, 15, 20, 30, 37, 50] {
            let mut settings = all_off();
            settings.limiter.look_ahead_ms = 0.1 * f64::from(tenth);
            let mut latency = None;
            for on in [false, true] {
                settings.limiter.on = on;
                let mut strip = strip::<1>(&settings, rate(hz));
                let expected = strip.latency() as usize;
                assert_eq!(*latency.get_or_insert(expected), expected);
                let response = impulse_response(&mut strip, expected + 400);
                let place = response.iter().position(|&x| x != 0.0);
                assert_eq!(place, Some(expected), "{tenth} tenths of a ms at {hz} Hz, limiter {on}");
                assert_eq!(response.iter().filter(|&&x| x != 0.0).count(), 1);
            }
        }
    }
}

#[test]
fn stated_tail_bounds_the_impulse_response() {
    let mut random = Noise::new(21);
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
            let designed = coefs::<1>(&settings, rate(hz));
            let tail = designed.tail() as usize;
            let response = impulse_response(&mut Strip::new(&designed), tail + 4_000);
            let last = response_end(&response);
            assert!(last <= tail, "{hz} Hz: response ends at {last}, stated tail {tail}: {settings:?}");
            assert!(tail <= 2 * last, "{hz} Hz: response ends at {last}, stated tail {tail}: {settings:?}");
        }
    }
    for point in StartingPoint::ALL {
        let mut settings = point.settings();
        settings.compressor.on = false;
        let designed = coefs::<1>(&settings, rate(48_000.0));
        let tail = designed.tail() as usize;
        let last = response_end(&impulse_response(&mut Strip::new(&designed), tail + 4_000));
        assert!(last <= tail && tail <= 2 * last, "{point:?}: response ends at {last}, stated tail {tail}");
    }
}

/// Index of the last sample above -120 dB relative to the peak.
fn response_end(response: &[f64]) -> usize {
    let peak = response.iter().fold(0.0f64, |m, x| m.max(x.abs()));
    response.iter().rposition(|x| x.abs() > 1e-6 * peak).expect("an impulse")
}

/// Stated and measured tail of one stage, samples.
fn stage_tail<S: Stage<1>>(settings: &S::Settings, hz: f64) -> [usize; 2] {
    let designed = StageCoefs::<S, 1>::design(settings, true, rate(hz)).expect("allowed");
    let tail = designed.tail();
    let mut frames = vec![[0.0f32]; 2 * tail as usize + 4_000];
    frames[0] = [0.03];
    Processor::new(&designed).run(&mut frames);
    [tail as usize, response_end(&frames.iter().map(|f| f64::from(f[0])).collect::<Vec<_>>())]
}

#[test]
fn every_stage_states_its_tail() {
    let mut random = Noise::new(22);
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
            let tails = [
                stage_tail::<Trim>(&s.trim, hz),
                stage_tail::<HighPass>(&s.high_pass, hz),
                stage_tail::<CorrectiveEq>(&s.corrective_eq, hz),
                stage_tail::<ToneEq>(&s.tone_eq, hz),
                stage_tail::<Limiter>(&s.limiter, hz),
                stage_tail::<OutputTrim>(&s.output, hz),
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
    for hz in RATES {
        for look_ahead_ms in [0.5, 1.5, 4.6, 4.8, 5.0] {
            let mut settings = StripSettings::default();
            settings.limiter.look_ahead_ms = look_ahead_ms;
            settings.compressor.threshold_db = -40.0;
            let mut strip = strip::<2>(&settings, rate(hz));
            strip.set_monitoring(Monitoring { mode: MonitorMode::Unprocessed, loudness_matched: false });
            let latency = strip.latency() as usize;
            let frames = unequal(&white(0.0, 6_000, 3));
            let out = run(&mut strip, &frames);
            let start = latency.max(2_000);
            let same = first_difference(&out[start..], &frames[start - latency..6_000 - latency]);
            assert_eq!(same, None, "{look_ahead_ms} ms at {hz} Hz");
        }
    }
}
