//! Handle of a band in the frequency response.

use crate::axes::{Axes, HIGH_HZ, LOW_HZ};
use crate::bands::{Band, full_name, response_db};
use crate::draw_context::DrawContext;
use crate::formatting;
use crate::keyboard::{lock_arrow_keys, requested_steps};
use crate::page::Page;
use crate::view_model::UserAction;
use egui::{Id, Key, Pos2, Rect, Response, Role, Sense, Shape, Stroke, Ui, WidgetInfo, pos2, vec2};
use voicechain_core::settings::{SettingInfo, StageId};

/// Settings that a handle moves, as row and entry of the table: frequency, gain, Q.
type Parts = [Option<(usize, &'static SettingInfo)>; 3];

fn parts(band: &Band) -> Parts {
    [Some(band.frequency), band.gain, band.q].map(|row| row.map(|row| (row, &band.stage.rows()[row])))
}

impl Page {
    /// Draws the handle of a band and handles its input; returns its position if a readout is due.
    pub(crate) fn handle(
        &mut self,
        ui: &mut Ui,
        n: usize,
        band: &Band,
        axes: &Axes,
        cx: &mut DrawContext<'_>,
    ) -> Option<Pos2> {
        let (stage, parts) = (band.stage, parts(band));
        let hz = cx.value(stage, band.frequency);
        let total = self.design.as_ref().map_or(0.0, |design| response_db(&design.coefs, hz)) as f32;
        let at = pos2(axes.x((hz as f32).clamp(LOW_HZ, HIGH_HZ)), axes.y_inside(total));
        let id = ui.scope_id().with(("handle", n));
        let response = ui.interact(Rect::from_center_size(at, vec2(20.0, 20.0)), id, Sense::click_and_drag());
        let (name, text) = (full_name(band), describe(band, cx));
        response.widget_info(|| WidgetInfo {
            current_text_value: Some(text.clone()),
            ..WidgetInfo::labeled(Role::Slider, true, format!("{name} handle"))
        });
        ui.ctx().accesskit_node_builder(id, |node| node.set_value(text.clone()));
        let busy = response.hovered() || response.dragged() || response.has_focus();
        let moved = band.gain.is_none_or(|row| cx.value(stage, row) != 0.0);
        draw(ui, at, response.has_focus(), busy, moved, cx.is_on(stage), cx);
        if response.clicked() {
            response.request_focus();
        }
        if response.hovered() {
            self.hint = format!(
                "{name}: drag for frequency and gain, wheel or alt-drag for Q, double-click for its default, arrows to nudge"
            );
        }
        if response.double_clicked() {
            reset(stage, parts, cx);
        }
        self.drag_handle(ui, id, &response, axes, stage, parts, cx);
        self.wheel_handle(ui, id, &response, stage, parts[2], cx);
        if response.has_focus() {
            lock_arrow_keys(ui, id);
            nudge(ui, id, stage, parts, cx);
        }
        busy.then_some(at)
    }

    /// Mouse wheel: moves the Q, in one gesture until the wheel stops.
    fn wheel_handle(
        &mut self,
        ui: &Ui,
        id: Id,
        response: &Response,
        stage: StageId,
        q: Option<(usize, &SettingInfo)>,
        cx: &mut DrawContext<'_>,
    ) {
        let Some((row, info)) = q else { return };
        let held = self.wheel == Some((id, stage, row));
        let turned = ui.input(|input| f64::from(input.smooth_scroll_delta.y));
        if response.hovered() && turned != 0.0 {
            if !held {
                self.wheel = Some((id, stage, row));
                cx.actions.push(UserAction::BeginGesture(stage.into(), row));
            }
            let position = info.position_of(cx.value(stage, row)) + turned / 900.0;
            cx.actions.push(UserAction::SetValue(stage.into(), row, info.value_at(position.clamp(0.0, 1.0))));
            // The gesture ends in the first frame without a turn.
            ui.ctx().request_repaint();
        } else if held {
            self.wheel = None;
            cx.actions.push(UserAction::EndGesture(stage.into(), row));
        }
    }

    /// Drag: horizontally the frequency, vertically the gain, with the alt key the Q; fine with the shift key.
    #[allow(clippy::too_many_arguments)]
    fn drag_handle(
        &mut self,
        ui: &Ui,
        id: Id,
        response: &Response,
        axes: &Axes,
        stage: StageId,
        parts: Parts,
        cx: &mut DrawContext<'_>,
    ) {
        if response.drag_started() {
            response.request_focus();
            let moved = parts.into_iter().flatten();
            cx.actions.extend(moved.map(|(row, _)| UserAction::BeginGesture(stage.into(), row)));
            self.drag = Some((id, 0.0));
            // Exact start positions, not rounded to steps.
            let from: [f64; 3] =
                std::array::from_fn(|n| parts[n].map_or(0.0, |(row, info)| info.position_of(cx.value(stage, row))));
            ui.data_mut(|data| data.insert_temp(id, from));
        }
        if response.dragged() && self.drag.is_some_and(|(dragged, _)| dragged == id) {
            let (fine, alt) = ui.input(|input| (input.modifiers.shift, input.modifiers.alt));
            let delta = response.drag_delta() * if fine { 0.125 } else { 1.0 };
            let mut at: [f64; 3] = ui.data(|data| data.get_temp(id)).unwrap_or_default();
            let before = at;
            if alt {
                at[2] -= f64::from(delta.y) / 200.0;
            } else {
                let [frequency, gain, _] = parts;
                if let Some((_, info)) = frequency {
                    let octaves = (info.max / info.min).log2();
                    let visible = f64::from(HIGH_HZ / LOW_HZ).log2();
                    at[0] += f64::from(delta.x / axes.rect.width()) * visible / octaves;
                }
                if let Some((_, info)) = gain {
                    let visible = f64::from(2.0 * axes.db);
                    at[1] -= f64::from(delta.y / axes.rect.height()) * visible / (info.max - info.min);
                }
            }
            at = at.map(|position| position.clamp(0.0, 1.0));
            for (n, part) in parts.into_iter().enumerate() {
                if let Some((row, info)) = part
                    && at[n] != before[n]
                {
                    let wanted = info.rounded(info.on_step(info.value_at(at[n])));
                    if wanted != cx.value(stage, row) {
                        cx.actions.push(UserAction::SetValue(stage.into(), row, wanted));
                    }
                }
            }
            ui.data_mut(|data| data.insert_temp(id, at));
        }
        if response.drag_stopped() {
            self.drag = None;
            cx.actions.extend(parts.into_iter().flatten().map(|(row, _)| UserAction::EndGesture(stage.into(), row)));
        }
    }
}

/// Draws the handle as a diamond: large if the band is active, small if it is flat, pale if its stage is off.
fn draw(ui: &Ui, at: Pos2, has_focus: bool, busy: bool, moved: bool, on: bool, cx: &DrawContext<'_>) {
    let palette = cx.palette;
    let size = if moved && on { 7.5 } else { 5.0 } + if busy { 1.0 } else { 0.0 };
    let ink = if on && (moved || busy) { palette.accent } else { palette.quiet };
    let corners = [vec2(0.0, -size), vec2(size, 0.0), vec2(0.0, size), vec2(-size, 0.0)].map(|d| at + d);
    ui.painter().add(Shape::convex_polygon(
        corners.to_vec(),
        palette.paper,
        Stroke::new(if busy { 2.0 } else { 1.5 }, ink),
    ));
    if has_focus {
        ui.painter().circle_stroke(at, 12.0, (1.0, palette.accent));
    }
}

/// Resets all settings of the band to their defaults, in one undo step.
fn reset(stage: StageId, parts: Parts, cx: &mut DrawContext<'_>) {
    let others = parts.into_iter().flatten().filter(|(row, info)| cx.value(stage, *row) != info.default);
    let values: Vec<_> = others.map(|(row, info)| (stage.into(), row, info.default)).collect();
    cx.set_all(&values);
}

/// Handles the keyboard: arrows for frequency and gain, plus and minus for the Q.
fn nudge(ui: &Ui, id: Id, stage: StageId, [frequency, gain, q]: Parts, cx: &mut DrawContext<'_>) {
    let [along, up] = requested_steps(ui, id);
    let wider = ui.input(|input| {
        let count = |key| input.num_presses(key) as f64;
        count(Key::Plus) + count(Key::Equals) - count(Key::Minus)
    });
    for (steps, part) in [(4.0 * along, frequency), (up, gain), (wider, q)] {
        if let Some((row, info)) = part
            && steps != 0.0
        {
            cx.set(stage, row, info.stepped(cx.value(stage, row), steps));
        }
    }
}

/// Values of a band as text: frequency, gain, Q.
pub(crate) fn describe(band: &Band, cx: &DrawContext<'_>) -> String {
    let text = |row: Option<usize>, before: &str| {
        let row = row?;
        Some(format!("{before}{}", formatting::value(&band.stage.rows()[row], cx.value(band.stage, row))))
    };
    let parts = [text(Some(band.frequency), ""), text(band.gain, ""), text(band.q, "Q ")];
    parts.into_iter().flatten().collect::<Vec<_>>().join("  ")
}
