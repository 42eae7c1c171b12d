//! Loudness match: both sides equally loud, below the ceiling, with a slow gain.

use crate::rate;
use approx::{abs_diff_eq, assert_abs_diff_eq};
use voicechain_core::meters::{ChannelWeights, LoudnessMeter, TruePeakMeter};
use voicechain_core::strip::{MonitorMode, Monitoring, StartingPoint};
use voicechain_core::{Strip, StripSettings};
use voicechain_tests::channels::ChannelPattern;
use voicechain_tests::signals::{db, phrases, unequal};
use voicechain_tests::strips::{all_off, coefs, peak, run, strip};

const HZ: f64 = 48_000.0;

fn matched(mode: MonitorMode) -> Monitoring {
    Monitoring { mode, loudness_matched: true }
}

fn loudness(frames: &[[f32; 2]]) -> f64 {
    let mut meter = LoudnessMeter::<2>::new(rate(HZ), ChannelWeights::default());
    meter.push(frames);
    meter.integrated().expect("loud enough")
}

/// Settings that change the loudness by several LU.
fn settings() -> StripSettings {
    let mut s = StartingPoint::SpokenClose.settings();
    s.trim.gain_db = 4.0;
    s
}

#[test]
fn matched_sides_differ_by_less_than_0_2_lu() {
    for (k, point) in StartingPoint::ALL.into_iter().enumerate() {
        let settings = StripSettings { trim: settings().trim, ..point.settings() };
        // 34 s fill the running window of 30 s; then 26.4 s (12 phrases) of both sides are compared.
        let pattern = ChannelPattern::STEADY[k % ChannelPattern::STEADY.len()];
        let signal = pattern.frames(&phrases(-26.0, HZ, 60.5, 20 + k as u64));
        let (head, body) = signal.split_at(34 * 48_000);
        let side = |mode| {
            let mut strip: Box<Strip<2>> = strip(&settings, rate(HZ));
            strip.set_monitoring(matched(mode));
            run(&mut strip, head);
            run(&mut strip, body)
        };
        let (wet, dry) = (loudness(&side(MonitorMode::Processed)), loudness(&side(MonitorMode::Unprocessed)));
        assert!(
            abs_diff_eq!(wet, dry, epsilon = 0.2),
            "{} {pattern:?}: processed {wet}, unprocessed {dry}",
            point.name()
        );
        let plain = loudness(body);
        assert!((wet - plain).abs() > 1.0, "negative control: {wet} LUFS, unmatched input {plain}");
    }
}

#[test]
fn loudness_match_gain_moves_slowly_and_holds_in_pauses() {
    let rate = rate(HZ);
    let mut settings = settings();
    let mut strip: Box<Strip<2>> = strip(&settings, rate);
    strip.set_monitoring(matched(MonitorMode::Unprocessed));
    let signal = ChannelPattern::TakeTurns.frames(&phrases(-26.0, HZ, 30.0, 3));
    let mut before = strip.loudness_match_db();
    let mut moved = 0.0f64;
    for (k, chunk) in signal.chunks(480).enumerate() {
        if k == 1_000 {
            settings.trim.gain_db = -8.0;
            strip.set(&coefs(&settings, rate));
        }
        run(&mut strip, chunk);
        let now = strip.loudness_match_db();
        let step = (now[0] - before[0]).abs();
        assert!(step <= 0.01 + 1e-9, "{step} dB in 10 ms");
        assert!(strip.voice_is_active() || step == 0.0, "moves in a pause");
        moved += step;
        before = now;
    }
    assert!(moved > 3.0, "the gain does not move: {moved} dB");
}

#[test]
fn both_sides_are_attenuated_alike_to_stay_below_the_ceiling() {
    let mut settings = settings();
    settings.output.gain_db = 8.0;
    settings.limiter.ceiling_dbtp = -6.0;
    let signal = ChannelPattern::OnlyRight.frames(&phrases(-20.0, HZ, 24.0, 9));
    let (head, body) = signal.split_at(14 * 48_000);
    let mut strips = [MonitorMode::Processed, MonitorMode::Unprocessed].map(|mode| {
        let mut strip: Box<Strip<2>> = strip(&settings, rate(HZ));
        strip.set_monitoring(matched(mode));
        strip
    });
    let [_, _] = [0, 1].map(|k| run(&mut strips[k], head));
    let [gain_db, headroom_db] = strips[1].loudness_match_db();
    assert!(gain_db > 3.0 && headroom_db < -1.0, "raised by {gain_db} dB, headroom {headroom_db} dB");
    let [wet, dry] = [0, 1].map(|k| run(&mut strips[k], body));
    let over = db(peak(&dry)) + 6.0;
    // The body repeats no sample of the head: its syllables are up to 1 dB louder than any before.
    assert!(over < 0.1, "the boosted side exceeds the ceiling by {over} dB");
    assert_abs_diff_eq!(loudness(&wet), loudness(&dry), epsilon = 0.3);
}

