//! The row of one stage, which opens.

use crate::look::{BASE, BODY, DIGITS, SMALL, numbers, words, write};
use crate::page::Page;
use crate::pen::{Pen, row_of};
use crate::{evidence, opened, words as say};
use egui::{Align, Rect, Role, Sense, Ui, WidgetInfo, pos2, vec2};
use voicechain_core::settings::{SectionId, StageId};

/// Height of a row that is not opened.
pub(crate) const ROW: f32 = 24.0;
/// Decibels that the bar of what is done now shows to either side, its length, and that of its other side.
const BAR_DB: f32 = 12.0;
const BAR: f32 = 84.0;
const OTHER: f32 = 28.0;
/// Below this width what was measured is left to the opened row, points.
const WIDE: f32 = 880.0;

/// Where the columns stand.
pub(crate) struct Columns {
    pub(crate) name: f32,
    /// Absent where the page is narrow.
    pub(crate) evidence: Option<f32>,
    pub(crate) setting: f32,
    /// Centre line of what is done now.
    pub(crate) now: f32,
    pub(crate) ledger: f32,
}

impl Columns {
    pub(crate) fn of(rect: Rect) -> Self {
        let (left, width) = (rect.left(), rect.width());
        let wide = width >= WIDE;
        Self {
            name: left + 26.0,
            evidence: wide.then_some(left + 138.0),
            setting: if wide { left + 0.35 * width } else { left + 138.0 },
            now: rect.right() - 72.0 - OTHER,
            ledger: rect.right(),
        }
    }
}

impl Page {
    /// Draws the row, with its inside where it is open.
    pub(crate) fn stage(&mut self, ui: &mut Ui, stage: StageId, rect: Rect, columns: &Columns, pen: &mut Pen<'_>) {
        let (look, shown) = (pen.look, pen.shown);
        let open = self.open == Some(stage);
        let tall = ROW + if open { opened::height(stage, rect.width()) } else { 0.0 };
        let (whole, _) = ui.allocate_exact_size(vec2(rect.width() + 24.0, tall), Sense::hover());
        if !ui.is_rect_visible(whole) {
            return;
        }
        let line = Rect::from_min_size(whole.min, vec2(whole.width(), ROW));
        let base = line.center().y + BASE;
        let on = self.row_and_switch(ui, stage, open, whole, line, rect, pen);
        let ink = if on { look.ink } else { look.quiet };
        write(ui.painter(), pos2(columns.name, base), Align::Min, stage.name(), words(BODY), ink);
        if let (Some(evidence), Some(profile)) = (columns.evidence, shown.profile) {
            let clip = Rect::from_x_y_ranges(evidence..=columns.setting - 12.0, line.y_range());
            let text = evidence::evidence(stage, profile);
            write(&ui.painter_at(clip), pos2(evidence, base), Align::Min, text, words(SMALL), look.quiet);
        }
        let settings = Rect::from_x_y_ranges(columns.setting..=columns.now - BAR - 16.0, line.y_range());
        let changes: Option<Vec<String>> = match shown.proposal {
            Some(proposal) if self.preview => {
                Some(stage.sections().flat_map(|section| say::changes(section, &shown.settings, proposal)).collect())
            }
            _ => None,
        };
        let at = pos2(settings.left(), base);
        match changes {
            Some(changes) => {
                let (text, ink) = match changes.is_empty() {
                    true => ("stays".to_string(), look.quiet),
                    false => (changes.join(" \u{00b7} "), look.gives),
                };
                write(&ui.painter_at(settings), at, Align::Min, text, words(SMALL), ink);
            }
            // Its settings stand inside.
            None if open => {}
            None if !on => {
                write(ui.painter(), at, Align::Min, "off", words(SMALL), look.quiet);
            }
            None => self.row_settings(ui, stage, settings, base, pen),
        }
        row_meters(ui, stage, on, line.center().y, columns, pen);
        if open {
            let inside = Rect::from_min_max(pos2(rect.left(), line.bottom()), pos2(rect.right(), whole.bottom()));
            self.opened(ui, stage, inside, pen);
        }
    }

