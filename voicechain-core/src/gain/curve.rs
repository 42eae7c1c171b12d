//! Static curves: gain as a function of a steady level. All have a soft knee and share one formula.

use crate::blank::{Blank, blank};
use crate::math::Real;

/// Excess of a level over a threshold, with a soft knee of width `W` dB centred on it: 0 below the knee, the difference
/// above, a parabola within. Continuous in value and slope.
///
/// `0` for `2 d <= -W`; `(d + W/2)^2 / (2 W)` for `2 |d| <= W`; `d` above. Source: the knee of Giannoulis, Massberg,
/// Reiss, JAES 60(6), 2012, eq. (4). Tested by `static_curves_match_the_published_equation`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SoftKnee<F> {
    half_knee: F,
    knee: F,
    /// `1 / (2 W)`, 0 for a hard knee.
    inverse: F,
}

blank! { [F: Blank] SoftKnee<F> { half_knee, knee, inverse } }

impl<F: Real> SoftKnee<F> {
    /// Creates a knee of this width in dB, 0 or more.
    #[must_use]
    pub fn new(knee_db: f64) -> Self {
        let inverse = if knee_db > 0.0 { 0.5 / knee_db } else { 0.0 };
        Self { half_knee: F::from_f64(0.5 * knee_db), knee: F::from_f64(knee_db), inverse: F::from_f64(inverse) }
    }

    /// Excess in dB of a level `difference_db` above the threshold.
    #[inline(always)]
    #[must_use]
    pub fn of(&self, difference_db: F) -> F {
        let into = (difference_db + self.half_knee).greater(F::ZERO).lesser(self.knee);
        into * into * self.inverse + (difference_db - self.half_knee).greater(F::ZERO)
    }

    /// True when all numbers of the curve are finite.
    #[must_use]
    pub fn is_finite(&self) -> bool {
        let Self { half_knee, knee, inverse } = self;
        [half_knee, knee, inverse].iter().all(|value| value.is_finite())
    }
}

/// Static curve of a downward compressor: above the threshold the output rises by 1 dB per `ratio` dB of input.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CompressorCurve<F> {
    threshold_db: F,
    /// `1 - 1/ratio`.
    share: F,
    excess: SoftKnee<F>,
}

blank! { [F: Blank] CompressorCurve<F> { threshold_db, share, excess } }

impl<F: Real> CompressorCurve<F> {
    /// Creates a curve with threshold and knee in dB and a ratio from 1 to infinity.
    #[must_use]
    pub fn new(threshold_db: f64, ratio: f64, knee_db: f64) -> Self {
        Self {
            threshold_db: F::from_f64(threshold_db),
            share: F::from_f64(1.0 - 1.0 / ratio),
            excess: SoftKnee::new(knee_db),
        }
    }

    /// Gain reduction at a level, dB, 0 or more.
    #[inline(always)]
    #[must_use]
    pub fn reduction_db(&self, level_db: F) -> F {
        self.share * self.excess.of(level_db - self.threshold_db)
    }

    /// Gain at a level, dB, 0 or less; `level + gain` is the output level.
    #[must_use]
    pub fn gain_db(&self, level_db: F) -> F {
        -self.reduction_db(level_db)
    }

    /// True when all numbers of the curve are finite.
    #[must_use]
    pub fn is_finite(&self) -> bool {
        let Self { threshold_db, share, excess } = self;
        threshold_db.is_finite() && share.is_finite() && excess.is_finite()
    }
}

/// Static curve of a limiter: a compressor with an infinite ratio, so that the output never exceeds the threshold.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LimiterCurve<F>(CompressorCurve<F>);

impl<F: Real> LimiterCurve<F> {
    /// Creates a curve with threshold and knee in dB.
    #[must_use]
    pub fn new(threshold_db: f64, knee_db: f64) -> Self {
        Self(CompressorCurve::new(threshold_db, f64::INFINITY, knee_db))
    }

    /// Gain at a level, dB, 0 or less.
    #[must_use]
    pub fn gain_db(&self, level_db: F) -> F {
        self.0.gain_db(level_db)
    }
}

/// Static curve of a downward expander: below the threshold the output falls by `ratio` dB per 1 dB of input. The knee
/// mirrors that of the compressor (derived by symmetry).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ExpanderCurve<F> {
    threshold_db: F,
    /// `ratio - 1`.
    share: F,
    excess: SoftKnee<F>,
}

blank! { [F: Blank] ExpanderCurve<F> { threshold_db, share, excess } }

impl<F: Real> ExpanderCurve<F> {
    /// Creates a curve with threshold and knee in dB and a ratio of 1 or more.
    #[must_use]
    pub fn new(threshold_db: f64, ratio: f64, knee_db: f64) -> Self {
        Self {
            threshold_db: F::from_f64(threshold_db),
            share: F::from_f64(ratio - 1.0),
            excess: SoftKnee::new(knee_db),
        }
    }

    /// Gain at a level, dB, 0 or less.
    #[must_use]
    pub fn gain_db(&self, level_db: F) -> F {
        -(self.share * self.excess.of(self.threshold_db - level_db))
    }

    /// True when all numbers of the curve are finite.
    #[must_use]
    pub fn is_finite(&self) -> bool {
        let Self { threshold_db, share, excess } = self;
        threshold_db.is_finite() && share.is_finite() && excess.is_finite()
    }
}

/// Static curve that attenuates by the excess over a threshold, but at most by a range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RangeLimitedCurve<F> {
    threshold_db: F,
    range_db: F,
    excess: SoftKnee<F>,
}

blank! { [F: Blank] RangeLimitedCurve<F> { threshold_db, range_db, excess } }

impl<F: Real> RangeLimitedCurve<F> {
    /// Creates a curve with threshold, range and knee in dB.
    #[must_use]
    pub fn new(threshold_db: f64, range_db: f64, knee_db: f64) -> Self {
        Self {
            threshold_db: F::from_f64(threshold_db),
            range_db: F::from_f64(range_db),
            excess: SoftKnee::new(knee_db),
        }
    }

    /// Gain reduction at a level, dB, from 0 to the range.
    #[inline(always)]
    #[must_use]
    pub fn reduction_db(&self, level_db: F) -> F {
        self.excess.of(level_db - self.threshold_db).lesser(self.range_db)
    }

    /// Gain at a level, dB, from minus the range to 0.
    #[must_use]
    pub fn gain_db(&self, level_db: F) -> F {
        -self.reduction_db(level_db)
    }

    /// True when all numbers of the curve are finite.
    #[must_use]
    pub fn is_finite(&self) -> bool {
        let Self { threshold_db, range_db, excess } = self;
        threshold_db.is_finite() && range_db.is_finite() && excess.is_finite()
    }
}
