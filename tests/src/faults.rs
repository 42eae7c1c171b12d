//! Known faults of known size, added to recorded voices.
//!
//! All signals have one channel at [`RATE_HZ`] and are repeatable. Nothing here comes from the code under test: the
//! filters are those of the `biquad` package (Audio EQ Cookbook), and the active level is an independent implementation
//! of ITU-T P.56.

use crate::recordings::{RATE_HZ, to_48k};
use crate::signals::{gain, rms_db};
use crate::spectra::Noise;
use biquad::{Biquad, Coefficients, DirectForm2Transposed, Hertz, Type};
use std::f64::consts::TAU;
use voicechain_examples::resample::Resampler;

/// Centre frequency (Hz) and Q of the band of sharp fricatives: 4 to 10 kHz.
const SIBILANT: (f64, f64) = (6_700.0, 0.8);
/// Length of a transient, s.
const TRANSIENT_S: f64 = 0.08;
/// Length of a gain change, s.
const RAMP_S: f64 = 0.02;
/// Length of a block over which a level is measured, s.
const PIECE_S: f64 = 0.01;
/// P.56: margin between the active level and its threshold, dB.
const MARGIN_DB: f64 = 15.9;
/// Number of voices in a babble.
pub const TALKERS: usize = 8;

/// Kind of background noise.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoiseKind {
    /// Equal power in every octave.
    Pink,
    /// Air from a duct: flat up to 100 Hz, then -6 dB per octave.
    Ventilation,
    /// Rectified mains: all harmonics of 100 Hz, falling by 6 dB per octave, and some hiss.
    Buzz,
    /// [`TALKERS`] other voices at once.
    Babble,
}

impl NoiseKind {
    /// All kinds.
    pub const ALL: [Self; 4] = [Self::Pink, Self::Ventilation, Self::Buzz, Self::Babble];
}

fn rate() -> f64 {
    f64::from(RATE_HZ)
}

fn filtered(samples: &[f32], kind: Type<f64>, hz: f64, q: f64) -> Vec<f32> {
    let hertz = |hz| Hertz::<f64>::from_hz(hz).expect("a frequency");
    let coefs = Coefficients::from_params(kind, hertz(rate()), hertz(hz), q).expect("a filter below half the rate");
    let mut filter = DirectForm2Transposed::<f64>::new(coefs);
    samples.iter().map(|&x| filter.run(f64::from(x)) as f32).collect()
}

/// Bell of the Audio EQ Cookbook.
#[must_use]
pub fn bell(samples: &[f32], hz: f64, gain_db: f64, q: f64) -> Vec<f32> {
    filtered(samples, Type::PeakingEQ(gain_db), hz, q)
}

/// Telephone band, 300 Hz to 3.4 kHz: fourth-order Butterworth filters at both ends.
#[must_use]
pub fn telephone_band(samples: &[f32]) -> Vec<f32> {
    [0.541_2, 1.306_6].iter().fold(samples.to_vec(), |band, &q| {
        filtered(&filtered(&band, Type::HighPass, 300.0, q), Type::LowPass, 3_400.0, q)
    })
}

/// Boosts fricatives, and nothing else, by `gain_db` around 6.7 kHz. [`fricatives`] detects them.
#[must_use]
pub fn with_more_sibilance(samples: &[f32], gain_db: f64) -> Vec<f32> {
    let whole = bell(samples, SIBILANT.0, gain_db, SIBILANT.1);
    let open = fricatives(samples);
    samples.iter().zip(&whole).zip(&open).map(|((&x, &more), &open)| x + open * (more - x)).collect()
}

/// Band-pass between two frequencies: a second-order Butterworth filter at each end.
#[must_use]
pub fn band(samples: &[f32], low_hz: f64, high_hz: f64) -> Vec<f32> {
    let butterworth = std::f64::consts::FRAC_1_SQRT_2;
    filtered(&filtered(samples, Type::HighPass, low_hz, butterworth), Type::LowPass, high_hz, butterworth)
}

