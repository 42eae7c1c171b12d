//! An idle strip returns its input.

use crate::rate;
use voicechain_core::StripSettings;
use voicechain_core::strip::{MonitorMode, Monitoring};
use voicechain_tests::channels::ChannelPattern;
use voicechain_tests::signals::{mono, phrases, white};
use voicechain_tests::strips::{first_difference, run, strip};

/// Settings with nearly every stage on and none active for a signal below -14 dBFS.
pub(crate) fn idle_settings() -> StripSettings {
    let mut s = StripSettings::default();
    s.high_pass.on = false;
    s.compressor.threshold_db = -8.0;
    s.de_esser.threshold_db = 24.0;
    s
}

#[test]
fn idle_strip_returns_its_input_delayed() {
    // Sixteen patterns are drawn from ten.
    let mut patterns = ChannelPattern::ALL.into_iter().cycle();
    for hz in [8_000.0, 44_100.0, 48_000.0, 96_000.0] {
        let rate = rate(hz);
        let signal = phrases(-35.0, hz, 1.0, 9);
        let one = mono(&signal);
        let mut strip_1 = strip::<1>(&idle_settings(), rate);
        let mut strip_2 = strip::<2>(&idle_settings(), rate);
        for round in 0..2 {
            let pattern = patterns.next().expect("another");
            let two = pattern.frames(&signal);
            let latency = strip_1.latency() as usize;
            let (out_1, out_2) = (run(&mut strip_1, &one), run(&mut strip_2, &two));
            let n = one.len() - latency;
            assert_eq!(first_difference(&out_1[latency..], &one[..n]), None, "mono at {hz} Hz, round {round}");
            assert_eq!(first_difference(&out_2[latency..], &two[..n]), None, "{pattern:?} at {hz} Hz, round {round}");
            // A loud passage that drives compressor and limiter, then two seconds for their release.
            let loud = white(9.0, (0.5 * hz) as usize, 4);
            let (loud_1, loud_2) = (mono(&loud), patterns.next().expect("another").frames(&loud));
            let reduced = run(&mut strip_1, &loud_1);
            assert_ne!(first_difference(&reduced[latency..], &loud_1[..loud_1.len() - latency]), None);
            run(&mut strip_2, &loud_2);
            let release = (2.0 * hz) as usize;
            run(&mut strip_1, &vec![[0.0; 1]; release]);
            run(&mut strip_2, &vec![[0.0; 2]; release]);
        }
    }
}

#[test]
fn an_idle_strip_removes_nothing() {
    for loudness_matched in [false, true] {
        let signal = phrases(-35.0, 48_000.0, 3.0, 2);
        for pattern in ChannelPattern::ALL {
            let frames = pattern.frames(&signal);
            let mut strip = strip::<2>(&idle_settings(), rate(48_000.0));
            strip.set_monitoring(Monitoring { mode: MonitorMode::Removed, loudness_matched });
            let out = run(&mut strip, &frames);
            let (after, what) =
                (2 * strip.latency() as usize + 480, format!("{pattern:?}, matched: {loudness_matched}"));
            assert!(out[after..].iter().flatten().all(|&x| x == 0.0), "{what}");
            strip.reset_meters();
            let out = run(&mut strip, &frames);
            assert!(out.iter().flatten().all(|&x| x == 0.0), "after the meters were reset, {what}");
        }
    }
}
