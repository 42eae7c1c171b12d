use super::super::tests::run;
use super::*;
use crate::math::{from_db, power_to_db};
use crate::settings::{DeReverbSettings, SpectralLatency};
use crate::stages::DeReverbDesign;
use crate::stages::de_reverb::suppressor::Suppressor;
use crate::stages::{DeReverb, Stage};
use crate::units::SampleRate;
extern crate std;
use std::boxed::Box;
use std::vec::Vec;

/// White noise, uniform from -1 to 1.
fn noise(mut seed: u32) -> impl FnMut() -> f64 {
    move || {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f64::from(seed >> 8) / 8_388_608.0 - 1.0
    }
}

/// Noise in all predicted bands.
fn spectrum(stft: &Stft, gain: f64, noise: &mut impl FnMut() -> f64) -> [[f32; HALF]; 2] {
    let mut z = [[0.0; HALF]; 2];
    for x in z.iter_mut().flat_map(|part| part.iter_mut().take(4 * stft.prediction.band_groups)) {
        *x = (gain * noise()) as f32;
    }
    z
}

/// Dry and late sound of syllables: noise of 60 to 180 ms with pauses of the same length, and one second of silence
/// every four. The late sound is that of a room with this decay time after its first 50 ms: decaying noise, 3 dB below
/// the direct sound in total.
fn syllables(seconds: usize, t60: f64) -> [Vec<f64>; 2] {
    let mut random = noise(11);
    let mut dry = std::vec![0.0; seconds * 48_000];
    let mut at = 0;
    while at < dry.len() {
        let length = 2_880 + (2_880.0 * (1.0 + random())) as usize;
        for x in dry.iter_mut().skip(at).take(length) {
            *x = 0.1 * random();
        }
        at += 2 * length;
        if at % 192_000 > 144_000 {
            at += 48_000;
        }
    }
    // Every fortieth sample of the impulse response, with the energy of all.
    let response: Vec<(usize, f64)> = (2_400..(t60 * 48_000.0) as usize)
        .step_by(40)
        .map(|n| (n, random() * from_db(-60.0 * n as f64 / 48_000.0 / t60)))
        .collect();
    let energy: f64 = response.iter().map(|(_, x)| x * x).sum();
    let gain = (0.5 / energy).sqrt();
    let mut late = std::vec![0.0; dry.len()];
    for (delay, x) in response {
        for (to, from) in late[delay..].iter_mut().zip(&dry) {
            *to += gain * x * from;
        }
    }
    [dry, late]
}

fn settings(latency: SpectralLatency, decay_ms: f64) -> DeReverbDesign {
    DeReverbDesign { latency, settings: DeReverbSettings { decay_ms, ..DeReverbSettings::default() } }
}

/// Output of the stage with its delay removed.
fn processed(s: DeReverbDesign, x: &[f64]) -> Vec<f64> {
    let delay = Stft::new(s.latency, SampleRate::new(48_000.0).unwrap()).synthesis;
    let frames: Vec<[f32; 1]> = x.iter().map(|x| [*x as f32]).chain(std::iter::repeat_n([0.0], delay)).collect();
    run(s, 48_000.0, &frames).0[delay..].iter().map(|x| f64::from(x[0])).collect()
}

fn sum(a: &[f64], b: &[f64]) -> Vec<f64> {
    a.iter().zip(b).map(|(a, b)| a + b).collect()
}

