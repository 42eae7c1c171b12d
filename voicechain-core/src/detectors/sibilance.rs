//! Sibilance detector: level of the 4 to 10 kHz band relative to the voiced band, so that quiet and loud sibilants are
//! treated alike.

use super::TICK;
use super::band_powers::BandPowers;
use crate::blank::blank;
use crate::filters::design::{BUTTERWORTH_Q, fits, high_pass, low_pass};
use crate::filters::{EnergyBank, Response};
use crate::frame::Frame;
use crate::math::{FLUSH_THRESHOLD, fast_to_db, smoothing};
use crate::units::SampleRate;

/// Edges of the sibilant band, Hz. Source of the range: trade glossaries (4 to 10 kHz), no standard.
pub const SIBILANT_BAND_HZ: [f64; 2] = [4_000.0, 10_000.0];
/// Edges of the voiced band, Hz. Measured on recorded voices (see tests/accuracy/RESULTS.md).
pub const VOICED_BAND_HZ: [f64; 2] = [100.0, 1_500.0];
/// Minimum power of a sibilant relative to the loudest power of the last third of a second (-40 dB; common practice, no
/// source).
const MIN_SIBILANT_POWER_RATIO: f64 = 1e-4;
/// Minimum power of speech in that time (-60 dBFS).
const MIN_SPEECH_POWER: f64 = 1e-6;
const SIBILANT_MS: f64 = 2.0;
const VOICED_MS: f64 = 12.0;

/// Coefficients of a [`Sibilance`] detector: band filters and smoothers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SibilanceBands {
    bank: EnergyBank<2>,
    sibilant_smoothing: f64,
    voiced_smoothing: f64,
}

blank! { SibilanceBands { bank, sibilant_smoothing, voiced_smoothing } }

impl SibilanceBands {
    /// Designs the filters for a sample rate; `None` when the rate is too low for sibilants (below 8.9 kHz).
    #[must_use]
    pub fn new(rate: SampleRate) -> Option<Self> {
        if !fits(SIBILANT_BAND_HZ[0], rate) {
            return None;
        }
        let band = |[low, high]: [f64; 2]| [high_pass(low, BUTTERWORTH_Q, rate), low_pass(high, BUTTERWORTH_Q, rate)];
        Some(Self {
            bank: EnergyBank::new([band(SIBILANT_BAND_HZ), band(VOICED_BAND_HZ)]),
            sibilant_smoothing: smoothing(SIBILANT_MS, rate.hz(), f64::from(TICK)),
            voiced_smoothing: smoothing(VOICED_MS, rate.hz(), f64::from(TICK)),
        })
    }
}

impl SibilanceBands {
    /// True when the filters are stable and the smoothing coefficients in range.
    #[must_use]
    pub fn is_stable(&self) -> bool {
        let Self { bank, sibilant_smoothing, voiced_smoothing } = self;
        bank.is_stable() && [sibilant_smoothing, voiced_smoothing].iter().all(|kept| (0.0..1.0).contains(*kept))
    }

    /// The response of the sibilant band at `omega` radians per sample. Tested by `sibilant_response_matches_the_detector_band`.
    #[must_use]
    pub fn sibilant_response(&self, omega: f64) -> Response {
        self.bank.response(0, omega)
    }
}

/// Maximum power of the last 0.3 to 0.35 s. The window is finite: older values have no influence, however loud they
/// were.
#[derive(Clone, Copy, Debug)]
struct RecentPeak {
    past: [f64; 6],
    next: usize,
    running: f64,
    ticks: u32,
    ticks_per_block: u32,
}

blank! { RecentPeak { past, next, running, ticks, ticks_per_block } }

impl RecentPeak {
    fn new(rate: SampleRate) -> Self {
        let ticks_per_block = rate.samples(50.0) / TICK;
        Self { past: [0.0; 6], next: 0, running: 0.0, ticks: 0, ticks_per_block }
    }

    fn push(&mut self, power: f64) -> f64 {
        self.running = if power > self.running { power } else { self.running };
        self.ticks += 1;
        let loudest = self.past.iter().fold(self.running, |most, &p| if p > most { p } else { most });
        if self.ticks >= self.ticks_per_block {
            self.past[self.next] = core::mem::take(&mut self.running);
            (self.next, self.ticks) = ((self.next + 1) % self.past.len(), 0);
        }
        loudest
    }
}

/// Ratio of the sibilant band to the voiced band, in dB, updated once per [`TICK`] frames.
#[derive(Clone, Copy, Debug)]
pub struct Sibilance<const C: usize>
where
    [f32; C]: Frame,
{
    powers: BandPowers<C, 2>,
    recent: RecentPeak,
    sibilant_power: f64,
    voiced_power: f64,
    ratio_db: f32,
}

blank! {
    [const C: usize] Sibilance<C> where [f32; C]: Frame {
        powers, recent, sibilant_power, voiced_power, ratio_db,
    }
}

/// Reported where no sibilant is present: far below any threshold.
pub const NO_SIBILANT_DB: f32 = -100.0;

impl<const C: usize> Sibilance<C>
where
    [f32; C]: Frame,
{
    /// Creates a cleared detector.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        Self {
            powers: BandPowers::new(),
            recent: RecentPeak::new(rate),
            sibilant_power: 0.0,
            voiced_power: 0.0,
            ratio_db: NO_SIBILANT_DB,
        }
    }

    /// Frames until the next update.
    #[must_use]
    pub fn remaining(&self) -> usize {
        self.powers.remaining()
    }

    /// Processes frames, in a slice of any length. Returns true when the ratio has been updated.
    pub fn run(&mut self, bands: &SibilanceBands, frames: &[[f32; C]]) -> bool {
        let (mut rest, mut ticked) = (frames, false);
        while !rest.is_empty() {
            if let Some(powers) = self.powers.run(&bands.bank, &mut rest) {
                self.tick(bands, powers);
                ticked = true;
            }
        }
        ticked
    }

    fn tick(&mut self, bands: &SibilanceBands, [s, v]: [f64; 2]) {
        self.sibilant_power = s + bands.sibilant_smoothing * (self.sibilant_power - s);
        self.voiced_power = v + bands.voiced_smoothing * (self.voiced_power - v);
        if self.sibilant_power + self.voiced_power < FLUSH_THRESHOLD {
            (self.sibilant_power, self.voiced_power) = (0.0, 0.0);
        }
        let loudest = self.recent.push(self.sibilant_power + self.voiced_power);
        self.ratio_db = if loudest > MIN_SPEECH_POWER && self.sibilant_power > MIN_SIBILANT_POWER_RATIO * loudest {
            let ratio = self.sibilant_power / (self.voiced_power + 1e-12);
            0.5 * fast_to_db(ratio as f32)
        } else {
            NO_SIBILANT_DB
        };
    }

    /// Current ratio, dB; [`NO_SIBILANT_DB`] without speech or where the band is too quiet.
    #[must_use]
    pub fn ratio_db(&self) -> f32 {
        self.ratio_db
    }
}
