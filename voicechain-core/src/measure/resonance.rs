//! Resonances: peaks in the envelope of a voice's harmonics.
//!
//! Harmonics sample the response of the vocal tract, the room and the microphone. Their powers, averaged over frames of
//! changing pitch, form an envelope that is much finer than a long-term spectrum, which shows the harmonics themselves.
//! A peak above the smoothed envelope may be a resonance or a feature of the voice. Its frequency can be measured from
//! one recording; its gain cannot.

use super::level_bins::LevelBins;
use super::profile::{MAX_RESONANCES, Measured, Resonance, Resonances, Unavailable};
use super::spectra::{Framing, Spectrum};
use crate::dsp::parabola;
use crate::math::power_to_db;

/// Points of the envelope: 100 Hz to 4 kHz, six per octave.
const POINTS: usize = 33;
const LOWEST_HZ: f64 = 100.0;
const PER_OCTAVE: f64 = 6.0;
/// Points among which resonances are searched: 178 Hz to 1 kHz.
const FIRST: usize = 5;
const LAST: usize = 20;
/// Upper limit of the harmonics, Hz.
const TOP_HZ: f32 = 4_500.0;
/// Maximum number of harmonics: those of the lowest pitch.
const HARMONICS: usize = 72;
/// Search range around the nominal frequency of a harmonic, Hz.
const REACH_HZ: f64 = 23.4;
/// Down to this share of the pitch the envelope is that of the first harmonic.
const MIN_PITCH_RATIO: f32 = 0.92;
/// Maximum ratio between three successive pitches of a steady voice.
const MAX_PITCH_RATIO: f32 = 1.12;
/// Minimum duration of steady voice, s. Shorter ones produce high peaks by chance.
const MIN_S: f64 = 2.0;
/// Minimum number of frames at a point of the envelope.
const MIN_AT_POINT: f64 = 10.0;
/// Minimum share of the frames at a point.
const SHARE_AT_POINT: f64 = 0.08;
/// Standard deviation of the smoothing, points.
const SMOOTHING: f64 = 7.0;
/// Exponent of the power mean over frames. It lies between the mean power, which follows the few loudest vowels, and
/// the mean level, which single faint frames reduce.
const EXPONENT: f32 = 0.3;
/// Minimum distance between resonances, points: 5/12 octave.
const MIN_DISTANCE: f64 = 2.5;
/// Prominence at which the confidence is 0.5, dB. Chosen on the development recordings (see tests/accuracy/RESULTS.md).
const EVEN_ODDS_DB: f64 = 7.65;
/// Duration of steady voice below which chance peaks are higher, s.
const SUFFICIENT_S: f64 = 4.3;
/// Increase of the required prominence per e-fold less duration, dB.
const SHORT_DB: f64 = 3.0;
/// Increase of prominence that multiplies the odds of the confidence by e, dB.
const ODDS_DB: f64 = 1.0;

/// Accumulates the envelope of a voice's harmonics, from pitch and spectra, by frame level.
///
/// Memory 16 kB. Cost about 2 us per voiced frame of 43 ms.
#[derive(Clone, Debug)]
pub(crate) struct ResonanceMeter {
    bin_hz: f32,
    hop_s: f64,
    reach: usize,
    /// Latest pitches, Hz.
    pitches: [Option<f32>; 3],
    /// log2 of the harmonic numbers.
    octaves: [f32; HARMONICS + 1],
    /// Sums of powers raised to [`EXPONENT`] at the points, and the count at each point.
    envelope: LevelBins<{ 2 * POINTS }>,
}

impl ResonanceMeter {
    /// A meter for spectra of long frames.
    pub(crate) fn new(framing: &Framing) -> Self {
        Self {
            bin_hz: framing.bin_hz() as f32,
            hop_s: framing.hop_s(),
            reach: framing.bin(REACH_HZ),
            pitches: [None; 3],
            octaves: core::array::from_fn(|k| libm::log2(k.max(1) as f64) as f32),
            envelope: LevelBins::new(),
        }
    }

