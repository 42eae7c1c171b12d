//! Sibilance: fricatives relative to vowels.

use super::level_bins::LevelBins;
use super::profile::{Measured, Sibilance, Unavailable};
use super::spectra::{Framing, Spectrum, total};
use crate::blank::blank;
use crate::detectors::sibilance::{self, SibilanceBands};
use crate::dsp::LevelHistogram;
use crate::dsp::histogram::interpolated_bin;
use crate::math::power_to_db;
use crate::units::SampleRate;

/// Bands of the fricatives' spectrum, from 0 to 12 kHz: width, Hz, and number.
const BAND_HZ: f64 = 250.0;
const BANDS: usize = 48;
/// Bins of the detector's ratio, from -16 to +48 dB.
const RATIOS: usize = 64;
const LOWEST_RATIO_DB: f64 = -16.0;
/// Usual level of fricatives relative to vowels, dB, means over 39 voices: from 5 to 9 kHz, from 4 to 7.5 kHz (for
/// recordings that end below 9 kHz), and from 4 to 10 kHz.
const USUAL_DB: [f64; 3] = [-14.5, -14.1, -10.2];
/// Minimum level of 4 to 10 kHz relative to the level below 1.5 kHz in a fricative, dB.
const FRICATIVE_DB: f64 = -5.0;
/// Maximum of the same level in a vowel, dB.
const VOWEL_DB: f64 = -12.0;
/// Vowels down to this distance below the active level count, dB.
const VOWEL_UNDER_DB: f64 = 8.0;
/// Fricatives down to this distance below the active level count, dB.
const FRICATIVE_UNDER_DB: f64 = 35.0;
/// Minimum level of a fricative above the 5th percentile, dB.
const OVER_FLOOR_DB: f64 = 6.0;
/// Minimum bandwidth for a measurement of fricatives, Hz.
const MIN_BANDWIDTH_HZ: f64 = 7_000.0;
/// Minimum duration of fricatives and of vowels, s.
const MIN_S: f64 = 0.3;

/// Measures fricatives in the spectra of short frames, along with the ratio of the detector that drives the de-esser.
#[derive(Clone, Debug)]
pub(crate) struct SibilanceMeter {
    bands: Option<SibilanceBands>,
    detector: sibilance::Sibilance<1>,
    /// Highest ratio of the current hop and of the three before.
    ratios: [f32; 4],
    fricatives: LevelBins<BANDS>,
    loud: LevelBins<RATIOS, 30>,
    vowels: LevelBins<1>,
    floor: LevelHistogram,
    /// Previous frame.
    last: Frame,
    /// Whether the two previous frames are candidate fricatives, oldest first.
    candidates: [bool; 2],
    framing: Framing,
    to_hop: usize,
}

blank! {
    SibilanceMeter {
        bands, detector, ratios, fricatives, loud, vowels, floor, last, candidates, framing, to_hop,
    }
}

/// Values of a frame that are kept until the next frame classifies it.
#[derive(Clone, Copy, Debug)]
struct Frame {
    level_db: f64,
    ratio_db: f32,
    bands: [f32; BANDS],
}

blank! { Frame { level_db, ratio_db, bands } }

impl SibilanceMeter {
    /// A meter for spectra of short frames of a recording at this rate.
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
            candidates: [false; 2],
            framing: *framing,
            to_hop: framing.hop,
        }
    }

    /// Processes samples, at most up to the end of the next frame.
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

    /// Processes the spectrum of the frame that has just ended.
    pub(crate) fn frame(&mut self, &Spectrum { powers, .. }: &Spectrum<'_>) {
        // The first bin of a band is the first at or above its lower edge.
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
        let candidate = sibilant - voiced > FRICATIVE_DB;
        // The majority of three frames classifies the middle one.
        if [self.candidates[0], self.candidates[1], candidate].iter().filter(|&&m| m).count() >= 2 {
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
        self.candidates = [self.candidates[1], candidate];
    }

    /// Sibilance, given the active speech level and the bandwidth of the recording.
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

    /// Vowels of 300 ms (harmonics of 125 Hz up to 1.4 kHz) with bursts of 150 ms from 5 to 9 kHz between them. The
    /// bursts are `ratio_db` stronger than the vowels; without a ratio they are silent. The level is that of the
    /// vowels.
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
    fn bursts_of_known_strength_are_measured_at_any_level_and_block_size() {
        for level in [-20.0, -40.0] {
            for ratio in [-14.0, -6.0, 0.0] {
                let signal = signal(level, Some(ratio));
                let found = measured(&signal, 4_096).sibilance(level, 24_000.0).unwrap();
                // Frames at the ends of a burst also count and contain only part of it.
                let excess = ratio - USUAL_DB[0];
                assert!((found.excess_db - excess).abs() < 1.5, "{ratio}: {found:?}");
                // The centre of 5,050 to 8,845 Hz.
                assert!((found.frequency_hz - 6_950.0).abs() < 150.0, "{found:?}");
                assert_eq!(measured(&signal, 331).sibilance(level, 24_000.0), Ok(found));
            }
        }
    }

    #[test]
    fn bursts_8_db_stronger_measure_8_db_more() {
        let excess = |ratio| measured(&signal(-20.0, Some(ratio)), 512).sibilance(-20.0, 24_000.0).unwrap().excess_db;
        assert!((excess(-4.0) - excess(-12.0) - 8.0).abs() < 0.5);
    }

    #[test]
    fn vowels_and_narrowband_recordings_have_no_fricatives() {
        let vowels = measured(&signal(-20.0, None), 512);
        assert_eq!(vowels.sibilance(-20.0, 24_000.0), Err(Unavailable::NoSuitableSegment));
        assert_eq!(
            measured(&signal(-20.0, Some(-8.0)), 512).sibilance(-20.0, 4_000.0),
            Err(Unavailable::InsufficientBandwidth)
        );
    }
}
