//! One setting: dragged, typed, stepped by the keyboard, or given back its default.

use crate::keyboard::{keep_arrows, steps_asked};
use crate::look::{BASE, DIGITS, numbers, write};
use crate::page::{Page, Typing};
use crate::pen::Pen;
use crate::shown::Ask;
use crate::words as say;
use egui::accesskit::Action;
use egui::{Align, CursorIcon, Event, Id, Key, Rect, Response, Role, Sense, Ui, WidgetInfo, pos2, vec2};
use voicechain_core::settings::{SectionId, SettingInfo};
use voicechain_core::units::Unit;

/// Points of a drag from one end of a setting to the other; finely, so many times as far.
const SPAN: f64 = 320.0;
const FINELY: f64 = 8.0;

impl Page {
    /// Draws the value of a row of the table into `place`, at its right or left end, and answers to pointer and keyboard.
    pub(crate) fn value(
        &mut self,
        ui: &mut Ui,
        place: Rect,
        section: SectionId,
        row: usize,
        align: Align,
        pen: &mut Pen<'_>,
    ) -> Response {
        if self.typing.as_ref().is_some_and(|typing| typing.at == (section, row)) {
            return self.type_value(ui, place, section, row, pen);
        }
        let (info, value) = (&section.rows()[row], pen.value(section, row));
        let id = ui.scope_id().with((section.id(), row));
        let sense = if is_choice(info) { Sense::click() } else { Sense::click_and_drag() };
        let response = ui.interact(place, id, sense);
        let (name, text) = (say::setting(section, info), say::value(info, value));
        tell(ui, &response, &name, &text, info, value);
        self.draw_value(ui, &response, align, &name, text, info, pen);
        press(&response, section, row, pen);
        self.drag_value(ui, &response, section, row, pen);
        if response.has_focus() {
            keep_arrows(ui, id);
            self.keys(ui, id, section, row, pen);
        }
        response.on_hover_text(info.explanation)
    }

    /// Writes the value, underlined where the pointer is, and says in the hint line what it sets.
    #[allow(clippy::too_many_arguments)]
    fn draw_value(
        &mut self,
        ui: &Ui,
        response: &Response,
        align: Align,
        name: &str,
        text: String,
        info: &SettingInfo,
        pen: &Pen<'_>,
    ) {
        let (look, place) = (pen.look, response.rect);
        let end = if align == Align::Max { place.right() } else { place.left() };
        let base = pos2(end, place.center().y + BASE);
        let drawn = write(ui.painter(), base, align, text, numbers(DIGITS), look.ink);
        if response.hovered() || response.dragged() {
            ui.painter().hline(drawn.x_range(), drawn.bottom(), (1.0, look.after));
            self.hint = format!("{name}: {}", info.explanation);
            ui.ctx().set_cursor_icon(if is_choice(info) {
                CursorIcon::PointingHand
            } else {
                CursorIcon::ResizeHorizontal
            });
        }
        self.focus_mark(ui, response, drawn.expand2(vec2(4.0, 1.0)), pen);
    }

    /// A drag from its beginning to its end is one gesture.
    fn drag_value(&mut self, ui: &Ui, response: &Response, section: SectionId, row: usize, pen: &mut Pen<'_>) {
        let (info, value) = (&section.rows()[row], pen.value(section, row));
        if response.drag_started() {
            response.request_focus();
            self.drag = Some((response.id, info.position_of(value)));
            pen.asks.push(Ask::Begin(section, row));
        }
        if response.dragged()
            && let Some((_, position)) = self.drag.as_mut().filter(|(held, _)| *held == response.id)
        {
            let delta = response.drag_delta();
            let finely = if ui.input(|input| input.modifiers.shift) { FINELY } else { 1.0 };
            *position = (*position + f64::from(delta.x - delta.y) / (SPAN * finely)).clamp(0.0, 1.0);
            let wanted = info.rounded(info.on_step(info.value_at(*position)));
            if wanted != value {
                pen.asks.push(Ask::Set(section, row, wanted));
            }
        }
        if response.drag_stopped() {
            self.drag = None;
            pen.asks.push(Ask::End(section, row));
        }
    }

    /// The keyboard: steps, the default, the beginning of a typed value.
    fn keys(&mut self, ui: &Ui, id: Id, section: SectionId, row: usize, pen: &mut Pen<'_>) {
        let (info, value) = (&section.rows()[row], pen.value(section, row));
        let [along, up] = steps_asked(ui, id);
        let steps = along + up;
        if steps != 0.0 {
            let wanted =
                if is_choice(info) { info.nearest(value + steps.signum()) } else { info.stepped(value, steps) };
            if wanted != value {
                pen.set(section, row, wanted);
            }
        }
        let (mut begin, mut default) = (None, false);
        ui.input(|input| {
            for event in &input.events {
                match event {
                    Event::Text(text) if text != " " && !text.contains('\n') && !input.modifiers.command => {
                        begin = Some(text.clone())
                    }
                    Event::Key { key: Key::Enter, pressed: true, .. } => begin = Some(info.text(value).to_string()),
                    Event::Key { key: Key::Delete | Key::Backspace, pressed: true, .. } => default = true,
                    _ => {}
                }
            }
        });
        if default {
            pen.set(section, row, info.default);
        } else if let Some(text) = begin {
            self.typing = Some(Typing { at: (section, row), text, bad: false, begun: false });
            ui.ctx().request_repaint();
        }
    }
}

/// A setting with names for values, which a press goes through.
fn is_choice(info: &SettingInfo) -> bool {
    matches!(info.unit, Unit::Switch | Unit::Choice)
}

/// Tells those who do not see it what the value is, and what can be done with it.
fn tell(ui: &Ui, response: &Response, name: &str, text: &str, info: &SettingInfo, value: f64) {
    response.widget_info(|| {
        let role = match info.unit {
            Unit::Switch => return WidgetInfo::selected(Role::CheckBox, true, value >= 0.5, name),
            Unit::Choice => Role::ComboBox,
            _ => Role::SpinButton,
        };
        let shown = if value.is_finite() { value } else { info.max };
        WidgetInfo {
            value: Some(shown),
            current_text_value: Some(text.to_string()),
            ..WidgetInfo::labeled(role, true, name)
        }
    });
    ui.ctx().accesskit_node_builder(response.id, |node| {
        node.set_value(text);
        node.set_min_numeric_value(info.min);
        node.set_max_numeric_value(info.max);
        node.add_action(Action::Increment);
        node.add_action(Action::Decrement);
    });
}

/// A click takes the keyboard, and the next name of a choice; two give a number its default.
fn press(response: &Response, section: SectionId, row: usize, pen: &mut Pen<'_>) {
    let info = &section.rows()[row];
    if response.clicked() {
        response.request_focus();
        if is_choice(info) {
            pen.set(section, row, next(info, pen.value(section, row)));
        }
    }
    if response.double_clicked() && !is_choice(info) {
        pen.set(section, row, info.default);
    }
}

/// What follows in a choice.
fn next(info: &SettingInfo, value: f64) -> f64 {
    if value + 1.0 > info.max { info.min } else { value + 1.0 }
}
