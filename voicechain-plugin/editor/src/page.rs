//! What the page itself remembers from one drawing to the next.

use crate::strip_design::StripDesign;
use egui::Id;
use voicechain_core::settings::{SectionId, StageId};

/// Smallest and largest zoom.
pub const ZOOM_RANGE: [f32; 2] = [1.0, 3.0];

/// A value that is being typed.
#[derive(Clone, Debug)]
pub(crate) struct Typing {
    pub(crate) at: (SectionId, usize),
    pub(crate) text: String,
    /// What was typed last is no value.
    pub(crate) invalid: bool,
    /// The field has had the keyboard.
    pub(crate) had_focus: bool,
}

/// The path of a settings file that is being typed.
#[derive(Clone, Debug)]
pub(crate) struct TypedPath {
    pub(crate) text: String,
    /// The field has had the keyboard, where the system has no window that wants it.
    pub(crate) had_focus: bool,
    pub(crate) has_keyboard: bool,
}

/// What the page itself remembers from one drawing to the next.
pub struct Page {
    /// The dark colours.
    pub dark: bool,
    /// Zoom on top of the display's own.
    pub zoom: f32,
    pub(crate) open: Option<StageId>,
    pub(crate) typing: Option<Typing>,
    /// The position that a drag has come to, finer than any step.
    pub(crate) drag: Option<(Id, f64)>,
    /// The setting that the wheel has taken hold of.
    pub(crate) wheel: Option<(Id, StageId, usize)>,
    /// The proposal is shown, and not yet applied.
    pub(crate) preview: bool,
    /// The path of a settings file that is being typed.
    pub(crate) path: Option<TypedPath>,
    pub(crate) hint: String,
    pub(crate) design: Option<StripDesign>,
    pub(crate) proposed_design: Option<StripDesign>,
}

impl Default for Page {
    fn default() -> Self {
        Self {
            dark: false,
            zoom: ZOOM_RANGE[0],
            open: None,
            typing: None,
            drag: None,
            wheel: None,
            preview: false,
            path: None,
            hint: String::new(),
            design: None,
            proposed_design: None,
        }
    }
}

impl Page {
    /// Opens the row of a stage.
    pub fn open_row(&mut self, stage: StageId) {
        self.open = Some(stage);
    }

    /// A value is being typed: every key is the page's.
    #[must_use]
    pub fn is_typing(&self) -> bool {
        self.typing.is_some() || self.path.as_ref().is_some_and(|path| path.has_keyboard)
    }
}
