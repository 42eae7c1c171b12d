//! One setting: dragged, typed, stepped by the keyboard, or given back its default.

use crate::look::{BASE, DIGITS, numbers, write};
use crate::{Ask, Page, Pen, Typing, words as say};
use egui::{Align, Event, EventFilter, Id, Key, Rect, Response, Role, Sense, TextEdit, Ui, WidgetInfo, pos2, vec2};
use voicechain_core::settings::{SettingInfo, StageId};
use voicechain_core::units::Unit;

/// Points of a drag from one end of a setting to the other; finely, so many times as far.
const SPAN: f64 = 320.0;
const FINELY: f64 = 8.0;

/// Steps that the keyboard asks for: arrows one, with shift ten, pages ten.
pub(crate) fn steps_asked(ui: &Ui, id: Id) -> [f64; 2] {
    use egui::accesskit::Action;
    ui.input(|input| {
        let times = if input.modifiers.shift { 10.0 } else { 1.0 };
        let count = |key| input.num_presses(key) as f64;
        let asked = |action| input.num_accesskit_action_requests(id, action) as f64;
        let along = times * (count(Key::ArrowRight) - count(Key::ArrowLeft));
        let up =
            times * (count(Key::ArrowUp) - count(Key::ArrowDown)) + 10.0 * (count(Key::PageUp) - count(Key::PageDown));
        [along, up + asked(Action::Increment) - asked(Action::Decrement)]
    })
}

/// Keeps the arrows for a widget that has the keyboard.
pub(crate) fn keep_arrows(ui: &Ui, id: Id) {
    let filter = EventFilter { tab: false, horizontal_arrows: true, vertical_arrows: true, escape: false };
    ui.memory_mut(|memory| memory.set_focus_lock_filter(id, filter));
}

/// What a setting is called for somebody who does not see its row.
pub(crate) fn full_name(stage: StageId, info: &SettingInfo) -> String {
    format!("{} {}", stage.name(), info.name)
}

impl Page {
    /// Draws the value of a row of a stage into `place`, at its right or left end, and answers to pointer and keyboard.
    pub(crate) fn value(
        &mut self,
        ui: &mut Ui,
        place: Rect,
        stage: StageId,
        row: usize,
        align: Align,
        pen: &mut Pen<'_>,
    ) -> Response {
        let (look, info) = (pen.look, &stage.rows()[row]);
        let id = ui.scope_id().with((stage.id(), row));
        let value = pen.value(stage, row);
        if self.typing.as_ref().is_some_and(|typing| typing.at == (stage, row)) {
            return self.type_value(ui, place, stage, row, pen);
        }
        let choice = matches!(info.unit, Unit::Switch | Unit::Choice);
        let sense = if choice { Sense::click() } else { Sense::click_and_drag() };
        let response = ui.interact(place, id, sense);
        let text = say::value(info, value);
        let name = full_name(stage, info);
        response.widget_info(|| {
            let role = match info.unit {
                Unit::Switch => return WidgetInfo::selected(Role::CheckBox, true, value >= 0.5, &name),
                Unit::Choice => Role::ComboBox,
                _ => Role::SpinButton,
            };
            let shown = if value.is_finite() { value } else { info.max };
            WidgetInfo {
                value: Some(shown),
                current_text_value: Some(text.clone()),
                ..WidgetInfo::labeled(role, true, &name)
            }
        });
        ui.ctx().accesskit_node_builder(id, |node| {
            node.set_value(text.clone());
            node.set_min_numeric_value(info.min);
            node.set_max_numeric_value(info.max);
            node.add_action(egui::accesskit::Action::Increment);
            node.add_action(egui::accesskit::Action::Decrement);
        });
        let end = if align == Align::Max { place.right() } else { place.left() };
        let base = pos2(end, place.center().y + BASE);
        let drawn = write(ui.painter(), base, align, &text, numbers(DIGITS), look.ink);
        if response.hovered() || response.dragged() {
            ui.painter().hline(drawn.x_range(), drawn.bottom(), (1.0, look.after));
            self.hint = format!("{name}: {}", info.explanation);
            ui.ctx().set_cursor_icon(if choice {
                egui::CursorIcon::PointingHand
            } else {
                egui::CursorIcon::ResizeHorizontal
            });
        }
        self.focus_mark(ui, &response, drawn.expand2(vec2(4.0, 1.0)), pen);

        if response.clicked() {
            response.request_focus();
            if choice {
                pen.set(stage, row, next(info, value));
            }
        }
        if response.double_clicked() && !choice {
            pen.set(stage, row, info.default);
        }
        if response.drag_started() {
            response.request_focus();
            self.drag = Some((id, info.position_of(value)));
            pen.asks.push(Ask::Begin(stage, row));
        }
        if response.dragged()
            && let Some((_, position)) = self.drag.as_mut().filter(|(held, _)| *held == id)
        {
            let delta = response.drag_delta();
            let finely = if ui.input(|input| input.modifiers.shift) { FINELY } else { 1.0 };
            *position = (*position + f64::from(delta.x - delta.y) / (SPAN * finely)).clamp(0.0, 1.0);
            let wanted = info.on_step(info.value_at(*position));
            let wanted = info.rounded(wanted);
            if wanted != value {
                pen.asks.push(Ask::Set(stage, row, wanted));
            }
        }
        if response.drag_stopped() {
            self.drag = None;
            pen.asks.push(Ask::End(stage, row));
        }
        if response.has_focus() {
            keep_arrows(ui, id);
            self.keys(ui, id, stage, row, pen);
        }
        response.on_hover_text(info.explanation)
    }

