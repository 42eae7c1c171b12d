//! Meter readings of the last fifteen seconds.

use std::collections::VecDeque;
use voicechain_core::settings::StageId;

/// Length of the history, s.
pub const HISTORY_S: f64 = 15.0;
/// Number of stages.
pub const STAGE_COUNT: usize = StageId::COUNT;
/// Maximum number of points per second; at most one per redraw.
const POINTS_PER_SECOND: f64 = 40.0;

/// Meter reading at one time.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct HistoryPoint {
    /// Signal time, s.
    pub time_s: f64,
    /// Momentary loudness at input and output, LUFS.
    pub lufs: [Option<f64>; 2],
    /// Gain reduction of each stage, dB, by [`StageId::index`]; negative for a boost.
    pub reduction_db: [f64; STAGE_COUNT],
}

impl HistoryPoint {
    /// Gain reduction of a stage, dB.
    #[must_use]
    pub fn reduction(&self, stage: StageId) -> f64 {
        self.reduction_db[stage.index()]
    }
}

/// Meter readings of the last fifteen seconds, as a bounded list of points.
#[derive(Clone, Debug, Default)]
pub struct History {
    points: VecDeque<HistoryPoint>,
}

impl History {
    /// Adds a reading. Readings within the same redraw interval are merged into one point with the largest gain
    /// reduction. A time before that of the last point clears the history.
    pub fn push(&mut self, point: HistoryPoint) {
        if self.points.back().is_some_and(|last| point.time_s < last.time_s) {
            self.points.clear();
        }
        let tick = |time_s: f64| (time_s * POINTS_PER_SECOND) as i64;
        match self.points.back_mut() {
            Some(last) if tick(last.time_s) == tick(point.time_s) => {
                let reduction_db = std::array::from_fn(|n| last.reduction_db[n].max(point.reduction_db[n]));
                *last = HistoryPoint { reduction_db, ..point };
            }
            _ => self.points.push_back(point),
        }
        while self.points.front().is_some_and(|first| first.time_s < point.time_s - HISTORY_S) {
            self.points.pop_front();
        }
    }

    /// Points, oldest first.
    pub fn points(&self) -> impl DoubleEndedIterator<Item = &HistoryPoint> + ExactSizeIterator {
        self.points.iter()
    }

    /// Newest point.
    #[must_use]
    pub fn now(&self) -> Option<&HistoryPoint> {
        self.points.back()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn history_is_bounded_and_keeps_peak_reduction() {
        let mut history = History::default();
        for n in 0..10_000 {
            let reduction = if n == 9_500 { 7.0 } else { 0.0 };
            history.push(HistoryPoint {
                time_s: f64::from(n) * 0.01,
                reduction_db: [reduction; STAGE_COUNT],
                ..HistoryPoint::default()
            });
        }
        assert!(history.points().len() <= (HISTORY_S * POINTS_PER_SECOND) as usize + 2);
        assert_eq!(history.points().map(|point| point.reduction(StageId::Compressor)).fold(0.0, f64::max), 7.0);
        history.push(HistoryPoint::default());
        assert_eq!(history.points().len(), 1, "a new activation clears the history");
    }
}
