//! No clicks: whatever is changed while sound plays, the output bends no more than the bound says.

use crate::rate;
use voicechain_core::settings::{self, ReorderableStage};
use voicechain_core::strip::{MonitorMode, Monitoring};
use voicechain_core::{Strip, StripSettings};
use voicechain_tests::signals::{mono, pinkish, sine};
use voicechain_tests::strips::{coefs, peak, run, strip};

const HZ: f64 = 48_000.0;

/// Largest second difference, relative to the largest sample nearby, after the strip's own sound has been taken out: a
/// tone of 997 Hz bends by (2 pi 997 / 48000)^2 = 0.017 of its amplitude.
fn max_second_difference(out: &[[f32; 1]]) -> f64 {
    out.windows(3).map(|w| f64::from(w[0][0] - 2.0 * w[1][0] + w[2][0]).abs()).fold(0.0, f64::max)
}

/// Settings in which every stage works on a tone of -20 dB.
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

/// The bend of the change from `a` to `b` at 0.3 s, in a strip that moves and by a hard swap of fresh outputs, each over
/// the larger bend of the two strips at rest.
fn compare(signal: &[[f32; 1]], change: &dyn Fn(&mut Strip<1>), from: &StripSettings, to: &StripSettings) -> [f64; 2] {
    const AT: usize = 14_400;
    let rate = rate(HZ);
    let (mut a, mut b): (Box<Strip<1>>, Box<Strip<1>>) = (strip(from, rate), strip(from, rate));
    let still = run(&mut a, signal);
    let mut moving = run(&mut b, &signal[..AT]);
    change(&mut b);
    moving.extend(run(&mut b, &signal[AT..]));
    let settled: Vec<[f32; 1]> = {
        let mut c: Box<Strip<1>> = strip(to, rate);
        c.set_monitoring(b.monitoring());
        run(&mut c, signal)
    };
    let window = AT - 100..AT + 4_000;
    let at_rest = max_second_difference(&still[window.clone()]).max(max_second_difference(&settled[window.clone()]));
    // Dynamics need time: until they have acted the sound may be louder than on both sides, and bends as much more.
    let loudest = peak(&still[window.clone()]).max(peak(&settled[window.clone()]));
    let at_rest = at_rest * (peak(&moving[window.clone()]) / loudest).max(1.0);
    let mut swapped = still[..AT].to_vec();
    swapped.extend(&settled[AT..]);
    [max_second_difference(&moving[window.clone()]) / at_rest, max_second_difference(&swapped[window]) / at_rest]
}

#[test]
fn no_clicks() {
    let samples = 24_000;
    let tone = mono(&sine(997.0, -20.0, HZ, samples));
    let noise = mono(&pinkish(-20.0, samples, 4));
    let mut worst = [(0.0, String::new()), (0.0, String::new())];
    let mut hard = 0.0f64;
    let mut note = |found: [f64; 2], which: usize, what: String| {
        if found[0] > worst[which].0 {
            worst[which] = (found[0], what.clone());
        }
        hard = hard.max(found[1]);
        if found[0] > 1.5 {
            println!("{what}: {:.2} of the bend at rest (hard swap {:.1})", found[0], found[1]);
        }
    };
    for (which, signal) in [&tone, &noise].into_iter().enumerate() {
        for info in settings::rows() {
            for (from, to) in [(info.min, info.max), (info.max, info.min)] {
                let (mut a, mut b) = (active_settings(), active_settings());
                a.set(info.id, from).expect("an end");
                b.set(info.id, to).expect("an end");
                let found = compare(signal, &|s| s.set(&coefs(&b, rate(HZ))), &a, &b);
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
        note(compare(signal, &|s| s.set(&coefs(&b, rate(HZ))), &a, &b), which, "order".into());
        for mode in [MonitorMode::Unprocessed, MonitorMode::Removed] {
            let change = |s: &mut Strip<1>| s.set_monitoring(Monitoring { mode, loudness_matched: false });
            note(compare(signal, &change, &a, &a), which, format!("{mode:?}"));
        }
    }
    println!("worst: {worst:?}; hard swap: {hard:.1}");
    // A gain that goes from 0 to 1 within 10 ms along t^2 (3 - 2t) bends by 6 / 480^2 of the amplitude and by twice its
    // largest slope, 1.5 / 480, times that of the tone, 0.13: 4.1e-4 of 0.017 each, so the larger of the two sides hardly
    // bends more. Filters that move fast add their own transient.
    assert!(worst[0].0 < 1.6 && worst[1].0 < 1.6, "{worst:?}");
    assert!(hard > 20.0, "negative control: {hard}");
}
