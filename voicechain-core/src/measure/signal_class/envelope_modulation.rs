//! Envelope modulation and spectral flatness: syllables, beats, noise.

use crate::blank::blank;
use crate::dsp::LevelHistogram;
use crate::filters::section::DirectForm;
use crate::filters::{Section, design};
use crate::math::power_to_db;
use crate::measure::level_bins::LevelBins;
use crate::measure::spectra::{Framing, Spectrum, total};

/// Band of the level, Hz.
const LEVEL_HZ: (f64, f64) = (100.0, 4_000.0);
/// Band of the spectral flatness, Hz.
const FLATNESS_HZ: (f64, f64) = (300.0, 5_000.0);
/// Levels per second.
const PER_S: f64 = 50.0;
/// Centres of the octave-wide bands of syllabic modulation, Hz.
const SYLLABLES_HZ: [f64; 2] = [2.0, 4.0];
/// Lags at which onsets are compared: 0.2 to 2 s.
const LAGS: core::ops::Range<usize> = 10..100;
const PAST: usize = LAGS.end;

/// Measures the level of the voice band every 20 ms, its modulation, and the spectral flatness, from frames of 16 to
/// 32 ms.
///
/// The envelope is the fourth root of the power. All results are ratios that do not depend on gain. Cost: some 60
/// multiply-adds and 100 logarithms per level. Memory 4 kB.
#[derive(Clone, Debug)]
pub(crate) struct EnvelopeModulation {
    hop_s: f64,
    level: (usize, usize),
    flatness_bins: (usize, usize),
    /// Time to the next level, and the power and number of frames accumulated for it.
    due_s: f64,
    power: f64,
    frames: f64,
    /// Number and sum of envelope values, and the energy of their changes in the syllabic bands.
    count: f64,
    sum: f64,
    bands: [Band; 2],
    onsets: Onsets,
    levels: LevelHistogram,
    /// Flatness in dB and its square, by level.
    flatness: LevelBins<2>,
}

blank! {
    EnvelopeModulation {
        hop_s, level, flatness_bins, due_s, power, frames, count, sum, bands, onsets, levels, flatness,
    }
}

impl EnvelopeModulation {
    /// A meter for spectra of short frames.
    pub(crate) fn new(framing: &Framing) -> Self {
        let bin = |hz: f64| framing.bin(hz).max(1);
        let top = 0.45 * framing.rate_hz;
        Self {
            hop_s: framing.hop_s(),
            level: (bin(LEVEL_HZ.0), bin(LEVEL_HZ.1.min(top))),
            flatness_bins: (bin(FLATNESS_HZ.0), bin(FLATNESS_HZ.1.min(top))),
            due_s: 1.0 / PER_S,
            power: 0.0,
            frames: 0.0,
            count: 0.0,
            sum: 0.0,
            bands: SYLLABLES_HZ.map(Band::new),
            onsets: Onsets::new(),
            levels: LevelHistogram::new(),
            flatness: LevelBins::new(),
        }
    }

    /// Processes the spectrum of a frame.
    pub(crate) fn frame(&mut self, &Spectrum { powers, .. }: &Spectrum<'_>) {
        let (Some(voice), Some(flatness_bins)) =
            (powers.get(self.level.0..self.level.1), powers.get(self.flatness_bins.0..self.flatness_bins.1))
        else {
            return;
        };
        self.power += f64::from(total(voice));
        self.frames += 1.0;
        self.due_s -= self.hop_s;
        if self.due_s > 1e-9 {
            return;
        }
        self.due_s += 1.0 / PER_S;
        let power = self.power / self.frames;
        (self.power, self.frames) = (0.0, 0.0);
        let envelope = libm::sqrt(libm::sqrt(power));
        if self.count == 0.0 {
            self.bands.iter_mut().for_each(|band| band.start(envelope));
            self.onsets.start(envelope);
        }
        self.count += 1.0;
        self.sum += envelope;
        self.bands.iter_mut().for_each(|band| band.run(envelope));
        self.onsets.push(envelope);
        let level = power_to_db(power.max(1e-13));
        self.levels.push(level);
        let flatness = flatness_db(flatness_bins);
        let [sum, squares] = self.flatness.at(level);
        *sum += flatness;
        *squares += flatness * flatness;
    }

