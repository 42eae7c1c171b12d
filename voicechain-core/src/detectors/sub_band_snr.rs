//! Sub-band signal-to-noise ratio: the largest ratio of four bands.

use super::band_powers::BandPowers;
use super::{NoiseFloor, TICK};
use crate::blank::blank;
use crate::filters::EnergyBank;
use crate::filters::design::{BUTTERWORTH_Q, fits, high_pass, low_pass};
use crate::frame::Frame;
use crate::math::{fast_to_db, from_db, smoothing};
use crate::units::SampleRate;

const BANDS: usize = 4;
/// Band edges, Hz: voicing, vowels, consonants and breath, sibilants (common practice, no source).
const EDGES_HZ: [[f64; 2]; BANDS] = [[100.0, 500.0], [500.0, 1_600.0], [1_600.0, 4_500.0], [4_500.0, 11_000.0]];
/// Time constant of the level, ms.
const LEVEL_MS: f64 = 10.0;
/// Time constant of the smoothing before the noise floor, ms, and window of the floor, s.
const FLOOR_MS: f64 = 80.0;
const FLOOR_S: f64 = 3.0;
/// Bias of minimum statistics: mean over minimum of white noise with this smoothing and window, dB. Found by
/// experiment; smaller for a wide band, larger for a narrow one.
const FLOOR_BIAS_DB: f64 = 1.3;
/// Minimum distance of a band's peak level above its floor, dB. A band below it does not tell voice from noise.
const CONTRAST_DB: f64 = 12.0;
/// Decay of a band's peak level, dB per second.
const PEAK_DECAY_DB_PER_S: f64 = 0.25;
/// Lower limit of the power (-100 dBFS), so that digital silence does not count as a noise floor.
const MIN_POWER: f32 = 1e-10;
/// Reported where no band tells voice from noise: above any threshold.
pub const UNKNOWN_SNR_DB: f32 = 100.0;

/// Coefficients of a [`SubBandSnr`] detector: band filters and smoothers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SubBandSnrFilters {
    bank: EnergyBank<BANDS>,
    used: [bool; BANDS],
    level_smoothing: f32,
    floor_smoothing: f32,
    bias: f32,
    contrast: f32,
    peak_decay: f32,
}

blank! { SubBandSnrFilters { bank, used, level_smoothing, floor_smoothing, bias, contrast, peak_decay } }

impl SubBandSnrFilters {
    /// Designs the filters for a sample rate. Bands beyond the rate are left out.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        let band = |[low, high]: [f64; 2]| [high_pass(low, BUTTERWORTH_Q, rate), low_pass(high, BUTTERWORTH_Q, rate)];
        let tick = f64::from(TICK);
        Self {
            bank: EnergyBank::new(EDGES_HZ.map(band)),
            used: EDGES_HZ.map(|[low, _]| fits(1.2 * low, rate)),
            level_smoothing: smoothing(LEVEL_MS, rate.hz(), tick) as f32,
            floor_smoothing: smoothing(FLOOR_MS, rate.hz(), tick) as f32,
            bias: from_db(2.0 * FLOOR_BIAS_DB) as f32,
            contrast: from_db(2.0 * CONTRAST_DB) as f32,
            peak_decay: from_db(-2.0 * PEAK_DECAY_DB_PER_S * tick / rate.hz()) as f32,
        }
    }
}

impl SubBandSnrFilters {
    /// True when all coefficients are finite, the filters stable and the smoothing coefficients in range.
    #[must_use]
    pub fn is_stable(&self) -> bool {
        let Self { bank, used: _, level_smoothing, floor_smoothing, bias, contrast, peak_decay } = self;
        bank.is_stable()
            && [level_smoothing, floor_smoothing, peak_decay].iter().all(|kept| (0.0..1.0).contains(*kept))
            && [bias, contrast].iter().all(|ratio| ratio.is_finite())
    }
}

/// State of one band.
#[derive(Clone, Copy, Debug)]
struct Band {
    level: f32,
    slow: f32,
    floor: NoiseFloor,
    /// Maximum of the slow level, with a slow decay.
    peak: f32,
}

blank! { Band { level, slow, floor, peak } }

/// Signal-to-noise ratio in dB, updated once per [`TICK`] frames: the largest ratio of four bands.
///
/// A weak "f" at the end of a word or a breath is lost in the broadband level, but not in its own band. This tells it
/// from a pause.
///
/// - The floor of a band is its [`NoiseFloor`] over three seconds.
/// - A band counts once its level has exceeded its floor by 12 dB. Its peak level decays by 0.25 dB per second.
/// - With no such band the detector returns [`UNKNOWN_SNR_DB`], for example for one held note or for noise from the
///   start.
///
/// Channels are averaged. Cost: four pairs of sections. Tested by `restoration` in `properties`.
#[derive(Clone, Copy, Debug)]
pub struct SubBandSnr<const C: usize>
where
    [f32; C]: Frame,
{
    powers: BandPowers<C, BANDS>,
    bands: [Band; BANDS],
    snr_db: f32,
}

blank! { [const C: usize] SubBandSnr<C> where [f32; C]: Frame { powers, bands, snr_db } }

impl<const C: usize> SubBandSnr<C>
where
    [f32; C]: Frame,
{
    /// Creates a cleared detector.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        let floor = NoiseFloor::new(FLOOR_S * rate.hz() / f64::from(TICK));
        Self {
            powers: BandPowers::new(),
            bands: [Band { level: 0.0, slow: 0.0, floor, peak: 0.0 }; BANDS],
            snr_db: UNKNOWN_SNR_DB,
        }
    }

    /// Frames until the next update.
    #[must_use]
    pub fn remaining(&self) -> usize {
        self.powers.remaining()
    }

    /// Processes frames, in a slice of any length. Returns true when the ratio has been updated.
    pub fn run(&mut self, bands: &SubBandSnrFilters, frames: &[[f32; C]]) -> bool {
        let (mut rest, mut ticked) = (frames, false);
        while !rest.is_empty() {
            if let Some(powers) = self.powers.run(&bands.bank, &mut rest) {
                self.tick(bands, powers);
                ticked = true;
            }
        }
        ticked
    }

    fn tick(&mut self, c: &SubBandSnrFilters, powers: [f64; BANDS]) {
        let powers = powers.map(|power| power as f32);
        let mut largest: Option<f32> = None;
        for ((band, power), used) in self.bands.iter_mut().zip(powers).zip(c.used) {
            let power = if power > MIN_POWER { power } else { MIN_POWER };
            band.level = power + c.level_smoothing * (band.level - power);
            band.slow = power + c.floor_smoothing * (band.slow - power);
            band.floor.push(band.slow);
            let decayed = band.peak * c.peak_decay;
            band.peak = if band.slow > decayed { band.slow } else { decayed };
            let Some(lowest) = band.floor.lowest() else { continue };
            let floor = c.bias * lowest;
            if used && band.peak > c.contrast * floor {
                let ratio = band.level / floor;
                largest = Some(largest.map_or(ratio, |m| if ratio > m { ratio } else { m }));
            }
        }
        self.snr_db = largest.map_or(UNKNOWN_SNR_DB, |ratio| 0.5 * fast_to_db(ratio));
    }

    /// Current signal-to-noise ratio, dB.
    #[must_use]
    pub fn snr_db(&self) -> f32 {
        self.snr_db
    }
}