    /// The row itself, which opens when it is pressed, and the switch in it; true when the stage is on.
    #[allow(clippy::too_many_arguments)]
    fn row_and_switch(
        &mut self,
        ui: &Ui,
        stage: StageId,
        open: bool,
        whole: Rect,
        line: Rect,
        rect: Rect,
        pen: &mut Pen<'_>,
    ) -> bool {
        let look = pen.look;
        // What stands in the row is asked first.
        let response = ui.interact(line, ui.scope_id().with(("row", stage.id())), Sense::click());
        let name = format!("{} row", stage.name());
        response.widget_info(|| WidgetInfo::selected(Role::DisclosureTriangle, true, open, &name));
        if response.hovered() || open {
            ui.painter().rect_filled(whole.shrink2(vec2(4.0, 0.5)), 4.0, look.ground);
        }
        ui.painter().hline(rect.x_range(), whole.bottom(), (1.0, look.rule.gamma_multiply(0.7)));
        if response.hovered() {
            let will = if open { "close" } else { "open" };
            self.hint = format!("{}: click to {will} its curve and all settings", stage.name());
        }
        if response.clicked() {
            self.open = if open { None } else { Some(stage) };
        }
        self.focus_mark(ui, &response, line.shrink2(vec2(5.0, 2.0)), pen);

        let Some((row, info)) = row_of(stage, "on") else { return true };
        let on = pen.is_on(stage);
        let mark = Rect::from_center_size(pos2(rect.left() + 7.0, line.center().y), vec2(13.0, 13.0));
        let response = ui.interact(mark.expand(5.0), ui.scope_id().with(("on", stage.id())), Sense::click());
        response.widget_info(|| WidgetInfo::selected(Role::CheckBox, true, on, format!("{} on", stage.name())));
        self.tick(ui, mark, on, pen);
        self.focus_mark(ui, &response, mark.expand(2.0), pen);
        if response.hovered() {
            self.hint = info.explanation.into();
        }
        if response.clicked() {
            let mut values = vec![(SectionId::Stage(stage), row, f64::from(u8::from(!on)))];
            // Without latency it would be bypassed: it gets the most.
            let latency = row_of(SectionId::Spectral, "latency").filter(|_| !on && pen.lacks_latency(stage));
            values.extend(latency.map(|(row, info)| (SectionId::Spectral, row, info.max)));
            pen.set_all(&values);
        }
        pen.acts(stage)
    }
}

/// What the stage does now, and what it did to the loudness.
fn row_meters(ui: &Ui, stage: StageId, on: bool, y: f32, columns: &Columns, pen: &Pen<'_>) {
    let (look, painter, base) = (pen.look, ui.painter(), y + BASE);
    if pen.shown.moving.contains(&stage) {
        painter.vline(columns.now, y - 8.0..=y + 8.0, (1.0, look.rule));
        let taken = pen.shown.history.now().map_or(0.0, |moment| moment.taken(stage)) as f32;
        if on && taken.abs() >= 0.05 {
            // To the left it takes, to the right it gives; the number stands at the left in both cases.
            let share = (taken.abs() / BAR_DB).min(1.0);
            let end = if taken > 0.0 { columns.now - share * (BAR - 40.0) } else { columns.now + share * OTHER };
            let bar = Rect::from_two_pos(pos2(columns.now, y - 4.5), pos2(end, y + 4.5));
            let ink = if taken > 0.0 { look.takes } else { look.gives };
            painter.rect_filled(bar, 1.0, ink);
            let text = if taken.is_finite() { say::signed(-f64::from(taken), 1) } else { "\u{2212}\u{221e}".into() };
            write(painter, pos2(bar.left() - 6.0, base), Align::Max, text, numbers(DIGITS - 1.0), ink);
        }
    }
    if let Some(ledger) = pen.shown.ledger
        && let Some(entry) = ledger.entries.iter().find(|entry| entry.stage == stage)
    {
        let ink = if on { look.ink } else { look.quiet };
        write(painter, pos2(columns.ledger, base), Align::Max, say::signed(entry.lu, 1), numbers(DIGITS), ink);
    }
}
