//! Static curves: what gain belongs to a steady level. All with a soft knee, all from one formula.

use crate::math::Real;

/// How far a level lies above a threshold, with a knee of width `W` dB centred on it: 0 below, the plain difference
/// above, a parabola between. Continuous in value and slope.
///
/// `0` for `2 d <= -W`; `(d + W/2)^2 / (2 W)` for `2 |d| <= W`; `d` above. Source: the knee of Giannoulis, Massberg,
/// Reiss, JAES 60(6), 2012, eq. (4). Tested by `curves_match_the_worked_table`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SoftKnee<F> {
    half_knee: F,
    knee: F,
    /// `1 / (2 W)`, 0 for a hard knee.
    inverse: F,
}

impl<F: Real> SoftKnee<F> {
    /// An excess with this knee width in dB, 0 or more.
    #[must_use]
    pub fn new(knee_db: f64) -> Self {
        let inverse = if knee_db > 0.0 { 0.5 / knee_db } else { 0.0 };
        Self { half_knee: F::from_f64(0.5 * knee_db), knee: F::from_f64(knee_db), inverse: F::from_f64(inverse) }
    }

    /// The excess in dB for a level `difference_db` above the threshold.
    #[inline(always)]
    #[must_use]
    pub fn of(&self, difference_db: F) -> F {
        let into = (difference_db + self.half_knee).greater(F::ZERO).lesser(self.knee);
        into * into * self.inverse + (difference_db - self.half_knee).greater(F::ZERO)
    }
}

/// A downward compressor: above the threshold, one output decibel for `ratio` input decibels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CompressorCurve<F> {
    threshold_db: F,
    /// `1 - 1/ratio`.
    share: F,
    excess: SoftKnee<F>,
}

impl<F: Real> CompressorCurve<F> {
    /// A curve with this threshold and knee in dB and this ratio, 1 to infinity.
    #[must_use]
    pub fn new(threshold_db: f64, ratio: f64, knee_db: f64) -> Self {
        Self {
            threshold_db: F::from_f64(threshold_db),
            share: F::from_f64(1.0 - 1.0 / ratio),
            excess: SoftKnee::new(knee_db),
        }
    }

    /// How much is taken away at a level, in dB, 0 or more.
    #[inline(always)]
    #[must_use]
    pub fn reduction_db(&self, level_db: F) -> F {
        self.share * self.excess.of(level_db - self.threshold_db)
    }

    /// The gain at a level, in dB, 0 or less; `level + gain` is the output level.
    #[must_use]
    pub fn gain_db(&self, level_db: F) -> F {
        -self.reduction_db(level_db)
    }
}

/// A limiter: nothing passes the threshold; the compressor with an infinite ratio.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LimiterCurve<F>(CompressorCurve<F>);

impl<F: Real> LimiterCurve<F> {
    /// A curve with this threshold and knee in dB.
    #[must_use]
    pub fn new(threshold_db: f64, knee_db: f64) -> Self {
        Self(CompressorCurve::new(threshold_db, f64::INFINITY, knee_db))
    }

    /// The gain at a level, in dB, 0 or less.
    #[must_use]
    pub fn gain_db(&self, level_db: F) -> F {
        self.0.gain_db(level_db)
    }
}

/// A downward expander: below the threshold, `ratio` output decibels for one input decibel. The mirror of the
/// compressor's knee (derived by symmetry).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ExpanderCurve<F> {
    threshold_db: F,
    /// `ratio - 1`.
    share: F,
    excess: SoftKnee<F>,
}

impl<F: Real> ExpanderCurve<F> {
    /// A curve with this threshold and knee in dB and this ratio, 1 or more.
    #[must_use]
    pub fn new(threshold_db: f64, ratio: f64, knee_db: f64) -> Self {
        Self {
            threshold_db: F::from_f64(threshold_db),
            share: F::from_f64(ratio - 1.0),
            excess: SoftKnee::new(knee_db),
        }
    }

    /// The gain at a level, in dB, 0 or less.
    #[must_use]
    pub fn gain_db(&self, level_db: F) -> F {
        -(self.share * self.excess.of(self.threshold_db - level_db))
    }
}

/// Takes away what exceeds a threshold, but never more than a range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RangeLimitedCurve<F> {
    threshold_db: F,
    range_db: F,
    excess: SoftKnee<F>,
}

impl<F: Real> RangeLimitedCurve<F> {
    /// A curve with this threshold, range and knee in dB.
    #[must_use]
    pub fn new(threshold_db: f64, range_db: f64, knee_db: f64) -> Self {
        Self {
            threshold_db: F::from_f64(threshold_db),
            range_db: F::from_f64(range_db),
            excess: SoftKnee::new(knee_db),
        }
    }

    /// How much is taken away at a level, in dB, from 0 to the range.
    #[inline(always)]
    #[must_use]
    pub fn reduction_db(&self, level_db: F) -> F {
        self.excess.of(level_db - self.threshold_db).lesser(self.range_db)
    }

    /// The gain at a level, in dB, from minus the range to 0.
    #[must_use]
    pub fn gain_db(&self, level_db: F) -> F {
        -self.reduction_db(level_db)
    }
}
