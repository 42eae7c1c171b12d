//! One row per stage, in signal order.

use crate::look::{BASE, BODY, DIGIT, DIGITS, SMALL, TINY, numbers, width, words, write};
use crate::{Page, Pen, opened, row_of, strip, words as say};
use egui::{Align, Rect, Role, ScrollArea, Sense, Ui, UiBuilder, WidgetInfo, pos2, vec2};
use voicechain_core::StripSettings;
use voicechain_core::settings::{Middle, StageId};
use voicechain_core::units::Unit;

/// Height of a row, of the line of titles, and of the line of the sum.
pub(crate) const ROW: f32 = 24.0;
const TITLES: f32 = 30.0;
const SUM: f32 = 28.0;
/// Decibels that the bar of what is done now shows to either side, its length, and that of its other side.
const BAR_DB: f32 = 12.0;
const BAR: f32 = 84.0;
const OTHER: f32 = 28.0;
/// Below this width what was measured is left to the opened row, points.
const WIDE: f32 = 880.0;

/// Height that the table needs without scrolling.
pub(crate) fn height(open: Option<StageId>, width: f32) -> f32 {
    let inside = open.map_or(0.0, |stage| opened::height(stage, width));
    TITLES + ROW * StageId::ALL.len() as f32 + SUM + inside
}

/// The stages in signal order: the middle ones as the person has them.
pub(crate) fn in_order(settings: &StripSettings) -> impl Iterator<Item = StageId> + use<> {
    let mut middle = settings.order.map(Middle::stage).into_iter();
    let moves = |stage: StageId| Middle::ALL.iter().any(|middle| middle.stage() == stage);
    StageId::ALL.iter().map(move |&stage| if moves(stage) { middle.next().unwrap_or(stage) } else { stage })
}

/// Where the columns stand.
struct Columns {
    name: f32,
    /// Absent where the page is narrow.
    evidence: Option<f32>,
    setting: f32,
    /// Centre line of what is done now.
    now: f32,
    ledger: f32,
}