    /// Processes the pitch of the next hop of 20 ms.
    pub(crate) fn pitch(&mut self, hz: Option<f32>) {
        self.pitches = [self.pitches[1], self.pitches[2], hz];
    }

    /// Pitch around the centre of the spectrum that has just ended, if steady. Uses the last three hops, whose windows
    /// of about 47 ms start with the spectrum.
    fn steady(&self) -> Option<f32> {
        let [Some(a), Some(b), Some(c)] = self.pitches else { return None };
        let (low, high) = (a.min(b).min(c), a.max(b).max(c));
        (high <= MAX_PITCH_RATIO * low).then_some(a + b + c - low - high)
    }

    /// Processes a spectrum and its level in dB.
    pub(crate) fn frame(&mut self, &Spectrum { powers, .. }: &Spectrum<'_>, level_db: f64) {
        let Some(pitch) = self.steady() else { return };
        let mut levels = [0.0_f32; HARMONICS + 1];
        let top = TOP_HZ.min((powers.len() - 1 - self.reach) as f32 * self.bin_hz);
        let count = ((top / pitch) as usize).min(HARMONICS);
        if count < 2 {
            return;
        }
        for (k, level) in levels.iter_mut().enumerate().take(count + 1).skip(1) {
            let bin = (k as f32 * pitch / self.bin_hz + 0.5) as usize;
            let around = powers.get(bin.saturating_sub(self.reach)..=bin + self.reach).unwrap_or(&[]);
            *level = libm::log2f(around.iter().fold(1e-20, |most, &power| if power > most { power } else { most }));
        }
        let sums = self.envelope.at(level_db);
        let first = libm::log2f(LOWEST_HZ as f32 / pitch);
        let under = libm::log2f(MIN_PITCH_RATIO);
        let mut k = 1;
        for point in 0..POINTS {
            let place = first + point as f32 / PER_OCTAVE as f32;
            if place < under {
                continue;
            }
            while k < count && self.octaves[k + 1] <= place {
                k += 1;
            }
            if k == count {
                break;
            }
            let (from, to) = (self.octaves[k], self.octaves[k + 1]);
            let share = ((place - from) / (to - from)).max(0.0);
            sums[point] += libm::exp2f(EXPONENT * (levels[k] + share * (levels[k + 1] - levels[k])));
            sums[POINTS + point] += 1.0;
        }
    }

    /// Excess of the envelope over its smoothed version at every point, dB, and its duration, s.
    fn excess(&self, active_level_dbov: f64) -> Measured<([f64; POINTS], f64)> {
        let (sums, frames) = self.envelope.speech(active_level_dbov);
        if frames * self.hop_s < MIN_S {
            return Err(Unavailable::TooShort);
        }
        let fewest = MIN_AT_POINT.max(SHARE_AT_POINT * frames);
        let level = |point: usize| {
            let (power, count) = (sums[point], sums[POINTS + point]);
            (count >= fewest && power > 0.0).then(|| power_to_db(power / count) / f64::from(EXPONENT))
        };
        let seen: [Option<f64>; POINTS] = core::array::from_fn(level);
        // A point with too few frames takes the value of its nearest neighbour.
        let at = |point: Option<usize>| point.and_then(|point| seen.get(point).copied().flatten());
        let mut envelope = [0.0; POINTS];
        for (point, db) in envelope.iter_mut().enumerate() {
            let nearest = (0..POINTS).find_map(|away| at(point.checked_sub(away)).or_else(|| at(Some(point + away))));
            *db = nearest.ok_or(Unavailable::TooShort)?;
        }
        Ok((core::array::from_fn(|point| envelope[point] - smoothed(&envelope, point)), frames * self.hop_s))
    }

