//! Resonances: peaks in the envelope of a voice's harmonics.
//!
//! Harmonics sample the response of the vocal tract, the room and the microphone. Their powers, averaged over frames of
//! changing pitch, form an envelope that is much finer than a long-term spectrum, which shows the harmonics themselves.
//! A peak above the smoothed envelope may be a resonance or a feature of the voice. Its frequency can be measured from
//! one recording; its gain cannot.
//!
//! Among the low harmonics of a held pitch no peak can be told from the voice itself: they stay at the same
//! frequencies. Only where the pitch moves does the envelope separate a resonance from the harmonics. The notes of a
//! melody stay, too, each for itself: the few vowels on them form high peaks where nothing resonates but the voice.

use super::level_bins::LevelBins;
use super::pitch_distribution::PitchDistribution;
use super::profile::{MAX_RESONANCES, Measured, Resonance, Resonances, Unavailable};
use super::spectra::{Framing, Spectrum};
use crate::blank::blank;
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
/// Maximum confidence in a peak that may be a harmonic of a melody. Common sense, no source: all 24 melodies of the group
/// `sung` (see tests/accuracy/RESULTS.md) have such peaks of full confidence and no resonance.
const MELODY_CONFIDENCE: f64 = 0.1;
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

blank! { ResonanceMeter { bin_hz, hop_s, reach, pitches, octaves, envelope } }

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

    /// Up to three resonances, most prominent first, given the active speech level and the pitches. Peaks that the
    /// harmonics of one held pitch explain are left out, with their slopes; those that a melody may explain have little
    /// confidence. After the first, a candidate may lie on the slope of a higher
    /// one, where a second peak could hide.
    pub(crate) fn resonances(&self, active_level_dbov: f64, pitches: &PitchDistribution) -> Measured<Resonances> {
        let (excess, duration_s) = self.excess(active_level_dbov)?;
        let even_odds_db = EVEN_ODDS_DB + SHORT_DB * libm::log(SUFFICIENT_S / duration_s).max(0.0);
        let mut candidates = [None; MAX_RESONANCES];
        let mut found = 0;
        // Peaks so far, with those of the voice itself.
        let mut places = [f64::INFINITY; LAST - FIRST + 1];
        let mut peaks = 0;
        while found < MAX_RESONANCES && peaks < places.len() {
            let free = |point: &usize| places.iter().all(|place| (place - *point as f64).abs() >= MIN_DISTANCE);
            let best = (FIRST..=LAST).filter(free).max_by(|&a, &b| excess[a].total_cmp(&excess[b]));
            let Some(point) = best.filter(|&point| excess[point] > 0.0) else { break };
            let (shift, prominence_db) = peak([excess[point - 1], excess[point], excess[point + 1]]);
            places[peaks] = point as f64 + shift;
            let frequency_hz = LOWEST_HZ * libm::exp2(places[peaks] / PER_OCTAVE);
            peaks += 1;
            let summit = summit(&excess, point);
            let summit_hz = LOWEST_HZ * libm::exp2(summit as f64 / PER_OCTAVE);
            if pitches.explains_peak(frequency_hz) || (summit != point && pitches.explains_peak(summit_hz)) {
                continue;
            }
            let confidence = 1.0 / (1.0 + libm::exp((even_odds_db - prominence_db) / ODDS_DB));
            let most = if pitches.may_be_of_a_melody(frequency_hz) { MELODY_CONFIDENCE } else { 1.0 };
            candidates[found] =
                Some(Resonance { frequency_hz, prominence_db, q: q(&excess, point), confidence: confidence.min(most) });
            found += 1;
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

/// Point at the top of the slope on which a point lies.
fn summit(excess: &[f64; POINTS], point: usize) -> usize {
    let mut top = point;
    loop {
        let next = [top.saturating_sub(1), (top + 1).min(POINTS - 1)];
        let [left, right] = next.map(|at| excess[at]);
        let higher = if left > right { next[0] } else { next[1] };
        if excess[higher] <= excess[top] {
            return top;
        }
        top = higher;
    }
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
    use super::super::pitch::PitchMeter;
    use super::super::pitch_distribution;
    use super::super::spectra::Spectra;
    use super::*;
    use crate::blank::Blank;
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

    /// Distribution of the pitches of [`measured`].
    fn moving() -> PitchDistribution {
        let mut pitches = PitchDistribution::new();
        for n in 0..1_000 {
            let pitch = 127.0 * libm::exp2(0.37 * libm::sin(TAU * f64::from(n) / 1_000.0));
            pitches.add(pitch_distribution::step(pitch as f32), 1);
        }
        pitches
    }

    #[test]
    fn a_bell_is_found_at_its_frequency_and_width_at_any_level() {
        for (rate, scale) in [(RATE, 1.0), (RATE, 0.1), (16_000.0, 1.0)] {
            for hz in [260.0, 430.0, 700.0] {
                let meter = measured(rate, scale, hz, 10.0);
                let found = meter.resonances(-20.0 + 20.0 * libm::log10(scale), &moving()).unwrap()[0].unwrap();
                assert!(libm::log2(found.frequency_hz / hz).abs() < 1.0 / 6.0, "{rate} {hz}: {found:?}");
                assert!((0.7..=2.8).contains(&found.q), "{rate} {hz}: {found:?}");
                assert!(found.prominence_db > 5.0 && found.prominence_db < 10.0, "{rate} {hz}: {found:?}");
            }
        }
    }

    #[test]
    fn a_flat_voice_has_no_confident_resonance_and_too_little_voice_none() {
        let meter = measured(RATE, 1.0, 430.0, 0.0);
        for found in meter.resonances(-20.0, &moving()).unwrap().iter().flatten() {
            assert!(found.confidence < 0.1, "{found:?}");
        }
        // All of it is too far below a voice of 0 dB.
        assert_eq!(meter.resonances(0.0, &moving()), Err(Unavailable::TooShort));
        assert_eq!(ResonanceMeter::new(&Framing::long(RATE)).resonances(-20.0, &moving()), Err(Unavailable::TooShort));
    }

    #[test]
    fn a_pitch_that_jumps_is_not_steady() {
        let mut meter = ResonanceMeter::new(&Framing::long(RATE));
        for (hz, steady) in [(100.0, None), (111.0, None), (105.0, Some(105.0)), (120.0, None)] {
            meter.pitch(Some(hz));
            assert_eq!(meter.steady(), steady);
        }
    }

    /// Vowels at 16 kHz for 20 s: glottal pulses (raised cosines) through three resonances of 80 Hz width.
    struct Vowels<'a> {
        /// Pitch at a time, Hz.
        pitch_hz: &'a dyn Fn(f64) -> f64,
        /// Deviation of a vibrato of 5.5 Hz, semitones.
        vibrato: f64,
        formants: &'a [[f64; 3]],
        /// Length of each vowel and of the gap at its end, s.
        length_s: [f64; 2],
        /// Frequency and gain of a bell of Q 1.4, Hz and dB.
        bell: Option<[f64; 2]>,
    }

    impl Vowels<'_> {
        /// Measured through pitch and spectra like a profile.
        fn resonances(&self) -> Resonances {
            const RATE: f64 = 16_000.0;
            let (radius, half_turn) = (libm::exp(-0.5 * TAU * 80.0 / RATE), 0.5 * TAU);
            let (mut phase, mut past, mut bell) = (0.0, [[0.0_f64; 2]; 3], [0.0_f64; 4]);
            let [length_s, gap_s] = self.length_s;
            let mut sample = |n: usize| {
                let t = n as f64 / RATE;
                let (vowel, within) = ((t / length_s) as usize % self.formants.len(), t % length_s);
                let vibrato = self.vibrato * libm::sin(TAU * 5.5 * t) * (within / 0.3).min(1.0);
                phase = (phase + (self.pitch_hz)(t) * libm::exp2(vibrato / 12.0) / RATE) % 1.0;
                let pulse = match phase {
                    p if p < 0.4 => 0.5 - 0.5 * libm::cos(half_turn * p / 0.4),
                    p if p < 0.56 => libm::cos(0.5 * half_turn * (p - 0.4) / 0.16),
                    _ => 0.0,
                };
                let mut x = pulse * (within / 0.03).min(1.0) * ((length_s - gap_s - within) / 0.05).clamp(0.0, 1.0);
                for (past, hz) in past.iter_mut().zip(self.formants[vowel]) {
                    let cosine = libm::cos(TAU * hz / RATE);
                    let gain = 1.0 - 2.0 * radius * cosine + radius * radius;
                    x = gain * x + 2.0 * radius * cosine * past[0] - radius * radius * past[1];
                    *past = [x, past[0]];
                }
                if let Some([hz, gain_db]) = self.bell {
                    // Audio EQ Cookbook.
                    let (a, (sin, cos)) = (libm::exp10(gain_db / 40.0), libm::sincos(TAU * hz / RATE));
                    let alpha = 0.5 * sin / 1.4;
                    let zeros = (1.0 + alpha * a) * x - 2.0 * cos * bell[0] + (1.0 - alpha * a) * bell[1];
                    let y = (zeros + 2.0 * cos * bell[2] - (1.0 - alpha / a) * bell[3]) / (1.0 + alpha / a);
                    (bell, x) = ([x, bell[0], y, bell[2]], y);
                }
                (0.1 * x) as f32
            };
            let samples: Vec<f32> = (0..(20.0 * RATE) as usize).map(&mut sample).collect();
            let framing = Framing::long(RATE);
            let mut spectra = Spectra::<2_048>::new(framing);
            let (mut pitch, mut meter) = (PitchMeter::BLANK, ResonanceMeter::new(&framing));
            pitch.restart(RATE);
            spectra.pieces(&samples, |spectra, now| {
                pitch.push(now, |hz, _| meter.pitch(hz));
                spectra.push(now, |spectrum| meter.frame(spectrum, spectrum.level_db()));
            });
            let power = samples.iter().map(|x| f64::from(x * x)).sum::<f64>() / samples.len() as f64;
            meter.resonances(power_to_db(power), &pitch.distribution()).unwrap()
        }
    }

    /// Resonances of vowels, Hz (Peterson and Barney 1952, rounded).
    const VOWELS: [[f64; 3]; 5] = [
        [730.0, 1_090.0, 2_440.0],
        [530.0, 1_840.0, 2_480.0],
        [270.0, 2_290.0, 3_010.0],
        [570.0, 840.0, 2_410.0],
        [300.0, 870.0, 2_240.0],
    ];

    fn sung(pitch_hz: &dyn Fn(f64) -> f64, vibrato: f64, bell: Option<[f64; 2]>) -> Resonances {
        Vowels { pitch_hz, vibrato, formants: &VOWELS, length_s: [0.8, 0.06], bell }.resonances()
    }

    /// Half a semitone of vibrato is common. A bell beside the harmonics of held notes is not separable from them.
    #[test]
    fn held_notes_have_no_resonance_at_or_among_their_low_harmonics() {
        let two = |t: f64| if ((t / 0.8) as u32).is_multiple_of(2) { 220.0 } else { 247.0 };
        let notes: [&dyn Fn(f64) -> f64; 3] = [&|_| 224.0, &two, &|_| 131.0];
        for (n, note) in notes.into_iter().enumerate() {
            for vibrato in [0.0, 0.5] {
                for bell in [None, Some([640.0, 8.0]), Some([330.0, 8.0])] {
                    let top = if n == 2 { 4.0 * 131.0 } else { 4.0 * 224.0 };
                    for found in sung(note, vibrato, bell).iter().flatten() {
                        assert!(found.frequency_hz > 1.06 * top, "{n} {vibrato} {bell:?}: {found:?}");
                    }
                }
            }
        }
    }

    /// Five notes of 0.8 s. Peaks may be listed, but nothing is known of them. A glide over an octave passes every
    /// frequency: the bell is a resonance.
    #[test]
    fn a_melody_has_no_certain_resonance_among_its_low_harmonics() {
        const STEPS: [f64; 5] = [0.0, 4.0, 2.0, 7.0, 5.0];
        for base in [131.0, 196.0, 262.0] {
            let note = |t: f64| base * libm::exp2(STEPS[(t / 0.8) as usize % 5] / 12.0);
            for vibrato in [0.0, 0.5] {
                for bell in [None, Some([2.1 * base, 8.0])] {
                    for found in sung(&note, vibrato, bell).iter().flatten() {
                        let among = found.frequency_hz < 4.0 * note(3.0 * 0.8);
                        assert!(!among || found.confidence < 0.5, "{base} {vibrato} {bell:?}: {found:?}");
                    }
                }
            }
            let glide = |t: f64| base * libm::exp2(libm::fabs((0.8 * t) % 2.0 - 1.0));
            let found = sung(&glide, 0.0, Some([2.1 * base, 12.0]));
            assert!(found.iter().flatten().any(|found| found.confidence > 0.5), "{base}: {found:?}");
        }
    }

    /// Spoken on one pitch: a semitone up and down.
    #[test]
    fn a_monotone_voice_has_no_resonance_at_its_low_harmonics() {
        let pitch_hz = |t: f64| 112.0 * libm::exp2(libm::sin(TAU * 0.7 * t) / 24.0);
        let voice = Vowels { pitch_hz: &pitch_hz, vibrato: 0.0, formants: &VOWELS, length_s: [0.25, 0.05], bell: None };
        for found in voice.resonances().iter().flatten() {
            assert!(found.frequency_hz > 4.2 * 112.0, "{found:?}");
        }
    }

    /// A pitch that glides over an octave and a half, and a spoken one over seven semitones, pass the bell.
    #[test]
    fn a_fixed_resonance_stands_while_the_pitch_moves_through() {
        let glide = |t: f64| 220.0 * libm::exp2(0.8 * libm::sin(TAU * 0.13 * t));
        let spoken = |t: f64| 112.0 * libm::exp2(0.3 * libm::sin(TAU * 0.4 * t));
        for (pitch, length_s) in [(&glide as &dyn Fn(f64) -> f64, [0.8, 0.06]), (&spoken, [0.25, 0.05])] {
            for hz in [330.0, 480.0, 640.0] {
                let voice = |gain_db| {
                    let bell = Some([hz, gain_db]);
                    Vowels { pitch_hz: pitch, vibrato: 0.3, formants: &VOWELS, length_s, bell }.resonances()
                };
                let near = |found: &&Resonance| libm::log2(found.frequency_hz / hz).abs() < 1.0 / 3.0;
                let [with, without] = [voice(8.0), voice(0.0)]
                    .map(|all| all.iter().flatten().find(near).map_or(0.0, |r| r.prominence_db));
                assert!(with > without, "{hz}: {with} with the bell, {without} without");
            }
        }
    }
}
