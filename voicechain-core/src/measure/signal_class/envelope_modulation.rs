//! How the level and the kind of sound change with time: syllables, beats, hiss.

use crate::dsp::LevelHistogram;
use crate::filters::section::DirectForm;
use crate::filters::{Section, design};
use crate::math::power_to_db;
use crate::measure::level_bins::LevelBins;
use crate::measure::spectra::{Framing, Spectrum, total};

/// The band in which the level is taken, and that in which the kind of sound is judged, Hz.
const LEVEL_HZ: (f64, f64) = (100.0, 4_000.0);
const KIND_HZ: (f64, f64) = (300.0, 5_000.0);
/// Levels per second.
const PER_S: f64 = 50.0;
/// Middles of the bands, an octave wide each, in which syllables change the level, Hz.
const SYLLABLES_HZ: [f64; 2] = [2.0, 4.0];
/// Distances at which onsets of the level are compared: 0.2 to 2 s.
const DISTANCES: core::ops::Range<usize> = 10..100;
const PAST: usize = DISTANCES.end;

/// Hears the level of the voice band every 20 ms, and what it is made of, from frames of 16 to 32 ms.
///
/// The envelope is the fourth root of the power, so that all measures are ratios that no gain changes. Cost some 60
/// multiply-adds and 100 logarithms for each level, 4 kB.
#[derive(Clone, Debug)]
pub(crate) struct EnvelopeModulation {
    hop_s: f64,
    level: (usize, usize),
    kind: (usize, usize),
    /// Time left to the next level, and the frames gathered for it.
    due_s: f64,
    power: f64,
    frames: f64,
    /// The envelope: how many values, their sum, and the energy of its changes in the bands of syllables.
    count: f64,
    sum: f64,
    bands: [Band; 2],
    onsets: Onsets,
    levels: LevelHistogram,
    /// By level: flatness in dB and its square.
    flatness: LevelBins<2>,
}

impl EnvelopeModulation {
    /// For spectra of short frames.
    pub(crate) fn new(framing: &Framing) -> Self {
        let bin = |hz: f64| framing.bin(hz).max(1);
        let top = 0.45 * framing.rate_hz;
        Self {
            hop_s: framing.hop_s(),
            level: (bin(LEVEL_HZ.0), bin(LEVEL_HZ.1.min(top))),
            kind: (bin(KIND_HZ.0), bin(KIND_HZ.1.min(top))),
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

    /// Takes the spectrum of a frame.
    pub(crate) fn frame(&mut self, &Spectrum { powers, .. }: &Spectrum<'_>) {
        let (Some(voice), Some(kind)) = (powers.get(self.level.0..self.level.1), powers.get(self.kind.0..self.kind.1))
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
        let flatness = flatness_db(kind);
        let [sum, squares] = self.flatness.at(level);
        *sum += flatness;
        *squares += flatness * flatness;
    }

    /// Root mean square of what syllables change in the envelope (1.4 to 5.7 Hz), over the envelope's mean.
    pub(crate) fn syllabic_modulation(&self) -> f64 {
        let energy: f64 = self.bands.iter().map(|band| band.energy).sum();
        libm::sqrt(energy * self.count) / self.sum.max(1e-12)
    }

    /// The same over what the envelope's mean stands above its floor, the 10th percentile.
    pub(crate) fn syllabic_modulation_over_floor(&self) -> f64 {
        let floor = self.levels.percentile(0.1).map_or(0.0, |db| libm::exp10(db / 40.0));
        let mean = self.sum / self.count.max(1.0);
        self.syllabic_modulation() * mean / (mean - floor).max(1e-3 * mean).max(1e-12)
    }

    /// How well the onsets of the envelope repeat at one distance, 0 to 1.
    pub(crate) fn beat(&self) -> f64 {
        self.onsets.beat(self.count)
    }

    /// From the median of the level to its 95th percentile, dB.
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

/// A band-pass an octave wide, with a gain of 1 in its middle, and the energy that it lets through.
#[derive(Clone, Copy, Debug)]
struct Band {
    section: Section,
    filter: DirectForm<f64>,
    states: [f64; 2],
    energy: f64,
}

impl Band {
    fn new(hz: f64) -> Self {
        // An octave wide: Q is sqrt 2.
        let section = design::band_pass_at(hz, core::f64::consts::SQRT_2, PER_S);
        Self { section, filter: DirectForm::new(&section), states: [0.0; 2], energy: 0.0 }
    }

    /// As if it had heard this value for ever, which gives no output.
    fn start(&mut self, x: f64) {
        let Section { b1, b2, .. } = self.section;
        self.states = [(b1 + b2) * x, b2 * x];
    }

    fn run(&mut self, x: f64) {
        let y = self.filter.step(&mut self.states, x);
        self.energy += y * y;
    }
}

/// The onsets of an envelope, and how they repeat: their autocovariance over [`DISTANCES`].
#[derive(Clone, Debug)]
struct Onsets {
    before: f64,
    sum: f64,
    squares: f64,
    past: [f32; PAST],
    at: usize,
    products: [f32; PAST],
}

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
        // The newest is before `at`, the oldest at it: distances from 1 up.
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
        let products = self.products.get(DISTANCES.start - 1..DISTANCES.end - 1).unwrap_or(&[]);
        products.iter().map(correlation).fold(0.0, f64::max)
    }
}

/// Geometric over arithmetic mean of the powers, dB: 0 when all are alike, -2.5 of white noise, far less of a tone.
fn flatness_db(powers: &[f32]) -> f32 {
    let mean = total(powers) / powers.len() as f32;
    if mean <= 0.0 {
        return 0.0;
    }
    // Four at a time, bounded so that the product does not leave the numbers.
    let products = powers.chunks(4).map(|four| four.iter().map(|power| (power / mean).max(1e-8)).product::<f32>());
    let logs: f32 = products.map(libm::log2f).sum();
    3.010_3 * logs / powers.len() as f32
}

#[cfg(test)]
mod tests {
    use super::*;

