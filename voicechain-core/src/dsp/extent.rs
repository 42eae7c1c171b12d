//! Largest magnitude and largest second difference of samples: together they bound what an interpolation filter can read
//! between the samples.
//!
//! A weighted sum of samples with unity gain at 0 Hz and the delay of its position is the linear interpolation between two
//! samples plus a weighted sum of second differences. Twice the running sum of the weights, less those of the linear
//! interpolation, gives the latter weights.

use crate::blank::blank;
use wide::f32x4;

/// Larger of two numbers; compiles to one instruction.
#[inline(always)]
#[must_use]
pub fn larger(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
}

/// Largest magnitude and largest second difference of some samples.
#[derive(Clone, Copy, Debug)]
pub struct Extent {
    /// Largest magnitude.
    pub magnitude: f32,
    /// Largest magnitude of `x[n-1] - 2 x[n] + x[n+1]`.
    pub curvature: f32,
}

blank! { Extent { magnitude, curvature } }

impl Extent {
    /// Of silence.
    pub const SILENT: Self = Self { magnitude: 0.0, curvature: 0.0 };

    /// Least number of samples for [`Extent::of`].
    pub const LEAST: usize = 10;

    /// Of at least [`LEAST`](Self::LEAST) samples; zero for fewer.
    #[must_use]
    pub fn of(samples: &[f32]) -> Self {
        let Some(last) = samples.len().checked_sub(Self::LEAST) else {
            return Self::SILENT;
        };
        let (mut magnitude, mut curvature) = (f32x4::ZERO, f32x4::ZERO);
        let mut at = 0;
        loop {
            // The last step overlaps the previous one.
            let window: &[f32; Self::LEAST] = samples[at.min(last)..].first_chunk().unwrap_or(&[0.0; Self::LEAST]);
            let four = |from: usize| window[from..].first_chunk::<4>().map_or(f32x4::ZERO, |&four| f32x4::from(four));
            for from in [0, 4] {
                let [left, here, right] = [four(from), four(from + 1), four(from + 2)];
                magnitude = magnitude.fast_max(left.abs());
                curvature = curvature.fast_max((left - (here + here) + right).abs());
            }
            if at >= last {
                break;
            }
            at += 8;
        }
        let ends = larger(samples[samples.len() - 1].abs(), samples[samples.len() - 2].abs());
        Self {
            magnitude: magnitude.to_array().into_iter().fold(ends, larger),
            curvature: curvature.to_array().into_iter().fold(0.0, larger),
        }
    }

    /// Of the samples of both.
    #[must_use]
    pub fn join(self, other: Self) -> Self {
        Self { magnitude: larger(self.magnitude, other.magnitude), curvature: larger(self.curvature, other.curvature) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Definition, for every length and every position of the largest values.
    #[test]
    fn extent_matches_its_definition() {
        for length in Extent::LEAST..40 {
            for at in 0..length {
                let mut samples = [0.1_f32; 40];
                samples[at] = -2.0;
                let samples = &samples[..length];
                let extent = Extent::of(samples);
                assert!(extent.magnitude == 2.0);
                let inside = at > 0 && at + 1 < length;
                assert!((extent.curvature - if inside { 4.2 } else { 2.1 }).abs() < 1e-6, "{length} {at}");
            }
        }
        assert!(Extent::of(&[1.0; Extent::LEAST - 1]).magnitude == 0.0);
    }
}
