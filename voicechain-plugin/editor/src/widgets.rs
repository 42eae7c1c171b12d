//! What several parts of the page draw alike: words to press, switches, the mark of the keyboard, labels in pictures.

use crate::look::{DIGITS, TINY, numbers, width, words, write};
use crate::page::Page;
use crate::pen::Pen;
use egui::{Align, Pos2, Rect, Response, Role, Sense, StrokeKind, Ui, WidgetInfo, pos2, vec2};

/// Something that can be pressed: its name, whether it can be now, and what it does.
pub(crate) struct Action {
    pub(crate) name: &'static str,
    pub(crate) on: bool,
    pub(crate) what: &'static str,
    /// The longest name that stands here, so that the others keep their places.
    pub(crate) room: &'static str,
}

pub(crate) const fn action(name: &'static str, on: bool, what: &'static str) -> Action {
    Action { name, on, what, room: name }
}

/// Most and least between two words, points.
pub(crate) const GAP: [f32; 2] = [22.0, 8.0];

impl Page {
    /// A word to press; its left end is at `x`, and it is `size` tall.
    pub(crate) fn word(&mut self, ui: &Ui, x: f32, y: f32, size: f32, action: &Action, pen: &Pen<'_>) -> Response {
        let look = pen.look;
        let wide = width(ui.painter(), action.name, words(size));
        let place = Rect::from_min_max(pos2(x, y - 0.75 * size), pos2(x + wide, y + 0.75 * size));
        let sense = if action.on { Sense::click() } else { Sense::hover() };
        let response = ui.interact(place.expand2(vec2(5.0, 2.0)), ui.scope_id().with(("action", action.name)), sense);
        response.widget_info(|| WidgetInfo::labeled(Role::Button, action.on, action.name));
        let ink = if action.on { look.ink } else { look.quiet.gamma_multiply(0.65) };
        write(ui.painter(), pos2(x, y + 0.36 * size), Align::Min, action.name, words(size), ink);
        if response.hovered() {
            self.hint = action.what.into();
            if action.on {
                ui.painter().hline(place.x_range(), y + 0.36 * size + 3.0, (1.0, look.after));
            }
        }
        self.focus_mark(ui, &response, place.expand2(vec2(4.0, 1.0)), pen);
        response
    }

    /// A switch: a square, with a tick when on.
    pub(crate) fn tick(&self, ui: &Ui, place: Rect, on: bool, pen: &Pen<'_>) {
        let look = pen.look;
        let painter = ui.painter();
        if on {
            painter.rect_filled(place, 2.5, look.after);
            let at = |x: f32, y: f32| place.min + vec2(x, y) * place.width();
            let stroke = egui::Stroke::new(1.6, look.paper);
            painter.add(egui::Shape::line(vec![at(0.22, 0.52), at(0.43, 0.73), at(0.79, 0.29)], stroke));
        } else {
            painter.rect_stroke(place, 2.5, (1.0, look.quiet), egui::StrokeKind::Inside);
        }
    }

    /// Shows where the keyboard is.
    pub(crate) fn focus_mark(&self, ui: &Ui, response: &egui::Response, place: Rect, pen: &Pen<'_>) {
        if response.has_focus() {
            ui.painter().rect_stroke(place, 3.0, (1.5, pen.look.after), egui::StrokeKind::Outside);
        }
    }
}

/// The pointer, if it is over a picture and over nothing in front of it.
pub(crate) fn pointer(ui: &Ui, rect: Rect) -> Option<Pos2> {
    let at = ui.input(|input| input.pointer.hover_pos()).filter(|at| rect.contains(*at))?;
    (ui.ctx().layer_id_at(at) == Some(ui.layer_id())).then_some(at)
}

/// A label beside a point, inside a picture.
pub(crate) fn readout(ui: &Ui, at: Pos2, inside: Rect, text: &str, pen: &Pen<'_>) {
    let look = pen.look;
    let painter = ui.painter();
    let galley = painter.layout_no_wrap(text.into(), numbers(DIGITS), look.ink);
    let size = galley.size() + vec2(16.0, 8.0);
    let below = at.y + 10.0 + size.y <= inside.bottom();
    let right = at.x + 14.0 + size.x <= inside.right();
    let x = if right { at.x + 14.0 } else { at.x - 14.0 - size.x };
    let y = if below { at.y + 10.0 } else { at.y - 10.0 - size.y };
    let place = Rect::from_min_size(pos2(x, y), size);
    painter.rect(place, 3.0, look.field, (1.0, look.rule), StrokeKind::Inside);
    painter.galley(place.min + vec2(8.0, 4.0), galley, look.ink);
}

/// A number beside a mark in a curve.
pub(crate) fn mark(ui: &Ui, at: egui::Pos2, text: &str, ink: egui::Color32) {
    write(ui.painter(), at, Align::Min, text, numbers(TINY), ink);
}