    /// Syllabic modulation: RMS of the envelope from 1.4 to 5.7 Hz, relative to the mean envelope.
    pub(crate) fn syllabic_modulation(&self) -> f64 {
        let energy: f64 = self.bands.iter().map(|band| band.energy).sum();
        libm::sqrt(energy * self.count) / self.sum.max(1e-12)
    }

    /// Syllabic modulation relative to the mean envelope above its floor, the 10th percentile.
    pub(crate) fn syllabic_modulation_over_floor(&self) -> f64 {
        let floor = self.levels.percentile(0.1).map_or(0.0, |db| libm::exp10(db / 40.0));
        let mean = self.sum / self.count.max(1.0);
        self.syllabic_modulation() * mean / (mean - floor).max(1e-3 * mean).max(1e-12)
    }

    /// Strength of the beat: highest correlation of the onsets at any lag, 0 to 1.
    pub(crate) fn beat(&self) -> f64 {
        self.onsets.beat(self.count)
    }

    /// Distance from the median level to its 95th percentile, dB.
    pub(crate) fn rise_db(&self) -> f64 {
        match (self.levels.percentile(0.5), self.levels.percentile(0.95)) {
            (Some(half), Some(high)) => high - half,
            _ => 0.0,
        }
    }

    /// Mean and standard deviation of the flatness of the frames at or above a level, dB.
    pub(crate) fn flatness_db(&self, from_db: f64) -> [f64; 2] {
        let ([sum, squares], count) = self.flatness.from(from_db);
        let mean = sum / count.max(1.0);
        [mean, libm::sqrt((squares / count.max(1.0) - mean * mean).max(0.0))]
    }
}

/// Octave-wide band-pass with a gain of 1 at its centre, and the energy of its output.
#[derive(Clone, Copy, Debug)]
struct Band {
    section: Section,
    filter: DirectForm<f64>,
    states: [f64; 2],
    energy: f64,
}

blank! { Band { section, filter, states, energy } }

impl Band {
    fn new(hz: f64) -> Self {
        // One octave: Q = sqrt(2).
        let section = design::band_pass_at(hz, core::f64::consts::SQRT_2, PER_S);
        Self { section, filter: DirectForm::new(&section), states: [0.0; 2], energy: 0.0 }
    }

    /// Sets the steady state for a constant input `x`, whose output is zero.
    fn start(&mut self, x: f64) {
        let Section { b1, b2, .. } = self.section;
        self.states = [(b1 + b2) * x, b2 * x];
    }

    fn run(&mut self, x: f64) {
        let y = self.filter.step(&mut self.states, x);
        self.energy += y * y;
    }
}

/// Onsets of an envelope and their autocovariance over [`LAGS`].
#[derive(Clone, Debug)]
struct Onsets {
    before: f64,
    sum: f64,
    squares: f64,
    past: [f32; PAST],
    at: usize,
    products: [f32; PAST],
}

blank! { Onsets { before, sum, squares, past, at, products } }

impl Onsets {
    const fn new() -> Self {
        Self { before: 0.0, sum: 0.0, squares: 0.0, past: [0.0; PAST], at: 0, products: [0.0; PAST] }
    }

    fn start(&mut self, x: f64) {
        self.before = x;
    }

    fn push(&mut self, x: f64) {
        let rise = (x - self.before).max(0.0) as f32;
        self.before = x;
        self.sum += f64::from(rise);
        self.squares += f64::from(rise * rise);
        // Newest first: lags from 1 up.
        let (new, old) = self.past.split_at(self.at);
        for (product, past) in self.products.iter_mut().zip(new.iter().rev().chain(old.iter().rev())) {
            *product += rise * past;
        }
        self.past[self.at] = rise;
        self.at = (self.at + 1) % PAST;
    }

    fn beat(&self, count: f64) -> f64 {
        let count = count.max(1.0);
        let mean = self.sum / count;
        let power = self.squares / count - mean * mean;
        if power <= 0.0 {
            return 0.0;
        }
        let correlation = |product: &f32| (f64::from(*product) / count - mean * mean) / power;
        let products = self.products.get(LAGS.start - 1..LAGS.end - 1).unwrap_or(&[]);
        products.iter().map(correlation).fold(0.0, f64::max)
    }
}

