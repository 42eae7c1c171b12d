use super::*;
use crate::blank::Blank;
use core::f64::consts::TAU;
extern crate std;
use std::boxed::Box;
use std::vec::Vec;

pub(super) fn noise(samples: usize) -> Vec<[f32; 1]> {
    let mut seed = 7u32;
    (0..samples)
        .map(|_| {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            [(f64::from(seed >> 8) / 8_388_608.0 - 1.0) as f32 * 0.1]
        })
        .collect()
}

pub(super) fn run(s: DeReverbDesign, rate_hz: f64, signal: &[[f32; 1]]) -> (Vec<[f32; 1]>, Box<DeReverbState<1>>) {
    let rate = SampleRate::new(rate_hz).unwrap();
    let coefs = <DeReverb as Stage<1>>::design(&s, rate).unwrap();
    let mut state = Box::new(DeReverbState::BLANK);
    let mut frames = signal.to_vec();
    DeReverb::run(StageContext::new(&coefs, &mut *state), &mut frames);
    (frames, state)
}

/// Overlap-add with gains of 1 reconstructs the input. A range of 0.005 dB keeps gains within 6e-4 of each other, an
/// error of at most -64 dB, while the output is still the processed signal.
#[test]
fn overlap_add_reconstructs_the_input() {
    for rate_hz in [8_000.0, 16_000.0, 44_100.0, 48_000.0, 96_000.0, 192_000.0] {
        for latency in [SpectralLatency::Low, SpectralLatency::High] {
            let signal = noise(20_000);
            let s = DeReverbDesign {
                latency,
                settings: DeReverbSettings { range_db: 0.005, decay_ms: 1_000.0, ..DeReverbSettings::default() },
            };
            let (out, state) = run(s, rate_hz, &signal);
            assert_eq!(state.wet, [1.0; 2], "{rate_hz} Hz");
            let rate = SampleRate::new(rate_hz).unwrap();
            let delay = Stft::new(latency, rate).synthesis;
            assert!(delay as f64 / rate_hz <= if latency == SpectralLatency::High { 0.0326 } else { 0.0163 });
            let start = 4 * delay;
            let (mut error, mut power) = (0.0, 0.0);
            for (o, x) in out[start..].iter().zip(&signal[start - delay..]) {
                // Noise alone is attenuated by the whole range of 0.005 dB.
                let (o, x) = (f64::from(o[0]) * from_db(0.005), f64::from(x[0]));
                error += (o - x) * (o - x);
                power += x * x;
            }
            let db = power_to_db(error / power);
            assert!(db < -64.0, "{rate_hz} Hz, {latency:?}: {db} dB");
        }
    }
}

/// A transition starts at the old parameters, ends at the new ones, and moves every one of them in between.
#[test]
fn a_transition_moves_every_parameter() {
    let rate = SampleRate::new(48_000.0).unwrap();
    let design = |decay_ms: f64, amount_percent: f64, range_db: f64, latency| {
        let settings = DeReverbSettings { decay_ms, amount_percent, range_db, ..DeReverbSettings::default() };
        <DeReverb as Stage<2>>::design(&DeReverbDesign { settings, latency }, rate).unwrap()
    };
    let old = design(170.0, 40.0, 6.0, SpectralLatency::Low);
    let new = design(700.0, 100.0, 18.0, SpectralLatency::High);
    let at = |t: f64| <DeReverb as Stage<2>>::interpolated(&old, &new, t).parameters;
    let values = |p: Parameters| {
        [
            p.decay_per_hop,
            p.decay_until_late,
            p.reverberant_share,
            p.feed_smoothing,
            p.decision_directed_weight,
            p.floor,
            p.strength,
            p.noise_only_strength,
            p.detection_weight,
        ]
    };
    assert_eq!(at(0.0), old.parameters);
    let (from, middle, to) = (values(old.parameters), values(at(0.5)), values(new.parameters));
    for (k, ((a, b), c)) in from.into_iter().zip(middle).zip(to).enumerate() {
        assert!(a != c && (b - 0.5 * (a + c)).abs() < 1e-6 * c.abs().max(1.0), "parameter {k}: {a}, {b}, {c}");
    }
    for (end, new) in values(at(1.0)).into_iter().zip(to) {
        assert!((end - new).abs() <= 1e-6, "{end}, not {new}");
    }
}

