//! The last fifteen seconds of what the meters said.

use std::collections::VecDeque;
use voicechain_core::settings::StageId;

/// Seconds that the page looks back.
pub const HISTORY_S: f64 = 15.0;
/// The number of stages.
pub const STAGE_COUNT: usize = StageId::COUNT;
/// Moments per second that are kept: one for each redraw at most.
const POINTS_PER_SECOND: f64 = 40.0;

/// What the meters said at one time.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct HistoryPoint {
    /// Seconds of sound.
    pub time_s: f64,
    /// Momentary loudness at input and output, LUFS.
    pub lufs: [Option<f64>; 2],
    /// What each stage takes away now, dB, by [its number](HistoryPoint::reduction); below 0 it gives.
    pub reduction_db: [f64; STAGE_COUNT],
}

impl HistoryPoint {
    /// What a stage takes away, dB.
    #[must_use]
    pub fn reduction(&self, stage: StageId) -> f64 {
        self.reduction_db[stage.index()]
    }
}

/// The last fifteen seconds: a bounded list of moments.
#[derive(Clone, Debug, Default)]
pub struct History {
    points: VecDeque<HistoryPoint>,
}

impl History {
    /// Takes what the meters say now. Moments closer together than a redraw become one, which keeps the largest of what was
    /// taken. A time before the last begins anew.
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

    /// Oldest first.
    pub fn points(&self) -> impl DoubleEndedIterator<Item = &HistoryPoint> + ExactSizeIterator {
        self.points.iter()
    }

    /// The newest.
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
        assert_eq!(history.points().len(), 1, "a new activation begins anew");
    }
}
