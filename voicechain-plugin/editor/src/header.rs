//! Header: voice and state of the measurement, loudness, monitor modes.

use crate::draw_context::DrawContext;
use crate::page::Page;
use crate::style::{BODY, DIGITS, SMALL, TITLE, number_font, text_font, width, write};
use crate::view_model::UserAction;
use crate::{formatting, measurement_text};
use egui::{Align, Rect, Role, Sense, Ui, WidgetInfo, pos2, vec2};
use voicechain_core::strip::MonitorMode;

const MONITOR_MODES: [(MonitorMode, &str, &str); 3] = [
    (MonitorMode::Processed, "processed", "Hear what the strip gives."),
    (MonitorMode::Unprocessed, "unprocessed", "Hear the voice as it comes in, at the same moment."),
    (MonitorMode::Removed, "removed", "Hear only what the strip takes away."),
];

impl Page {
    pub(crate) fn header(&mut self, ui: &mut Ui, rect: Rect, cx: &mut DrawContext<'_>) {
        let base = rect.top() + 29.0;
        let monitor_modes = self.monitor_modes(ui, rect, base, cx);
        self.loudness_match(ui, pos2(rect.right(), rect.top() + 51.0), cx);
        let free = loudness(ui, pos2(monitor_modes - 36.0, base), rect, cx);
        self.voice_title(ui, Rect::from_min_max(rect.min, pos2(free - 16.0, rect.bottom())), base, cx);
    }

    /// Draws the three monitor modes at the right; returns their left end.
    fn monitor_modes(&mut self, ui: &Ui, rect: Rect, base: f32, cx: &mut DrawContext<'_>) -> f32 {
        let palette = cx.palette;
        let wide = MONITOR_MODES.map(|(_, name, _)| width(ui.painter(), name, text_font(BODY)));
        let left = rect.right() - wide.iter().sum::<f32>() - 24.0 * (MONITOR_MODES.len() - 1) as f32;
        let mut x = left;
        // From left to right, in the order of keyboard focus.
        for ((mode, name, what), wide) in MONITOR_MODES.into_iter().zip(wide) {
            let place = Rect::from_min_max(pos2(x, base - 15.0), pos2(x + wide, base + 6.0));
            let response = ui.interact(place.expand2(vec2(9.0, 3.0)), ui.scope_id().with(name), Sense::click());
            let chosen = cx.view.monitoring.mode == mode;
            response.widget_info(|| WidgetInfo::selected(Role::RadioButton, true, chosen, name));
            let ink = if chosen || response.hovered() { palette.ink } else { palette.quiet };
            write(ui.painter(), pos2(place.left(), base), Align::Min, name, text_font(BODY), ink);
            if chosen {
                ui.painter().hline(place.x_range(), place.bottom(), (2.0, palette.accent));
            }
            self.focus_ring(ui, &response, place.expand2(vec2(5.0, 2.0)), cx);
            if response.hovered() {
                self.hint = what.into();
            }
            if response.clicked() {
                cx.actions.push(UserAction::SetMonitorMode(mode));
            }
            x = place.right() + 24.0;
        }
        left
    }

    /// Draws the loudness match as text, with its right end at `at`.
    fn loudness_match(&mut self, ui: &Ui, at: egui::Pos2, cx: &mut DrawContext<'_>) {
        let palette = cx.palette;
        let matched = cx.view.monitoring.loudness_matched;
        let text = match (matched, cx.view.loudness_match_db[0]) {
            (false, _) => "each at its own loudness".to_string(),
            (true, db) if db.abs() < 0.05 => "at the same loudness".to_string(),
            (true, db) if db > 0.0 => {
                format!("at the same loudness: unprocessed raised {} dB", formatting::number(db, 1))
            }
            (true, db) => format!("at the same loudness: unprocessed lowered {} dB", formatting::number(-db, 1)),
        };
        let place = write(ui.painter(), at, Align::Max, text, text_font(SMALL), palette.quiet);
        let mark = Rect::from_center_size(pos2(place.left() - 12.0, at.y - 4.0), vec2(11.0, 11.0));
        let whole = place.union(mark).expand(2.0);
        let response = ui.interact(whole, ui.scope_id().with("match"), Sense::click());
        response.widget_info(|| WidgetInfo::selected(Role::CheckBox, true, matched, "loudness match"));
        self.checkbox(ui, mark, matched, cx);
        self.focus_ring(ui, &response, whole, cx);
        if response.hovered() {
            self.hint = "Sets processed and unprocessed to the same loudness, so that louder does not win.".into();
        }
        if response.clicked() {
            cx.actions.push(UserAction::SetLoudnessMatch(!matched));
        }
    }

    /// Draws the name of the voice and the state of its measurement.
    fn voice_title(&self, ui: &Ui, rect: Rect, base: f32, cx: &DrawContext<'_>) {
        let (palette, view) = (cx.palette, cx.view);
        let name = if view.name.is_empty() { "Voice" } else { view.name };
        let painter = ui.painter_at(rect.expand2(vec2(2.0, 0.0)));
        let title = write(&painter, pos2(rect.left(), base), Align::Min, name, text_font(TITLE), palette.ink);
        let text = match view.profile {
            Some(profile) => measurement_text::signal_class(profile, view.measuring, view.captured_fraction),
            None if view.measuring => "measuring: play the voice".into(),
            None => "not measured yet".into(),
        };
        // Beside the name if it fits, else below it.
        let wide = width(ui.painter(), &text, text_font(SMALL));
        let beside = title.right() + 14.0 + wide <= rect.right();
        let from = if beside { pos2(title.right() + 14.0, base) } else { pos2(rect.left(), rect.top() + 51.0) };
        write(&painter, from, Align::Min, text, text_font(SMALL), palette.quiet);
        if view.measuring {
            let seconds = view.profile.map_or(0.0, |profile| profile.level.active_s);
            let share = (seconds / measurement_text::SUFFICIENT_SPEECH_S).clamp(0.0, 1.0) as f32;
            let (y, x) = (from.y + 8.0, from.x..=from.x + 150.0);
            painter.hline(x, y, (2.0, palette.rule));
            painter.hline(from.x..=from.x + share * 150.0, y, (2.0, palette.accent));
        }
    }
}

/// Draws input and output loudness, with their right end at `at`, if they fit; returns their left end.
fn loudness(ui: &Ui, at: egui::Pos2, rect: Rect, cx: &DrawContext<'_>) -> f32 {
    if rect.width() < 840.0 {
        return at.x;
    }
    let (palette, painter) = (cx.palette, ui.painter());
    let lufs = cx.view.history.now().map_or([None; 2], |point| point.lufs);
    let text = lufs.map(|lufs| lufs.filter(|v| v.is_finite()).map_or("\u{2013}".into(), |v| formatting::number(v, 1)));
    let slot = width(painter, "\u{2212}88.8", number_font(DIGITS + 1.5));
    let r = write(painter, at, Align::Max, "LUFS", text_font(SMALL), palette.quiet);
    let mut x = r.left() - 6.0;
    for (text, name) in [(&text[1], "out"), (&text[0], "in")] {
        write(painter, pos2(x, at.y), Align::Max, text, number_font(DIGITS + 1.5), palette.ink);
        x = write(painter, pos2(x - slot - 6.0, at.y), Align::Max, name, text_font(SMALL), palette.quiet).left() - 16.0;
    }
    x + 16.0
}