#[test]
fn latencies_at_48_khz_are_1024_and_512() {
    let rate = SampleRate::new(48_000.0).unwrap();
    let delay = |latency| Stft::new(latency, rate).synthesis;
    assert_eq!([SpectralLatency::None, SpectralLatency::Low, SpectralLatency::High].map(delay), [0, 512, 1_024]);
}

/// The noise floor of steady noise matches its power within -3 to +0.5 dB, averaged over the bands.
#[test]
fn the_noise_floor_matches_steady_noise() {
    for latency in [SpectralLatency::Low, SpectralLatency::High] {
        let stft = Stft::new(latency, SampleRate::new(48_000.0).unwrap());
        let s = DeReverbDesign { latency, settings: DeReverbSettings { ..DeReverbSettings::default() } };
        let (_, state) = run(s, 48_000.0, &noise(200_000));
        let windows = windows(stft.analysis, stft.synthesis);
        // Uniform noise of amplitude 0.1: power 0.01 / 3 times the energy of the window.
        let energy: f64 = windows.analysis.iter().map(|w| f64::from(*w).powi(2)).sum();
        let power = 0.01 / 3.0 * energy;
        let floor = state.suppressor.mean_noise(stft.bands);
        let db = power_to_db(floor / power);
        std::println!("{latency:?}: {db} dB");
        assert!((-3.0..0.5).contains(&db), "{latency:?}: {db} dB");
    }
}

/// A decay of noise at the set decay time: sound after 50 ms is attenuated, the burst itself hardly.
#[test]
fn late_reverberation_is_removed_and_early_reflections_stay() {
    let (rate_hz, t60) = (48_000.0, 0.6);
    let mut signal = noise(96_000);
    for (n, frame) in signal.iter_mut().enumerate() {
        let t = n as f64 / rate_hz % 1.0;
        let gain = if t < 0.1 { 1.0 } else { 0.3 * from_db(-60.0 * (t - 0.1) / t60) };
        frame[0] *= gain as f32;
    }
    let s = DeReverbDesign {
        latency: SpectralLatency::High,
        settings: DeReverbSettings { decay_ms: 600.0, ..DeReverbSettings::default() },
    };
    let (out, _) = run(s, rate_hz, &signal);
    let level = |x: &[[f32; 1]]| power_to_db(x.iter().map(|x| f64::from(x[0]).powi(2)).sum::<f64>());
    let change = |from: usize, to: usize| level(&out[from + 1_024..to + 1_024]) - level(&signal[from..to]);
    let (early, late) = (change(48_000, 48_000 + 4_800), change(48_000 + 9_600, 48_000 + 24_000));
    assert!(early > -1.0 && late < -7.0, "early {early:.2} dB, late {late:.2} dB");
}

/// Noise of 0.5 s falls by 30 dB at once. All of the remainder counts as its late reverberation and is attenuated by
/// the range of 15 dB. Beside a new tone, the attenuation is 0.8 of the range if the tone began with the noise, which
/// then counts as noise. It is 0.55 of the range after two seconds of background noise 60 dB lower, when all of it
/// counts as late. Measured from 6 to 8 kHz under a Hann window, 20 to 60 ms after the fall.
#[test]
fn the_range_applies_to_late_reverberation_only() {
    let rate_hz = 48_000.0;
    let s = DeReverbDesign {
        latency: SpectralLatency::High,
        settings: DeReverbSettings { decay_ms: 1_000.0, range_db: 15.0, ..DeReverbSettings::default() },
    };
    let change = |tone: f64, lead_in: usize| {
        let mut signal = noise(lead_in + 48_000);
        signal[..lead_in].iter_mut().for_each(|frame| frame[0] *= from_db(-60.0) as f32);
        for (n, frame) in signal.iter_mut().enumerate().skip(lead_in + 24_000) {
            frame[0] = frame[0] * from_db(-30.0) as f32 + (tone * (TAU * 500.0 * n as f64 / rate_hz).sin()) as f32;
        }
        let (out, _) = run(s, rate_hz, &signal);
        let level = |x: &[[f32; 1]]| {
            let power = |k: usize| {
                let [re, im] = [f64::cos, f64::sin].map(|wave| {
                    let term = |(n, x): (usize, &[f32; 1])| {
                        let hann = 1.0 - (TAU * n as f64 / 1_920.0).cos();
                        f64::from(x[0]) * hann * wave(TAU * 25.0 * (k * n) as f64 / rate_hz)
                    };
                    x.iter().enumerate().map(term).sum::<f64>()
                });
                re * re + im * im
            };
            power_to_db((240..320).map(power).sum::<f64>())
        };
        let from = lead_in + 24_000 + 960;
        level(&out[from + 1_024..][..1_920]) - level(&signal[from..][..1_920])
    };
    for (lead_in, share) in [(0, 0.8), (96_000, 0.55)] {
        let (alone, beside) = (change(0.0, lead_in), change(0.3, lead_in));
        assert!(
            (alone + 15.0).abs() < 0.3 && (beside + 15.0 * share).abs() < 0.3,
            "after {lead_in} samples: noise alone {alone:.2} dB, beside a tone {beside:.2} dB"
        );
    }
}

