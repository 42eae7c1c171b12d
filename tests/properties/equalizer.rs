//! Level compensation of the EQ keeps the loudness of speech.

use crate::rate;
use approx::abs_diff_eq;
use voicechain_core::meters::{ChannelWeights, LoudnessMeter};
use voicechain_core::settings::{CorrectiveEqSettings, ToneEqSettings};
use voicechain_core::stages::{CorrectiveEq, Processor, Stage, StageCoefs, ToneEq};
use voicechain_tests::signals::{BYRNE, mono, shaped};
use voicechain_tests::spectra::Noise;

#[test]
fn speech_spectrum_equals_the_independent_copy() {
    assert_eq!(voicechain_core::speech::BYRNE_1994_COMBINED, BYRNE);
}

fn loudness(frames: &[[f32; 1]], hz: f64) -> f64 {
    let mut meter = LoudnessMeter::<1>::new(rate(hz), ChannelWeights::default());
    meter.push(&frames[(0.4 * hz) as usize..]);
    meter.integrated().expect("loud enough")
}

/// Loudness after a stage minus loudness before it, LU.
fn change<S: Stage<1>>(settings: &S::Settings, hz: f64, frames: &[[f32; 1]]) -> f64 {
    let mut out = frames.to_vec();
    Processor::<S, 1>::design(settings, rate(hz)).expect("allowed").run(&mut out);
    loudness(&out, hz) - loudness(frames, hz)
}

fn random_corrective(random: &mut Noise) -> CorrectiveEqSettings {
    let mut bell =
        || (random.octaves_between(60.0, 12_000.0), random.between(-9.0, 9.0), random.octaves_between(0.3, 4.0));
    let (a, b, c, d) = (bell(), bell(), bell(), bell());
    CorrectiveEqSettings {
        bell_1_frequency_hz: a.0,
        bell_1_gain_db: a.1,
        bell_1_q: a.2,
        bell_2_frequency_hz: b.0,
        bell_2_gain_db: b.1,
        bell_2_q: b.2,
        bell_3_frequency_hz: c.0,
        bell_3_gain_db: c.1,
        bell_3_q: c.2,
        bell_4_frequency_hz: d.0,
        bell_4_gain_db: d.1,
        bell_4_q: d.2,
        ..CorrectiveEqSettings::default()
    }
}

fn random_tone(random: &mut Noise) -> ToneEqSettings {
    ToneEqSettings {
        low_shelf_frequency_hz: random.octaves_between(60.0, 1_000.0),
        low_shelf_gain_db: random.between(-9.0, 9.0),
        bell_frequency_hz: random.octaves_between(200.0, 8_000.0),
        bell_gain_db: random.between(-9.0, 9.0),
        bell_q: random.octaves_between(0.3, 4.0),
        high_shelf_frequency_hz: random.octaves_between(1_000.0, 12_000.0),
        high_shelf_gain_db: random.between(-9.0, 9.0),
        ..ToneEqSettings::default()
    }
}

#[test]
fn compensated_eq_keeps_the_loudness_of_speech_shaped_noise() {
    let mut random = Noise::new(31);
    let (mut worst, mut plain, mut count) = (0.0f64, 0.0, 0.0);
    for hz in [16_000.0, 44_100.0, 48_000.0] {
        let noise = mono(&shaped(&BYRNE, -23.0, hz, (4.0 * hz) as usize, 12));
        for _ in 0..8 {
            let corrective = random_corrective(&mut random);
            let tone = random_tone(&mut random);
            for found in [change::<CorrectiveEq>(&corrective, hz, &noise), change::<ToneEq>(&tone, hz, &noise)] {
                assert!(found.abs() < 0.15, "{found} LU at {hz} Hz: {corrective:?} {tone:?}");
                worst = worst.max(found.abs());
            }
            let corrective = CorrectiveEqSettings { level_compensation: false, ..corrective };
            let tone = ToneEqSettings { level_compensation: false, ..tone };
            for found in [change::<CorrectiveEq>(&corrective, hz, &noise), change::<ToneEq>(&tone, hz, &noise)] {
                plain += found.abs();
                count += 1.0;
            }
        }
    }
    println!("compensated: at most {worst:.3} LU; without: {:.2} LU on average", plain / count);
    assert!(plain / count > 1.0, "negative control: {} LU", plain / count);
}

#[test]
fn reported_response_equals_the_measured_one() {
    // Response of the stage including its compensation, against a steady tone.
    let hz = 48_000.0;
    let mut random = Noise::new(5);
    for _ in 0..6 {
        let settings = random_corrective(&mut random);
        let coefs = StageCoefs::<CorrectiveEq, 1>::design(&settings, true, rate(hz)).expect("allowed");
        for tone in [100.0, 1_000.0, 9_000.0] {
            let mut frames = mono(&voicechain_tests::signals::sine(tone, -20.0, hz, 48_000));
            Processor::new(&coefs).run(&mut frames);
            let out: Vec<f64> = frames[24_000..].iter().map(|f| f64::from(f[0])).collect();
            let found = voicechain_tests::signals::rms_db(&out) + 20.0 + 10.0 * 2f64.log10();
            let expected = coefs.response(tone).db();
            assert!(abs_diff_eq!(found, expected, epsilon = 0.01), "{tone} Hz: {found}, not {expected}");
        }
    }
}
