//! What is measured and what is heard.

use crate::look::{BODY, DIGITS, SMALL, TITLE, numbers, width, words, write};
use crate::page::Page;
use crate::pen::Pen;
use crate::shown::Ask;
use crate::{evidence, words as say};
use egui::{Align, Rect, Role, Sense, Ui, WidgetInfo, pos2, vec2};
use voicechain_core::strip::Way;

const WAYS: [(Way, &str, &str); 3] = [
    (Way::Processed, "processed", "Hear what the strip gives."),
    (Way::Unprocessed, "unprocessed", "Hear the voice as it comes in, at the same moment."),
    (Way::Removed, "removed", "Hear only what the strip takes away."),
];

impl Page {
    pub(crate) fn header(&mut self, ui: &mut Ui, rect: Rect, pen: &mut Pen<'_>) {
        let base = rect.top() + 29.0;
        let ways = self.ways(ui, rect, base, pen);
        self.same_loudness(ui, pos2(rect.right(), rect.top() + 51.0), pen);
        let free = loudness(ui, pos2(ways - 36.0, base), rect, pen);
        self.whose(ui, Rect::from_min_max(rect.min, pos2(free - 16.0, rect.bottom())), base, pen);
    }

    /// The three ways to listen, at the right; gives their left end.
    fn ways(&mut self, ui: &Ui, rect: Rect, base: f32, pen: &mut Pen<'_>) -> f32 {
        let look = pen.look;
        let wide = WAYS.map(|(_, name, _)| width(ui.painter(), name, words(BODY)));
        let left = rect.right() - wide.iter().sum::<f32>() - 24.0 * (WAYS.len() - 1) as f32;
        let mut x = left;
        // From left to right, as the keyboard goes through them.
        for ((way, name, what), wide) in WAYS.into_iter().zip(wide) {
            let place = Rect::from_min_max(pos2(x, base - 15.0), pos2(x + wide, base + 6.0));
            let response = ui.interact(place.expand2(vec2(9.0, 3.0)), ui.scope_id().with(name), Sense::click());
            let chosen = pen.shown.listening.way == way;
            response.widget_info(|| WidgetInfo::selected(Role::RadioButton, true, chosen, name));
            let ink = if chosen || response.hovered() { look.ink } else { look.quiet };
            write(ui.painter(), pos2(place.left(), base), Align::Min, name, words(BODY), ink);
            if chosen {
                ui.painter().hline(place.x_range(), place.bottom(), (2.0, look.after));
            }
            self.focus_mark(ui, &response, place.expand2(vec2(5.0, 2.0)), pen);
            if response.hovered() {
                self.hint = what.into();
            }
            if response.clicked() {
                pen.asks.push(Ask::Listen(way));
            }
            x = place.right() + 24.0;
        }
        left
    }

    /// The loudness match, spelled out; `at` is its right end.
    fn same_loudness(&mut self, ui: &Ui, at: egui::Pos2, pen: &mut Pen<'_>) {
        let look = pen.look;
        let matched = pen.shown.listening.matched;
        let text = match (matched, pen.shown.match_db[0]) {
            (false, _) => "each at its own loudness".to_string(),
            (true, db) if db.abs() < 0.05 => "at the same loudness".to_string(),
            (true, db) if db > 0.0 => format!("at the same loudness: unprocessed raised {} dB", say::number(db, 1)),
            (true, db) => format!("at the same loudness: unprocessed lowered {} dB", say::number(-db, 1)),
        };
        let place = write(ui.painter(), at, Align::Max, text, words(SMALL), look.quiet);
        let mark = Rect::from_center_size(pos2(place.left() - 12.0, at.y - 4.0), vec2(11.0, 11.0));
        let whole = place.union(mark).expand(2.0);
        let response = ui.interact(whole, ui.scope_id().with("match"), Sense::click());
        response.widget_info(|| WidgetInfo::selected(Role::CheckBox, true, matched, "same loudness"));
        self.tick(ui, mark, matched, pen);
        self.focus_mark(ui, &response, whole, pen);
        if response.hovered() {
            self.hint = "Sets processed and unprocessed to the same loudness, so that louder does not win.".into();
        }
        if response.clicked() {
            pen.asks.push(Ask::Match(!matched));
        }
    }

    /// Whose voice, and what is known of it.
    fn whose(&self, ui: &Ui, rect: Rect, base: f32, pen: &Pen<'_>) {
        let (look, shown) = (pen.look, pen.shown);
        let name = if shown.name.is_empty() { "Voice" } else { shown.name };
        let painter = ui.painter_at(rect.expand2(vec2(2.0, 0.0)));
        let title = write(&painter, pos2(rect.left(), base), Align::Min, name, words(TITLE), look.ink);
        let text = match shown.profile {
            Some(profile) => evidence::subject(profile, shown.measuring, shown.validity),
            None if shown.measuring => "measuring: play the voice".into(),
            None => "not measured yet".into(),
        };
        // Beside the name where there is room, else below it.
        let wide = width(ui.painter(), &text, words(SMALL));
        let beside = title.right() + 14.0 + wide <= rect.right();
        let from = if beside { pos2(title.right() + 14.0, base) } else { pos2(rect.left(), rect.top() + 51.0) };
        write(&painter, from, Align::Min, text, words(SMALL), look.quiet);
        if shown.measuring {
            let seconds = shown.profile.map_or(0.0, |profile| profile.level.active_s);
            let share = (seconds / evidence::ENOUGH_S).clamp(0.0, 1.0) as f32;
            let (y, x) = (from.y + 8.0, from.x..=from.x + 150.0);
            painter.hline(x, y, (2.0, look.rule));
            painter.hline(from.x..=from.x + share * 150.0, y, (2.0, look.after));
        }
    }
}

/// The loudness at both ends, `at` its right end, where there is room; gives its left end.
fn loudness(ui: &Ui, at: egui::Pos2, rect: Rect, pen: &Pen<'_>) -> f32 {
    if rect.width() < 840.0 {
        return at.x;
    }
    let (look, painter) = (pen.look, ui.painter());
    let lufs = pen.shown.history.now().map_or([None; 2], |moment| moment.lufs);
    let text = lufs.map(|lufs| lufs.filter(|v| v.is_finite()).map_or("\u{2013}".into(), |v| say::number(v, 1)));
    let slot = width(painter, "\u{2212}88.8", numbers(DIGITS + 1.5));
    let r = write(painter, at, Align::Max, "LUFS", words(SMALL), look.quiet);
    let mut x = r.left() - 6.0;
    for (text, name) in [(&text[1], "out"), (&text[0], "in")] {
        write(painter, pos2(x, at.y), Align::Max, text, numbers(DIGITS + 1.5), look.ink);
        x = write(painter, pos2(x - slot - 6.0, at.y), Align::Max, name, words(SMALL), look.quiet).left() - 16.0;
    }
    x + 16.0
}