/// Reverberant bursts of half a second, every two seconds, 54 dB above the background noise of a clean recording. From
/// the second burst on that noise is left untouched, apart from the part that counts as late reverberation. Measured
/// over the last 0.2 s before the third burst. At 20 dB below the bursts it is attenuated as noise.
#[test]
fn the_noise_floor_of_a_clean_recording_is_found_by_the_second_phrase() {
    let change = |over_db: f64| {
        let mut signal = noise(4 * 48_000 + 1_024);
        for (n, frame) in signal.iter_mut().enumerate() {
            let after_s = (n % 96_000).saturating_sub(24_000) as f64 / 48_000.0;
            frame[0] *= (from_db(-60.0 * after_s / 0.3) + from_db(-over_db)) as f32;
        }
        let s = DeReverbDesign {
            latency: SpectralLatency::High,
            settings: DeReverbSettings { decay_ms: 300.0, ..DeReverbSettings::default() },
        };
        let (out, _) = run(s, 48_000.0, &signal);
        let level = |x: &[[f32; 1]]| power_to_db(x.iter().map(|x| f64::from(x[0]).powi(2)).sum::<f64>());
        let from = 4 * 48_000 - 12_000;
        level(&out[from + 1_024..][..9_000]) - level(&signal[from..][..9_000])
    };
    let (clean, noisy) = (change(54.0), change(20.0));
    assert!(clean > -1.5 && noisy < -10.0, "clean {clean:.2} dB, noisy {noisy:.2} dB");
}

/// An invalid burst of 10 ms, 180 dB over full scale, does not hide the background noise: four seconds later the noise
/// is attenuated.
#[test]
fn an_invalid_burst_does_not_hold_the_peak_level() {
    let mut signal = noise(6 * 48_000);
    for (n, frame) in signal.iter_mut().enumerate() {
        let voice = if n % 48_000 < 24_000 { 1.0 } else { 0.1 };
        frame[0] *= if (96_000..96_480).contains(&n) { 1e10 } else { voice };
    }
    let s = DeReverbDesign {
        latency: SpectralLatency::High,
        settings: DeReverbSettings { decay_ms: 300.0, ..DeReverbSettings::default() },
    };
    let (out, _) = run(s, 48_000.0, &signal);
    let level = |x: &[[f32; 1]]| power_to_db(x.iter().map(|x| f64::from(x[0]).powi(2)).sum::<f64>());
    let from = 5 * 48_000 + 36_000;
    let change = level(&out[from + 1_024..][..9_000]) - level(&signal[from..][..9_000]);
    assert!(change < -8.0, "{change:.2} dB");
}

/// The start position in the ring buffer does not matter: switched on one sample later, the stage does the same.
#[test]
fn processing_starts_at_any_sample() {
    let rate = SampleRate::new(48_000.0).unwrap();
    let signal = noise(48_000);
    for latency in [SpectralLatency::Low, SpectralLatency::High] {
        let s =
            DeReverbDesign { latency, settings: DeReverbSettings { decay_ms: 600.0, ..DeReverbSettings::default() } };
        let coefs = <DeReverb as Stage<1>>::design(&s, rate).unwrap();
        let [even, odd] = [1_000, 1_001].map(|before| {
            let mut state = Box::new(DeReverbState::BLANK);
            DeReverb::run_bypassed(StageContext::new(&coefs, &mut *state), &mut std::vec![[0.0]; before]);
            let mut frames = signal.clone();
            DeReverb::run(StageContext::new(&coefs, &mut *state), &mut frames);
            frames
        });
        let power = |x: &mut dyn Iterator<Item = f32>| power_to_db(x.map(|x| f64::from(x).powi(2)).sum::<f64>());
        let (all, difference) =
            (power(&mut even.iter().map(|x| x[0])), power(&mut even.iter().zip(&odd).map(|(a, b)| a[0] - b[0])));
        assert!(difference < all - 20.0, "{latency:?}: difference {difference:.1} dB, signal {all:.1} dB");
    }
}