    /// Up to three resonances, most prominent first, given the active speech level. After the first, a candidate may
    /// lie on the slope of a higher one, where a second peak could hide.
    pub(crate) fn resonances(&self, active_level_dbov: f64) -> Measured<Resonances> {
        let (excess, duration_s) = self.excess(active_level_dbov)?;
        let even_odds_db = EVEN_ODDS_DB + SHORT_DB * libm::log(SUFFICIENT_S / duration_s).max(0.0);
        let mut candidates = [None; MAX_RESONANCES];
        let mut places = [f64::INFINITY; MAX_RESONANCES];
        for found in 0..MAX_RESONANCES {
            let free = |point: &usize| places.iter().all(|place| (place - *point as f64).abs() >= MIN_DISTANCE);
            let best = (FIRST..=LAST).filter(free).max_by(|&a, &b| excess[a].total_cmp(&excess[b]));
            let Some(point) = best.filter(|&point| excess[point] > 0.0) else { break };
            let (shift, prominence_db) = peak([excess[point - 1], excess[point], excess[point + 1]]);
            places[found] = point as f64 + shift;
            candidates[found] = Some(Resonance {
                frequency_hz: LOWEST_HZ * libm::exp2(places[found] / PER_OCTAVE),
                prominence_db,
                q: q(&excess, point),
                confidence: 1.0 / (1.0 + libm::exp((even_odds_db - prominence_db) / ODDS_DB)),
            });
        }
        Ok(candidates)
    }
}

/// Gaussian mean of the envelope around a point; both ends are extended.
fn smoothed(envelope: &[f64; POINTS], point: usize) -> f64 {
    let (mut sum, mut weights) = (0.0, 0.0);
    for away in -28_i32..=28 {
        let weight = libm::exp(-0.5 * (f64::from(away) / SMOOTHING) * (f64::from(away) / SMOOTHING));
        let at = (point as i32 + away).clamp(0, POINTS as i32 - 1) as usize;
        sum += weight * envelope[at];
        weights += weight;
    }
    sum / weights
}

/// Offset and height of a peak at the middle of three points, refined within half a point; the point itself if it is
/// not a maximum.
fn peak(around: [f64; 3]) -> (f64, f64) {
    let [left, here, right] = around;
    if here < left || here < right {
        return (0.0, here);
    }
    let shift = parabola::vertex(around).clamp(-0.5, 0.5);
    (shift, parabola::height(around, shift))
}

/// Q of the bell whose width at half its gain in dB equals the width of the peak at half its prominence.
fn q(excess: &[f64; POINTS], point: usize) -> f64 {
    let half = 0.5 * excess[point];
    let side = |step: isize| {
        let mut before = excess[point];
        for away in 1..=9_isize {
            let db = usize::try_from(point as isize + step * away).ok().and_then(|at| excess.get(at).copied())?;
            if db < half {
                return Some(away as f64 - (half - db) / (before - db));
            }
            before = db;
        }
        None
    };
    let width = match (side(-1), side(1)) {
        (Some(left), Some(right)) => left + right,
        (Some(one), None) | (None, Some(one)) => 2.0 * one,
        (None, None) => 2.0 * PER_OCTAVE,
    };
    // Audio EQ Cookbook: 1 / Q = 2 sinh(ln 2 / 2 BW).
    let octaves = (width / PER_OCTAVE).clamp(0.25, 2.0);
    0.5 / libm::sinh(0.5 * core::f64::consts::LN_2 * octaves)
}

#[cfg(test)]
mod tests {
    use super::super::spectra::Spectra;
    use super::*;
    extern crate std;
    use core::f64::consts::TAU;
    use std::vec::Vec;

    const RATE: f64 = 48_000.0;

    /// Gain of a bell (Audio EQ Cookbook) far below half the rate, where it equals the analogue prototype (s^2 + s A/Q
    /// + 1) / (s^2 + s/(A Q) + 1).
    fn bell(hz: f64, middle_hz: f64, gain_db: f64, q: f64) -> f64 {
        let (w, a) = (hz / middle_hz, libm::exp10(gain_db / 40.0));
        let part = |width: f64| (1.0 - w * w) * (1.0 - w * w) + w * w * width * width;
        libm::sqrt(part(a / q) / part(1.0 / (a * q)))
    }