/// A tone at a quarter of the rate whose samples miss its peaks by 3 dB. Unequal channels.
#[test]
fn headroom_keeps_the_true_peak_below_the_ceiling() {
    let mut settings = all_off();
    settings.output.gain_db = 4.0;
    settings.limiter.ceiling_dbtp = -1.0;
    let tone: Vec<[f32; 2]> = (0..5 * 48_000).map(|n| if n % 4 < 2 { [0.3, 0.5] } else { [-0.3, -0.5] }).collect();
    let mut strip: Box<Strip<2>> = strip(&settings, rate(HZ));
    let (head, body) = tone.split_at(4 * 48_000);
    strip.set_monitoring(matched(MonitorMode::Processed));
    run(&mut strip, head);
    strip.set_monitoring(matched(MonitorMode::Unprocessed));
    let out = run(&mut strip, body);
    let [gain_db, headroom_db] = strip.loudness_match_db();
    assert_abs_diff_eq!(gain_db, 4.0, epsilon = 0.01);
    // The tone's peaks: 0.5 times the square root of 2, -3.01 dBTP. The published filter reads them within 0.2 dB.
    assert_abs_diff_eq!(headroom_db, -1.0 + 3.01 - 4.0, epsilon = 0.2);
    let mut meter = TruePeakMeter::<2>::new(rate(HZ));
    meter.push(&out[4_800..]);
    let true_peak = meter.hold_dbtp().into_iter().fold(f64::NEG_INFINITY, f64::max);
    assert!(true_peak < -0.99, "{true_peak} dBTP over a ceiling of -1 dBTP");
    assert!(db(peak(&out[4_800..])) < true_peak - 2.0, "negative control: the sample peak is lower");
}

#[test]
fn reset_meters_restarts_the_loudness_match() {
    let rate = rate(HZ);
    let mut settings = all_off();
    let signal = unequal(&phrases(-26.0, HZ, 40.0, 3));
    settings.output.gain_db = 8.0;
    let [reset, kept] = [true, false].map(|reset| {
        let mut strip: Box<Strip<2>> = strip(&settings, rate);
        run(&mut strip, &signal[..25 * 48_000]);
        let before = strip.loudness_match_db();
        strip.set(&coefs(&StripSettings { output: Default::default(), ..settings }, rate));
        if reset {
            strip.reset_meters();
            assert_eq!(strip.loudness_match_db(), before, "the gains do not jump");
            assert!(strip.ledger().is_none() && strip.output_loudness().integrated().is_none());
        }
        run(&mut strip, &signal[25 * 48_000..30 * 48_000]);
        strip.loudness_match_db()[0]
    });
    assert!(reset.abs() < 0.5, "{reset} dB 5 s after the reset, from audio without gain");
    assert!(kept > 5.0, "negative control: {kept} dB with 25 s of audio with 8 dB of gain");
}

#[test]
fn matched_processed_and_removed_sum_to_matched_unprocessed() {
    let signal = ChannelPattern::Opposite.frames(&phrases(-24.0, HZ, 12.0, 5));
    let sides = [MonitorMode::Processed, MonitorMode::Removed, MonitorMode::Unprocessed].map(|mode| {
        let mut strip: Box<Strip<2>> = strip(&settings(), rate(HZ));
        // Ten seconds of the processed side first, so that the match gain is the same in all modes.
        strip.set_monitoring(matched(MonitorMode::Processed));
        run(&mut strip, &signal[..480_000]);
        strip.set_monitoring(matched(mode));
        run(&mut strip, &signal[480_000..])
    });
    let [wet, removed, dry] = sides;
    let mut worst = 0.0f64;
    for ((w, r), d) in wet[480..4_000].iter().zip(&removed[480..4_000]).zip(&dry[480..4_000]) {
        for c in 0..2 {
            worst = worst.max((f64::from(w[c]) + f64::from(r[c]) - f64::from(d[c])).abs());
        }
    }
    assert!(worst < 1e-6, "{worst}");
}