/// Spectral flatness: geometric over arithmetic mean of the powers, dB. 0 for equal powers, -2.5 for white noise, far
/// lower for a tone.
fn flatness_db(powers: &[f32]) -> f32 {
    let mean = total(powers) / powers.len() as f32;
    if mean <= 0.0 {
        return 0.0;
    }
    // Four factors at a time, limited so that the product stays in range.
    let products = powers.chunks(4).map(|four| four.iter().map(|power| (power / mean).max(1e-8)).product::<f32>());
    let logs: f32 = products.map(libm::log2f).sum();
    3.010_3 * logs / powers.len() as f32
}

#[cfg(test)]
mod tests {
    use super::*;

    const EVERY_20_MS: Framing = Framing { rate_hz: 48_000.0, length: 1_024, hop: 960 };

    /// Frames of 20 ms with equal power in the whole band, given by their envelope.
    fn measured(envelope: impl Fn(f64) -> f64) -> EnvelopeModulation {
        let mut modulation = EnvelopeModulation::new(&EVERY_20_MS);
        for n in 0..3_000 {
            let power = libm::pow(envelope(f64::from(n) / PER_S), 4.0) / 83.0;
            modulation.frame(&Spectrum::new(&[power as f32; 512], &EVERY_20_MS));
        }
        modulation
    }

    /// A sine of 0.3 about 1 has an RMS of 0.3 / sqrt(2). The two octave bands pass 0.8 of its power at their centres,
    /// 1.15 together, and almost nothing outside.
    #[test]
    fn syllabic_modulation_covers_two_to_four_hertz() {
        let of = |hz: f64| {
            measured(|t| 1.0 + 0.3 * libm::sin(core::f64::consts::TAU * hz * t)).syllabic_modulation() / 0.212
        };
        for hz in [2.0, 2.8, 4.0] {
            assert!((of(hz) - 1.05).abs() < 0.12, "{hz}: {}", of(hz));
        }
        for hz in [0.2, 20.0] {
            assert!(of(hz) < 0.35, "{hz}: {}", of(hz));
        }
        assert!(of(0.0) < 1e-3);
    }

    /// A square wave on a floor: the modulation above the floor does not depend on the floor.
    #[test]
    fn modulation_over_the_floor_ignores_a_constant_floor() {
        let on = |floor: f64| {
            measured(|t| floor + 0.3 * f64::from(u8::from(libm::sin(core::f64::consts::TAU * 2.5 * t) > 0.0)))
        };
        let (bare, covered) = (on(0.0), on(1.0));
        assert!(covered.syllabic_modulation() < 0.15 * bare.syllabic_modulation());
        let ratio = covered.syllabic_modulation_over_floor() / bare.syllabic_modulation();
        // The histogram resolves the floor to 0.25 dB of power: 1.4 % of 1 compared with 0.15.
        assert!((ratio - 1.0).abs() < 0.11, "{ratio}");
    }

    #[test]
    fn a_regular_beat_is_distinguished_from_random_strokes() {
        let stroke = |t: f64| libm::exp(-t / 0.05);
        let regular = measured(|t| 0.1 + stroke(libm::rint(t * PER_S) % 30.0 / PER_S));
        assert!(regular.beat() > 0.9, "{}", regular.beat());
        let mut state = 5_u32;
        let mut next = 0.0;
        let mut modulation = EnvelopeModulation::new(&EVERY_20_MS);
        let mut since = 9.0;
        for _ in 0..3_000 {
            if since > next {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (since, next) = (0.0, 0.2 + f64::from(state >> 8) / f64::from(1 << 24));
            }
            let power = (libm::pow(0.1 + stroke(since), 4.0) / 83.0) as f32;
            modulation.frame(&Spectrum::new(&[power; 512], &EVERY_20_MS));
            since += 1.0 / PER_S;
        }
        assert!(modulation.beat() < 0.35, "{}", modulation.beat());
    }

    #[test]
    fn flatness_distinguishes_a_tone_from_a_flat_spectrum() {
        assert!(flatness_db(&[0.3; 200]).abs() < 0.01);
        let mut tone = [1e-9_f32; 200];
        tone[40] = 1.0;
        assert!(flatness_db(&tone) < -50.0);
        assert_eq!(flatness_db(&[0.0; 200]), 0.0);
    }
}
