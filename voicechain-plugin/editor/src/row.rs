//! Row of one stage in the table; it can be opened.

use crate::draw_context::{DrawContext, row_of};
use crate::page::Page;
use crate::style::{BASELINE, BODY, DIGITS, SMALL, number_font, text_font, write};
use crate::{expanded_row, formatting, measurement_text};
use egui::{Align, Rect, Role, Sense, Ui, WidgetInfo, pos2, vec2};
use voicechain_core::settings::{SectionId, StageId};

/// Height of a closed row, points.
pub(crate) const ROW: f32 = 24.0;
/// Range of the gain-reduction bar to either side, dB; its length for reduction and for boost, points.
const BAR_DB: f32 = 12.0;
const BAR: f32 = 84.0;
const BOOST_BAR: f32 = 28.0;
/// Minimum width to show the measurement column, points.
const WIDE: f32 = 880.0;

/// Positions of the columns, points.
pub(crate) struct Columns {
    pub(crate) name: f32,
    /// `None` if the page is narrow.
    pub(crate) measurement: Option<f32>,
    pub(crate) setting: f32,
    /// Zero line of the gain-reduction bar.
    pub(crate) now: f32,
    pub(crate) ledger: f32,
}

impl Columns {
    pub(crate) fn of(rect: Rect) -> Self {
        let (left, width) = (rect.left(), rect.width());
        let wide = width >= WIDE;
        Self {
            name: left + 26.0,
            measurement: wide.then_some(left + 138.0),
            setting: if wide { left + 0.35 * width } else { left + 138.0 },
            now: rect.right() - 72.0 - BOOST_BAR,
            ledger: rect.right(),
        }
    }
}

impl Page {
    /// Draws the row, with its content if it is open.
    pub(crate) fn stage(
        &mut self,
        ui: &mut Ui,
        stage: StageId,
        rect: Rect,
        columns: &Columns,
        cx: &mut DrawContext<'_>,
    ) {
        let (palette, view) = (cx.palette, cx.view);
        let open = self.open == Some(stage);
        let tall = ROW + if open { expanded_row::height(stage, rect.width()) } else { 0.0 };
        let (whole, _) = ui.allocate_exact_size(vec2(rect.width() + 24.0, tall), Sense::hover());
        if !ui.is_rect_visible(whole) {
            return;
        }
        let line = Rect::from_min_size(whole.min, vec2(whole.width(), ROW));
        let base = line.center().y + BASELINE;
        let on = self.row_and_switch(ui, stage, open, whole, line, rect, cx);
        let ink = if on { palette.ink } else { palette.quiet };
        write(ui.painter(), pos2(columns.name, base), Align::Min, stage.name(), text_font(BODY), ink);
        if let (Some(measurement), Some(profile)) = (columns.measurement, view.profile) {
            let clip = Rect::from_x_y_ranges(measurement..=columns.setting - 12.0, line.y_range());
            let text = measurement_text::measurement(stage, profile);
            write(&ui.painter_at(clip), pos2(measurement, base), Align::Min, text, text_font(SMALL), palette.quiet);
        }
        let settings = Rect::from_x_y_ranges(columns.setting..=columns.now - BAR - 16.0, line.y_range());
        let changes: Option<Vec<String>> = match view.proposal {
            Some(proposal) if self.preview => Some(
                stage.sections().flat_map(|section| formatting::changes(section, &view.settings, proposal)).collect(),
            ),
            _ => None,
        };
        let at = pos2(settings.left(), base);
        match changes {
            Some(changes) => {
                let (text, ink) = match changes.is_empty() {
                    true => ("stays".to_string(), palette.quiet),
                    false => (changes.join(" \u{00b7} "), palette.boost),
                };
                write(&ui.painter_at(settings), at, Align::Min, text, text_font(SMALL), ink);
            }
            // The content of the open row shows its settings.
            None if open => {}
            None if !on => {
                write(ui.painter(), at, Align::Min, "off", text_font(SMALL), palette.quiet);
            }
            None => self.row_settings(ui, stage, settings, base, cx),
        }
        row_meters(ui, stage, on, line.center().y, columns, cx);
        if open {
            let inside = Rect::from_min_max(pos2(rect.left(), line.bottom()), pos2(rect.right(), whole.bottom()));
            self.expanded_row(ui, stage, inside, cx);
        }
    }