/// Predictable sound is subtracted and new sound is not. Noise spectra come with half of the noise of a delay and a
/// stride before: more than half the power of the latter is removed. If the added half is other noise, almost nothing
/// is removed.
#[test]
fn predictable_reverberation_is_removed() {
    let rate = SampleRate::new(48_000.0).unwrap();
    for latency in [SpectralLatency::High, SpectralLatency::Low] {
        let stft = Stft::new(latency, rate);
        let coefs = <DeReverb as Stage<1>>::design(&settings(latency, 600.0), rate).unwrap();
        let back = stft.prediction.delay + stft.prediction.stride;
        let left_db = |own: bool| {
            let mut noise = noise(3);
            let mut spectrum = || Box::new(spectrum(&stft, 1.0, &mut noise));
            let direct: Vec<_> = (0..4_000).map(|_| spectrum()).collect();
            let other: Vec<_> = (0..4_000).map(|_| spectrum()).collect();
            let suppressor = Box::new(Suppressor::with_late(1e6));
            let mut predictor = Box::new(Predictor::<1>::BLANK);
            let parameters =
                Parameters { floor: 0.0, detection_weight: 0.0, decay_until_late: 1.0, ..coefs.parameters };
            let (mut before, mut after) = (0.0, 0.0);
            for hop in back..direct.len() {
                let late = if own { &direct[hop - back] } else { &other[hop - back] };
                let mut observed = [*direct[hop]];
                for (part, late) in observed[0].iter_mut().zip(late.iter()) {
                    part.iter_mut().zip(late).for_each(|(x, late)| *x += 0.5 * late);
                }
                predictor.hop(&stft, &parameters, &mut observed, suppressor.interference());
                // The first bin is not predicted.
                for k in (1..4 * stft.prediction.band_groups).filter(|_| hop > 3_000) {
                    for c in 0..2 {
                        let (late, left) = (0.5 * late[c][k], observed[0][c][k] - direct[hop][c][k]);
                        before += f64::from(late * late);
                        after += f64::from(left * left);
                    }
                }
            }
            power_to_db(after / before)
        };
        let (own, other) = (left_db(true), left_db(false));
        std::println!("{latency:?}: {own:.1} dB, unrelated noise {other:.1} dB");
        assert!(own < -3.0 && other.abs() < 0.5, "{latency:?}: {own:.1} dB, unrelated noise {other:.1} dB");
    }
}

/// Level of the change made by the stage between these seconds, dB relative to the input.
fn change_db(s: DeReverbDesign, x: &[f64], seconds: [usize; 2]) -> f64 {
    let out = processed(s, x);
    let within = |x: &[f64]| x[48_000 * seconds[0]..48_000 * seconds[1]].to_vec();
    let power = |x: &[f64]| x.iter().map(|x| x * x).sum::<f64>();
    let difference: Vec<f64> = within(&out).iter().zip(within(x)).map(|(a, b)| a - b).collect();
    power_to_db(power(&difference) / power(&within(x)))
}

/// Small rooms and some dry voices measure a decay time of 0.23 s. The stage acts on reverberant recordings only.
#[test]
fn a_short_decay_time_acts_only_in_a_reverberant_recording() {
    for latency in [SpectralLatency::High, SpectralLatency::Low] {
        let [dry, late] = syllables(24, 0.3);
        let change_db = |x: &[f64]| change_db(settings(latency, 230.0), x, [20, 24]);
        let (dry_db, reverberant) = (change_db(&dry), change_db(&sum(&dry, &late)));
        std::println!("{latency:?}: dry {dry_db:.1} dB, reverberant {reverberant:.1} dB");
        assert!(
            dry_db < -60.0 && reverberant > -20.0,
            "{latency:?}: dry {dry_db:.1} dB, reverberant {reverberant:.1} dB"
        );
    }
}

/// The evidence required grows with the learning time. Reverberation 20 dB below the voice is detected in part: equally
/// in the fifth and in the twentieth second, within 3 dB of the change.
#[test]
fn reverberation_is_detected_once_it_is_learnt() {
    let [dry, late] = syllables(24, 0.3);
    let weak: Vec<f64> = late.iter().map(|x| from_db(-17.0) * x).collect();
    let reverberant = sum(&dry, &weak);
    for latency in [SpectralLatency::High, SpectralLatency::Low] {
        let [early, later] =
            [[4, 8], [20, 24]].map(|seconds| change_db(settings(latency, 230.0), &reverberant, seconds));
        std::println!("{latency:?}: {early:.1} dB, later {later:.1} dB");
        assert!(later > -40.0 && (early - later).abs() < 3.0, "{latency:?}: {early:.1} dB, later {later:.1} dB");
    }
}

