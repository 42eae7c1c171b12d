//! Fricatives against vowels.

use super::level_bins::LevelBins;
use super::profile::{Measured, Sibilance, Unavailable};
use super::spectra::{Framing, Spectrum, total};
use crate::detectors::sibilance::{self, SibilanceBands};
use crate::dsp::LevelHistogram;
use crate::dsp::histogram::interpolated_bin;
use crate::math::power_to_db;
use crate::units::SampleRate;

/// Width and count of the bands of the fricatives' spectrum: 0 to 12 kHz.
const BAND_HZ: f64 = 250.0;
const BANDS: usize = 48;
/// Ratios of the detector from -16 to +48 dB.
const RATIOS: usize = 64;
const LOWEST_RATIO_DB: f64 = -16.0;
/// Fricatives of 5 to 9 kHz (4 to 7.5 kHz where the recording ends below 9 kHz) against vowels, and all of 4 to 10 kHz,
/// dB: means over 39 voices.
const USUAL_DB: [f64; 3] = [-14.5, -14.1, -10.2];
/// In a fricative 4 to 10 kHz is at most so far under what lies below 1.5 kHz, in a vowel at least so far, dB.
const FRICATIVE_DB: f64 = -5.0;
const VOWEL_DB: f64 = -12.0;
/// Vowels that count are at most so far under the active level, dB.
const VOWEL_UNDER_DB: f64 = 8.0;
/// Fricatives that count are at most so far under the active level, and so far over the quietest twentieth, dB.
const FRICATIVE_UNDER_DB: f64 = 35.0;
const OVER_FLOOR_DB: f64 = 6.0;
/// Below this no fricative can be judged, Hz.
const MIN_BANDWIDTH_HZ: f64 = 7_000.0;
/// Fewest frames of either kind, s.
const MIN_S: f64 = 0.3;

/// Hears fricatives in the spectra of short frames, and beside them the ratio of the detector that drives the de-esser.
#[derive(Clone, Debug)]
pub(crate) struct SibilanceMeter {
    bands: Option<SibilanceBands>,
    detector: sibilance::Sibilance<1>,
    /// Loudest ratio of the running hop and of the three before.
    ratios: [f32; 4],
    fricatives: LevelBins<BANDS>,
    loud: LevelBins<RATIOS, 30>,
    vowels: LevelBins<1>,
    floor: LevelHistogram,
    /// The last frame, and whether it and the one before may be fricatives.
    last: Frame,
    may: [bool; 2],
    framing: Framing,
    to_hop: usize,
}

/// What is kept of a frame until the next one decides on it.
#[derive(Clone, Copy, Debug)]
struct Frame {
    level_db: f64,
    ratio_db: f32,
    bands: [f32; BANDS],
}

impl SibilanceMeter {
    /// For the spectra of short frames of a recording at this rate.
    pub(crate) fn new(rate: SampleRate, framing: &Framing) -> Self {
        Self {
            bands: SibilanceBands::new(rate),
            detector: sibilance::Sibilance::new(rate),
            ratios: [sibilance::NO_SIBILANT_DB; 4],
            fricatives: LevelBins::new(),
            loud: LevelBins::new(),
            vowels: LevelBins::new(),
            floor: LevelHistogram::new(),
            last: Frame { level_db: -130.0, ratio_db: sibilance::NO_SIBILANT_DB, bands: [0.0; BANDS] },
            may: [false; 2],
            framing: *framing,
            to_hop: framing.hop,
        }
    }

    /// Takes samples, at most up to the end of the next frame.
    pub(crate) fn push(&mut self, samples: &[f32]) {
        let mut rest = samples;
        while !rest.is_empty() {
            if self.to_hop == 0 {
                self.to_hop = self.framing.hop;
                self.ratios.rotate_right(1);
                self.ratios[0] = sibilance::NO_SIBILANT_DB;
            }
            let (now, later) = rest.split_at(rest.len().min(self.to_hop));
            rest = later;
            self.to_hop -= now.len();
            let Some(bands) = &self.bands else { continue };
            let mut frames = now.as_chunks::<1>().0;
            while !frames.is_empty() {
                let (tick, after) = frames.split_at(frames.len().min(self.detector.remaining()));
                frames = after;
                if self.detector.run(bands, tick) {
                    self.ratios[0] = self.ratios[0].max(self.detector.ratio_db());
                }
            }
        }
    }

