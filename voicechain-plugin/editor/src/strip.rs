//! What the strip does to frequencies: one line, with a handle for every band.

use crate::axes::{Axes, NAMED, curve_points, line, scale};
use crate::look::{DIGITS, SMALL, TINY, numbers, words, write};
use crate::value::{keep_arrows, steps_asked};
use crate::{Ask, Page, Pen, row_of, words as say};
use egui::{Align, Id, Key, Pos2, Rect, Role, Sense, Shape, Stroke, StrokeKind, Ui, WidgetInfo, pos2, vec2};
use std::sync::LazyLock;
use voicechain_core::settings::StageId;
use voicechain_core::strip::StripCoefs;

/// Decibels to either side.
pub(crate) const STRIP_DB: f32 = 13.0;

/// A band: its stage, its name, and the rows of its frequency, gain and Q.
pub(crate) struct Band {
    pub(crate) stage: StageId,
    pub(crate) name: String,
    pub(crate) frequency: usize,
    pub(crate) gain: Option<usize>,
    pub(crate) q: Option<usize>,
}

/// Every band that has a place on the frequency axis: in the table of settings those are the frequencies with a gain or a
/// slope beside them.
pub(crate) fn bands() -> &'static [Band] {
    static BANDS: LazyLock<Vec<Band>> = LazyLock::new(|| {
        let of = |&stage: &StageId| {
            let found = move |field: &str| row_of(stage, field).map(|(row, _)| row);
            stage.rows().iter().enumerate().filter_map(move |(frequency, info)| {
                let prefix = info.id.split('.').next_back()?.strip_suffix("frequency_hz")?;
                let gain = found(&format!("{prefix}gain_db"));
                let q = found(&format!("{prefix}q"));
                let name = if prefix.is_empty() { stage.name() } else { info.name.strip_suffix(" frequency")? };
                let band = Band { stage, name: name.to_lowercase(), frequency, gain, q };
                (gain.is_some() || (prefix.is_empty() && found("slope").is_some())).then_some(band)
            })
        };
        StageId::ALL.iter().flat_map(of).collect()
    });
    &BANDS
}

/// What the filters do together at a frequency, without the level of trim and output, dB.
pub(crate) fn shape_db(coefs: &StripCoefs<2>, hz: f64) -> f64 {
    let mut stages: Vec<StageId> = bands().iter().map(|band| band.stage).collect();
    stages.dedup();
    stages.into_iter().map(|stage| coefs.stage_response(stage, hz).db().max(-120.0)).sum::<f64>().max(-120.0)
}

impl Page {
    pub(crate) fn strip(&mut self, ui: &mut Ui, rect: Rect, pen: &mut Pen<'_>) {
        let look = pen.look;
        let axes = Axes { rect, db: STRIP_DB };
        let painter = ui.painter().with_clip_rect(rect.expand(1.0));
        let title = pos2(rect.left(), rect.top() - 8.0);
        write(ui.painter(), title, Align::Min, "what the strip does", words(SMALL), look.quiet);
        for (hz, name) in NAMED {
            painter.vline(axes.x(hz), rect.y_range(), (1.0, look.rule.gamma_multiply(0.7)));
            let at = pos2(axes.x(hz), rect.bottom() + 15.0);
            write(ui.painter(), at, Align::Center, name, words(TINY), look.quiet);
        }
        write(ui.painter(), pos2(rect.left() - 8.0, rect.bottom() + 15.0), Align::Max, "Hz", words(TINY), look.quiet);
        painter.hline(rect.x_range(), axes.y(0.0), (1.0, look.rule));
        scale(ui.painter(), &axes, &look);
        if let Some(proposed) = &self.proposed {
            let points: Vec<Pos2> = curve_points().zip(&proposed.curve).map(|(hz, db)| axes.at(hz, *db)).collect();
            painter.extend(Shape::dashed_line(&points, Stroke::new(1.5, look.gives), 5.0, 3.0));
        }
        if let Some(designed) = &self.designed {
            // What falls out of the picture is not drawn along its edge.
            let points = curve_points().zip(&designed.curve).map(|(hz, db)| pos2(axes.x(hz), axes.y(db.max(-60.0))));
            line(&painter, points.collect(), 2.0, look.after);
        }
        let mut told = None;
        for (n, band) in bands().iter().enumerate() {
            if let Some(at) = self.handle(ui, n, band, &axes, pen) {
                told = Some((at, band));
            }
        }
        match told {
            Some((at, band)) => readout(ui, at, rect, &describe(band, pen), pen),
            None => self.pointed_strip(ui, &axes, pen),
        }
    }

