//! What the page shows and what it asks for.

use crate::history::History;
use voicechain_core::measure::Profile;
use voicechain_core::propose::Proposal;
use voicechain_core::settings::{REORDERABLE_STAGES, ReorderableStage, SectionId, StageId};
use voicechain_core::strip::{AuditionBand, Ledger, MonitorMode, Monitoring, StartingPoint};
use voicechain_core::{SampleRate, StripSettings};

/// What the page shows.
pub struct ViewModel<'a> {
    /// What the track is called; empty if the host does not say.
    pub name: &'a str,
    /// The settings as they are.
    pub settings: StripSettings,
    /// The rate that the strip runs at.
    pub rate: SampleRate,
    /// What is known of the voice.
    pub profile: Option<&'a Profile>,
    /// How much of what was played could be listened to, 0 to 1.
    pub captured_fraction: f64,
    /// What would be proposed for it.
    pub proposal: Option<&'a Proposal>,
    /// The voice is being measured.
    pub measuring: bool,
    /// What is heard.
    pub monitoring: Monitoring,
    /// The part of the recording that is heard.
    pub audition_band: AuditionBand,
    /// The level ledger.
    pub ledger: Option<Ledger>,
    /// Loudness match and common headroom, dB.
    pub loudness_match_db: [f64; 2],
    /// The stages whose gain moves with the sound, in signal order.
    pub metered_stages: &'a [StageId],
    /// The last fifteen seconds.
    pub history: &'a History,
    /// There is a step to take back, and one to take again.
    pub can_undo_redo: [bool; 2],
    /// There is something to paste, and it can be carried over.
    pub clipboard: [bool; 2],
    /// A settings file is being chosen.
    pub file_dialog: Option<FileDialog<'a>>,
    /// What the page has to say: an error, or what was done.
    pub message: Option<&'a str>,
}

/// What is to be done with a settings file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FileOperation {
    /// Its settings are applied.
    Open,
    /// The settings are written into it.
    Save,
}

/// A settings file that is being chosen: in a window of the system's, if it has one, or by its path.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FileDialog<'a> {
    /// What for.
    pub operation: FileOperation,
    /// The path to begin with.
    pub path: &'a str,
    /// The system shows a window for it.
    pub system_dialog: bool,
    /// A path that was typed and where there is a file already; empty if there is none.
    pub existing_path: &'a str,
}

/// What the person asks for.
#[derive(Clone, Debug, PartialEq)]
pub enum UserAction {
    /// Takes hold of a setting: section and row.
    BeginGesture(SectionId, usize),
    /// Gives it a value.
    SetValue(SectionId, usize, f64),
    /// Lets go.
    EndGesture(SectionId, usize),
    /// Begins to measure the voice.
    StartMeasuring,
    /// Ends measuring.
    StopMeasuring,
    /// Applies what is proposed.
    ApplyProposal,
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
    ApplyStartingPoint(StartingPoint),
    /// Lets this be heard.
    SetMonitorMode(MonitorMode),
    /// Matches the loudness, or no longer.
    SetLoudnessMatch(bool),
    /// Lets a part of the recording be heard alone, or all of it again.
    SetAuditionBand(AuditionBand),
    /// Lets a settings file be chosen.
    ChooseFile(FileOperation),
    /// The path of the file was typed; one that is there already is written over if that was said.
    EnterPath {
        /// As it was typed.
        path: String,
        /// Over a file that is there.
        replace: bool,
    },
    /// No file after all.
    CancelFile,
    /// Another order of the reorderable stages.
    SetOrder([ReorderableStage; REORDERABLE_STAGES]),
}
