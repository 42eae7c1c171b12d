//! Gain reduction as an integer, with conversion from and to linear gain.
//!
//! Integer sums are exact. Running sums never drift, and silence returns to a gain of exactly 1.

use crate::blank::blank;

/// A reduction: `-log2(gain)` in steps of 2^-20, which is 5.7e-6 dB.
pub(super) type Reduction = u32;

/// Steps per doubling.
const BITS: u32 = 20;
/// Steps per doubling, as a float.
pub(super) const STEPS: f32 = (1_u32 << BITS) as f32;
/// Decibels per step: `20 log10(2) / 2^20`.
pub(super) const DB_PER_STEP: f64 = 6.020_599_913_279_624 / (1_u32 << BITS) as f64;

/// Reduction that brings a level of `excess` down to 1; 0 for 1 and below.
///
/// Exponent from the bits, mantissa by a polynomial of degree 5 that is exact at both ends of the octave. Error at
/// most 2e-5 of a doubling (1.2e-4 dB). Tested by `logarithm_and_exponential_stay_within_their_error_bounds`.
#[inline(always)]
pub(super) fn reduction_for(excess: f32) -> Reduction {
    let bits = excess.to_bits();
    let octave = (bits >> 23).wrapping_sub(127);
    let t = f32::from_bits((bits & 0x007f_ffff) | 0x3f80_0000) - 1.0;
    let p = 0.045_147_17_f32;
    let p = p * t - 0.193_570_5;
    let p = p * t + 0.415_601_02;
    let p = p * t - 0.709_094_49;
    let p = p * t + 1.441_916_8;
    // Rounded up: rounding never makes the gain too high.
    let part = (p * t * STEPS) as i32 as u32 + 1;
    if excess > 1.0 { (octave << BITS).wrapping_add(part) } else { 0 }
}

/// `2^(-reduction / 2^20)`; exactly 1 for 0.
///
/// Polynomial of degree 4 that is exact at both ends of the octave. Relative error at most 5e-6 (4e-5 dB). Tested by
/// `logarithm_and_exponential_stay_within_their_error_bounds`. Reductions of more than 126 doublings return 2^-126.
#[inline(always)]
pub(super) fn gain_of(reduction: Reduction) -> f32 {
    let octaves = reduction >> BITS;
    let octaves = if octaves < 126 { octaves } else { 126 };
    let t = (reduction & ((1 << BITS) - 1)) as i32 as f32 * (1.0 / STEPS);
    let p = 0.006_850_99_f32;
    let p = p * t - 0.053_276_09;
    let p = p * t + 0.239_497_26;
    let p = p * t - 0.693_072_16;
    (p * t + 1.0) * f32::from_bits((127 - octaves) << 23)
}

/// Mean of the last `length` reductions, from an exact sum.
#[derive(Clone, Debug)]
pub(super) struct RunningMean<const N: usize> {
    past: [Reduction; N],
    at: usize,
    length: usize,
    sum: u64,
    /// `2^32 / length`, rounded up.
    reciprocal: u64,
}

blank! { [const N: usize] RunningMean<N> { past, at, length, sum, reciprocal } }

impl<const N: usize> RunningMean<N> {
    /// Creates a mean over `length` values (1 to `N`), all 0.
    pub(super) fn new(length: usize) -> Self {
        let length = length.clamp(1, N);
        Self { past: [0; N], at: 0, length, sum: 0, reciprocal: (1_u64 << 32).div_ceil(length as u64) }
    }

    /// Adds a value and returns the mean, at most one step above the exact one.
    #[inline(always)]
    pub(super) fn push(&mut self, value: Reduction) -> Reduction {
        let oldest = core::mem::replace(&mut self.past[self.at], value);
        self.sum = self.sum + u64::from(value) - u64::from(oldest);
        self.at = if self.at + 1 < self.length { self.at + 1 } else { 0 };
        ((self.sum * self.reciprocal) >> 32) as u32
    }
}
