//! View model: what the page shows, and the user actions that it returns.

use crate::history::History;
use voicechain_core::measure::Profile;
use voicechain_core::propose::Proposal;
use voicechain_core::settings::{REORDERABLE_STAGES, ReorderableStage, SectionId, StageId};
use voicechain_core::strip::{AuditionBand, Ledger, MonitorMode, Monitoring, StartingPoint};
use voicechain_core::{SampleRate, StripSettings};

/// Content of the page.
pub struct ViewModel<'a> {
    /// Name of the track; empty if the host does not provide one.
    pub name: &'a str,
    /// Current settings.
    pub settings: StripSettings,
    /// Sample rate of the strip.
    pub rate: SampleRate,
    /// Measured profile of the voice.
    pub profile: Option<&'a Profile>,
    /// Captured frames relative to all frames, 0 to 1.
    pub captured_fraction: f64,
    /// Proposal for this profile.
    pub proposal: Option<&'a Proposal>,
    /// Whether a measurement is running.
    pub measuring: bool,
    /// Monitor mode and loudness match.
    pub monitoring: Monitoring,
    /// Band of the recording that is auditioned.
    pub audition_band: AuditionBand,
    /// Level ledger.
    pub ledger: Option<Ledger>,
    /// Loudness-match gain and common headroom, dB.
    pub loudness_match_db: [f64; 2],
    /// Stages with a gain-reduction meter, in signal order.
    pub metered_stages: &'a [StageId],
    /// Meter readings of the last fifteen seconds.
    pub history: &'a History,
    /// Whether undo and redo are possible.
    pub can_undo_redo: [bool; 2],
    /// Whether the clipboard can be pasted and carried over.
    pub clipboard: [bool; 2],
    /// State of the file choice, while a settings file is being chosen.
    pub file_dialog: Option<FileDialog<'a>>,
    /// Why the sound passes through unprocessed; `None` while it is processed.
    pub pass_through: Option<&'a str>,
    /// Message: an error or a confirmation.
    pub message: Option<&'a str>,
}

/// Operation on a settings file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FileOperation {
    /// Read it and apply its settings.
    Open,
    /// Write the settings to it.
    Save,
}

/// Settings file that is being chosen, in the system's file dialog, if available, or by a typed path.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FileDialog<'a> {
    /// Operation on the file.
    pub operation: FileOperation,
    /// Initial path.
    pub path: &'a str,
    /// Whether the system's file dialog is open.
    pub system_dialog: bool,
    /// Typed path at which a file already exists; empty if there is none.
    pub existing_path: &'a str,
}

/// Action of the user.
#[derive(Clone, Debug, PartialEq)]
pub enum UserAction {
    /// Begin a gesture on a setting: section and row.
    BeginGesture(SectionId, usize),
    /// Set the value of a setting.
    SetValue(SectionId, usize, f64),
    /// End the gesture.
    EndGesture(SectionId, usize),
    /// Start a measurement of the voice.
    StartMeasuring,
    /// End the measurement.
    StopMeasuring,
    /// Apply the proposal.
    ApplyProposal,
    /// Undo the last step.
    Undo,
    /// Redo the last undone step.
    Redo,
    /// Copy all settings.
    Copy,
    /// Apply a settings text, or the clipboard.
    Paste(Option<String>),
    /// Apply the changes made on another track to this track's proposal.
    CarryOver,
    /// Apply a starting point.
    ApplyStartingPoint(StartingPoint),
    /// Select the monitor mode.
    SetMonitorMode(MonitorMode),
    /// Switch the loudness match on or off.
    SetLoudnessMatch(bool),
    /// Audition a band of the recording, or the full band again.
    SetAuditionBand(AuditionBand),
    /// Choose a settings file.
    ChooseFile(FileOperation),
    /// Use a typed path.
    EnterPath {
        /// Path as typed.
        path: String,
        /// Whether an existing file may be replaced.
        replace: bool,
    },
    /// Cancel the file choice.
    CancelFile,
    /// Set the order of the reorderable stages.
    SetOrder([ReorderableStage; REORDERABLE_STAGES]),
}