/// Membership of every sample in a fricative, 0 to 1, with ramps of 5 ms.
///
/// A block of 10 ms is a fricative if its level from 4 to 10 kHz exceeds that from 100 Hz to 1.5 kHz less 5 dB and is
/// at most 35 dB below the voice; a majority of three blocks decides.
#[must_use]
pub fn fricatives(samples: &[f32]) -> Vec<f32> {
    let narrow = |low_hz, high_hz| piece_levels(&band(samples, low_hz, high_hz));
    let (high, low) = (narrow(4_000.0, 10_000.0), narrow(100.0, 1_500.0));
    let voice = active_level(samples);
    let detected: Vec<bool> = high.iter().zip(&low).map(|(&h, &l)| h - l > -5.0 && h > voice - 35.0).collect();
    let majority: Vec<bool> = (0..detected.len())
        .map(|at| (at.saturating_sub(1)..(at + 2).min(detected.len())).filter(|&n| detected[n]).count() >= 2)
        .collect();
    let piece = (PIECE_S * rate()) as usize;
    let ramp = (0.005 * rate()) as f32;
    let mut open = 0.0_f32;
    (0..samples.len())
        .map(|n| {
            let wanted = majority.get(n / piece).copied().unwrap_or(false);
            open = (open + if wanted { 1.0 } else { -1.0 } / ramp).clamp(0.0, 1.0);
            open
        })
        .collect()
}

/// Adds mains hum of ten harmonics of different levels, as from a transformer. `level_dbfs` is its total level.
#[must_use]
pub fn with_hum(samples: &[f32], mains_hz: f64, level_dbfs: f64) -> Vec<f32> {
    const HARMONICS_DB: [f64; 10] = [0.0, -4.0, -3.0, -10.0, -8.0, -14.0, -12.0, -18.0, -16.0, -20.0];
    let power: f64 = HARMONICS_DB.iter().map(|db| 0.5 * gain(*db).powi(2)).sum();
    let scale = gain(level_dbfs) / power.sqrt();
    let add = |n: usize| -> f64 {
        let turns = mains_hz * n as f64 / rate();
        let line = |(k, db): (usize, &f64)| gain(*db) * (TAU * ((k + 1) as f64 * turns).fract() + k as f64).sin();
        scale * HARMONICS_DB.iter().enumerate().map(line).sum::<f64>()
    };
    samples.iter().enumerate().map(|(n, &x)| (f64::from(x) + add(n)) as f32).collect()
}

/// Background noise with a root mean square of 1; `others` are the voices of a babble.
///
/// # Panics
///
/// If `kind` is a babble and `others` is empty.
#[must_use]
pub fn background_noise(kind: NoiseKind, samples: usize, others: &[&[f32]], seed: u64) -> Vec<f32> {
    let mut random = Noise::new(seed);
    let mut white = || (0..samples).map(|_| random.sample() as f32).collect::<Vec<f32>>();
    let mut noise: Vec<f32> = match kind {
        NoiseKind::Pink => pink(&white()),
        NoiseKind::Ventilation => {
            filtered(&filtered(&white(), Type::SinglePoleLowPass, 100.0, 1.0), Type::HighPass, 20.0, 0.7)
        }
        NoiseKind::Buzz => {
            let hiss = white();
            let buzz = |n: usize| -> f64 {
                let turns = 100.0 * n as f64 / rate();
                (1..=60).map(|k| (TAU * (f64::from(k) * turns).fract() + f64::from(k * k)).sin() / f64::from(k)).sum()
            };
            // One period of 100 Hz at 48 kHz is 480 samples.
            let period: Vec<f64> = (0..480).map(buzz).collect();
            hiss.iter().enumerate().map(|(n, hiss)| period[n % 480] as f32 + 0.1 * hiss).collect()
        }
        NoiseKind::Babble => {
            assert!(!others.is_empty(), "a babble needs voices");
            let mut sum = vec![0.0_f32; samples];
            for talker in 0..TALKERS {
                let voice = others[talker % others.len()];
                let scale = gain(-active_level(voice)) as f32;
                let from = (random.between(0.0, 1.0) * voice.len() as f64) as usize;
                for (n, to) in sum.iter_mut().enumerate() {
                    *to += scale * voice[(from + n) % voice.len()];
                }
            }
            sum
        }
    };
    let scale = gain(-level(&noise)) as f32;
    noise.iter_mut().for_each(|x| *x *= scale);
    noise
}

