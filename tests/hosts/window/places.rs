//! Positions of controls on the page, from the same page drawn without a window.

use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use voicechain_core::strip::{AuditionBand, Monitoring};
use voicechain_core::{SampleRate, StripSettings};
use voicechain_editor::{DEFAULT_SIZE, History, Page, ViewModel};

/// Positions of the controls on a page with its default size.
pub(crate) struct ControlPositions(Harness<'static, Page>);

impl ControlPositions {
    pub(crate) fn of(settings: &StripSettings) -> Self {
        let settings = *settings;
        let draw = move |within: &mut egui::Ui, page: &mut Page| {
            let window = within.ctx().content_rect();
            let mut ui = within.new_child(egui::UiBuilder::new().max_rect(window));
            let view = ViewModel {
                name: "",
                settings,
                rate: SampleRate::new(48_000.0).unwrap(),
                profile: None,
                captured_fraction: 1.0,
                proposal: None,
                measuring: false,
                monitoring: Monitoring { loudness_matched: true, ..Monitoring::default() },
                audition_band: AuditionBand::Full,
                ledger: None,
                loudness_match_db: [0.0; 2],
                metered_stages: &[],
                history: &History::default(),
                can_undo_redo: [false; 2],
                clipboard: [false; 2],
                file_dialog: None,
                pass_through: None,
                message: None,
            };
            page.ui(&mut ui, &view);
        };
        let mut harness = Harness::builder().with_size(DEFAULT_SIZE).build_ui_state(draw, Page::default());
        harness.run_steps(4);
        Self(harness)
    }

    /// Centre of a control, by name.
    pub(crate) fn centre_of(&self, name: &str) -> [f32; 2] {
        self.0.get_by_label(name).rect().center().into()
    }

    /// Bounds of a control in pixels, by name.
    pub(crate) fn bounds_of(&self, name: &str) -> [[usize; 2]; 2] {
        let around = self.0.get_by_label(name).rect();
        [around.min, around.max].map(|corner| [corner.x.round() as usize, corner.y.round() as usize])
    }

    /// Position of the button "apply", to the right of "10 settings would change".
    pub(crate) fn apply(&self) -> [f32; 2] {
        let line = self.centre_of("measure");
        [20.0 + 175.0 + 28.0 + 16.0, line[1]]
    }
}
