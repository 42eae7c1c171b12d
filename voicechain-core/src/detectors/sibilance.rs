//! Sibilance: the 4 to 10 kHz band against the voiced band, so that a quiet "s" and a loud "s" are judged alike.

use super::{TICK, VoiceActivity};
use crate::filters::design::{BUTTERWORTH_Q, fits, high_pass, low_pass};
use crate::filters::{EnergyBank, EnergyBankState};
use crate::frame::Frame;
use crate::math::{fast_to_db, smoothing};
use crate::units::SampleRate;

/// Edges of the sibilant band, Hz. Source of the region: glossaries of the trade (4 to 10 kHz), no standard.
pub const SIBILANT_BAND_HZ: [f64; 2] = [4_000.0, 10_000.0];
/// Edges of the voiced band, Hz (measured on real voices: DEVELOPERS, "Measured rules").
pub const VOICED_BAND_HZ: [f64; 2] = [100.0, 1_500.0];
/// A sibilant is at most so far under the level of active speech, as a power ratio (35 dB).
const LOWEST_SIBILANT: f64 = 3.162_277_660_168_379_5e-4;
const SIBILANT_MS: f64 = 2.0;
const VOICED_MS: f64 = 12.0;

/// The band filters and smoothers of a [`Sibilance`] detector.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SibilanceBands {
    bank: EnergyBank<2>,
    sibilant_kept: f64,
    voiced_kept: f64,
}

impl SibilanceBands {
    /// The filters at this rate; `None` when the rate has no room for sibilants (below 8.9 kHz).
    #[must_use]
    pub fn new(rate: SampleRate) -> Option<Self> {
        if !fits(SIBILANT_BAND_HZ[0], rate) {
            return None;
        }
        let band = |[low, high]: [f64; 2]| [high_pass(low, BUTTERWORTH_Q, rate), low_pass(high, BUTTERWORTH_Q, rate)];
        Some(Self {
            bank: EnergyBank::new([band(SIBILANT_BAND_HZ), band(VOICED_BAND_HZ)]),
            sibilant_kept: smoothing(SIBILANT_MS, rate.hz(), f64::from(TICK)),
            voiced_kept: smoothing(VOICED_MS, rate.hz(), f64::from(TICK)),
        })
    }
}

/// How strong the sibilant band is against the voiced band, in dB, once per [`TICK`] frames.
#[derive(Clone, Copy, Debug)]
pub struct Sibilance<const C: usize>
where
    [f32; C]: Frame,
{
    bank: EnergyBankState<C, 2>,
    activity: VoiceActivity,
    frames: u32,
    sibilant_power: f64,
    voiced_power: f64,
    ratio_db: f32,
}

/// Shown where there is no sibilant: far below any threshold.
pub const NO_SIBILANT_DB: f32 = -100.0;

impl<const C: usize> Sibilance<C>
where
    [f32; C]: Frame,
{
    /// A detector that has heard nothing.
    #[must_use]
    pub fn fresh(rate: SampleRate) -> Self {
        Self {
            bank: EnergyBankState::fresh(),
            activity: VoiceActivity::fresh(rate, f64::from(TICK)),
            frames: 0,
            sibilant_power: 0.0,
            voiced_power: 0.0,
            ratio_db: NO_SIBILANT_DB,
        }
    }

    /// The frames until the ratio is brought up to date; [`run`](Self::run) takes at most so many at once.
    #[must_use]
    pub fn left(&self) -> usize {
        (TICK - self.frames) as usize
    }

    /// Takes frames; true when the ratio has been brought up to date.
    pub fn run(&mut self, bands: &SibilanceBands, frames: &[[f32; C]]) -> bool {
        bands.bank.run(&mut self.bank, frames);
        self.frames += frames.len() as u32;
        if self.frames < TICK {
            return false;
        }
        self.frames = 0;
        self.tick(bands);
        true
    }

    fn tick(&mut self, bands: &SibilanceBands) {
        let [s, v] = self.bank.take_energies().map(|sum| sum * (1.0 / (f64::from(TICK) * C as f64)));
        self.sibilant_power = s + bands.sibilant_kept * (self.sibilant_power - s);
        self.voiced_power = v + bands.voiced_kept * (self.voiced_power - v);
        if self.sibilant_power + self.voiced_power < 1e-30 {
            (self.sibilant_power, self.voiced_power) = (0.0, 0.0);
        }
        self.activity.tick(s + v);
        let strong = self.sibilant_power > LOWEST_SIBILANT * self.activity.active_power();
        self.ratio_db = if self.activity.is_active() && strong && self.sibilant_power > 1e-12 {
            let ratio = self.sibilant_power / (self.voiced_power + 1e-12);
            0.5 * fast_to_db(ratio as f32)
        } else {
            NO_SIBILANT_DB
        };
    }

    /// The ratio now, in dB; [`NO_SIBILANT_DB`] where nobody speaks or the band is too quiet.
    #[must_use]
    pub fn ratio_db(&self) -> f32 {
        self.ratio_db
    }
}