impl Columns {
    fn of(rect: Rect) -> Self {
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

/// A piece of what a row says of its settings.
enum Piece {
    /// A name, which may be left out, or a word that may not.
    Name(&'static str),
    Word(&'static str),
    Value(usize),
}

/// What a row says without being opened; bands that rest are left out.
fn said(stage: StageId, pen: &Pen<'_>) -> Vec<Piece> {
    let named = |fields: &[&str]| {
        let rows = fields.iter().filter_map(|field| row_of(stage, field));
        rows.flat_map(|(row, info)| [Piece::Name(info.name), Piece::Value(row)]).collect()
    };
    match stage {
        StageId::Trim | StageId::Output => named(&["gain_db"]),
        StageId::HighPass => named(&["frequency_hz", "slope"]),
        StageId::Hum => named(&["mains", "harmonics", "depth_db"]),
        StageId::DeReverb => named(&["variant", "decay_ms", "range_db"]),
        StageId::Expander => named(&["threshold_db", "range_db"]),
        StageId::Leveller => named(&["target_lufs", "rise_db", "cut_db"]),
        StageId::DeEsser => named(&["frequency_hz", "threshold_db", "range_db"]),
        StageId::Compressor => named(&["threshold_db", "ratio", "attack_ms", "release_ms"]),
        StageId::Limiter => named(&["ceiling_dbtp", "release_ms"]),
        _ if strip::bands().iter().any(|band| band.stage == stage) => {
            let gains = strip::bands().iter().filter(|band| band.stage == stage);
            let moved = gains.filter_map(|band| Some((band.gain?, band.frequency)));
            let moved = moved.filter(|(gain, _)| pen.value(stage, *gain) != 0.0);
            moved.flat_map(|(gain, hz)| [Piece::Value(gain), Piece::Word("at"), Piece::Value(hz)]).collect()
        }
        // The first settings of a stage say most of it.
        _ => {
            let rows = stage.rows().iter().enumerate().filter(|(_, info)| info.unit != Unit::Switch);
            rows.take(3).flat_map(|(row, info)| [Piece::Name(info.name), Piece::Value(row)]).collect()
        }
    }
}

impl Page {
    pub(crate) fn stages(&mut self, ui: &mut Ui, rect: Rect, pen: &mut Pen<'_>) {
        let look = pen.look;
        let columns = Columns::of(rect);
        let base = rect.top() + 20.0;
        let title = |x: f32, align: Align, text: &str| {
            write(ui.painter(), pos2(x, base), align, text, words(SMALL), look.quiet);
        };
        title(columns.name, Align::Min, "stage");
        if let Some(evidence) = columns.evidence {
            title(evidence, Align::Min, "what was measured");
        }
        title(columns.setting, Align::Min, if self.preview { "what would change" } else { "settings" });
        title(columns.now, Align::Max, "now, dB");
        title(columns.ledger, Align::Max, "ledger, LU");

        let body = Rect::from_min_max(
            pos2(rect.left() - 12.0, rect.top() + TITLES),
            pos2(rect.right() + 12.0, rect.bottom() - 1.0),
        );
        let mut inside = ui.new_child(UiBuilder::new().max_rect(body).id_salt("stages"));
        inside.set_clip_rect(body);
        ScrollArea::vertical().id_salt("rows").auto_shrink([false, false]).show(&mut inside, |ui| {
            ui.spacing_mut().item_spacing = vec2(0.0, 0.0);
            for stage in in_order(&pen.shown.settings) {
                self.stage(ui, stage, rect, &columns, pen);
            }
            let (sum, _) = ui.allocate_exact_size(vec2(body.width(), SUM), Sense::hover());
            if let Some(ledger) = pen.shown.ledger {
                let at = pos2(columns.ledger, sum.top() + 17.0);
                write(ui.painter(), at, Align::Max, say::signed(ledger.total_lu, 1), numbers(DIGITS), look.ink);
                write(ui.painter(), at - vec2(52.0, 0.0), Align::Max, "sum", words(SMALL), look.quiet);
            }
        });
    }

    fn stage(&mut self, ui: &mut Ui, stage: StageId, rect: Rect, columns: &Columns, pen: &mut Pen<'_>) {
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
            let text = say::evidence(stage, profile);
            write(&ui.painter_at(clip), pos2(evidence, base), Align::Min, text, words(SMALL), look.quiet);
        }
        let settings = Rect::from_x_y_ranges(columns.setting..=columns.now - BAR - 16.0, line.y_range());
        let changes = match shown.proposal {
            Some(proposal) if self.preview => Some(say::changes(stage, &shown.settings, proposal)),
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
            // Where it is absent there is nothing to switch: the most thorough one comes.
            let absent = row_of(stage, "variant").filter(|(row, _)| !on && pen.value(stage, *row) < 0.5);
            let comes = absent.map(|(row, info)| (row, info.max));
            let values: Vec<_> = [(row, f64::from(u8::from(!on)))].into_iter().chain(comes).collect();
            pen.set_all(stage, &values);
        }
        on
    }

    fn row_settings(&mut self, ui: &mut Ui, stage: StageId, place: Rect, base: f32, pen: &mut Pen<'_>) {
        let pieces = said(stage, pen);
        if pieces.is_empty() {
            let at = pos2(place.left(), base);
            write(ui.painter(), at, Align::Min, "every band at rest", words(SMALL), pen.look.quiet);
            return;
        }
        // Names are left out where there is no room for all of them.
        let slot = |row: usize| DIGIT * say::widest(&stage.rows()[row]) as f32;
        let gap = |with_names: bool| if with_names { 18.0 } else { 12.0 };
        let wide = |piece: &Piece, with_names: bool| match piece {
            Piece::Name(_) if !with_names => 0.0,
            Piece::Name(name) | Piece::Word(name) => width(ui.painter(), name, words(TINY)) + 6.0,
            Piece::Value(row) => slot(*row) + gap(with_names),
        };
        let all: f32 = pieces.iter().map(|piece| wide(piece, true)).sum();
        let with_names = all - gap(true) <= place.width();
        let widths: Vec<f32> = pieces.iter().map(|piece| wide(piece, with_names)).collect();
        let mut x = place.left();
        for (n, (piece, wide)) in pieces.iter().zip(widths).enumerate() {
            let last = n + 1 == pieces.len();
            let end = x + wide - if matches!(piece, Piece::Value(_)) { gap(with_names) } else { 0.0 };
            if end > place.right() - if last { 0.0 } else { 12.0 } {
                write(ui.painter(), pos2(x, base), Align::Min, "\u{2026}", words(SMALL), pen.look.quiet);
                break;
            }
            match piece {
                Piece::Name(_) if !with_names => {}
                Piece::Name(name) | Piece::Word(name) => {
                    write(ui.painter(), pos2(x, base), Align::Min, *name, words(TINY), pen.look.quiet);
                }
                Piece::Value(row) => {
                    let slot = Rect::from_x_y_ranges(x..=x + slot(*row), place.y_range()).shrink2(vec2(0.0, 1.0));
                    self.value(ui, slot, stage, *row, Align::Min, pen);
                }
            }
            x += wide;
        }
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
