//! Static curves: what gain belongs to a steady level. All with a soft knee, all from one formula.

use crate::math::Real;

/// How far a level lies above a threshold, with a knee of width `W` dB centred on it: 0 below, the plain difference
/// above, a parabola between. Continuous in value and slope.
///
/// `0` for `2 d <= -W`; `(d + W/2)^2 / (2 W)` for `2 |d| <= W`; `d` above. Source: the knee of Giannoulis, Massberg,
/// Reiss, JAES 60(6), 2012, eq. (4). Tested by `curves_match_the_worked_table`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SoftExcess<F> {
    half_knee: F,
    knee: F,
    /// `1 / (2 W)`, 0 for a hard knee.
    inverse: F,
}

impl<F: Real> SoftExcess<F> {
    /// An excess with this knee width in dB, 0 or more.
    #[must_use]
    pub fn new(knee_db: f64) -> Self {
        let inverse = if knee_db > 0.0 { 0.5 / knee_db } else { 0.0 };
        Self { half_knee: F::nearest(0.5 * knee_db), knee: F::nearest(knee_db), inverse: F::nearest(inverse) }
    }

    /// The excess in dB for a level `difference_db` above the threshold.
    #[inline(always)]
    #[must_use]
    pub fn of(&self, difference_db: F) -> F {
        let into = (difference_db + self.half_knee).most(F::ZERO).least(self.knee);
        into * into * self.inverse + (difference_db - self.half_knee).most(F::ZERO)
    }
}

/// A downward compressor: above the threshold, one output decibel for `ratio` input decibels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Compression<F> {
    threshold_db: F,
    /// `1 - 1/ratio`.
    share: F,
    excess: SoftExcess<F>,
}

impl<F: Real> Compression<F> {
    /// A curve with this threshold and knee in dB and this ratio, 1 to infinity.
    #[must_use]
    pub fn new(threshold_db: f64, ratio: f64, knee_db: f64) -> Self {
        Self {
            threshold_db: F::nearest(threshold_db),
            share: F::nearest(1.0 - 1.0 / ratio),
            excess: SoftExcess::new(knee_db),
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
pub struct Limiting<F>(Compression<F>);

impl<F: Real> Limiting<F> {
    /// A curve with this threshold and knee in dB.
    #[must_use]
    pub fn new(threshold_db: f64, knee_db: f64) -> Self {
        Self(Compression::new(threshold_db, f64::INFINITY, knee_db))
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
pub struct Expansion<F> {
    threshold_db: F,
    /// `ratio - 1`.
    share: F,
    excess: SoftExcess<F>,
}

impl<F: Real> Expansion<F> {
    /// A curve with this threshold and knee in dB and this ratio, 1 or more.
    #[must_use]
    pub fn new(threshold_db: f64, ratio: f64, knee_db: f64) -> Self {
        Self {
            threshold_db: F::nearest(threshold_db),
            share: F::nearest(ratio - 1.0),
            excess: SoftExcess::new(knee_db),
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
pub struct RangeLimit<F> {
    threshold_db: F,
    range_db: F,
    excess: SoftExcess<F>,
}

impl<F: Real> RangeLimit<F> {
    /// A curve with this threshold, range and knee in dB.
    #[must_use]
    pub fn new(threshold_db: f64, range_db: f64, knee_db: f64) -> Self {
        Self {
            threshold_db: F::nearest(threshold_db),
            range_db: F::nearest(range_db),
            excess: SoftExcess::new(knee_db),
        }
    }

    /// How much is taken away at a level, in dB, from 0 to the range.
    #[inline(always)]
    #[must_use]
    pub fn reduction_db(&self, level_db: F) -> F {
        self.excess.of(level_db - self.threshold_db).least(self.range_db)
    }

    /// The gain at a level, in dB, from minus the range to 0.
    #[must_use]
    pub fn gain_db(&self, level_db: F) -> F {
        -self.reduction_db(level_db)
    }
}