    /// Takes the spectrum of the frame that has just ended.
    pub(crate) fn frame(&mut self, &Spectrum { powers, .. }: &Spectrum<'_>) {
        // The first bin of a band is the first that is not below its lower edge.
        let per_band = 2.0 * BAND_HZ * powers.len() as f64 / self.framing.rate_hz;
        let first = |band: usize| (libm::ceil(band as f64 * per_band) as usize).min(powers.len());
        let spectrum: [f32; BANDS] = core::array::from_fn(|band| powers[first(band)..first(band + 1)].iter().sum());
        let db = |from: usize, to: usize| power_to_db(f64::from(total(&spectrum[from..to])).max(1e-13));
        let (sibilant, voiced) = (db(16, 40), db(0, 6));
        self.floor.push(sibilant);
        if sibilant - voiced < VOWEL_DB {
            let power = total(powers);
            self.vowels.at(power_to_db(f64::from(power).max(1e-13)))[0] += power;
        }
        let may = sibilant - voiced > FRICATIVE_DB;
        // The majority of three decides on the one in the middle.
        if [self.may[0], self.may[1], may].iter().filter(|&&m| m).count() >= 2 {
            let Frame { level_db, ratio_db, bands } = &self.last;
            for (sum, power) in self.fricatives.at(*level_db).iter_mut().zip(bands) {
                *sum += power;
            }
            let place = (f64::from(*ratio_db) - LOWEST_RATIO_DB).max(0.0) as usize;
            self.loud.at(*level_db)[place.min(RATIOS - 1)] += 1.0;
        }
        let hops = (self.framing.length / self.framing.hop).min(4);
        let ratio_db = self.ratios[..hops].iter().fold(sibilance::NO_SIBILANT_DB, |most, &r| most.max(r));
        self.last = Frame { level_db: sibilant, ratio_db, bands: spectrum };
        self.may = [self.may[1], may];
    }

