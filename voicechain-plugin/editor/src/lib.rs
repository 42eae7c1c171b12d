//! The editor: a page that a mixer reads, from top to bottom.
//!
//! Nothing here knows a plugin framework or a window. [`Page::ui`] draws what it is [`Shown`] into an `egui::Ui` and says
//! what the person [`Ask`]s for; whoever embeds it answers. The same code is drawn and driven in tests without a window.
//!
//! - `voice`: the measured voice against published speech, with `findings` in place; below it `strip`: what the strip does,
//!   with a handle per band;
//! - `past`: the last fifteen seconds;
//! - `stages`: one row per stage, which opens (`opened`) to its `curve`, the band of the `detector`
//!   or the room's `decay`, and all its settings; `value` is one of them;
//! - `pointer`: what it did, in order;
//! - `header` and `footer`: what is heard, and what can be done; `file`: the path of a settings file;
//! - `look`: colours and letters; `words`: numbers and evidence as text.

mod axes;
mod curve;
mod decay;
mod detector;
mod file;
mod findings;
mod footer;
mod header;
mod look;
mod opened;
mod past;
mod pointer;
mod shown;
mod stages;
mod strip;
mod value;
mod voice;
mod words;

pub use look::Look;
pub use shown::{Ask, Choosing, Filing, History, Moment, SPAN_S, STAGES, Shown};

use egui::{Id, Rect, Ui, pos2, vec2};
use voicechain_core::settings::{SettingInfo, StageId};
use voicechain_core::strip::StripCoefs;
use voicechain_core::{SampleRate, StripSettings};

/// Smallest size that the page is made for, points.
pub const SMALLEST: [f32; 2] = [720.0, 480.0];
/// Size at first, points.
pub const FIRST: [f32; 2] = [1_080.0, 860.0];
/// Smallest and largest zoom.
pub const ZOOM: [f32; 2] = [1.0, 3.0];

/// Room for a scale of decibels, points.
const SCALE: f32 = 40.0;
/// Margin at both sides, points.
const MARGIN: f32 = 20.0;
/// Height of the header and of the footer, points.
const HEADER: f32 = 62.0;
const FOOTER: f32 = 62.0;
/// Least height of the pictures, points, and most of what is free between header and footer.
const PICTURES: f32 = 260.0;
const SHARE: f32 = 0.52;
/// Below this width or height the last fifteen seconds go, points.
const WIDE: f32 = 860.0;
const TALL: f32 = 600.0;

/// A value that is being typed.
#[derive(Clone, Debug)]
struct Typing {
    at: (StageId, usize),
    text: String,
    /// What was typed last is no value.
    bad: bool,
    /// The field has had the keyboard.
    begun: bool,
}

/// The strip's coefficients for the settings that are shown: designed again only when these change.
struct Designed {
    settings: StripSettings,
    rate: SampleRate,
    coefs: Box<StripCoefs<2>>,
    curve: Vec<f32>,
}

/// What the page itself remembers from one drawing to the next.
pub struct Page {
    /// The dark colours.
    pub dark: bool,
    /// Zoom on top of the display's own.
    pub zoom: f32,
    open: Option<StageId>,
    typing: Option<Typing>,
    /// The position that a drag has come to, finer than any step.
    drag: Option<(Id, f64)>,
    /// The setting that the wheel has taken hold of.
    wheel: Option<(Id, StageId, usize)>,
    /// The proposal is shown, and not yet applied.
    preview: bool,
    /// The path of a settings file that is being typed.
    path: Option<file::Typed>,
    hint: String,
    designed: Option<Designed>,
    proposed: Option<Designed>,
}

impl Default for Page {
    fn default() -> Self {
        Self {
            dark: false,
            zoom: 1.0,
            open: None,
            typing: None,
            drag: None,
            wheel: None,
            preview: false,
            path: None,
            hint: String::new(),
            designed: None,
            proposed: None,
        }
    }
}

/// What every part of the page draws with.
struct Pen<'a> {
    look: Look,
    shown: &'a Shown<'a>,
    asks: Vec<Ask>,
}

impl Pen<'_> {
    /// One whole gesture.
    fn set(&mut self, stage: StageId, row: usize, value: f64) {
        self.set_all(stage, &[(row, value)]);
    }

    /// Several settings in one gesture, which is one step to take back.
    fn set_all(&mut self, stage: StageId, values: &[(usize, f64)]) {
        self.asks.extend(values.iter().map(|(row, _)| Ask::Begin(stage, *row)));
        self.asks.extend(values.iter().map(|(row, value)| Ask::Set(stage, *row, *value)));
        self.asks.extend(values.iter().map(|(row, _)| Ask::End(stage, *row)));
    }

    fn value(&self, stage: StageId, row: usize) -> f64 {
        self.shown.settings.value(stage, row).unwrap_or(stage.rows()[row].default)
    }
}