    /// A vowel of 6 s whose harmonics fall by 9 dB per octave, with a pitch from 95 to 160 Hz and a bell, measured
    /// through the spectra of the profile.
    fn measured(rate: f64, scale: f64, bell_hz: f64, gain_db: f64) -> ResonanceMeter {
        let framing = Framing::long(rate);
        let mut spectra = Spectra::<2_048>::new(framing);
        let mut meter = ResonanceMeter::new(&framing);
        let (mut phase, mut block, mut before, mut gains) = (0.0, Vec::new(), None, [0.0; 40]);
        let hop = (0.02 * rate) as usize;
        for n in 0..(6.0 * rate) as usize {
            let pitch = 127.0 * libm::exp2(0.37 * libm::sin(TAU * 0.4 * n as f64 / rate));
            if n % hop == 0 {
                // The pitch of a hop is that of its centre and arrives more than a hop later.
                meter.pitch(before.replace(pitch as f32));
                spectra.push(&block, |spectrum| meter.frame(spectrum, -20.0 + 20.0 * libm::log10(scale)));
                block.clear();
                for (k, gain) in (1..).zip(&mut gains) {
                    let hz = f64::from(k) * pitch;
                    let harmonic = if hz < 0.45 * rate { libm::pow(f64::from(k), -1.5) } else { 0.0 };
                    *gain = 0.1 * scale * harmonic * bell(hz, bell_hz, gain_db, 1.4);
                }
            }
            phase = (phase + pitch / rate) % 1.0;
            // sin((k + 1) x) = 2 cos(x) sin(k x) - sin((k - 1) x)
            let (sin, cos) = libm::sincos(TAU * phase);
            let (mut last, mut this, mut sum) = (0.0, sin, 0.0);
            for gain in gains {
                sum += gain * this;
                (last, this) = (this, 2.0 * cos * this - last);
            }
            block.push(sum as f32);
        }
        meter
    }

    #[test]
    fn a_bell_is_found_at_its_frequency_and_width_at_any_level() {
        for (rate, scale) in [(RATE, 1.0), (RATE, 0.1), (16_000.0, 1.0)] {
            for hz in [260.0, 430.0, 700.0] {
                let meter = measured(rate, scale, hz, 10.0);
                let found = meter.resonances(-20.0 + 20.0 * libm::log10(scale)).unwrap()[0].unwrap();
                assert!(libm::log2(found.frequency_hz / hz).abs() < 1.0 / 6.0, "{rate} {hz}: {found:?}");
                assert!((0.7..=2.8).contains(&found.q), "{rate} {hz}: {found:?}");
                assert!(found.prominence_db > 5.0 && found.prominence_db < 10.0, "{rate} {hz}: {found:?}");
            }
        }
    }

    #[test]
    fn a_flat_voice_has_no_confident_resonance_and_too_little_voice_none() {
        let meter = measured(RATE, 1.0, 430.0, 0.0);
        for found in meter.resonances(-20.0).unwrap().iter().flatten() {
            assert!(found.confidence < 0.1, "{found:?}");
        }
        // All of it is too far below a voice of 0 dB.
        assert_eq!(meter.resonances(0.0), Err(Unavailable::TooShort));
        assert_eq!(ResonanceMeter::new(&Framing::long(RATE)).resonances(-20.0), Err(Unavailable::TooShort));
    }

    #[test]
    fn a_pitch_that_jumps_is_not_steady() {
        let mut meter = ResonanceMeter::new(&Framing::long(RATE));
        for (hz, steady) in [(100.0, None), (111.0, None), (105.0, Some(105.0)), (120.0, None)] {
            meter.pitch(Some(hz));
            assert_eq!(meter.steady(), steady);
        }
    }
}
