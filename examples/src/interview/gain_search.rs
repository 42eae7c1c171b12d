//! Search for the programme gain and the limiter ceiling that meet loudness and true peak with bounded limiting.

use crate::error::JobError;

/// Maximum gain reduction of the programme limiter during speech: 95th percentile, dB. Beyond it peaks sound squashed.
/// Common practice, no source.
pub(super) const MAX_P95_DB: f64 = 6.0;
/// Maximum median, dB. Pauses pass the limiter unchanged, so noise in them rises over half of the speech by this much.
/// Common practice, no source.
pub(super) const MAX_MEDIAN_DB: f64 = 3.0;
/// Loudness that a further dB of gain has to bring, LU. Below it the limiter takes nearly all of the gain. Common
/// practice, no source.
pub(super) const LEAST_YIELD: f64 = 0.1;
/// Step of gain over which the yield is judged, dB.
const YIELD_STEP_DB: f64 = 1.0;
/// Tolerance of the search around the target loudness, LU.
const LOUDNESS_TOLERANCE_LU: f64 = 0.02;
/// Distance to a bound at which it counts as reached, dB: twice the resolution of the reduction meter.
const BOUND_RESOLUTION_DB: f64 = 0.2;
/// Least step of gain from which a slope is taken, dB.
const SLOPE_STEP_DB: f64 = 0.02;
/// Initial margin between the limiter's ceiling and the target ceiling, dB. The four-fold oversampled meter of ITU-R
/// BS.1770 may read up to 0.2 dB more than a finer one.
const METER_MARGIN_DB: f64 = 0.1;
/// Additional step below the ceiling after a true peak above it, dB.
const CEILING_STEP_DB: f64 = 0.01;
/// Lowest ceiling of the limiter, dBTP.
const LOWEST_CEILING_DBTP: f64 = -12.0;
/// Distance below the ceiling at which the limiter is certainly idle, dB; see `Limiter`.
const IDLE_MARGIN_DB: f64 = 0.2;
/// Maximum number of attempts.
const ATTEMPTS: usize = 12;

/// Gain and limiter ceiling of one run over the programme.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Attempt {
    /// Programme gain, dB.
    pub(super) gain_db: f64,
    /// Ceiling of the programme limiter, dBTP.
    pub(super) ceiling_dbtp: f64,
}

/// Measurements of one attempt.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Outcome {
    /// Integrated loudness, LUFS.
    pub(super) integrated_lufs: f64,
    /// Maximum true peak, dBTP.
    pub(super) true_peak_dbtp: f64,
    /// Gain reduction of the limiter, median, dB.
    pub(super) median_db: f64,
    /// Gain reduction of the limiter, 95th percentile, dB.
    pub(super) p95_db: f64,
}

/// Programme before gain, and its target.
#[derive(Clone, Copy, Debug)]
pub(super) struct Goal {
    /// Integrated loudness of the programme before gain, LUFS.
    pub(super) programme_lufs: f64,
    /// True peak of the programme before gain, dBTP.
    pub(super) programme_peak_dbtp: f64,
    /// Target loudness, LUFS.
    pub(super) integrated_lufs: f64,
    /// Target ceiling, dBTP.
    pub(super) ceiling_dbtp: f64,
}

/// Bound on the limiting.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Bound {
    /// [`MAX_P95_DB`].
    Peaks,
    /// [`MAX_MEDIAN_DB`].
    Median,
    /// [`LEAST_YIELD`].
    Yield,
}

impl Outcome {
    /// Bound on the gain reduction that is exceeded most, and the excess, dB; 0 or less within both bounds.
    fn excess(&self) -> (Bound, f64) {
        let (peaks, median) = (self.p95_db - MAX_P95_DB, self.median_db - MAX_MEDIAN_DB);
        if peaks >= median { (Bound::Peaks, peaks) } else { (Bound::Median, median) }
    }
}

/// Result of the search.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Found {
    /// Attempt with true peak and limiting within their bounds whose loudness is nearest to the target.
    pub(super) attempt: Attempt,
    /// Its measurements.
    pub(super) outcome: Outcome,
    /// Bound that was reached, if any.
    pub(super) bound: Option<Bound>,
}

