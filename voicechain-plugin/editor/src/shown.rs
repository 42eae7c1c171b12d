//! What the page shows and what it asks for.

use crate::history::History;
use voicechain_core::measure::Profile;
use voicechain_core::propose::Proposal;
use voicechain_core::settings::{MIDDLE, Middle, SectionId, StageId};
use voicechain_core::strip::{Ledger, Listening, Part, StartingPoint, Way};
use voicechain_core::{SampleRate, StripSettings};

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
    /// Takes hold of a setting: section and row.
    Begin(SectionId, usize),
    /// Gives it a value.
    Set(SectionId, usize, f64),
    /// Lets go.
    End(SectionId, usize),
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