    fn keys(&mut self, ui: &Ui, id: Id, stage: StageId, row: usize, pen: &mut Pen<'_>) {
        let (info, value) = (&stage.rows()[row], pen.value(stage, row));
        let [along, up] = steps_asked(ui, id);
        let steps = along + up;
        if steps != 0.0 {
            let wanted = if info.unit == Unit::Choice || info.unit == Unit::Switch {
                info.nearest(value + steps.signum())
            } else {
                info.stepped(value, steps)
            };
            if wanted != value {
                pen.set(stage, row, wanted);
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
            pen.set(stage, row, info.default);
        } else if let Some(text) = begin {
            self.typing = Some(Typing { at: (stage, row), text, bad: false, begun: false });
            ui.ctx().request_repaint();
        }
    }

    fn type_value(&mut self, ui: &mut Ui, place: Rect, stage: StageId, row: usize, pen: &mut Pen<'_>) -> Response {
        let info = &stage.rows()[row];
        let Some(mut typing) = self.typing.take() else { return ui.interact(place, ui.scope_id(), Sense::hover()) };
        let colour = if typing.bad { pen.look.takes } else { pen.look.ink };
        let name = full_name(stage, info);
        let field = Rect::from_center_size(place.center(), vec2(place.width().max(76.0) + 6.0, 20.0));
        ui.painter().rect(
            field,
            2.0,
            pen.look.field,
            (1.0, if typing.bad { pen.look.takes } else { pen.look.after }),
            egui::StrokeKind::Outside,
        );
        let id = ui.scope_id().with("typing");
        let edit = TextEdit::singleline(&mut typing.text)
            .id(id)
            .frame(egui::Frame::NONE)
            .font(numbers(DIGITS))
            .text_color(colour)
            .char_limit(32)
            .margin(egui::Margin::symmetric(3, 1));
        let response = ui.put(field, edit);
        ui.ctx().accesskit_node_builder(id, |node| node.set_label(name));
        if !typing.begun {
            response.request_focus();
            typing.begun = true;
            self.typing = Some(typing);
            return response;
        }
        if response.changed() {
            typing.bad = false;
        }
        let (enter, escape) = ui.input(|input| (input.key_pressed(Key::Enter), input.key_pressed(Key::Escape)));
        if escape {
            return response;
        }
        if enter || response.lost_focus() {
            match info.parse(&typing.text) {
                Some(value) => {
                    if value != pen.value(stage, row) {
                        pen.set(stage, row, value);
                    }
                    if enter {
                        ui.memory_mut(|memory| memory.request_focus(ui.scope_id().with((stage.id(), row))));
                    }
                    return response;
                }
                None if enter => {
                    typing.bad = true;
                    response.request_focus();
                }
                // Somewhere else was clicked: what is no value is dropped.
                None => return response,
            }
        }
        self.typing = Some(typing);
        response
    }
}

/// What follows in a choice.
fn next(info: &SettingInfo, value: f64) -> f64 {
    if value + 1.0 > info.max { info.min } else { value + 1.0 }
}
