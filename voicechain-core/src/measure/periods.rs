//! Candidate periods of a short frame.

use crate::blank::blank;
use crate::dsp::{dot, parabola};

/// Lowest and highest pitch, Hz.
pub(super) const LOWEST_HZ: f64 = 65.0;
pub(super) const HIGHEST_HZ: f64 = 1_000.0;
/// Candidates per frame.
pub(super) const MAX_PERIODS: usize = 6;
/// Minimum correlation of a candidate.
const MIN_CORRELATION: f32 = 0.3;
/// Preference for shorter periods, per octave: twice a period is also a period.
const PER_OCTAVE: f32 = 0.015;
/// Length of the compared segments, s.
const WINDOW_S: f64 = 0.032;

/// Maximum segment length, samples at just under 12 kHz, rounded up.
const WINDOW: usize = 384;
/// Longest period, samples at that rate, rounded up.
const LAGS: usize = 192;
/// Maximum frame length, samples.
pub(super) const FRAME: usize = WINDOW + LAGS;

/// Candidate: its pitch in Hz, and the normalised correlation of the sound with itself one period later, 0 to 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Period {
    pub(super) hz: f32,
    pub(super) correlation: f32,
}

impl Period {
    /// Rank among other candidates: correlation plus the preference for shorter periods.
    pub(super) fn rank(&self) -> f32 {
        self.correlation + PER_OCTAVE * libm::log2f(self.hz / LOWEST_HZ as f32)
    }
}

/// Candidates, best first; `None` fills the rest.
pub(super) type Periods = [Option<Period>; MAX_PERIODS];

/// Finds candidate periods at one sample rate from 6 to 12 kHz.
#[derive(Clone, Debug)]
pub(super) struct PeriodFinder {
    rate_hz: f64,
    window: usize,
    lags: usize,
}

blank! { PeriodFinder { rate_hz, window, lags } }

impl PeriodFinder {
    pub(super) fn new(rate_hz: f64) -> Self {
        let window = ((WINDOW_S * rate_hz) as usize).min(WINDOW);
        let lags = ((rate_hz / LOWEST_HZ) as usize + 3).min(LAGS);
        Self { rate_hz, window, lags }
    }

    /// Frame length, samples.
    pub(super) fn length(&self) -> usize {
        self.window + self.lags
    }

    /// Candidate periods of a frame of [`Self::length`] samples.
    ///
    /// Two segments of 32 ms, `lag` apart and centred in the frame, are compared by their normalised correlation `sum(a
    /// b) / sqrt(sum(a^2) sum(b^2))`. As in the pitch tracker of Talkin 1995 (from memory), whose first segment is
    /// fixed. Peaks are refined by parabolas. The error of a period is below 0.5 % for sounds below 1 kHz; tested in
    /// [`super::pitch`]. Cost: about 18000 multiply-adds per frame at 6 kHz.
    pub(super) fn find(&self, frame: &[f32]) -> Periods {
        let mut found: Periods = [None; MAX_PERIODS];
        // Cumulative sums of squares.
        let least = 1e-26 * (self.window * self.window) as f64;
        let mut squares = [0.0_f64; FRAME + 1];
        for (n, &sample) in frame.iter().enumerate().take(FRAME) {
            squares[n + 1] = squares[n] + f64::from(sample) * f64::from(sample);
        }
        // Signed square of the correlation; the root is taken of peaks only.
        let square = |lag: usize| {
            let left = (self.lags - lag) / 2;
            let right = left + lag;
            let power = |from: usize| squares[from + self.window] - squares[from];
            let powers = power(left) * power(right);
            let product = dot(&frame[left..left + self.window], &frame[right..right + self.window]);
            // Below -130 dBFS the signal is rounding noise.
            if powers > least { product * libm::fabsf(product) / powers as f32 } else { 0.0 }
        };
        let root = |square: f32| libm::copysignf(libm::sqrtf(libm::fabsf(square)), square);
        let shortest = ((self.rate_hz / HIGHEST_HZ) as usize).max(2);
        let (mut before, mut here) = (square(shortest - 1), square(shortest));
        for lag in shortest..self.lags - 1 {
            let after = square(lag + 1);
            if here > MIN_CORRELATION * MIN_CORRELATION && here > before && here >= after {
                let around = [root(before), root(here), root(after)];
                let shift = parabola::vertex(around);
                let hz = (self.rate_hz / (lag as f64 + f64::from(shift))) as f32;
                if (LOWEST_HZ as f32..=HIGHEST_HZ as f32).contains(&hz) {
                    insert(&mut found, Period { hz, correlation: parabola::height(around, shift).min(1.0) });
                }
            }
            (before, here) = (here, after);
        }
        found
    }
}

/// Inserts a candidate by rank and drops the last one.
fn insert(found: &mut Periods, mut period: Period) {
    for place in found {
        match place {
            None => {
                *place = Some(period);
                return;
            }
            Some(known) if known.rank() < period.rank() => core::mem::swap(known, &mut period),
            Some(_) => {}
        }
    }
}