/// A detection is kept bit-exactly in silence and updated by further sound.
#[test]
fn detection_is_kept_in_silence() {
    let rate = SampleRate::new(48_000.0).unwrap();
    for latency in [SpectralLatency::High, SpectralLatency::Low] {
        let stft = Stft::new(latency, rate);
        let coefs = <DeReverb as Stage<1>>::design(&settings(latency, 230.0), rate).unwrap();
        let mut suppressor = Box::new(Suppressor::BLANK);
        suppressor.clear();
        let mut predictor = Box::new(Predictor::<1>::BLANK);
        let mut noise = noise(7);
        let mut weight_after = |hops: usize, gain: f64| {
            for _ in 0..hops {
                let mut observed = [spectrum(&stft, gain, &mut noise)];
                predictor.hop(&stft, &coefs.parameters, &mut observed, suppressor.interference());
            }
            predictor.correlation.weight()
        };
        weight_after(1_000, 1.0);
        // After the last sound that predictions still use.
        let known = weight_after(stft.prediction.slots(), 0.0);
        let later = weight_after(10_000, 0.0);
        assert!(known > 0.0 && later == known, "{latency:?}: {known}, later {later}");
        let other = weight_after(1_000, 1.0);
        assert!((other / known - 1.0).abs() > 1e-3, "{latency:?}: {known}, after more sound {other}");
    }
}

/// A detection is kept while only noise is present, 25 dB below the syllables. A voice that returns after 20 s is
/// processed within its first second. At this decay time noise is left untouched without detected reverberation.
#[test]
fn detection_is_kept_in_noise() {
    let [dry, late] = syllables(16, 0.3);
    let with_a_gap = |x: &[f64]| {
        let x = [x, &std::vec![0.0; 20 * 48_000], x].concat();
        x.iter().zip(core::iter::repeat_with(noise(17))).map(|(x, noise)| x + 0.0056 * noise).collect::<Vec<_>>()
    };
    let [dry_db, reverberant] = [with_a_gap(&dry), with_a_gap(&sum(&dry, &late))];
    for latency in [SpectralLatency::High, SpectralLatency::Low] {
        let [dry_db, reverberant] = [&dry_db, &reverberant].map(|x| change_db(settings(latency, 183.0), x, [36, 37]));
        std::println!("{latency:?}: dry {dry_db:.1} dB, reverberant {reverberant:.1} dB");
        assert!(
            dry_db < -50.0 && reverberant > -25.0,
            "{latency:?}: dry {dry_db:.1} dB, reverberant {reverberant:.1} dB"
        );
    }
}

/// A note of three seconds, repeated five times, is not treated as its own late reverberation. At 0.6 s the late part
/// of steady sound is 0.285: a hop of 5.33 ms keeps 0.903, a feed of 0.15 sums up to 0.58, of which 0.49 remain 43 ms
/// later. Prediction may remove twice the late part (1 / 1.57, -2.0 dB). The gain for sound 3.5 times its late part,
/// with a memory of 0.87, settles at 0.56 (-5.0 dB). Without the limit more than 8 dB are removed. At 0.25 s the late
/// part is 0.089 (a hop keeps 0.810, 43 ms keep 0.229). Prediction may remove eight times the late part (1 / 1.71,
/// -2.3 dB). The gain, for sound 22 times the half that counts, is 0.4 dB.
#[test]
fn a_held_note_is_not_treated_as_reverberation() {
    let note: Vec<f64> = (0..20 * 48_000)
        .map(|n| {
            let t = n as f64 / 48_000.0;
            let (within, shape) = (t % 4.0, |k: f64| libm::sin(core::f64::consts::TAU * 220.0 * k * t) / k);
            let gain = (within / 0.03).min((3.0 - within) / 0.03).clamp(0.0, 1.0);
            0.05 * gain * (1..12).map(|k| shape(f64::from(k))).sum::<f64>()
        })
        .collect();
    let power = |x: &[f64]| x[17 * 48_000..18 * 48_000].iter().map(|x| x * x).sum::<f64>();
    for latency in [SpectralLatency::High, SpectralLatency::Low] {
        for (decay_ms, least_db) in [(600.0, -7.3), (250.0, -3.1)] {
            let change_db = power_to_db(power(&processed(settings(latency, decay_ms), &note)) / power(&note));
            std::println!("{latency:?}, {decay_ms} ms: {change_db:.2} dB");
            assert!(change_db > least_db, "{latency:?}, {decay_ms} ms: {change_db:.2} dB");
        }
    }
}

