//! The last fifteen seconds of what the meters said.

use std::collections::VecDeque;
use voicechain_core::settings::StageId;

/// Seconds that the page looks back.
pub const SPAN_S: f64 = 15.0;
/// The number of stages.
pub const STAGES: usize = StageId::COUNT;
/// Moments per second that are kept: one for each redraw at most.
const PER_SECOND: f64 = 40.0;

/// What the meters said at one time.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Moment {
    /// Seconds of sound.
    pub time_s: f64,
    /// Momentary loudness at input and output, LUFS.
    pub lufs: [Option<f64>; 2],
    /// What each stage takes away now, dB, by [its number](Moment::taken); below 0 it gives.
    pub taken_db: [f64; STAGES],
}

impl Moment {
    /// What a stage takes away, dB.
    #[must_use]
    pub fn taken(&self, stage: StageId) -> f64 {
        self.taken_db[stage.index()]
    }
}

/// The last fifteen seconds: a bounded list of moments.
#[derive(Clone, Debug, Default)]
pub struct History {
    moments: VecDeque<Moment>,
}

impl History {
    /// Takes what the meters say now. Moments closer together than a redraw become one, which keeps the largest of what was
    /// taken. A time before the last begins anew.
    pub fn push(&mut self, moment: Moment) {
        if self.moments.back().is_some_and(|last| moment.time_s < last.time_s) {
            self.moments.clear();
        }
        let tick = |time_s: f64| (time_s * PER_SECOND) as i64;
        match self.moments.back_mut() {
            Some(last) if tick(last.time_s) == tick(moment.time_s) => {
                let taken_db = std::array::from_fn(|n| last.taken_db[n].max(moment.taken_db[n]));
                *last = Moment { taken_db, ..moment };
            }
            _ => self.moments.push_back(moment),
        }
        while self.moments.front().is_some_and(|first| first.time_s < moment.time_s - SPAN_S) {
            self.moments.pop_front();
        }
    }

    /// Oldest first.
    pub fn moments(&self) -> impl DoubleEndedIterator<Item = &Moment> + ExactSizeIterator {
        self.moments.iter()
    }

    /// The newest.
    #[must_use]
    pub fn now(&self) -> Option<&Moment> {
        self.moments.back()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_past_is_bounded_and_forgets_nothing_that_was_taken() {
        let mut history = History::default();
        for n in 0..10_000 {
            let spike = if n == 9_500 { 7.0 } else { 0.0 };
            history.push(Moment { time_s: f64::from(n) * 0.01, taken_db: [spike; STAGES], ..Moment::default() });
        }
        assert!(history.moments().len() <= (SPAN_S * PER_SECOND) as usize + 2);
        assert_eq!(history.moments().map(|moment| moment.taken(StageId::Compressor)).fold(0.0, f64::max), 7.0);
        history.push(Moment::default());
        assert_eq!(history.moments().len(), 1, "a new activation begins anew");
    }
}
