//! Fricatives against vowels.

use super::histogram::LevelHistogram;
use super::profile::{Doubt, Measured, Sibilance};
use super::spectra::Spectra;
use super::strata::Strata;
use crate::detectors::sibilance::{self, SibilanceBands};
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
/// Fewest frames of either kind, s.
const FEWEST_S: f64 = 0.3;

/// Hears fricatives in frames of [`frame_length`] samples.
#[derive(Clone, Debug)]
pub(crate) struct SibilanceMeter {
    bands: Option<SibilanceBands>,
    detector: sibilance::Sibilance<1>,
    /// Loudest ratio of the running hop and of the three before.
    ratios: [f32; 4],
    fricatives: Strata<BANDS>,
    loud: Strata<RATIOS>,
    vowels: Strata<1>,
    floor: LevelHistogram,
    /// The last frame (its level, ratio and spectrum) and whether it and the one before may be fricatives.
    last: (f64, f32, [f32; BANDS]),
    may: [bool; 2],
    hop: usize,
    to_hop: usize,
    rate_hz: f64,
}

/// Samples of a frame of about 21 ms.
pub(crate) fn frame_length(rate_hz: f64) -> usize {
    (super::colour::frame_length(rate_hz) / 4).max(256)
}

impl SibilanceMeter {
    /// `hop` is that of the frames: a quarter or half of a frame.
    pub(crate) fn new(rate: SampleRate, hop: usize) -> Self {
        Self {
            bands: SibilanceBands::new(rate),
            detector: sibilance::Sibilance::fresh(rate),
            ratios: [sibilance::NO_SIBILANT_DB; 4],
            fricatives: Strata::new(),
            loud: Strata::new(),
            vowels: Strata::new(),
            floor: LevelHistogram::new(),
            last: (-130.0, sibilance::NO_SIBILANT_DB, [0.0; BANDS]),
            may: [false; 2],
            hop,
            to_hop: hop,
            rate_hz: rate.hz(),
        }
    }

    /// Takes samples, makes frames of them, and shows the powers of every frame to `also`.
    pub(crate) fn push(&mut self, samples: &[f32], spectra: &mut Spectra, mut also: impl FnMut(&[f32])) {
        let mut rest = samples;
        while !rest.is_empty() {
            let (now, later) = rest.split_at(rest.len().min(self.to_hop).min(self.detector.left()));
            rest = later;
            if let Some(bands) = &self.bands {
                for &sample in now {
                    if self.detector.run(bands, &[[sample]]) {
                        self.ratios[0] = self.ratios[0].max(self.detector.ratio_db());
                    }
                }
            }
            spectra.push(now, |powers| {
                self.push_powers(powers);
                also(powers);
            });
            self.to_hop -= now.len();
            if self.to_hop == 0 {
                self.to_hop = self.hop;
                self.ratios.rotate_right(1);
                self.ratios[0] = sibilance::NO_SIBILANT_DB;
            }
        }
    }

    fn push_powers(&mut self, powers: &[f32]) {
        let bin_hz = 0.5 * self.rate_hz / powers.len() as f64;
        let mut spectrum = [0.0_f32; BANDS];
        for (k, power) in powers.iter().enumerate() {
            if let Some(sum) = spectrum.get_mut((k as f64 * bin_hz / BAND_HZ) as usize) {
                *sum += power;
            }
        }
        let db = |from: usize, to: usize| power_to_db(f64::from(spectrum[from..to].iter().sum::<f32>()).max(1e-13));
        let (sibilant, voiced) = (db(16, 40), db(0, 6));
        let level = power_to_db(f64::from(powers.iter().sum::<f32>()).max(1e-13));
        self.floor.push(sibilant);
        if sibilant - voiced < -12.0 {
            self.vowels.at(level)[0] += powers.iter().sum::<f32>();
        }
        let may = sibilant - voiced > -5.0;
        // The majority of three decides on the one in the middle.
        if [self.may[0], self.may[1], may].iter().filter(|&&m| m).count() >= 2 {
            let (level, ratio, spectrum) = &self.last;
            for (sum, power) in self.fricatives.at(*level).iter_mut().zip(spectrum) {
                *sum += power;
            }
            let place = (f64::from(*ratio) - LOWEST_RATIO_DB).max(0.0) as usize;
            self.loud.at(*level)[place.min(RATIOS - 1)] += 1.0;
        }
        let hops = (2 * powers.len() / self.hop).min(4);
        let ratio = self.ratios[..hops].iter().fold(sibilance::NO_SIBILANT_DB, |most, &r| most.max(r));
        self.last = (sibilant, ratio, spectrum);
        self.may = [self.may[1], may];
    }

    /// The fricatives, given the active speech level and the highest frequency with content.
    pub(crate) fn sibilance(&self, active_level_dbov: f64, high_hz: f64) -> Measured<Sibilance> {
        if high_hz < 7_000.0 || self.bands.is_none() {
            return Err(Doubt::NoBand);
        }
        let frame_s = self.hop as f64 / self.rate_hz;
        let ([vowel], vowels) = self.vowels.from(active_level_dbov - 8.0);
        if vowels * frame_s < FEWEST_S {
            return Err(Doubt::TooShort);
        }
        let vowel_db = power_to_db((vowel / vowels).max(1e-20));
        let floor = self.floor.percentile(0.05).unwrap_or(-130.0) + 6.0;
        let from = floor.max(active_level_dbov - 35.0);
        let (sums, count) = self.fricatives.from(from);
        if count * frame_s < FEWEST_S {
            return Err(Doubt::NotHeard);
        }
        let (low, high, usual) = if high_hz < 9_000.0 { (16, 30, USUAL_DB[1]) } else { (20, 36, USUAL_DB[0]) };
        let level = power_to_db((sums[low..high].iter().sum::<f64>() / count).max(1e-20));
        let (power, moment) = (12..40)
            .fold((0.0, 0.0), |(power, moment), i| (power + sums[i], moment + sums[i] * (i as f64 + 0.5) * BAND_HZ));
        let (_, strong) = self.fricatives.from(from.max(vowel_db + USUAL_DB[2] + 6.0));
        let (ratios, _) = self.loud.from(from);
        let (mut below, mut loud_ratio_db) = (0.0, LOWEST_RATIO_DB);
        for (i, n) in ratios.iter().enumerate() {
            if below < 0.9 * count && below + n >= 0.9 * count {
                loud_ratio_db += i as f64 + (0.9 * count - below) / n;
            }
            below += n;
        }
        Ok(Sibilance {
            frequency_hz: moment / power.max(1e-30),
            excess_db: level - vowel_db - usual,
            share_percent: 100.0 * strong / count,
            loud_ratio_db,
        })
    }
}
