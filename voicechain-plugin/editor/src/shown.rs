//! What the page shows and what it asks for.

use std::collections::VecDeque;
use voicechain_core::measure::Profile;
use voicechain_core::propose::Proposal;
use voicechain_core::settings::{MIDDLE, Middle, StageId};
use voicechain_core::strip::{Ledger, Listening, Part, StartingPoint, Way};
use voicechain_core::{SampleRate, StripSettings};

/// Seconds that the page looks back.
pub const SPAN_S: f64 = 15.0;
/// The number of stages.
pub const STAGES: usize = StageId::ALL.len();
/// Moments per second that are kept: one for each redraw at most.
const PER_SECOND: f64 = 40.0;

/// What the page shows.
pub struct Shown<'a> {
    /// What the track is called; empty if the host does not say.
    pub name: &'a str,
    /// The settings as they are.
    pub settings: StripSettings,
    /// The rate that the strip runs at.
    pub rate: SampleRate,
    /// What is known of the voice.
    pub profile: Option<&'a Profile>,
    /// How much of what was played could be listened to, 0 to 1.
    pub validity: f64,
    /// What would be proposed for it.
    pub proposal: Option<&'a Proposal>,
    /// The voice is being measured.
    pub measuring: bool,
    /// What is heard.
    pub listening: Listening,
    /// The part of the recording that is heard.
    pub part: Part,
    /// The level ledger.
    pub ledger: Option<Ledger>,
    /// Loudness match and common headroom, dB.
    pub match_db: [f64; 2],
    /// The stages whose gain moves with the sound, in signal order.
    pub moving: &'a [StageId],
    /// The last fifteen seconds.
    pub history: &'a History,
    /// There is a step to take back, and one to take again.
    pub steps: [bool; 2],
    /// There is something to paste, and it can be carried over.
    pub clipboard: [bool; 2],
    /// A settings file is being chosen.
    pub choosing: Option<Choosing<'a>>,
    /// What the page has to say: an error, or what was done.
    pub message: Option<&'a str>,
}

/// What is to be done with a settings file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Filing {
    /// Its settings are applied.
    Open,
    /// The settings are written into it.
    Save,
}

/// A settings file that is being chosen: in a window of the system's, if it has one, or by its path.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Choosing<'a> {
    /// What for.
    pub filing: Filing,
    /// The path to begin with.
    pub path: &'a str,
    /// The system shows a window for it.
    pub dialog: bool,
    /// A path that was typed and where there is a file already; empty if there is none.
    pub taken: &'a str,
}

/// What the person asks for.
#[derive(Clone, Debug, PartialEq)]
pub enum Ask {
    /// Takes hold of a setting: stage and row.
    Begin(StageId, usize),
    /// Gives it a value.
    Set(StageId, usize, f64),
    /// Lets go.
    End(StageId, usize),
    /// Begins to measure the voice.
    Measure,
    /// Ends measuring.
    StopMeasuring,
    /// Applies what is proposed.
    Propose,
    /// Takes the last step back.
    Undo,
    /// Takes it again.
    Redo,
    /// Copies all settings.
    Copy,
    /// Applies a settings text, or what was copied last.
    Paste(Option<String>),
    /// Applies what was changed on another track to this one's proposal.
    CarryOver,
    /// Applies a starting point.
    StartFrom(StartingPoint),
    /// Lets this be heard.
    Listen(Way),
    /// Matches the loudness, or no longer.
    Match(bool),
    /// Lets a part of the recording be heard alone, or all of it again.
    Hear(Part),
    /// Lets a settings file be chosen.
    Choose(Filing),
    /// The path of the file was typed; one that is there already is written over if that was said.
    File {
        /// As it was typed.
        path: String,
        /// Over a file that is there.
        replace: bool,
    },
    /// No file after all.
    NoFile,
    /// Another order of the middle stages.
    Order([Middle; MIDDLE]),
}

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
        self.taken_db[stage as usize]
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