/// Adds noise `snr_db` below the active level of the voice. Returns the mixture and the level of the noise, dBFS.
#[must_use]
pub fn with_noise(samples: &[f32], kind: NoiseKind, snr_db: f64, others: &[&[f32]], seed: u64) -> (Vec<f32>, f64) {
    let level = active_level(samples) - snr_db;
    let scale = gain(level) as f32;
    let noise = background_noise(kind, samples.len(), others, seed);
    (samples.iter().zip(noise).map(|(&x, n)| x + scale * n).collect(), level)
}

/// Pink filter: first-order sections by P. Kellet, within 0.05 dB of -3 dB per octave above 10 Hz at 44.1 kHz (from
/// memory; tested below at 48 kHz).
fn pink(white: &[f32]) -> Vec<f32> {
    const POLES: [(f64, f64); 6] = [
        (0.99886, 0.055_517_9),
        (0.99332, 0.075_075_9),
        (0.969, 0.153_852),
        (0.8665, 0.310_485_6),
        (0.55, 0.532_952_2),
        (-0.7616, -0.016_898),
    ];
    let (mut state, mut last) = ([0.0_f64; 6], 0.0);
    white
        .iter()
        .map(|&x| {
            let x = f64::from(x);
            for (state, (pole, gain)) in state.iter_mut().zip(POLES) {
                *state = pole * *state + gain * x;
            }
            let out = state.iter().sum::<f64>() + last + 0.5362 * x;
            last = 0.115_926 * x;
            out as f32
        })
        .collect()
}

/// Boosts pieces of 80 ms by `gain_db`, `per_10_s` of them in ten seconds, each where the voice is active.
#[must_use]
pub fn with_transients(samples: &[f32], gain_db: f64, per_10_s: f64, seed: u64) -> Vec<f32> {
    let mut random = Noise::new(seed);
    let mut gains = vec![0.0_f64; samples.len()];
    let voice = active_level(samples);
    let levels = piece_levels(samples);
    let (length, ramp) = ((TRANSIENT_S * rate()) as usize, (0.005 * rate()) as usize);
    let apart = (10.0 / per_10_s * rate()) as usize;
    for slot in 0..samples.len() / apart {
        // A random position in the slot where the voice is at its usual level.
        for _ in 0..200 {
            let at = slot * apart + (random.between(0.1, 0.9) * apart as f64) as usize;
            let there = |n: usize| levels.get(n / (PIECE_S * rate()) as usize).copied().unwrap_or(-200.0);
            if there(at) > voice - 3.0 && there(at + length) > voice - 12.0 && at + length < samples.len() {
                for n in 0..length {
                    let edge = n.min(length - n) as f64 / ramp as f64;
                    gains[at + n] = gain_db * edge.min(1.0);
                }
                break;
            }
        }
    }
    samples.iter().zip(gains).map(|(&x, db)| (f64::from(x) * gain(db)) as f32).collect()
}

/// Changes the level by `step_db` every two to five seconds, alternately down and up, at the quietest moment within 0.7
/// s.
#[must_use]
pub fn with_level_steps(samples: &[f32], step_db: f64, seed: u64) -> Vec<f32> {
    let mut random = Noise::new(seed);
    let levels = piece_levels(samples);
    let piece = (PIECE_S * rate()) as usize;
    let quiet = |at: f64| {
        let middle = (at / PIECE_S) as usize;
        let from = middle.saturating_sub(70).min(levels.len().saturating_sub(1));
        let to = (middle + 70).min(levels.len());
        (from..to).min_by(|a, b| levels[*a].total_cmp(&levels[*b])).unwrap_or(from) * piece
    };
    let mut at_s = random.between(2.0, 5.0);
    let mut changes = Vec::new();
    while at_s < samples.len() as f64 / rate() {
        changes.push(quiet(at_s));
        at_s += random.between(2.0, 5.0);
    }
    let ramp = step_db / (RAMP_S * rate());
    let (mut next, mut wanted, mut db) = (0, 0.0, 0.0_f64);
    samples
        .iter()
        .enumerate()
        .map(|(n, &x)| {
            while changes.get(next).is_some_and(|change| *change <= n) {
                wanted = -step_db - wanted;
                next += 1;
            }
            db += (wanted - db).clamp(-ramp, ramp);
            (f64::from(x) * gain(db)) as f32
        })
        .collect()
}