    const EVERY_20_MS: Framing = Framing { rate_hz: 48_000.0, length: 1_024, hop: 960 };

    /// Frames of 20 ms with one power in the whole band, given as an envelope.
    fn measured(envelope: impl Fn(f64) -> f64) -> EnvelopeModulation {
        let mut rhythm = EnvelopeModulation::new(&EVERY_20_MS);
        for n in 0..3_000 {
            let power = libm::pow(envelope(f64::from(n) / PER_S), 4.0) / 83.0;
            rhythm.frame(&Spectrum::new(&[power as f32; 512], &EVERY_20_MS));
        }
        rhythm
    }

    /// A sine of 0.3 about 1 has a root mean square of 0.3 / sqrt(2); the two bands of an octave each have 0.8 of its power
    /// in their middles and together 1.15, and nearly nothing outside.
    #[test]
    fn syllables_are_changes_of_two_to_four_hertz() {
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

    /// Half of the time up, half down on a floor: what stands on the floor does not change with it.
    #[test]
    fn a_floor_hides_syllables_from_their_mean_alone() {
        let on = |floor: f64| {
            measured(|t| floor + 0.3 * f64::from(u8::from(libm::sin(core::f64::consts::TAU * 2.5 * t) > 0.0)))
        };
        let (bare, covered) = (on(0.0), on(1.0));
        assert!(covered.syllabic_modulation() < 0.15 * bare.syllabic_modulation());
        let ratio = covered.syllabic_modulation_over_floor() / bare.syllabic_modulation();
        // The floor is known to a bin of the histogram, 0.25 dB of power: 1.4 % of 1 against 0.15.
        assert!((ratio - 1.0).abs() < 0.11, "{ratio}");
    }

    #[test]
    fn a_beat_repeats_and_random_strokes_do_not() {
        let stroke = |t: f64| libm::exp(-t / 0.05);
        let regular = measured(|t| 0.1 + stroke(libm::rint(t * PER_S) % 30.0 / PER_S));
        assert!(regular.beat() > 0.9, "{}", regular.beat());
        let mut state = 5_u32;
        let mut next = 0.0;
        let mut rhythm = EnvelopeModulation::new(&EVERY_20_MS);
        let mut since = 9.0;
        for _ in 0..3_000 {
            if since > next {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (since, next) = (0.0, 0.2 + f64::from(state >> 8) / f64::from(1 << 24));
            }
            let power = (libm::pow(0.1 + stroke(since), 4.0) / 83.0) as f32;
            rhythm.frame(&Spectrum::new(&[power; 512], &EVERY_20_MS));
            since += 1.0 / PER_S;
        }
        assert!(rhythm.beat() < 0.35, "{}", rhythm.beat());
    }

    #[test]
    fn flatness_tells_a_tone_from_an_even_spectrum() {
        assert!(flatness_db(&[0.3; 200]).abs() < 0.01);
        let mut tone = [1e-9_f32; 200];
        tone[40] = 1.0;
        assert!(flatness_db(&tone) < -50.0);
        assert_eq!(flatness_db(&[0.0; 200]), 0.0);
    }
}