/// Runs attempts until one meets the target or a bound of limiting is reached. Only attempts whose true peak is at or
/// below the ceiling are returned.
///
/// The first gain is what the target needs without limiting. A dB of gain adds at most 1 LU of loudness and at most 1 dB
/// of gain reduction: steps up take the slope of the last two attempts and end where the reduction may reach its bound,
/// steps down take the excess.
pub(super) fn search(
    goal: &Goal,
    mut run: impl FnMut(Attempt) -> Result<Outcome, JobError>,
) -> Result<Found, JobError> {
    let mut attempt = Attempt {
        gain_db: goal.integrated_lufs - goal.programme_lufs,
        ceiling_dbtp: (goal.ceiling_dbtp - METER_MARGIN_DB).max(LOWEST_CEILING_DBTP),
    };
    let mut best: Option<Found> = None;
    let mut reached: Option<Bound> = None;
    // Gain and loudness of the last attempt within the bounds, at this ceiling.
    let mut last: Option<(f64, f64)> = None;
    for _ in 0..ATTEMPTS {
        let outcome = run(attempt)?;
        let off = goal.integrated_lufs - outcome.integrated_lufs;
        let over = outcome.true_peak_dbtp - goal.ceiling_dbtp;
        let step = last.map(|(gain, lufs)| (attempt.gain_db - gain, outcome.integrated_lufs - lufs));
        let (bound, excess) = outcome.excess();
        if excess > 0.0 {
            reached = Some(bound);
            last = None;
            attempt.gain_db -= excess.max(BOUND_RESOLUTION_DB);
        } else if let Some((db, _)) = step.filter(|(db, lu)| *db >= YIELD_STEP_DB && *lu < LEAST_YIELD * db) {
            reached = Some(Bound::Yield);
            if best.is_some() {
                break;
            }
            attempt.gain_db -= db;
        } else {
            let nearer = |found: &Found| off.abs() < (goal.integrated_lufs - found.outcome.integrated_lufs).abs();
            if over <= 0.0 && best.as_ref().is_none_or(nearer) {
                best = Some(Found { attempt, outcome, bound: None });
            }
            last = Some((attempt.gain_db, outcome.integrated_lufs));
            let settled = off.abs() <= LOUDNESS_TOLERANCE_LU;
            let stopped = off > LOUDNESS_TOLERANCE_LU && -excess <= BOUND_RESOLUTION_DB;
            if stopped {
                reached = Some(bound);
            }
            if over <= 0.0 && (settled || stopped) {
                break;
            }
            if !settled && !stopped {
                let slope = step.filter(|(db, _)| db.abs() > SLOPE_STEP_DB).map_or(1.0, |(db, lu)| lu / db);
                attempt.gain_db += (off / slope.clamp(LEAST_YIELD, 1.0)).min(-excess);
            }
        }
        if over > 0.0 {
            attempt.ceiling_dbtp = (attempt.ceiling_dbtp - over - CEILING_STEP_DB).max(LOWEST_CEILING_DBTP);
            last = None;
        }
    }
    let found = match best {
        Some(found) => found,
        // Low enough for an idle limiter: the true peak rises exactly by the gain.
        None => {
            let idle = goal.ceiling_dbtp - METER_MARGIN_DB - IDLE_MARGIN_DB - goal.programme_peak_dbtp;
            attempt.gain_db = attempt.gain_db.min(idle);
            attempt.ceiling_dbtp = (goal.ceiling_dbtp - METER_MARGIN_DB).max(LOWEST_CEILING_DBTP);
            Found { attempt, outcome: run(attempt)?, bound: None }
        }
    };
    Ok(Found { bound: reached, ..found })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A programme at −23 LUFS whose limiter starts 9 dB over the loudness.
    struct Model {
        goal: Goal,
        /// Loudness that a dB of gain brings beyond that point, LU.
        slope: f64,
        /// True peak over the limiter's ceiling, dB.
        overshoot_db: f64,
        runs: Vec<(Attempt, Outcome)>,
    }

    impl Model {
        fn new(loudness: f64, ceiling: f64, slope: f64, overshoot_db: f64) -> Self {
            let goal = Goal {
                programme_lufs: -23.0,
                programme_peak_dbtp: -11.0,
                integrated_lufs: loudness,
                ceiling_dbtp: ceiling,
            };
            Self { goal, slope, overshoot_db, runs: Vec::new() }
        }

        fn outcome(&self, attempt: Attempt) -> Outcome {
            let limited = (attempt.gain_db + self.goal.programme_lufs + 9.0 - attempt.ceiling_dbtp).max(0.0);
            let peak = self.goal.programme_peak_dbtp + attempt.gain_db;
            // The reduction meter resolves 0.1 dB and ends at 30 dB.
            let read = |db: f64| ((db * 10.0).round() / 10.0).min(30.0);
            Outcome {
                integrated_lufs: self.goal.programme_lufs + attempt.gain_db - limited * (1.0 - self.slope),
                true_peak_dbtp: peak.min(attempt.ceiling_dbtp + self.overshoot_db),
                median_db: read((limited - 4.0).max(0.0)),
                p95_db: read(limited),
            }
        }

        fn search(mut self) -> (Found, Self) {
            let goal = self.goal;
            let found = search(&goal, |attempt| {
                let outcome = self.outcome(attempt);
                self.runs.push((attempt, outcome));
                Ok(outcome)
            });
            (found.expect("no run fails"), self)
        }
    }

    #[test]
    fn every_result_is_a_verified_attempt_within_the_bounds() {
        for loudness in [-30.0, -23.0, -16.0, -12.0, -10.0, -8.0] {
            for ceiling in [-9.0, -6.0, -3.0, -1.0, -0.1, 0.0] {
                for slope in [0.15, 0.3, 0.6, 0.9, 1.0] {
                    for overshoot in [-0.1, 0.0, 0.15, 0.6] {
                        let (found, model) = Model::new(loudness, ceiling, slope, overshoot).search();
                        let case = format!("{loudness}, {ceiling}, {slope}, {overshoot}: {found:?}");
                        assert!(model.runs.contains(&(found.attempt, found.outcome)), "never run: {case}");
                        assert!(found.outcome.true_peak_dbtp <= ceiling, "{case}");
                        assert!(found.outcome.excess().1 <= 0.0, "{case}");
                        let off = loudness - found.outcome.integrated_lufs;
                        assert!(off > -LOUDNESS_TOLERANCE_LU - 1e-9, "{case}");
                        // Short of the target only where half a decibel more would exceed a bound.
                        if off > LOUDNESS_TOLERANCE_LU {
                            assert!(found.bound.is_some(), "{case}");
                            let louder = Attempt { gain_db: found.attempt.gain_db + 0.5, ..found.attempt };
                            assert!(model.outcome(louder).excess().1 > 0.0, "{case}");
                        }
                    }
                }
            }
        }
    }

    #[test]
    fn a_programme_below_the_ceiling_needs_one_attempt() {
        let (found, model) = Model::new(-23.0, -1.0, 0.5, 0.0).search();
        assert_eq!((model.runs.len(), found.attempt.gain_db, found.bound), (1, 0.0, None));
    }

    #[test]
    fn a_limiter_that_takes_all_of_the_gain_ends_the_search() {
        // Rare loud phrases, which the percentiles do not see, carry the loudness: it stays at −10 LUFS.
        let mut model = Model::new(-8.0, -1.0, 0.0, 0.0);
        let goal = model.goal;
        let found = search(&goal, |attempt| {
            let outcome = Outcome { median_db: 0.0, p95_db: 0.0, ..model.outcome(attempt) };
            model.runs.push((attempt, outcome));
            Ok(outcome)
        });
        let found = found.expect("no run fails");
        assert_eq!(found.bound, Some(Bound::Yield));
        assert!((found.outcome.integrated_lufs + 10.1).abs() < 0.01, "{found:?}");
        // No more gain than the target needs without a limiter.
        assert!(found.attempt.gain_db <= 15.0, "{found:?}");
    }

    #[test]
    fn peaks_above_every_ceiling_leave_the_limiter_idle() {
        // A faulty limiter: 4 dB over its ceiling, which can fall by 3 dB only.
        let (found, _) = Model::new(-10.0, -9.0, 0.5, 4.0).search();
        assert!(found.outcome.true_peak_dbtp <= -9.0, "{found:?}");
        assert_eq!(found.outcome.p95_db, 0.0);
    }
}