/// Resamples to a lower rate and back: nothing remains above half the lower rate.
#[must_use]
pub fn resampled_through(samples: &[f32], rate_hz: u32) -> Vec<f32> {
    let mut narrow = Vec::new();
    let mut down = Resampler::new(RATE_HZ, rate_hz, 1).expect("usual sample rates");
    down.push(samples, &mut narrow);
    down.finish(&mut narrow);
    let mut back = to_48k(&narrow, rate_hz);
    back.resize(samples.len(), 0.0);
    back
}

/// Applies a gain.
#[must_use]
pub fn with_gain(samples: &[f32], gain_db: f64) -> Vec<f32> {
    samples.iter().map(|&x| (f64::from(x) * gain(gain_db)) as f32).collect()
}

/// Convolves with an impulse response whose largest value is moved to time 0; the output has the level of the input.
/// Overlap-add in double precision.
#[must_use]
pub fn in_room(samples: &[f32], response: &[f64]) -> Vec<f32> {
    let length = (2 * response.len()).next_power_of_two();
    let step = length - response.len();
    let mut filter = vec![[0.0; 2]; length];
    filter.iter_mut().zip(response).for_each(|(to, x)| to[0] = *x);
    transform(&mut filter, false);
    let first = (0..response.len()).max_by(|a, b| response[*a].abs().total_cmp(&response[*b].abs())).unwrap_or(0);
    let mut wet = vec![0.0; samples.len() + length];
    for (block, piece) in samples.chunks(step).enumerate() {
        let mut buffer = vec![[0.0; 2]; length];
        buffer.iter_mut().zip(piece).for_each(|(to, x)| to[0] = f64::from(*x));
        transform(&mut buffer, false);
        for (x, h) in buffer.iter_mut().zip(&filter) {
            *x = [x[0] * h[0] - x[1] * h[1], x[0] * h[1] + x[1] * h[0]];
        }
        transform(&mut buffer, true);
        for (to, from) in wet[block * step..].iter_mut().zip(&buffer) {
            *to += from[0] / length as f64;
        }
    }
    let wet: Vec<f32> = wet[first..first + samples.len()].iter().map(|&x| x as f32).collect();
    let change = level(samples) - level(&wet);
    with_gain(&wet, change)
}

/// Fourier transform in place, length a power of two; the inverse is not divided by the length.
fn transform(values: &mut [[f64; 2]], inverse: bool) {
    let length = values.len();
    let bits = length.trailing_zeros();
    for n in 0..length {
        let other = n.reverse_bits() >> (usize::BITS - bits);
        if other > n {
            values.swap(n, other);
        }
    }
    let turn = if inverse { TAU } else { -TAU } / length as f64;
    let turns: Vec<[f64; 2]> =
        (0..length / 2).map(|n| (turn * n as f64).sin_cos()).map(|(sin, cos)| [cos, sin]).collect();
    let mut half = 1;
    while half < length {
        let step = length / (2 * half);
        for pairs in values.chunks_exact_mut(2 * half) {
            let (first, second) = pairs.split_at_mut(half);
            for ((x, y), [cos, sin]) in first.iter_mut().zip(second).zip(turns.iter().step_by(step)) {
                let turned = [y[0] * cos - y[1] * sin, y[0] * sin + y[1] * cos];
                *y = [x[0] - turned[0], x[1] - turned[1]];
                *x = [x[0] + turned[0], x[1] + turned[1]];
            }
        }
        half *= 2;
    }
}

/// Levels of third-octave bands at these centres, dB, from the mean power of frames of 4096 samples under a Hann window.
#[must_use]
pub fn third_octaves<const N: usize>(samples: &[f32], centres_hz: &[f64; N]) -> [f64; N] {
    const FRAME: usize = 4_096;
    let window = |n: usize| 0.5 - 0.5 * (TAU * n as f64 / FRAME as f64).cos();
    let mut powers = [0.0; FRAME / 2];
    for start in (0..samples.len().saturating_sub(FRAME)).step_by(FRAME / 2) {
        let frame = &samples[start..start + FRAME];
        let mut values: Vec<[f64; 2]> =
            frame.iter().enumerate().map(|(n, &x)| [window(n) * f64::from(x), 0.0]).collect();
        transform(&mut values, false);
        powers.iter_mut().zip(&values).for_each(|(sum, [re, im])| *sum += re * re + im * im);
    }
    centres_hz.map(|centre| {
        let edge = |thirds: f64| (centre * 2_f64.powf(thirds / 3.0) * FRAME as f64 / rate()).round() as usize;
        let (from, to) = (edge(-0.5), edge(0.5).min(powers.len()));
        10.0 * (powers[from..to].iter().sum::<f64>() + 1e-20).log10()
    })
}