    /// What the strip does where the pointer is.
    fn pointed_strip(&self, ui: &Ui, axes: &Axes, pen: &Pen<'_>) {
        let Some(at) = pointer(ui, axes.rect) else { return };
        let (Some(designed), hz) = (&self.designed, f64::from(axes.hz(at.x))) else { return };
        let db = shape_db(&designed.coefs, hz);
        let y = axes.y_inside(db as f32);
        ui.painter().circle_filled(pos2(at.x, y), 3.0, pen.look.after);
        let text = format!("{}  {} dB", say::hertz(hz), say::signed(db, 1));
        readout(ui, pos2(at.x, y), axes.rect, &text, pen);
    }

    /// A band's handle; gives its place when it is to be read.
    fn handle(&mut self, ui: &mut Ui, n: usize, band: &Band, axes: &Axes, pen: &mut Pen<'_>) -> Option<Pos2> {
        let look = pen.look;
        let stage = band.stage;
        let info = |row: usize| (row, &stage.rows()[row]);
        let ((f_row, f_info), gain, q) = (info(band.frequency), band.gain.map(info), band.q.map(info));
        let on = pen.is_on(stage);
        let hz = pen.value(stage, f_row);
        let total = self.designed.as_ref().map_or(0.0, |designed| shape_db(&designed.coefs, hz)) as f32;
        let at = pos2(axes.x((hz as f32).clamp(crate::axes::LOW_HZ, crate::axes::HIGH_HZ)), axes.y_inside(total));
        let id = ui.scope_id().with(("handle", n));
        let response = ui.interact(Rect::from_center_size(at, vec2(20.0, 20.0)), id, Sense::click_and_drag());
        let name = full_name(band);
        let text = describe(band, pen);
        response.widget_info(|| WidgetInfo {
            current_text_value: Some(text.clone()),
            ..WidgetInfo::labeled(Role::Slider, true, format!("{name} handle"))
        });
        ui.ctx().accesskit_node_builder(id, |node| node.set_value(text.clone()));

        // A diamond: large where the band does something, small where it rests, pale where its stage is off.
        let moved = gain.is_none_or(|(row, _)| pen.value(stage, row) != 0.0);
        let busy = response.hovered() || response.dragged() || response.has_focus();
        let size = if moved && on { 7.5 } else { 5.0 } + if busy { 1.0 } else { 0.0 };
        let ink = if on && (moved || busy) { look.after } else { look.quiet };
        let corners = [vec2(0.0, -size), vec2(size, 0.0), vec2(0.0, size), vec2(-size, 0.0)].map(|d| at + d);
        ui.painter().add(Shape::convex_polygon(
            corners.to_vec(),
            look.paper,
            Stroke::new(if busy { 2.0 } else { 1.5 }, ink),
        ));
        if response.has_focus() {
            ui.painter().circle_stroke(at, 12.0, (1.0, look.after));
        }
        if response.clicked() {
            response.request_focus();
        }
        if response.hovered() {
            self.hint = format!(
                "{name}: drag for frequency and gain, wheel or alt-drag for Q, double-click for its default, arrows to nudge"
            );
        }
        let parts = [Some((f_row, f_info)), gain, q];
        if response.double_clicked() {
            let others = parts.into_iter().flatten().filter(|(row, info)| pen.value(stage, *row) != info.default);
            let values: Vec<_> = others.map(|(row, info)| (row, info.default)).collect();
            pen.set_all(stage, &values);
        }
        self.drag_handle(ui, id, &response, axes, stage, parts, pen);
        self.wheel_handle(ui, id, &response, stage, q, pen);
        if response.has_focus() {
            keep_arrows(ui, id);
            let [along, up] = steps_asked(ui, id);
            let wider = ui.input(|input| {
                let count = |key| input.num_presses(key) as f64;
                count(Key::Plus) + count(Key::Equals) - count(Key::Minus)
            });
            for (steps, part) in [(4.0 * along, parts[0]), (up, gain), (wider, q)] {
                if let Some((row, info)) = part
                    && steps != 0.0
                {
                    pen.set(stage, row, info.stepped(pen.value(stage, row), steps));
                }
            }
        }
        busy.then_some(at)
    }

