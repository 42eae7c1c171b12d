//! Ballistics: attack and release smoothing of a gain reduction in dB.
//!
//! Both forms smooth in the log domain after the static curve (feed-forward). Source: Giannoulis, Massberg, Reiss,
//! "Digital Dynamic Range Compressor Design - A Tutorial and Analysis", JAES 60(6):399-408, 2012, eq. (16) and (17).
//! Times are time constants: 63.2 % of a step in dB. Tested by `attack_reaches_63_percent_after_the_set_time`.

use crate::blank::blank;

/// Smooth branching: one smoother with the attack time for a rising and the release time for a falling gain reduction.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SmoothBranching {
    reduction_db: f64,
}

blank! { SmoothBranching { reduction_db } }

impl SmoothBranching {
    /// Processes one sample and returns the gain reduction in dB. The smoothing coefficient is `attack` while the
    /// reduction rises and `release` while it falls, each `exp(-1/(tau rate))`.
    #[inline(always)]
    pub fn step(&mut self, target_db: f64, attack: f64, release: f64) -> f64 {
        let kept = if target_db > self.reduction_db { attack } else { release };
        self.reduction_db = target_db + kept * (self.reduction_db - target_db);
        self.reduction_db
    }

    /// Current gain reduction, dB.
    #[must_use]
    pub fn reduction_db(&self) -> f64 {
        self.reduction_db
    }

    /// Sets the gain reduction to 0 dB once a release has come closer to it than [`SNAP_DB`].
    pub fn snap(&mut self) {
        if self.reduction_db < SNAP_DB {
            self.reduction_db = 0.0;
        }
    }
}

/// Gain reduction at which a release ends, dB. The step is inaudible and lets an idle stage return its input unchanged.
pub const SNAP_DB: f64 = 1e-3;

/// Smooth decoupled: a peak detector with the release time, followed by a smoother with the attack time. The effective
/// release is longer than the set one by about the attack time.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SmoothDecoupled {
    held_db: f64,
    reduction_db: f64,
}

blank! { SmoothDecoupled { held_db, reduction_db } }

impl SmoothDecoupled {
    /// Processes one sample; arguments and result as in [`SmoothBranching::step`].
    #[inline(always)]
    pub fn step(&mut self, target_db: f64, attack: f64, release: f64) -> f64 {
        // The products with the target do not depend on the previous step, which keeps the recurrence short.
        let released = release * self.held_db + (1.0 - release) * target_db;
        self.held_db = if target_db > released { target_db } else { released };
        self.reduction_db = attack * self.reduction_db + (1.0 - attack) * self.held_db;
        self.reduction_db
    }

    /// Current gain reduction, dB.
    #[must_use]
    pub fn reduction_db(&self) -> f64 {
        self.reduction_db
    }

    /// True when all states are within 1e-6 dB of those of `other`.
    #[must_use]
    pub fn is_near(&self, other: &Self) -> bool {
        (self.held_db - other.held_db).abs() < 1e-6 && (self.reduction_db - other.reduction_db).abs() < 1e-6
    }

    /// Larger of the two detectors' states, state by state.
    #[must_use]
    pub fn larger(self, other: Self) -> Self {
        Self { held_db: self.held_db.max(other.held_db), reduction_db: self.reduction_db.max(other.reduction_db) }
    }

    /// Sets the gain reduction to 0 dB once a release has come closer to it than [`SNAP_DB`].
    pub fn snap(&mut self) {
        if self.held_db < SNAP_DB && self.reduction_db < SNAP_DB {
            *self = Self::default();
        }
    }
}
