//! Open row of a stage: plots, all settings, and the reasons of the proposal.

use crate::bands::{Band, bands};
use crate::draw_context::{DrawContext, name_in};
use crate::page::Page;
use crate::style::{BASELINE, SMALL, TINY, text_font, width, write};
use crate::view_model::UserAction;
use crate::{curve, formatting};
use egui::text::LayoutJob;
use egui::{Align, Rect, Role, Sense, Ui, WidgetInfo, pos2, vec2};
use voicechain_core::settings::{ReorderableStage, SectionId, StageId};
use voicechain_core::units::Unit;

/// Side of a plot, height of its caption, distance between plots, height of a setting, height of the reasons; points.
const SIDE: f32 = 156.0;
const CAPTION: f32 = 20.0;
const BESIDE: f32 = 32.0;
const LINE: f32 = 24.0;
const REASONS: f32 = 40.0;
/// Inset of the content from the edge, points.
const INSET: f32 = 26.0;
/// Minimum width of a column of settings, points.
const COLUMN: f32 = 264.0;
/// Widths of a name and of a field, points.
const NAME: f32 = 128.0;
const FIELD: f32 = 88.0;

/// Line of an open row: a name with one setting, or with the three settings of a band.
struct Line {
    name: String,
    rows: Vec<(SectionId, usize)>,
}

/// Lines of an open row: all settings except the switch, which is in the row itself.
fn lines(stage: StageId) -> Vec<Line> {
    let bands: Vec<&Band> = bands().iter().filter(|band| band.stage == stage).collect();
    let of_band = |band: &&Band| -> Vec<(SectionId, usize)> {
        let rows = [Some(band.frequency), band.gain, band.q].into_iter().flatten();
        rows.map(|row| (stage.into(), row)).collect()
    };
    // With a single band, the settings have names of their own.
    let bands = if bands.len() > 1 { bands } else { Vec::new() };
    let mut list: Vec<Line> = bands.iter().map(|band| Line { name: band.name.clone(), rows: of_band(band) }).collect();
    let in_band: Vec<(SectionId, usize)> = bands.iter().flat_map(of_band).collect();
    for section in stage.sections() {
        let rows = section.rows().iter().enumerate();
        let others = rows.filter(|(row, info)| info.name != "on" && !in_band.contains(&(section, *row)));
        list.extend(others.map(|(row, info)| Line { name: name_in(stage, section, info), rows: vec![(section, row)] }));
    }
    list
}

fn settings_left(stage: StageId) -> f32 {
    INSET + (SIDE + BESIDE) * curve::plots(stage).len() as f32
}

/// Number of columns of settings, and of lines in each.
fn grid(stage: StageId, width: f32) -> [usize; 2] {
    let lines = lines(stage);
    if lines.iter().any(|line| line.rows.len() > 1) {
        return [1, lines.len()];
    }
    let count = lines.len();
    let fit = (((width - settings_left(stage)) / COLUMN) as usize).clamp(1, 3);
    let columns = fit.min(count.div_ceil(4).max(if count > 2 { 2 } else { 1 }));
    [columns, count.div_ceil(columns)]
}

/// Height of the content of an open row, points.
pub(crate) fn height(stage: StageId, width: f32) -> f32 {
    let [_, lines] = grid(stage, width);
    let settings = 6.0 + LINE * lines as f32 + REASONS;
    let curve = if curve::plots(stage).is_empty() { 0.0 } else { 6.0 + SIDE + CAPTION };
    settings.max(curve) + 10.0
}

impl Page {
    pub(crate) fn expanded_row(&mut self, ui: &mut Ui, stage: StageId, rect: Rect, cx: &mut DrawContext<'_>) {
        if let Some(design) = &self.design {
            for (n, plot) in curve::plots(stage).iter().enumerate() {
                let corner = rect.min + vec2(INSET + (SIDE + BESIDE) * n as f32, 6.0);
                curve::draw(ui, *plot, stage, Rect::from_min_size(corner, vec2(SIDE, SIDE)), design, cx);
            }
        }
        let start = rect.left() + settings_left(stage);
        let [columns, lines] = grid(stage, rect.width());
        let wide = (rect.right() - start) / columns as f32;
        for (n, line) in self::lines(stage).into_iter().enumerate() {
            let corner = pos2(start + wide * (n / lines) as f32, rect.top() + 6.0 + LINE * (n % lines) as f32);
            let place = Rect::from_min_size(corner, vec2(wide - 24.0, LINE));
            let base = place.center().y + BASELINE;
            write(ui.painter(), pos2(place.left(), base), Align::Min, line.name, text_font(SMALL), cx.palette.quiet);
            // Names have the same width in all rows, so that the fields are aligned.
            let mut field = place.left() + NAME;
            let band = line.rows.len() > 1;
            for (section, row) in line.rows {
                let info = &section.rows()[row];
                let slot =
                    Rect::from_min_max(pos2(field, place.top() + 1.0), pos2(field + FIELD, place.bottom() - 2.0));
                ui.painter().hline(slot.x_range(), slot.bottom() - 1.0, (1.0, cx.palette.rule));
                if info.unit == Unit::Number && band {
                    write(ui.painter(), pos2(slot.left(), base), Align::Min, "Q", text_font(SMALL), cx.palette.quiet);
                }
                self.value(ui, slot, section, row, Align::Max, cx);
                field = slot.right() + if band { 24.0 } else { 12.0 };
                if !band {
                    proposed(ui, section, row, pos2(field, base), place.right(), cx);
                }
            }
        }
        let top = rect.top() + 6.0 + LINE * lines as f32 + 8.0;
        let moves = self.order_buttons(ui, stage, pos2(rect.right() - 8.0, rect.bottom() - 14.0), cx);
        let below = Rect::from_min_max(pos2(start, top), pos2(moves - 20.0, rect.bottom() - 2.0));
        reasons(ui, stage, below, cx);
    }