/// Dry decay times, and an amount of zero, return the delayed input bit for bit.
#[test]
fn dry_settings_return_the_delayed_input() {
    let signal = noise(30_000);
    for (decay_ms, amount_percent) in [(169.0, 100.0), (800.0, 0.0)] {
        let s = DeReverbDesign {
            latency: SpectralLatency::High,
            settings: DeReverbSettings { decay_ms, amount_percent, ..Default::default() },
        };
        let (out, _) = run(s, 48_000.0, &signal);
        assert!(out[1_024..].iter().zip(&signal).all(|(o, x)| o == x), "{decay_ms} ms");
    }
}

/// Computed by hand: half of an attenuation by 12 dB leaves 0.5 + 0.5 * 0.2512 = 0.6256, which is 4.07 dB. Halfway from
/// dry to reverberant the strength is half.
#[test]
fn the_late_reverberation_follows_the_settings() {
    for rate_hz in [8_000.0, 44_100.0, 48_000.0, 192_000.0] {
        for latency in [SpectralLatency::Low, SpectralLatency::High] {
            for (decay_ms, amount_percent, max_attenuation_db) in [
                (600.0, 100.0, 12.0),
                (600.0, 50.0, 4.07),
                (175.0, 100.0, 4.07),
                (169.0, 100.0, 0.0),
                (600.0, 0.0, 0.0),
            ] {
                let s = DeReverbDesign {
                    latency,
                    settings: DeReverbSettings { decay_ms, amount_percent, range_db: 12.0, ..Default::default() },
                };
                let coefs = <DeReverb as Stage<1>>::design(&s, SampleRate::new(rate_hz).unwrap()).unwrap();
                let late = coefs.late_reverberation().unwrap();
                assert!((late.max_attenuation_db - max_attenuation_db).abs() < 0.01, "{late:?}");
                // The multiples that the stage uses: 1.4 for short decay times, 1.2 for medium ones.
                let multiple = if decay_ms < 280.0 { 1.4 } else { 1.2 };
                assert!((late.decay_s * 1e3 / (multiple * decay_ms) - 1.0).abs() < 1e-5, "{late:?}");
                // What the stage takes for late reverberation has decayed along the drawn line.
                let until_late = late.onset_s - coefs.stft.hop_s;
                let kept_db = power_to_db(f64::from(coefs.parameters.decay_until_late));
                assert!((kept_db + 60.0 * until_late / late.decay_s).abs() < 1e-3, "{late:?} {kept_db} dB");
                // 43 ms, to the nearest hop.
                assert!((late.onset_s - 0.0427).abs() < 0.006, "{rate_hz} {late:?}");
            }
        }
    }
    let coefs = <DeReverb as Stage<1>>::design(
        &DeReverbDesign::from(&StripSettings::default()),
        SampleRate::new(48_000.0).unwrap(),
    )
    .unwrap();
    assert_eq!(coefs.late_reverberation(), None, "no latency");
}

every_number_is_checked! {
    DeReverb,
    DeReverbDesign { latency: SpectralLatency::High, settings: DeReverbSettings::default() },
    parameters.decay_per_hop = f32::NAN,
    parameters.decay_until_late = f32::NAN,
    parameters.reverberant_share = f32::NAN,
    parameters.feed_smoothing = f32::NAN,
    parameters.decision_directed_weight = f32::NAN,
    parameters.floor = f32::NAN,
    parameters.strength = f32::NAN,
    parameters.noise_only_strength = f32::NAN,
    parameters.detection_weight = f32::NAN,
    stft.noise_smoothing = f32::NAN,
    stft.peak_rise = f32::NAN,
    stft.peak_decay = f32::NAN,
    stft.full_scale = f32::NAN,
    stft.noise_bias = f32::NAN,
    stft.noise_rise = f32::NAN,
    stft.noise_min_rise = f32::NAN,
    stft.hop_s = f64::NAN,
    stft.hop_s = 0.0,
    stft.prediction.kept = f32::NAN,
    stft.prediction.known_decay = f32::NAN,
    stft.prediction.power_smoothing = f32::NAN,
    stft.prediction.peak_decay = f32::NAN,
    stft.prediction.correlation_smoothing = f32::NAN,
}
