//! Ballistics: how a gain reduction in dB follows its target in time.
//!
//! Both forms smooth in the log domain behind the static curve (feed-forward). Source: Giannoulis, Massberg, Reiss,
//! "Digital Dynamic Range Compressor Design - A Tutorial and Analysis", JAES 60(6):399-408, 2012, eq. (16) and (17).
//! Times are time constants: 63.2 % of a step in dB. Tested by `attack_and_release_times_match_theory`.

/// Smooth branching: one smoother that takes the attack time on the way up and the release time on the way down.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SmoothBranching {
    reduction_db: f64,
}

impl SmoothBranching {
    /// One sample: moves towards `target_db` with the weight that is kept when rising (`attack`) or falling
    /// (`release`), each `exp(-1/(tau rate))`.
    #[inline(always)]
    pub fn step(&mut self, target_db: f64, attack: f64, release: f64) -> f64 {
        let kept = if target_db > self.reduction_db { attack } else { release };
        self.reduction_db = target_db + kept * (self.reduction_db - target_db);
        self.reduction_db
    }

    /// The reduction now, in dB.
    #[must_use]
    pub fn reduction_db(&self) -> f64 {
        self.reduction_db
    }

    /// Ends a release that has come closer to 0 dB than [`SNAP_DB`].
    pub fn snap(&mut self) {
        if self.reduction_db < SNAP_DB {
            self.reduction_db = 0.0;
        }
    }
}

/// A release that has come this close to 0 dB is over; an inaudible step that lets a resting stage return its input.
pub const SNAP_DB: f64 = 1e-3;

/// Smooth decoupled: a peak follower with the release time, smoothed with the attack time. Its release is longer than
/// the set one by about the attack time.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SmoothDecoupled {
    held_db: f64,
    reduction_db: f64,
}

impl SmoothDecoupled {
    /// One sample; arguments as in [`SmoothBranching::step`].
    #[inline(always)]
    pub fn step(&mut self, target_db: f64, attack: f64, release: f64) -> f64 {
        // Both products of the target are ready before the last step's result is: the recurrence is as short as can be.
        let released = release * self.held_db + (1.0 - release) * target_db;
        self.held_db = if target_db > released { target_db } else { released };
        self.reduction_db = attack * self.reduction_db + (1.0 - attack) * self.held_db;
        self.reduction_db
    }

    /// The reduction now, in dB.
    #[must_use]
    pub fn reduction_db(&self) -> f64 {
        self.reduction_db
    }

    /// True when another is within 1e-6 dB in all that is remembered.
    #[must_use]
    pub fn is_near(&self, other: &Self) -> bool {
        (self.held_db - other.held_db).abs() < 1e-6 && (self.reduction_db - other.reduction_db).abs() < 1e-6
    }

    /// The larger of all that two remember.
    #[must_use]
    pub fn larger(self, other: Self) -> Self {
        Self { held_db: self.held_db.max(other.held_db), reduction_db: self.reduction_db.max(other.reduction_db) }
    }

    /// Ends a release that has come closer to 0 dB than [`SNAP_DB`].
    pub fn snap(&mut self) {
        if self.held_db < SNAP_DB && self.reduction_db < SNAP_DB {
            *self = Self::default();
        }
    }
}
