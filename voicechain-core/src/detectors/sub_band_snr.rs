//! How far a sound stands above the noise that was there before it, in the band in which it stands out most.

use super::band_powers::BandPowers;
use super::{NoiseFloor, TICK};
use crate::filters::EnergyBank;
use crate::filters::design::{BUTTERWORTH_Q, fits, high_pass, low_pass};
use crate::frame::Frame;
use crate::math::{fast_to_db, from_db, smoothing};
use crate::units::SampleRate;

const BANDS: usize = 4;
/// Edges of the bands, Hz: voicing, vowels, consonants and breath, sibilants (common practice, no source).
const EDGES_HZ: [[f64; 2]; BANDS] = [[100.0, 500.0], [500.0, 1_600.0], [1_600.0, 4_500.0], [4_500.0, 11_000.0]];
/// How fast the level follows, ms.
const LEVEL_MS: f64 = 10.0;
/// Smoothing in front of the floor, ms, and the stretch of the floor, s.
const FLOOR_MS: f64 = 80.0;
const FLOOR_S: f64 = 3.0;
/// The lowest of white noise over that stretch, so smoothed, lies under its mean by about so many dB (found by
/// trial; a wide band less, a narrow one more).
const FLOOR_BIAS_DB: f64 = 1.3;
/// A band in which nothing has been louder than its floor by so many dB tells no voice from noise.
const CONTRAST_DB: f64 = 12.0;
/// How fast the memory of what was loud sinks while nothing is, dB per second.
const SINK_DB_PER_S: f64 = 0.25;
/// Powers below this (-100 dBFS) are taken for it: digital silence is no noise to stand above.
const MIN_POWER: f32 = 1e-10;
/// Shown where no band tells voice from noise: more than any threshold.
pub const UNKNOWN_SNR_DB: f32 = 100.0;

/// The band filters and smoothers of an [`SubBandSnr`] detector.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SubBandSnrFilters {
    bank: EnergyBank<BANDS>,
    used: [bool; BANDS],
    level_smoothing: f32,
    floor_smoothing: f32,
    bias: f32,
    contrast: f32,
    loud_sink: f32,
}

impl SubBandSnrFilters {
    /// The filters at this rate; bands without room are left out.
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
            loud_sink: from_db(-2.0 * SINK_DB_PER_S * tick / rate.hz()) as f32,
        }
    }
}

/// One band.
#[derive(Clone, Copy, Debug)]
struct Band {
    level: f32,
    slow: f32,
    floor: NoiseFloor,
    /// The loudest slow level, sinking slowly.
    loud: f32,
}

/// How far the sound stands above its noise floor, in dB, once per [`TICK`] frames: the largest distance of four bands.
///
/// A weak "f" at the end of a word or a breath is lost in the level of everything, but not in its band; that is what
/// tells it from a pause. The floor of a band is its [`NoiseFloor`] over three seconds; a band takes part when something
/// in it has been 12 dB louder than the floor, and as long as none does the answer is [`UNKNOWN_SNR_DB`]: one held note, or
/// nothing but noise from the beginning, is judged by nobody. Channels are averaged. Cost: four pairs of sections. What was
/// learnt lasts for those three seconds, and the loudness of a band sinks by 0.25 dB per second. Tested by
/// `expander` in `properties`.
#[derive(Clone, Copy, Debug)]
pub struct SubBandSnr<const C: usize>
where
    [f32; C]: Frame,
{
    powers: BandPowers<C, BANDS>,
    bands: [Band; BANDS],
    snr_db: f32,
}

impl<const C: usize> SubBandSnr<C>
where
    [f32; C]: Frame,
{
    /// A detector that has heard nothing.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        let floor = NoiseFloor::new(FLOOR_S * rate.hz() / f64::from(TICK));
        Self {
            powers: BandPowers::new(),
            bands: [Band { level: 0.0, slow: 0.0, floor, loud: 0.0 }; BANDS],
            snr_db: UNKNOWN_SNR_DB,
        }
    }

    /// The frames until the answer is next brought up to date.
    #[must_use]
    pub fn remaining(&self) -> usize {
        self.powers.remaining()
    }

    /// Takes frames, as many as there are; true when the answer has been brought up to date.
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
        let mut most: Option<f32> = None;
        for ((band, power), used) in self.bands.iter_mut().zip(powers).zip(c.used) {
            let power = if power > MIN_POWER { power } else { MIN_POWER };
            band.level = power + c.level_smoothing * (band.level - power);
            band.slow = power + c.floor_smoothing * (band.slow - power);
            band.floor.push(band.slow);
            let sunk = band.loud * c.loud_sink;
            band.loud = if band.slow > sunk { band.slow } else { sunk };
            let Some(lowest) = band.floor.lowest() else { continue };
            let floor = c.bias * lowest;
            if used && band.loud > c.contrast * floor {
                let ratio = band.level / floor;
                most = Some(most.map_or(ratio, |m| if ratio > m { ratio } else { m }));
            }
        }
        self.snr_db = most.map_or(UNKNOWN_SNR_DB, |ratio| 0.5 * fast_to_db(ratio));
    }

    /// How far the sound stands above its noise floor now, in dB.
    #[must_use]
    pub fn snr_db(&self) -> f32 {
        self.snr_db
    }
}