fn level(samples: &[f32]) -> f64 {
    rms_db(&samples.iter().map(|&x| f64::from(x)).collect::<Vec<f64>>())
}

/// Level of each block of 10 ms, dBFS, at least -200.
#[must_use]
pub fn piece_levels(samples: &[f32]) -> Vec<f64> {
    samples.chunks((PIECE_S * rate()) as usize).map(|piece| level(piece).max(-200.0)).collect()
}

/// Active speech level of ITU-T P.56 method B, dBov: envelope of two exponential averages of 30 ms, thresholds a factor
/// of 2 apart, hang-over 200 ms, interpolated where the level is 15.9 dB above its threshold.
#[must_use]
pub fn active_level(samples: &[f32]) -> f64 {
    const THRESHOLDS: usize = 15;
    let keep = (-1.0 / (0.03 * rate())).exp();
    let hangover = (0.2 * rate()) as u64;
    let (mut p, mut q, mut sum) = (0.0, 0.0, 0.0);
    let mut count = [0_u64; THRESHOLDS];
    let mut since = [hangover; THRESHOLDS];
    for &x in samples {
        let x = f64::from(x);
        sum += x * x;
        p = keep * p + (1.0 - keep) * x.abs();
        q = keep * q + (1.0 - keep) * p;
        for (at, (count, since)) in count.iter_mut().zip(&mut since).enumerate() {
            if q >= 0.5_f64.powi(at as i32 + 1) {
                (*count, *since) = (*count + 1, 0);
            } else if *since < hangover {
                (*count, *since) = (*count + 1, *since + 1);
            }
        }
    }
    // From the lowest threshold upwards: level, and margin over the threshold.
    let mut last: Option<[f64; 2]> = None;
    for at in (0..THRESHOLDS).rev() {
        let threshold_db = -20.0 * 2_f64.log10() * (at as f64 + 1.0);
        if count[at] == 0 {
            break;
        }
        let level = 10.0 * (sum / count[at] as f64).log10();
        let margin = level - threshold_db;
        if margin <= MARGIN_DB {
            let Some([low, wide]) = last else { return level };
            return low + (level - low) * (wide - MARGIN_DB) / (wide - margin);
        }
        last = Some([level, margin]);
    }
    last.map_or(-200.0, |[level, _]| level)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signals::phrases;

    fn voice() -> Vec<f32> {
        phrases(-26.0, rate(), 12.0, 7).iter().map(|&x| x as f32).collect()
    }

    fn band_level(samples: &[f32], hz: f64) -> f64 {
        let once = filtered(samples, Type::BandPass, hz, 4.0);
        level(&filtered(&once, Type::BandPass, hz, 4.0))
    }

    /// ITU-T P.56: the active level of a tone without pauses is its mean square (-23.0 dBov for a sine of -20 dBFS).
    #[test]
    fn active_level_of_a_steady_tone_is_its_mean_square() {
        let tone: Vec<f32> = (0..480_000).map(|n| 0.1 * (TAU * 997.0 * f64::from(n) / rate()).sin() as f32).collect();
        assert!((active_level(&tone) + 23.01).abs() < 0.05, "{}", active_level(&tone));
        // One second on, one second off; the value comes from an independent implementation.
        let keyed: Vec<f32> =
            tone.iter().enumerate().map(|(n, x)| if n / 48_000 % 2 == 0 { *x } else { 0.0 }).collect();
        assert!((active_level(&keyed) + 24.07).abs() < 0.1, "{}", active_level(&keyed));
    }

    #[test]
    fn pink_noise_has_equal_power_in_every_octave() {
        let noise = background_noise(NoiseKind::Pink, 960_000, &[], 1);
        let reference = band_level(&noise, 1_000.0);
        for hz in [62.5, 125.0, 250.0, 500.0, 2_000.0, 4_000.0, 8_000.0] {
            let found = band_level(&noise, hz);
            assert!((found - reference).abs() < 1.0, "{hz} Hz: {found:.1} and {reference:.1} dB");
        }
    }

    #[test]
    fn noise_and_hum_have_the_requested_level() {
        let voice = voice();
        let other: Vec<f32> = phrases(-20.0, rate(), 9.0, 8).iter().map(|&x| x as f32).collect();
        for kind in NoiseKind::ALL {
            let (mixed, stated) = with_noise(&voice, kind, 20.0, &[&other], 3);
            let noise: Vec<f32> = mixed.iter().zip(&voice).map(|(m, v)| m - v).collect();
            assert!((level(&noise) - stated).abs() < 0.01, "{kind:?}");
            assert!((active_level(&voice) - stated - 20.0).abs() < 0.01, "{kind:?}");
        }
        let hum: Vec<f32> = with_hum(&voice, 50.1, -50.0).iter().zip(&voice).map(|(m, v)| m - v).collect();
        assert!((level(&hum) + 50.0).abs() < 0.1);
    }

    /// Vowels stay bit-exact.
    #[test]
    fn with_more_sibilance_changes_fricatives_only() {
        let voice = voice();
        let (sharp, open) = (with_more_sibilance(&voice, 8.0), fricatives(&voice));
        assert!(voice.iter().zip(&sharp).zip(&open).all(|((x, y), open)| *open > 0.0 || x.to_bits() == y.to_bits()));
        let kept = |from: &[f32]| -> Vec<f32> {
            from.iter().zip(&open).filter(|(_, open)| **open == 1.0).map(|(x, _)| *x).collect()
        };
        let more = level(&kept(&sharp)) - level(&kept(&voice));
        assert!((4.0..8.5).contains(&more), "{more}");
        let share = open.iter().filter(|open| **open == 1.0).count() as f64 / open.len() as f64;
        assert!((0.02..0.4).contains(&share), "{share}");
    }

    #[test]
    fn transients_and_level_steps_have_the_requested_gain() {
        let voice = voice();
        let range = |faulty: &[f32]| {
            let each = |(x, y): (&f32, &f32)| if x.abs() > 1e-4 { 20.0 * f64::from(y / x).log10() } else { 0.0 };
            voice.iter().zip(faulty).map(each).fold([0.0_f64; 2], |[low, high], db| [low.min(db), high.max(db)])
        };
        let [low, high] = range(&with_transients(&voice, 14.0, 5.0, 1));
        assert!((high - 14.0).abs() < 0.01 && low > -0.01, "{low} {high}");
        let [low, high] = range(&with_level_steps(&voice, 12.0, 1));
        assert!((low + 12.0).abs() < 0.01 && high < 0.01, "{low} {high}");
    }

    #[test]
    fn resampled_through_removes_only_what_lies_above_the_lower_band() {
        let noise = background_noise(NoiseKind::Pink, 240_000, &[], 2);
        let narrow = resampled_through(&noise, 8_000);
        assert!((band_level(&narrow, 1_000.0) - band_level(&noise, 1_000.0)).abs() < 0.2);
        assert!(band_level(&narrow, 12_000.0) < band_level(&noise, 12_000.0) - 20.0);
    }

    /// One delayed value is a copy; two values add.
    #[test]
    fn in_room_convolves_with_the_impulse_response() {
        let voice = voice();
        let mut response = vec![0.0; 5_000];
        response[100] = 1.0;
        assert!(in_room(&voice, &response).iter().zip(&voice).all(|(a, b)| (a - b).abs() < 1e-6));
        response[1_100] = 0.5;
        let wet = in_room(&voice, &response);
        let direct: Vec<f32> =
            (0..voice.len()).map(|n| voice[n] + if n >= 1_000 { 0.5 * voice[n - 1_000] } else { 0.0 }).collect();
        let scale = gain(level(&voice) - level(&direct)) as f32;
        assert!(wet.iter().zip(&direct).all(|(a, b)| (a - scale * b).abs() < 1e-5));
    }
}