    /// The wheel: the Q, from the first turn until it rests as one gesture.
    fn wheel_handle(
        &mut self,
        ui: &Ui,
        id: Id,
        response: &egui::Response,
        stage: StageId,
        q: Option<(usize, &voicechain_core::settings::SettingInfo)>,
        pen: &mut Pen<'_>,
    ) {
        let Some((row, info)) = q else { return };
        let held = self.wheel == Some((id, stage, row));
        let turned = ui.input(|input| f64::from(input.smooth_scroll_delta.y));
        if response.hovered() && turned != 0.0 {
            if !held {
                self.wheel = Some((id, stage, row));
                pen.asks.push(Ask::Begin(stage, row));
            }
            let position = info.position_of(pen.value(stage, row)) + turned / 900.0;
            pen.asks.push(Ask::Set(stage, row, info.value_at(position.clamp(0.0, 1.0))));
            // It comes to rest in a drawing without a turn.
            ui.ctx().request_repaint();
        } else if held {
            self.wheel = None;
            pen.asks.push(Ask::End(stage, row));
        }
    }

    /// Dragging: sideways the frequency, upwards the gain, with alt the Q; with shift finely.
    #[allow(clippy::too_many_arguments)]
    fn drag_handle(
        &mut self,
        ui: &Ui,
        id: Id,
        response: &egui::Response,
        axes: &Axes,
        stage: StageId,
        parts: [Option<(usize, &voicechain_core::settings::SettingInfo)>; 3],
        pen: &mut Pen<'_>,
    ) {
        if response.drag_started() {
            response.request_focus();
            let held = parts.into_iter().flatten();
            pen.asks.extend(held.map(|(row, _)| Ask::Begin(stage, row)));
            self.drag = Some((id, 0.0));
            // From where they are, finer than any step.
            let from: [f64; 3] =
                std::array::from_fn(|n| parts[n].map_or(0.0, |(row, info)| info.position_of(pen.value(stage, row))));
            ui.data_mut(|data| data.insert_temp(id, from));
        }
        if response.dragged() && self.drag.is_some_and(|(held, _)| held == id) {
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
                    let seen = f64::from(crate::axes::HIGH_HZ / crate::axes::LOW_HZ).log2();
                    at[0] += f64::from(delta.x / axes.rect.width()) * seen / octaves;
                }
                if let Some((_, info)) = gain {
                    let seen = f64::from(2.0 * axes.db);
                    at[1] -= f64::from(delta.y / axes.rect.height()) * seen / (info.max - info.min);
                }
            }
            at = at.map(|position| position.clamp(0.0, 1.0));
            for (n, part) in parts.into_iter().enumerate() {
                if let Some((row, info)) = part
                    && at[n] != before[n]
                {
                    let wanted = info.rounded(info.on_step(info.value_at(at[n])));
                    if wanted != pen.value(stage, row) {
                        pen.asks.push(Ask::Set(stage, row, wanted));
                    }
                }
            }
            ui.data_mut(|data| data.insert_temp(id, at));
        }
        if response.drag_stopped() {
            self.drag = None;
            pen.asks.extend(parts.into_iter().flatten().map(|(row, _)| Ask::End(stage, row)));
        }
    }
}

/// A band's name with its stage's, if it has one of its own.
fn full_name(band: &Band) -> String {
    let stage = band.stage.name();
    if stage.to_lowercase() == band.name { stage.into() } else { format!("{stage} {}", band.name) }
}

/// A band's values: frequency, gain, Q.
fn describe(band: &Band, pen: &Pen<'_>) -> String {
    let text = |row: Option<usize>, before: &str| {
        let row = row?;
        Some(format!("{before}{}", say::value(&band.stage.rows()[row], pen.value(band.stage, row))))
    };
    let parts = [text(Some(band.frequency), ""), text(band.gain, ""), text(band.q, "Q ")];
    parts.into_iter().flatten().collect::<Vec<_>>().join("  ")
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
