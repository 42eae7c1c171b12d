//! No clicks: a change during playback adds no second difference beyond the bound.

use crate::rate;
use voicechain_core::settings::{self, ReorderableStage};
use voicechain_core::strip::{MonitorMode, Monitoring};
use voicechain_core::{Strip, StripSettings};
use voicechain_tests::channels::ChannelPattern;
use voicechain_tests::signals::{pinkish, sine};
use voicechain_tests::spectra::Noise;
use voicechain_tests::strips::{coefs, peak, run, strip};

const HZ: f64 = 48_000.0;

/// Largest second difference of the output. For a 997 Hz tone it is (2 pi 997 / 48000)^2 = 0.017 of the amplitude.
fn max_second_difference(out: &[[f32; 2]]) -> f64 {
    let bend = |w: &[[f32; 2]], c: usize| f64::from(w[0][c] - 2.0 * w[1][c] + w[2][c]).abs();
    out.windows(3).map(|w| bend(w, 0).max(bend(w, 1))).fold(0.0, f64::max)
}

/// Settings in which every stage processes a tone of -20 dBFS.
fn active_settings() -> StripSettings {
    let mut s = StripSettings::default();
    s.corrective_eq.bell_1_gain_db = -4.0;
    s.corrective_eq.bell_2_gain_db = 3.0;
    s.corrective_eq.bell_3_gain_db = -6.0;
    s.corrective_eq.bell_4_gain_db = 4.0;
    s.de_esser.threshold_db = -20.0;
    s.tone_eq.low_shelf_gain_db = 3.0;
    s.tone_eq.bell_gain_db = 3.0;
    s.tone_eq.high_shelf_gain_db = -3.0;
    s.compressor.threshold_db = -30.0;
    s
}

/// Largest second difference of the change at 0.3 s, in a strip that changes from `from` to `to` and in a hard switch
/// between the two steady outputs; both relative to the larger one of the two steady outputs.
fn compare(signal: &[[f32; 2]], change: &dyn Fn(&mut Strip<2>), from: &StripSettings, to: &StripSettings) -> [f64; 2] {
    const AT: usize = 14_400;
    let rate = rate(HZ);
    let (mut a, mut b): (Box<Strip<2>>, Box<Strip<2>>) = (strip(from, rate), strip(from, rate));
    let steady_from = run(&mut a, signal);
    let mut moving = run(&mut b, &signal[..AT]);
    change(&mut b);
    moving.extend(run(&mut b, &signal[AT..]));
    let steady_to: Vec<[f32; 2]> = {
        let mut c: Box<Strip<2>> = strip(to, rate);
        c.set_monitoring(b.monitoring());
        run(&mut c, signal)
    };
    let window = AT - 100..AT + 4_000;
    let steady =
        max_second_difference(&steady_from[window.clone()]).max(max_second_difference(&steady_to[window.clone()]));
    // Dynamics need time: until they act, the output may be louder than both steady outputs, with a larger second
    // difference.
    let loudest = peak(&steady_from[window.clone()]).max(peak(&steady_to[window.clone()]));
    let steady = steady * (peak(&moving[window.clone()]) / loudest).max(1.0);
    let mut swapped = steady_from[..AT].to_vec();
    swapped.extend(&steady_to[AT..]);
    [max_second_difference(&moving[window.clone()]) / steady, max_second_difference(&swapped[window]) / steady]
}

#[test]
fn changes_during_playback_do_not_click() {
    let samples = 24_000;
    let [tone, noise] = [sine(997.0, -20.0, HZ, samples), pinkish(-20.0, samples, 4)];
    let signals = [tone, noise].map(|signal| ChannelPattern::STEADY.map(|pattern| pattern.frames(&signal)));
    let mut random = Noise::new(3);
    let mut worst = [(0.0, String::new()), (0.0, String::new())];
    let mut hard = 0.0f64;
    let mut note = |found: [f64; 2], which: usize, what: String| {
        if found[0] > worst[which].0 {
            worst[which] = (found[0], what.clone());
        }
        hard = hard.max(found[1]);
        if found[0] > 1.5 {
            println!("{what}: {:.2} of the steady second difference (hard switch {:.1})", found[0], found[1]);
        }
    };
    for (which, signals) in signals.iter().enumerate() {
        let mut drawn = || &signals[random.between(0.0, signals.len() as f64 - 1e-9) as usize];
        for info in settings::rows() {
            for (from, to) in [(info.min, info.max), (info.max, info.min)] {
                let (mut a, mut b) = (active_settings(), active_settings());
                a.set(info.id, from).expect("the minimum or maximum");
                b.set(info.id, to).expect("the minimum or maximum");
                let found = compare(drawn(), &|s| s.set(&coefs(&b, rate(HZ))), &a, &b);
                note(found, which, format!("{} from {from} to {to}", info.id));
            }
        }
        let a = active_settings();
        let b = StripSettings {
            order: [
                ReorderableStage::ToneEq,
                ReorderableStage::Compressor,
                ReorderableStage::DeEsser,
                ReorderableStage::CorrectiveEq,
            ],
            ..a
        };
        note(compare(drawn(), &|s| s.set(&coefs(&b, rate(HZ))), &a, &b), which, "order".into());
        for mode in [MonitorMode::Unprocessed, MonitorMode::Removed] {
            let change = |s: &mut Strip<2>| s.set_monitoring(Monitoring { mode, loudness_matched: false });
            note(compare(drawn(), &change, &a, &a), which, format!("{mode:?}"));
        }
    }
    println!("worst: {worst:?}; hard switch: {hard:.1}");
    // A gain that moves from 0 to 1 within 10 ms along t^2 (3 - 2t) adds second differences of 6 / 480^2 of the
    // amplitude and of twice its largest slope, 1.5 / 480, times that of the tone, 0.13: 4.1e-4 each, against the
    // tone's 0.017. So the larger of the two steady outputs sets the bound. Filters whose coefficients move fast add a
    // transient of their own.
    assert!(worst[0].0 < 1.6 && worst[1].0 < 1.6, "{worst:?}");
    assert!(hard > 20.0, "negative control: {hard}");
}