    /// The fricatives, given the active speech level and the highest frequency with content.
    pub(crate) fn sibilance(&self, active_level_dbov: f64, high_hz: f64) -> Measured<Sibilance> {
        if high_hz < MIN_BANDWIDTH_HZ || self.bands.is_none() {
            return Err(Unavailable::InsufficientBandwidth);
        }
        let frame_s = self.framing.hop_s();
        let ([vowel], vowels) = self.vowels.from(active_level_dbov - VOWEL_UNDER_DB);
        if vowels * frame_s < MIN_S {
            return Err(Unavailable::TooShort);
        }
        let vowel_db = power_to_db((vowel / vowels).max(1e-20));
        let floor = self.floor.percentile(0.05).unwrap_or(-130.0) + OVER_FLOOR_DB;
        let from = floor.max(active_level_dbov - FRICATIVE_UNDER_DB);
        let (sums, count) = self.fricatives.from(from);
        if count * frame_s < MIN_S {
            return Err(Unavailable::NoSuitableSegment);
        }
        let (low, high, usual) = if high_hz < 9_000.0 { (16, 30, USUAL_DB[1]) } else { (20, 36, USUAL_DB[0]) };
        let level = power_to_db((sums[low..high].iter().sum::<f64>() / count).max(1e-20));
        let (power, moment) = (12..40)
            .fold((0.0, 0.0), |(power, moment), i| (power + sums[i], moment + sums[i] * (i as f64 + 0.5) * BAND_HZ));
        let (_, strong) = self.fricatives.from(from.max(vowel_db + USUAL_DB[2] + 6.0));
        let (ratios, all) = self.loud.from(from);
        let ratio_p90_db = LOWEST_RATIO_DB + interpolated_bin(ratios, 0.9 * all).unwrap_or(0.0);
        Ok(Sibilance {
            frequency_hz: moment / power.max(1e-30),
            excess_db: level - vowel_db - usual,
            share_percent: 100.0 * strong / count,
            ratio_p90_db,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::spectra::Spectra;
    use super::*;
    extern crate std;
    use std::vec::Vec;

    const RATE: f64 = 48_000.0;

    /// Vowels of 300 ms (harmonics of 125 Hz up to 1.4 kHz) with bursts of 150 ms from 5 to 9 kHz between them, so many
    /// dB stronger than the vowels; without a ratio silence. The level is that of the vowels.
    fn signal(level_db: f64, ratio_db: Option<f64>) -> Vec<f32> {
        let scale = libm::exp10(level_db / 20.0);
        // Sines of equal strength: `count` of them have the mean square of one of amplitude sqrt(2).
        let sum = |n: usize, hz: fn(usize) -> f64, count: usize| {
            let one = |k| libm::sin(core::f64::consts::TAU * hz(k) * n as f64 / RATE + (k * k) as f64);
            libm::sqrt(2.0 / count as f64) * (1..=count).map(one).sum::<f64>()
        };
        let [vowel, cycle] = [0.3, 0.45].map(|seconds| (seconds * RATE) as usize);
        let one = (0..cycle).map(|n| {
            let value = match ratio_db {
                _ if n < vowel => sum(n, |k| 125.0 * k as f64, 11),
                Some(db) => libm::exp10(db / 20.0) * sum(n, |k| 5_050.0 + 97.3 * (k - 1) as f64, 40),
                None => 0.0,
            };
            (scale * value) as f32
        });
        one.collect::<Vec<f32>>().repeat(8)
    }

    fn measured(signal: &[f32], piece: usize) -> SibilanceMeter {
        let framing = Framing::short(RATE);
        let mut spectra = Spectra::<512>::new(framing);
        let mut meter = SibilanceMeter::new(SampleRate::new(RATE).unwrap(), &framing);
        for piece in signal.chunks(piece) {
            spectra.pieces(piece, |spectra, now| {
                meter.push(now);
                spectra.push(now, |spectrum| meter.frame(spectrum));
            });
        }
        meter
    }

    #[test]
    fn bursts_of_a_known_strength_read_it_at_any_level_and_in_any_split() {
        for level in [-20.0, -40.0] {
            for ratio in [-14.0, -6.0, 0.0] {
                let signal = signal(level, Some(ratio));
                let found = measured(&signal, 4_096).sibilance(level, 24_000.0).unwrap();
                // Frames that overlap the ends of a burst count too and hold less of it.
                let excess = ratio - USUAL_DB[0];
                assert!((found.excess_db - excess).abs() < 1.5, "{ratio}: {found:?}");
                // The middle of 5,050 to 8,845 Hz.
                assert!((found.frequency_hz - 6_950.0).abs() < 150.0, "{found:?}");
                assert_eq!(measured(&signal, 331).sibilance(level, 24_000.0), Ok(found));
            }
        }
    }

    #[test]
    fn eight_decibels_more_read_eight_decibels_more() {
        let excess = |ratio| measured(&signal(-20.0, Some(ratio)), 512).sibilance(-20.0, 24_000.0).unwrap().excess_db;
        assert!((excess(-4.0) - excess(-12.0) - 8.0).abs() < 0.5);
    }

    #[test]
    fn vowels_alone_and_narrow_recordings_have_no_fricatives() {
        let vowels = measured(&signal(-20.0, None), 512);
        assert_eq!(vowels.sibilance(-20.0, 24_000.0), Err(Unavailable::NoSuitableSegment));
        assert_eq!(
            measured(&signal(-20.0, Some(-8.0)), 512).sibilance(-20.0, 4_000.0),
            Err(Unavailable::InsufficientBandwidth)
        );
    }
}