    /// Draws the buttons that move a reorderable stage in the chain. `at` is the right end of the baseline; returns the
    /// left end.
    fn order_buttons(&mut self, ui: &Ui, stage: StageId, at: egui::Pos2, cx: &mut DrawContext<'_>) -> f32 {
        let order = cx.view.settings.order;
        let Some(place) = order.iter().position(|reorderable: &ReorderableStage| reorderable.stage() == stage) else {
            return at.x;
        };
        let wide = |text: &str| width(ui.painter(), text, text_font(SMALL));
        let later = at.x - wide("later");
        let earlier = later - 14.0 - wide("earlier");
        // From left to right, in the order of keyboard focus.
        for (name, x, other) in [("earlier", earlier, place.wrapping_sub(1)), ("later", later, place + 1)] {
            let allowed = other < order.len();
            let ink = if allowed { cx.palette.ink } else { cx.palette.quiet.gamma_multiply(0.65) };
            let word = write(ui.painter(), pos2(x, at.y), Align::Min, name, text_font(SMALL), ink);
            let sense = if allowed { Sense::click() } else { Sense::hover() };
            let response = ui.interact(word.expand(4.0), ui.scope_id().with((name, stage.id())), sense);
            response.widget_info(|| WidgetInfo::labeled(Role::Button, allowed, format!("{} {name}", stage.name())));
            self.focus_ring(ui, &response, word.expand2(vec2(4.0, 0.0)), cx);
            if response.hovered() {
                if allowed {
                    ui.painter().hline(word.x_range(), at.y + 3.0, (1.0, cx.palette.accent));
                }
                self.hint = "Moves this stage in the chain; the strip fades from one order to the other.".into();
            }
            if response.clicked() {
                let mut order = order;
                order.swap(place, other);
                cx.actions.push(UserAction::SetOrder(order));
            }
        }
        let x = earlier - 14.0;
        write(ui.painter(), pos2(x, at.y), Align::Max, "in the chain", text_font(SMALL), cx.palette.quiet).left()
    }
}

/// Shows the proposed value if it differs from the current one.
fn proposed(ui: &Ui, section: SectionId, row: usize, at: egui::Pos2, right: f32, cx: &DrawContext<'_>) {
    let info = &section.rows()[row];
    let Some(proposal) = cx.view.proposal else { return };
    let Some(value) = proposal.settings.value(section, row).map(|value| info.rounded(value)) else { return };
    if value == info.rounded(cx.value(section, row)) {
        return;
    }
    let text = formatting::value(info, value);
    let long = format!("proposed {text}");
    let fits = |text: &String| width(ui.painter(), text, text_font(TINY)) <= right - at.x;
    if let Some(text) = [long, text].into_iter().find(fits) {
        write(ui.painter(), at, Align::Min, text, text_font(TINY), cx.palette.boost);
    }
}

/// Shows the reasons for the proposed settings of this stage, or why it is left off, as many as fit.
fn reasons(ui: &Ui, stage: StageId, place: Rect, cx: &DrawContext<'_>) {
    let Some(proposal) = cx.view.proposal else { return };
    let mut y = place.top();
    let proposed = proposal.reasons().filter(|reason| reason.stage() == stage.id()).map(|reason| reason.to_string());
    let left_off = proposal.left_off().filter(|off| off.stage == stage).map(ToString::to_string);
    for sentence in proposed.chain(left_off) {
        let rows = ((place.bottom() - y) / 16.0) as usize;
        if rows == 0 {
            break;
        }
        let mut job = LayoutJob::simple(sentence, text_font(TINY), cx.palette.quiet, place.width());
        job.wrap.max_rows = rows;
        let galley = ui.painter().layout_job(job);
        let tall = galley.size().y;
        let text = galley.text().to_string();
        let at = Rect::from_min_size(pos2(place.left(), y), galley.size());
        let response = ui.interact(at, ui.scope_id().with(("reason", stage.id(), y as i32)), Sense::hover());
        response.widget_info(|| WidgetInfo::labeled(Role::Label, true, &text));
        ui.painter().galley(pos2(place.left(), y), galley, cx.palette.quiet);
        y += tall + 2.0;
    }
}
