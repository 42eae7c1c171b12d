//! Track for tests: it performs the user actions of the page and records them.

use crate::example_profile::example_profile;
use crate::raster::Raster;
use egui_kittest::Harness;
use voicechain_core::measure::Profile;
use voicechain_core::propose::{Context, Proposal, propose};
use voicechain_core::settings::StageId;
use voicechain_core::strip::{AuditionBand, Ledger, LedgerEntry, Monitoring};
use voicechain_core::{SampleRate, StripSettings};
use voicechain_editor::{FileDialog, FileOperation, History, HistoryPoint, Page, STAGE_COUNT, UserAction, ViewModel};

/// Stages with a gain-reduction meter.
const METERED_STAGES: [StageId; 3] = [StageId::DeEsser, StageId::Compressor, StageId::Limiter];

pub(crate) struct Track {
    pub(crate) page: Page,
    pub(crate) settings: StripSettings,
    pub(crate) profile: Option<Profile>,
    pub(crate) proposal: Option<Proposal>,
    pub(crate) measuring: bool,
    pub(crate) monitoring: Monitoring,
    pub(crate) audition_band: AuditionBand,
    pub(crate) ledger: Option<Ledger>,
    pub(crate) history: History,
    pub(crate) can_undo_redo: [bool; 2],
    pub(crate) clipboard: bool,
    /// Operation, initial path, whether the system's dialog is open, and typed path of an existing file.
    pub(crate) file_dialog: Option<(FileOperation, String, bool, String)>,
    pub(crate) pass_through: Option<String>,
    pub(crate) message: Option<String>,
    pub(crate) actions: Vec<UserAction>,
}

impl Track {
    pub(crate) fn empty() -> Self {
        Self {
            page: Page::default(),
            settings: StripSettings::default(),
            profile: None,
            proposal: None,
            measuring: false,
            monitoring: Monitoring { loudness_matched: true, ..Monitoring::default() },
            audition_band: AuditionBand::Full,
            ledger: None,
            history: History::default(),
            can_undo_redo: [false; 2],
            clipboard: false,
            file_dialog: None,
            pass_through: None,
            message: None,
            actions: Vec::new(),
        }
    }

    /// Track with a measured voice, its proposal and fifteen seconds of history.
    pub(crate) fn measured() -> Self {
        let profile = example_profile();
        let mut track = Self { clipboard: true, can_undo_redo: [true, false], ..Self::empty() };
        track.proposal = Some(propose(&profile, Context::default()));
        track.profile = Some(profile);
        track.play(4.0);
        track
    }

    /// Fills the history with fifteen seconds in which the compressor reduces the gain by at most `max_db`.
    pub(crate) fn play(&mut self, max_db: f64) {
        for n in 0..=600 {
            let t = f64::from(n) * 0.025;
            let speaks = (t % 4.1) < 3.2;
            // The last moment is loud, with a sibilant.
            let wave = |speed: f64| ((t - 15.0) * speed).cos();
            let syllable = (0.5 + 0.5 * wave(5.3)) * (0.6 + 0.4 * wave(1.7));
            let input = if speaks { -36.0 + 14.0 * syllable } else { -60.0 };
            let output = if speaks { -22.0 + 5.0 * syllable } else { -46.0 };
            let hiss = speaks && (t * 1.9 + 0.55).fract() < 0.08;
            let mut reduction_db = [0.0; STAGE_COUNT];
            reduction_db[StageId::DeEsser as usize] = if hiss { 0.85 * max_db } else { 0.0 };
            reduction_db[StageId::Compressor as usize] = if speaks { max_db * syllable } else { 0.0 };
            reduction_db[StageId::Limiter as usize] = if syllable > 0.93 { 0.15 * max_db } else { 0.0 };
            self.history.push(HistoryPoint { time_s: 100.0 + t, lufs: [Some(input), Some(output)], reduction_db });
        }
        let lu = |stage: StageId| match stage {
            StageId::Trim => 7.0,
            StageId::HighPass => -0.1,
            StageId::CorrectiveEq => 0.2,
            StageId::DeEsser => -0.3,
            StageId::Compressor => -1.0,
            _ => 0.0,
        };
        let entries = std::array::from_fn(|n| LedgerEntry { stage: StageId::ALL[n], lu: lu(StageId::ALL[n]) });
        let total_lu = StageId::ALL.iter().map(|&stage| lu(stage)).sum();
        self.ledger = Some(Ledger { entries, input_lufs: -30.0, total_lu });
    }

    fn draw(&mut self, within: &mut egui::Ui) {
        // The page fills the whole window, as in the plugin.
        let window = within.ctx().content_rect();
        let ui = &mut within.new_child(egui::UiBuilder::new().max_rect(window));
        ui.set_clip_rect(window);
        let view =
            ViewModel {
                name: "Guest",
                settings: self.settings,
                rate: SampleRate::new(48_000.0).unwrap(),
                profile: self.profile.as_ref(),
                captured_fraction: 1.0,
                proposal: self.proposal.as_ref(),
                measuring: self.measuring,
                monitoring: self.monitoring,
                audition_band: self.audition_band,
                ledger: self.ledger,
                loudness_match_db: [if self.ledger.is_some() { 5.8 } else { 0.0 }, 0.0],
                metered_stages: &METERED_STAGES,
                history: &self.history,
                can_undo_redo: self.can_undo_redo,
                clipboard: [self.clipboard; 2],
                file_dialog: self.file_dialog.as_ref().map(|(operation, path, system_dialog, existing_path)| {
                    FileDialog { operation: *operation, path, system_dialog: *system_dialog, existing_path }
                }),
                pass_through: self.pass_through.as_deref(),
                message: self.message.as_deref(),
            };
        for action in self.page.ui(ui, &view) {
            match &action {
                UserAction::SetValue(stage, row, value) => {
                    let id = stage.rows()[*row].id;
                    self.settings.set(id, *value).unwrap();
                }
                UserAction::ApplyProposal => self.settings = self.proposal.unwrap().settings.rounded(),
                UserAction::ApplyStartingPoint(point) => self.settings = point.settings(),
                UserAction::SetMonitorMode(mode) => self.monitoring.mode = *mode,
                UserAction::SetLoudnessMatch(on) => self.monitoring.loudness_matched = *on,
                UserAction::SetOrder(order) => self.settings.order = *order,
                UserAction::SetAuditionBand(audition_band) => self.audition_band = *audition_band,
                UserAction::StartMeasuring => self.measuring = true,
                UserAction::StopMeasuring => self.measuring = false,
                UserAction::ChooseFile(operation) => {
                    self.file_dialog = Some((*operation, "/home/a/voice.toml".into(), true, String::new()))
                }
                UserAction::CancelFile => self.file_dialog = None,
                _ => {}
            }
            self.actions.push(action);
        }
    }

    /// Opens the page with a size in points and a scale in pixels per point.
    pub(crate) fn open(self, size: [f32; 2], scale: f32) -> (Harness<'static, Self>, Raster) {
        self.open_at(size, scale, 0.25)
    }

    /// As [`open`](Self::open), with this many seconds per frame.
    pub(crate) fn open_at(self, size: [f32; 2], scale: f32, seconds: f32) -> (Harness<'static, Self>, Raster) {
        let raster = Raster::default();
        let mut harness = Harness::builder()
            .with_step_dt(seconds)
            .with_size(size)
            .with_pixels_per_point(scale)
            .renderer(raster.clone())
            .build_ui_state(|ui, track: &mut Self| track.draw(ui), self);
        harness.run_steps(3);
        (harness, raster)
    }
}