/// The row of a setting in its stage, by the end of its id.
fn row_of(stage: StageId, field: &str) -> Option<(usize, &'static SettingInfo)> {
    stage.rows().iter().enumerate().find(|(_, info)| info.id.split('.').next_back() == Some(field))
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

    /// Draws the page into all of `ui` and gives what the person asks for.
    pub fn ui(&mut self, ui: &mut Ui, shown: &Shown<'_>) -> Vec<Ask> {
        let whole = ui.max_rect();
        if !prepare(ui.ctx()) {
            // The letters are there at the next drawing.
            ui.painter().rect_filled(whole, 0.0, Look::of(self.dark).paper);
            ui.ctx().request_repaint();
            return Vec::new();
        }
        let mut pen = Pen { look: Look::of(self.dark), shown, asks: Vec::new() };
        pen.look.dress(ui.ctx(), self.dark);
        ui.painter().rect_filled(whole, 0.0, pen.look.paper);
        self.hint.clear();
        if shown.proposal.is_none() {
            self.preview = false;
        }
        renew(&mut self.designed, &shown.settings, shown.rate);
        match shown.proposal {
            Some(proposal) if self.preview => renew(&mut self.proposed, &proposal.settings.rounded(), shown.rate),
            _ => self.proposed = None,
        }

        let (left, right) = (whole.left() + MARGIN, whole.right() - MARGIN);
        let header = Rect::from_min_max(pos2(left, whole.top()), pos2(right, whole.top() + HEADER));
        let footer = Rect::from_min_max(pos2(left, whole.bottom() - FOOTER), pos2(right, whole.bottom()));
        let free = whole.height() - HEADER - FOOTER;
        let table = stages::height(self.open, right - left);
        let pictures = (free - table).max(PICTURES.min(SHARE * free));
        let middle = header.bottom() + pictures;
        let pictures = Rect::from_min_max(pos2(left, header.bottom()), pos2(right, middle));
        let rows = Rect::from_min_max(pos2(left, middle), pos2(right, footer.top()));

        self.header(ui, header, &mut pen);
        let with_past = whole.width() >= WIDE && whole.height() >= TALL;
        let split = if with_past { left + 0.66 * (right - left) } else { right };
        let [above, below] = halves(Rect::from_min_max(pos2(left + SCALE, pictures.top()), pos2(split, middle)));
        self.voice(ui, above, &mut pen);
        self.strip(ui, below, &mut pen);
        if with_past {
            let beside = |rect: Rect| Rect::from_x_y_ranges(split + 32.0..=right, rect.y_range());
            self.past(ui, beside(above), beside(below), &pen);
        }
        self.stages(ui, rows, &mut pen);
        self.footer(ui, footer, &mut pen);
        for y in [header.bottom(), middle, footer.top()] {
            ui.painter().hline(whole.x_range(), y, (1.0, pen.look.rule));
        }
        self.pasted(ui, &mut pen);
        pen.asks
    }

    /// A settings text that is pasted by the keyboard, while nothing is typed.
    fn pasted(&self, ui: &Ui, pen: &mut Pen<'_>) {
        if self.is_typing() {
            return;
        }
        ui.input(|input| {
            for event in &input.events {
                match event {
                    egui::Event::Paste(text) => pen.asks.push(Ask::Paste(Some(text.clone()))),
                    // Some windows give what is pasted as if it were typed.
                    egui::Event::Text(text) if text.contains('\n') => pen.asks.push(Ask::Paste(Some(text.clone()))),
                    egui::Event::Copy => pen.asks.push(Ask::Copy),
                    _ => {}
                }
            }
        });
        let undo = egui::KeyboardShortcut::new(egui::Modifiers::COMMAND, egui::Key::Z);
        let redo = egui::KeyboardShortcut::new(egui::Modifiers::COMMAND | egui::Modifiers::SHIFT, egui::Key::Z);
        if ui.input_mut(|input| input.consume_shortcut(&redo)) {
            pen.asks.push(Ask::Redo);
        } else if ui.input_mut(|input| input.consume_shortcut(&undo)) {
            pen.asks.push(Ask::Undo);
        }
    }
}

/// Gives a context what the page needs, once, before or with its first drawing: its letters, and how a pointer is
/// understood. True when it has all of it already; its letters it has from the next drawing on.
pub fn prepare(ctx: &egui::Context) -> bool {
    let id = Id::unique("voicechain prepared");
    let prepared = ctx.data_mut(|data| {
        data.get_temp::<bool>(id).is_some() || {
            data.insert_temp(id, true);
            false
        }
    });
    if !prepared {
        look::letters(ctx);
        ctx.add_plugin(pointer::InOrder::default());
        // A button that is let go late was pressed all the same: by a calm hand, or between two slow drawings.
        ctx.options_mut(|options| options.input_options.max_click_duration = f64::INFINITY);
    }
    prepared
}

/// The two pictures among each other, in what there is for them: each with a line of title above it, below them a line of
/// frequencies.
fn halves(rect: Rect) -> [Rect; 2] {
    let (first, between, last) = (32.0, 30.0, 24.0);
    let inner = (rect.height() - first - between - last).max(2.0);
    let above = Rect::from_min_size(rect.min + vec2(0.0, first), vec2(rect.width(), 0.57 * inner));
    [above, Rect::from_min_max(pos2(rect.left(), above.bottom() + between), rect.max - vec2(0.0, last))]
}

/// Designs again if the settings are others than before.
fn renew(designed: &mut Option<Designed>, settings: &StripSettings, rate: SampleRate) {
    if designed.as_ref().is_some_and(|old| old.settings == *settings && old.rate == rate) {
        return;
    }
    *designed = StripCoefs::design(settings, rate).ok().map(|coefs| {
        let curve = axes::curve_points().map(|hz| strip::shape_db(&coefs, f64::from(hz)) as f32).collect();
        Designed { settings: *settings, rate, coefs: Box::new(coefs), curve }
    });
}
