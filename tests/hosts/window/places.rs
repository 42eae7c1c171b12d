//! Where things are on the page: the same page, drawn without a window, says it.

use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use voicechain_core::strip::{Listening, Part};
use voicechain_core::{SampleRate, StripSettings};
use voicechain_editor::{FIRST, History, Page, Shown};

/// The page with some settings, at its first size.
pub(crate) struct Places(Harness<'static, Page>);

impl Places {
    pub(crate) fn of(settings: &StripSettings) -> Self {
        let settings = *settings;
        let draw = move |within: &mut egui::Ui, page: &mut Page| {
            let window = within.ctx().content_rect();
            let mut ui = within.new_child(egui::UiBuilder::new().max_rect(window));
            let shown = Shown {
                name: "",
                settings,
                rate: SampleRate::new(48_000.0).unwrap(),
                profile: None,
                validity: 1.0,
                proposal: None,
                measuring: false,
                listening: Listening { matched: true, ..Listening::default() },
                part: Part::Whole,
                ledger: None,
                match_db: [0.0; 2],
                moving: &[],
                history: &History::default(),
                steps: [false; 2],
                clipboard: [false; 2],
                choosing: None,
                message: None,
            };
            page.ui(&mut ui, &shown);
        };
        let mut harness = Harness::builder().with_size(FIRST).build_ui_state(draw, Page::default());
        harness.run_steps(4);
        Self(harness)
    }

    /// The middle of something by its name.
    pub(crate) fn of_name(&self, name: &str) -> [f32; 2] {
        self.0.get_by_label(name).rect().center().into()
    }

    /// The pixels around something, from one corner to the opposite one.
    pub(crate) fn corners(&self, name: &str) -> [[usize; 2]; 2] {
        let around = self.0.get_by_label(name).rect();
        [around.min, around.max].map(|corner| [corner.x.round() as usize, corner.y.round() as usize])
    }

    /// The word that applies a proposal, behind "10 settings would change".
    pub(crate) fn apply(&self) -> [f32; 2] {
        let line = self.of_name("measure");
        [20.0 + 175.0 + 28.0 + 16.0, line[1]]
    }
}
