//! State of the page between frames.

use crate::strip_design::StripDesign;
use egui::Id;
use voicechain_core::settings::{SectionId, StageId};

/// Minimum and maximum zoom.
pub const ZOOM_RANGE: [f32; 2] = [1.0, 3.0];

/// Value that is being typed.
#[derive(Clone, Debug)]
pub(crate) struct Typing {
    pub(crate) at: (SectionId, usize),
    pub(crate) text: String,
    /// Whether the last entered text was not a valid value.
    pub(crate) invalid: bool,
    /// Whether the field has been focused.
    pub(crate) had_focus: bool,
}

/// Path of a settings file that is being typed.
#[derive(Clone, Debug)]
pub(crate) struct TypedPath {
    pub(crate) text: String,
    /// Whether the field has been focused automatically, which happens only while no system dialog is open.
    pub(crate) had_focus: bool,
    pub(crate) has_keyboard: bool,
}

/// State of the page between frames.
pub struct Page {
    /// Dark colour scheme.
    pub dark: bool,
    /// Zoom relative to the scale of the display.
    pub zoom: f32,
    pub(crate) open: Option<StageId>,
    pub(crate) typing: Option<Typing>,
    /// Control being dragged and its exact position, before rounding to a step.
    pub(crate) drag: Option<(Id, f64)>,
    /// Handle, stage and row that the mouse wheel is moving.
    pub(crate) wheel: Option<(Id, StageId, usize)>,
    /// Whether the proposal is previewed before it is applied.
    pub(crate) preview: bool,
    /// Typed path of a settings file.
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

    /// Whether text is being typed, so that the page needs every key.
    #[must_use]
    pub fn is_typing(&self) -> bool {
        self.typing.is_some() || self.path.as_ref().is_some_and(|path| path.has_keyboard)
    }
}
