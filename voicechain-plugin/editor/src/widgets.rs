//! Widgets shared by several parts of the page: text buttons, checkboxes, focus ring, labels in plots.

use crate::draw_context::DrawContext;
use crate::page::Page;
use crate::style::{DIGITS, TINY, number_font, text_font, width, write};
use egui::{Align, Pos2, Rect, Response, Role, Sense, StrokeKind, Ui, WidgetInfo, pos2, vec2};

/// Text button: name, whether it is enabled, and hint.
pub(crate) struct TextButton {
    pub(crate) name: &'static str,
    pub(crate) enabled: bool,
    pub(crate) hint: &'static str,
    /// Longest name that the button can have; its width is reserved.
    pub(crate) longest_label: &'static str,
}

pub(crate) const fn button(name: &'static str, enabled: bool, hint: &'static str) -> TextButton {
    TextButton { name, enabled, hint, longest_label: name }
}

/// Maximum and minimum gap between two buttons, points.
pub(crate) const GAP: [f32; 2] = [22.0, 8.0];

impl Page {
    /// Draws a text button with its left end at `x`, font size `size`.
    pub(crate) fn text_button(
        &mut self,
        ui: &Ui,
        x: f32,
        y: f32,
        size: f32,
        button: &TextButton,
        cx: &DrawContext<'_>,
    ) -> Response {
        let palette = cx.palette;
        let wide = width(ui.painter(), button.name, text_font(size));
        let place = Rect::from_min_max(pos2(x, y - 0.75 * size), pos2(x + wide, y + 0.75 * size));
        let sense = if button.enabled { Sense::click() } else { Sense::hover() };
        let response = ui.interact(place.expand2(vec2(5.0, 2.0)), ui.scope_id().with(("action", button.name)), sense);
        response.widget_info(|| WidgetInfo::labeled(Role::Button, button.enabled, button.name));
        let ink = if button.enabled { palette.ink } else { palette.quiet.gamma_multiply(0.65) };
        write(ui.painter(), pos2(x, y + 0.36 * size), Align::Min, button.name, text_font(size), ink);
        if response.hovered() {
            self.hint = button.hint.into();
            if button.enabled {
                ui.painter().hline(place.x_range(), y + 0.36 * size + 3.0, (1.0, palette.accent));
            }
        }
        self.focus_ring(ui, &response, place.expand2(vec2(4.0, 1.0)), cx);
        response
    }

    /// Draws a checkbox: a square, with a tick when on.
    pub(crate) fn checkbox(&self, ui: &Ui, place: Rect, on: bool, cx: &DrawContext<'_>) {
        let palette = cx.palette;
        let painter = ui.painter();
        if on {
            painter.rect_filled(place, 2.5, palette.accent);
            let at = |x: f32, y: f32| place.min + vec2(x, y) * place.width();
            let stroke = egui::Stroke::new(1.6, palette.paper);
            painter.add(egui::Shape::line(vec![at(0.22, 0.52), at(0.43, 0.73), at(0.79, 0.29)], stroke));
        } else {
            painter.rect_stroke(place, 2.5, (1.0, palette.quiet), egui::StrokeKind::Inside);
        }
    }

    /// Marks the control that has keyboard focus.
    pub(crate) fn focus_ring(&self, ui: &Ui, response: &egui::Response, place: Rect, cx: &DrawContext<'_>) {
        if response.has_focus() {
            ui.painter().rect_stroke(place, 3.0, (1.5, cx.palette.accent), egui::StrokeKind::Outside);
        }
    }
}

/// Pointer position, if it is over the plot and nothing covers the plot there.
pub(crate) fn hover_position(ui: &Ui, rect: Rect) -> Option<Pos2> {
    let at = ui.input(|input| input.pointer.hover_pos()).filter(|at| rect.contains(*at))?;
    (ui.ctx().layer_id_at(at) == Some(ui.layer_id())).then_some(at)
}

/// Draws a label beside a point, within a plot.
pub(crate) fn readout(ui: &Ui, at: Pos2, inside: Rect, text: &str, cx: &DrawContext<'_>) {
    let palette = cx.palette;
    let painter = ui.painter();
    let galley = painter.layout_no_wrap(text.into(), number_font(DIGITS), palette.ink);
    let size = galley.size() + vec2(16.0, 8.0);
    let below = at.y + 10.0 + size.y <= inside.bottom();
    let right = at.x + 14.0 + size.x <= inside.right();
    let x = if right { at.x + 14.0 } else { at.x - 14.0 - size.x };
    let y = if below { at.y + 10.0 } else { at.y - 10.0 - size.y };
    let place = Rect::from_min_size(pos2(x, y), size);
    painter.rect(place, 3.0, palette.field, (1.0, palette.rule), StrokeKind::Inside);
    painter.galley(place.min + vec2(8.0, 4.0), galley, palette.ink);
}

/// Draws a number beside a mark on a curve.
pub(crate) fn value_label(ui: &Ui, at: egui::Pos2, text: &str, ink: egui::Color32) {
    write(ui.painter(), at, Align::Min, text, number_font(TINY), ink);
}
