//! Control for one setting: drag, type, step by keyboard, or reset to the default.

use crate::draw_context::DrawContext;
use crate::formatting;
use crate::keyboard::{lock_arrow_keys, requested_steps};
use crate::page::{Page, Typing};
use crate::style::{BASELINE, DIGITS, number_font, write};
use crate::view_model::UserAction;
use egui::accesskit::Action;
use egui::{Align, CursorIcon, Event, Id, Key, Rect, Response, Role, Sense, Ui, WidgetInfo, pos2, vec2};
use voicechain_core::settings::{SectionId, SettingInfo};
use voicechain_core::units::Unit;

/// Drag distance over the whole range of a setting, points, and factor on it with the shift key.
const DRAG_RANGE: f64 = 320.0;
const FINE_FACTOR: f64 = 8.0;

impl Page {
    /// Draws the value of a table row into `place`, aligned left or right, and handles pointer and keyboard.
    pub(crate) fn value(
        &mut self,
        ui: &mut Ui,
        place: Rect,
        section: SectionId,
        row: usize,
        align: Align,
        cx: &mut DrawContext<'_>,
    ) -> Response {
        if self.typing.as_ref().is_some_and(|typing| typing.at == (section, row)) {
            return self.type_value(ui, place, section, row, cx);
        }
        let (info, value) = (&section.rows()[row], cx.value(section, row));
        let id = ui.scope_id().with((section.id(), row));
        let sense = if is_choice(info) { Sense::click() } else { Sense::click_and_drag() };
        let response = ui.interact(place, id, sense);
        let (name, text) = (formatting::setting(section, info), formatting::value(info, value));
        set_accessibility(ui, &response, &name, &text, info, value);
        self.draw_value(ui, &response, align, &name, text, info, cx);
        handle_click(&response, section, row, cx);
        self.drag_value(ui, &response, section, row, cx);
        if response.has_focus() {
            lock_arrow_keys(ui, id);
            self.keys(ui, id, section, row, cx);
        }
        response.on_hover_text(info.explanation)
    }

    /// Draws the value. While hovered or dragged it is underlined and its explanation is shown in the hint line.
    #[allow(clippy::too_many_arguments)]
    fn draw_value(
        &mut self,
        ui: &Ui,
        response: &Response,
        align: Align,
        name: &str,
        text: String,
        info: &SettingInfo,
        cx: &DrawContext<'_>,
    ) {
        let (palette, place) = (cx.palette, response.rect);
        let end = if align == Align::Max { place.right() } else { place.left() };
        let base = pos2(end, place.center().y + BASELINE);
        let drawn = write(ui.painter(), base, align, text, number_font(DIGITS), palette.ink);
        if response.hovered() || response.dragged() {
            ui.painter().hline(drawn.x_range(), drawn.bottom(), (1.0, palette.accent));
            self.hint = format!("{name}: {}", info.explanation);
            ui.ctx().set_cursor_icon(if is_choice(info) {
                CursorIcon::PointingHand
            } else {
                CursorIcon::ResizeHorizontal
            });
        }
        self.focus_ring(ui, response, drawn.expand2(vec2(4.0, 1.0)), cx);
    }

    /// Handles a drag, as one gesture from start to end.
    fn drag_value(&mut self, ui: &Ui, response: &Response, section: SectionId, row: usize, cx: &mut DrawContext<'_>) {
        let (info, value) = (&section.rows()[row], cx.value(section, row));
        if response.drag_started() {
            response.request_focus();
            self.drag = Some((response.id, info.position_of(value)));
            cx.actions.push(UserAction::BeginGesture(section, row));
        }
        if response.dragged()
            && let Some((_, position)) = self.drag.as_mut().filter(|(dragged, _)| *dragged == response.id)
        {
            let delta = response.drag_delta();
            let fine_factor = if ui.input(|input| input.modifiers.shift) { FINE_FACTOR } else { 1.0 };
            *position = (*position + f64::from(delta.x - delta.y) / (DRAG_RANGE * fine_factor)).clamp(0.0, 1.0);
            let wanted = info.rounded(info.on_step(info.value_at(*position)));
            if wanted != value {
                cx.actions.push(UserAction::SetValue(section, row, wanted));
            }
        }
        if response.drag_stopped() {
            self.drag = None;
            cx.actions.push(UserAction::EndGesture(section, row));
        }
    }

    /// Handles the keyboard: steps, reset to the default, first character of a typed value.
    fn keys(&mut self, ui: &Ui, id: Id, section: SectionId, row: usize, cx: &mut DrawContext<'_>) {
        let (info, value) = (&section.rows()[row], cx.value(section, row));
        let [along, up] = requested_steps(ui, id);
        let steps = along + up;
        if steps != 0.0 {
            let wanted =
                if is_choice(info) { info.nearest(value + steps.signum()) } else { info.stepped(value, steps) };
            if wanted != value {
                cx.set(section, row, wanted);
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
            cx.set(section, row, info.default);
        } else if let Some(text) = begin {
            self.typing = Some(Typing { at: (section, row), text, invalid: false, had_focus: false });
            ui.ctx().request_repaint();
        }
    }
}

/// Whether the values of a setting have names; a click selects the next one.
fn is_choice(info: &SettingInfo) -> bool {
    matches!(info.unit, Unit::Switch | Unit::Choice)
}

/// Sets name, value and actions in the accessibility tree.
fn set_accessibility(ui: &Ui, response: &Response, name: &str, text: &str, info: &SettingInfo, value: f64) {
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

/// Handles clicks: one focuses the control and advances a choice, two reset a number to its default.
fn handle_click(response: &Response, section: SectionId, row: usize, cx: &mut DrawContext<'_>) {
    let info = &section.rows()[row];
    if response.clicked() {
        response.request_focus();
        if is_choice(info) {
            cx.set(section, row, next(info, cx.value(section, row)));
        }
    }
    if response.double_clicked() && !is_choice(info) {
        cx.set(section, row, info.default);
    }
}

/// Next value of a choice, cyclic.
fn next(info: &SettingInfo, value: f64) -> f64 {
    if value + 1.0 > info.max { info.min } else { value + 1.0 }
}