/// Every band up to the limit is predicted, at every rate.
#[test]
fn the_history_fits_at_every_rate() {
    for hz in (8_000..=192_000).step_by(50) {
        for latency in [SpectralLatency::High, SpectralLatency::Low] {
            let stft = Stft::new(latency, SampleRate::new(f64::from(hz)).unwrap());
            let top_hz = 4.0 * stft.prediction.band_groups as f64 * f64::from(hz) / stft.analysis as f64;
            assert!(
                stft.past() <= PAST && stft.prediction.band_groups <= MAX_BAND_GROUPS,
                "{hz} Hz: {} values",
                stft.past()
            );
            assert!(top_hz >= 2_999.0, "{hz} Hz, {latency:?}: up to {top_hz} Hz");
        }
    }
}

/// The coefficients solve the normal equations: the remainder is negligible compared with the right-hand side.
#[test]
fn the_normal_equations_are_solved() {
    let mut noise = noise(5);
    let mut random = || f32x4::from([(); 4].map(|()| noise() as f32));
    let mut group = Box::new(BandGroup::BLANK);
    let mut past: Vec<Complex4> = Vec::new();
    for _ in 0..400 {
        // Each value follows from those one, three and six before.
        let mut now = Complex4 { re: random(), im: random() };
        let n = past.len();
        if n >= TAPS {
            for (back, share) in [(1, 0.5), (3, -0.3), (6, 0.2)] {
                now = now.plus(past[n - back].scaled(f32x4::splat(share)));
            }
            let taps = core::array::from_fn(|k| past[n - 1 - k]);
            group.residual = f32x4::splat(0.5);
            group.learn(&taps, now, Complex4::ZERO, 0.0, 0.999);
        }
        past.push(now);
    }
    group.solve();
    for lane in 0..4 {
        let number = |v: &Complex4| [f64::from(v.re.to_array()[lane]), f64::from(v.im.to_array()[lane])];
        for i in 0..TAPS {
            let mut left = number(&group.rhs[i]);
            let size = left[0].hypot(left[1]) + f64::from(REGULARISATION);
            for k in 0..TAPS {
                // Pairs are stored tap by tap: (0, 1), (0, 2), ... (1, 2), ...
                let pair = |a: usize, b: usize| number(&group.upper[a * (2 * TAPS - a - 1) / 2 + b - a - 1]);
                let [re, im] = match k.cmp(&i) {
                    core::cmp::Ordering::Equal => {
                        [f64::from((group.diagonal[i] + REGULARISATION).to_array()[lane]), 0.0]
                    }
                    core::cmp::Ordering::Greater => pair(i, k),
                    core::cmp::Ordering::Less => {
                        let [re, im] = pair(k, i);
                        [re, -im]
                    }
                };
                let [x, y] = number(&group.coefs[k]);
                left = [left[0] - (re * x - im * y), left[1] - (re * y + im * x)];
            }
            assert!(left[0].hypot(left[1]) < 1e-4 * size, "tap {i}, lane {lane}: {left:?} of {size}");
        }
        // The generating coefficients are found, apart from the regularisation.
        for (k, share) in [0.5, 0.0, -0.3, 0.0, 0.0, 0.2].into_iter().enumerate() {
            let [re, im] = number(&group.coefs[k]);
            assert!((re - share).abs() < 0.12 && im.abs() < 0.12, "tap {k}, lane {lane}: {re} {im}, not {share}");
        }
    }
}
