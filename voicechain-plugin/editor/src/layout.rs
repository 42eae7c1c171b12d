//! Layout of the page, and keyboard shortcuts for all of it.

use crate::context::prepare;
use crate::draw_context::DrawContext;
use crate::page::Page;
use crate::stages;
use crate::strip_design::update_design;
use crate::style::Palette;
use crate::view_model::{UserAction, ViewModel};
use egui::{Rect, Ui, pos2, vec2};

/// Minimum size of the page, points.
pub const MIN_SIZE: [f32; 2] = [720.0, 480.0];
/// Default size of the page, points.
pub const DEFAULT_SIZE: [f32; 2] = [1_080.0, 860.0];

/// Width reserved for the dB scale, points.
const SCALE: f32 = 40.0;
/// Margin on both sides, points.
const MARGIN: f32 = 20.0;
/// Heights of header and footer, points.
const HEADER: f32 = 62.0;
const FOOTER: f32 = 62.0;
/// Minimum height of the plots, points, and maximum fraction of the free height that this minimum may take.
const PLOTS: f32 = 260.0;
const SHARE: f32 = 0.52;
/// Minimum width and height of the page to show the history plots, points.
const WIDE: f32 = 860.0;
const TALL: f32 = 600.0;

impl Page {
    /// Draws the page into all of `ui` and returns the user's actions.
    pub fn ui(&mut self, ui: &mut Ui, view: &ViewModel<'_>) -> Vec<UserAction> {
        let whole = ui.max_rect();
        if !prepare(ui.ctx()) {
            // The fonts are available in the next frame.
            ui.painter().rect_filled(whole, 0.0, Palette::of(self.dark).paper);
            ui.ctx().request_repaint();
            return Vec::new();
        }
        let mut cx = DrawContext { palette: Palette::of(self.dark), view, actions: Vec::new() };
        cx.palette.apply(ui.ctx(), self.dark);
        ui.painter().rect_filled(whole, 0.0, cx.palette.paper);
        self.hint.clear();
        if view.proposal.is_none() {
            self.preview = false;
        }
        update_design(&mut self.design, &view.settings, view.rate);
        match view.proposal {
            Some(proposal) if self.preview => {
                update_design(&mut self.proposed_design, &proposal.settings.rounded(), view.rate)
            }
            _ => self.proposed_design = None,
        }

        let (left, right) = (whole.left() + MARGIN, whole.right() - MARGIN);
        let header = Rect::from_min_max(pos2(left, whole.top()), pos2(right, whole.top() + HEADER));
        let footer = Rect::from_min_max(pos2(left, whole.bottom() - FOOTER), pos2(right, whole.bottom()));
        let free = whole.height() - HEADER - FOOTER;
        let table = stages::height(self.open, right - left);
        let plots = (free - table).max(PLOTS.min(SHARE * free));
        let middle = header.bottom() + plots;
        let plots = Rect::from_min_max(pos2(left, header.bottom()), pos2(right, middle));
        let rows = Rect::from_min_max(pos2(left, middle), pos2(right, footer.top()));

        self.header(ui, header, &mut cx);
        let with_history = whole.width() >= WIDE && whole.height() >= TALL;
        let split = if with_history { left + 0.66 * (right - left) } else { right };
        let [above, below] = halves(Rect::from_min_max(pos2(left + SCALE, plots.top()), pos2(split, middle)));
        self.tonal_balance(ui, above, &mut cx);
        self.frequency_response(ui, below, &mut cx);
        if with_history {
            let beside = |rect: Rect| Rect::from_x_y_ranges(split + 32.0..=right, rect.y_range());
            self.history_plots(ui, beside(above), beside(below), &cx);
        }
        self.stages(ui, rows, &mut cx);
        self.footer(ui, footer, &mut cx);
        for y in [header.bottom(), middle, footer.top()] {
            ui.painter().hline(whole.x_range(), y, (1.0, cx.palette.rule));
        }
        self.shortcuts(ui, &mut cx);
        cx.actions
    }

    /// Handles copy, paste, undo and redo by keyboard, while nothing is being typed.
    fn shortcuts(&self, ui: &Ui, cx: &mut DrawContext<'_>) {
        if self.is_typing() {
            return;
        }
        ui.input(|input| {
            for event in &input.events {
                match event {
                    egui::Event::Paste(text) => cx.actions.push(UserAction::Paste(Some(text.clone()))),
                    // Some window systems deliver pasted text as typed text.
                    egui::Event::Text(text) if text.contains('\n') => {
                        cx.actions.push(UserAction::Paste(Some(text.clone())))
                    }
                    egui::Event::Copy => cx.actions.push(UserAction::Copy),
                    _ => {}
                }
            }
        });
        let undo = egui::KeyboardShortcut::new(egui::Modifiers::COMMAND, egui::Key::Z);
        let redo = egui::KeyboardShortcut::new(egui::Modifiers::COMMAND | egui::Modifiers::SHIFT, egui::Key::Z);
        if ui.input_mut(|input| input.consume_shortcut(&redo)) {
            cx.actions.push(UserAction::Redo);
        } else if ui.input_mut(|input| input.consume_shortcut(&undo)) {
            cx.actions.push(UserAction::Undo);
        }
    }
}

/// Splits a rectangle into two plots, one above the other, with a title line above each and a line of frequencies below
/// both.
fn halves(rect: Rect) -> [Rect; 2] {
    let (first, between, last) = (32.0, 30.0, 24.0);
    let inner = (rect.height() - first - between - last).max(2.0);
    let above = Rect::from_min_size(rect.min + vec2(0.0, first), vec2(rect.width(), 0.57 * inner));
    [above, Rect::from_min_max(pos2(rect.left(), above.bottom() + between), rect.max - vec2(0.0, last))]
}