    /// Draws the row, which opens and closes on a click, and its switch; returns whether the stage acts.
    #[allow(clippy::too_many_arguments)]
    fn row_and_switch(
        &mut self,
        ui: &Ui,
        stage: StageId,
        open: bool,
        whole: Rect,
        line: Rect,
        rect: Rect,
        cx: &mut DrawContext<'_>,
    ) -> bool {
        let palette = cx.palette;
        // Interacted first, so that controls within the row take precedence.
        let response = ui.interact(line, ui.scope_id().with(("row", stage.id())), Sense::click());
        let name = format!("{} row", stage.name());
        response.widget_info(|| WidgetInfo::selected(Role::DisclosureTriangle, true, open, &name));
        if response.hovered() || open {
            ui.painter().rect_filled(whole.shrink2(vec2(4.0, 0.5)), 4.0, palette.selected);
        }
        ui.painter().hline(rect.x_range(), whole.bottom(), (1.0, palette.rule.gamma_multiply(0.7)));
        if response.hovered() {
            let will = if open { "close" } else { "open" };
            self.hint = format!("{}: click to {will} its curve and all settings", stage.name());
        }
        if response.clicked() {
            self.open = if open { None } else { Some(stage) };
        }
        self.focus_ring(ui, &response, line.shrink2(vec2(5.0, 2.0)), cx);

        let Some((row, info)) = row_of(stage, "on") else { return true };
        let on = cx.is_on(stage);
        let mark = Rect::from_center_size(pos2(rect.left() + 7.0, line.center().y), vec2(13.0, 13.0));
        let response = ui.interact(mark.expand(5.0), ui.scope_id().with(("on", stage.id())), Sense::click());
        response.widget_info(|| WidgetInfo::selected(Role::CheckBox, true, on, format!("{} on", stage.name())));
        self.checkbox(ui, mark, on, cx);
        self.focus_ring(ui, &response, mark.expand(2.0), cx);
        if response.hovered() {
            self.hint = info.explanation.into();
        }
        if response.clicked() {
            let mut values = vec![(SectionId::Stage(stage), row, f64::from(u8::from(!on)))];
            // Without latency the stage would be bypassed, so switching it on selects the highest latency.
            let latency = row_of(SectionId::Spectral, "latency").filter(|_| !on && cx.lacks_latency(stage));
            values.extend(latency.map(|(row, info)| (SectionId::Spectral, row, info.max)));
            cx.set_all(&values);
        }
        cx.acts(stage)
    }
}

/// Draws the current gain reduction of the stage, and its change of loudness from the level ledger.
fn row_meters(ui: &Ui, stage: StageId, on: bool, y: f32, columns: &Columns, cx: &DrawContext<'_>) {
    let (palette, painter, base) = (cx.palette, ui.painter(), y + BASELINE);
    if cx.view.metered_stages.contains(&stage) {
        painter.vline(columns.now, y - 8.0..=y + 8.0, (1.0, palette.rule));
        let reduction_db = cx.view.history.now().map_or(0.0, |point| point.reduction(stage)) as f32;
        if on && reduction_db.abs() >= 0.05 {
            // Reduction to the left, boost to the right; the number is at the left in both cases.
            let share = (reduction_db.abs() / BAR_DB).min(1.0);
            let end =
                if reduction_db > 0.0 { columns.now - share * (BAR - 40.0) } else { columns.now + share * BOOST_BAR };
            let bar = Rect::from_two_pos(pos2(columns.now, y - 4.5), pos2(end, y + 4.5));
            let ink = if reduction_db > 0.0 { palette.reduction } else { palette.boost };
            painter.rect_filled(bar, 1.0, ink);
            let text = if reduction_db.is_finite() {
                formatting::signed(-f64::from(reduction_db), 1)
            } else {
                "\u{2212}\u{221e}".into()
            };
            write(painter, pos2(bar.left() - 6.0, base), Align::Max, text, number_font(DIGITS - 1.0), ink);
        }
    }
    if let Some(ledger) = cx.view.ledger
        && let Some(entry) = ledger.entries.iter().find(|entry| entry.stage == stage)
    {
        let ink = if on { palette.ink } else { palette.quiet };
        write(
            painter,
            pos2(columns.ledger, base),
            Align::Max,
            formatting::signed(entry.lu, 1),
            number_font(DIGITS),
            ink,
        );
    }
}
