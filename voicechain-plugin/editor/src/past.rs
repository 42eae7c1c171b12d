//! The last fifteen seconds: loudness in and out, and what every stage took away.

use crate::axes::{fill_between, line};
use crate::history::{Moment, SPAN_S};
use crate::look::{SMALL, TINY, numbers, words, write};
use crate::page::Page;
use crate::pen::Pen;
use crate::words as say;
use egui::{Align, Pos2, Rect, Ui, pos2, vec2};
use voicechain_core::settings::StageId;

/// Ends of the loudness scale, LUFS, and its lines.
const LUFS: [f32; 2] = [-50.0, -8.0];
const LINES: [f32; 4] = [-14.0, -23.0, -32.0, -41.0];
/// The most that a lane has room for, dB.
const LANE_DB: f32 = 10.0;
/// Height of the name of a lane, points.
const NAMES: f32 = 16.0;
/// Room for numbers at the right, points.
const NUMBERS: f32 = 38.0;

impl Page {
    /// `above` and `below` are the pictures of the voice and of the strip, which these stand beside.
    pub(crate) fn past(&self, ui: &Ui, above: Rect, below: Rect, pen: &Pen<'_>) {
        let (look, painter) = (pen.look, ui.painter());
        let edge = above.right();
        let shrunk = |rect: Rect| Rect::from_min_max(rect.min, pos2(edge - NUMBERS, rect.bottom()));
        let (above, below) = (shrunk(above), shrunk(below));
        let title = |y: f32, text: &str, right: &str| {
            write(painter, pos2(above.left(), y), Align::Min, text, words(SMALL), look.quiet);
            write(painter, pos2(edge, y), Align::Max, right, words(SMALL), look.quiet);
        };
        title(above.top() - 8.0, "the last 15 seconds", "LUFS");
        let mut right = above.right() - 10.0;
        for (name, thick, ink) in [("out", 2.0, look.after), ("in", 1.0, look.quiet)] {
            let word = write(painter, pos2(right, above.top() - 8.0), Align::Max, name, words(SMALL), ink);
            painter.hline(word.left() - 22.0..=word.left() - 6.0, above.top() - 12.0, (thick, ink));
            right = word.left() - 34.0;
        }
        title(below.top() - 8.0, "what was taken away", "most, dB");

        let history = pen.shown.history;
        let end = history.now().map_or(0.0, |moment| moment.time_s);
        let x = |moment: &Moment| above.right() - above.width() * ((end - moment.time_s) / SPAN_S) as f32;
        let y = |lufs: f32| {
            let share = (lufs.clamp(LUFS[0], LUFS[1]) - LUFS[0]) / (LUFS[1] - LUFS[0]);
            above.bottom() - share * above.height()
        };
        let every = if above.height() < 64.0 { 2 } else { 1 };
        for lufs in LINES.into_iter().step_by(every) {
            painter.hline(above.x_range(), y(lufs), (1.0, look.rule));
            let text = say::number(f64::from(lufs), 0);
            write(painter, pos2(edge, y(lufs) + 4.0), Align::Max, text, numbers(TINY), look.quiet);
        }
        let clip = painter.with_clip_rect(above.expand(1.0));
        for (n, width, ink) in [(0, 1.0, look.quiet), (1, 2.0, look.after)] {
            let level = |moment: &Moment| moment.lufs[n].map_or(LUFS[0], |v| v as f32);
            let points = history.moments().map(|moment| pos2(x(moment), y(level(moment))));
            line(&clip, points.collect(), width, ink);
        }

        let moves = |stage: &StageId| pen.shown.moving.contains(stage) && pen.acts(*stage);
        let lanes: Vec<StageId> = pen.shown.settings.signal_order().into_iter().filter(moves).collect();
        let tall = below.height() / lanes.len().max(1) as f32;
        for (n, stage) in lanes.into_iter().enumerate() {
            let top = below.top() + tall * n as f32;
            let lane = Rect::from_min_max(pos2(below.left(), top), pos2(below.right(), top + tall - 2.0));
            self.lane(ui, lane, edge, stage, &x, pen);
        }
    }

    /// What one stage took: an area that hangs from a line, its name above it where there is room and on it where not.
    fn lane(&self, ui: &Ui, lane: Rect, edge: f32, stage: StageId, x: &dyn Fn(&Moment) -> f32, pen: &Pen<'_>) {
        let (look, painter) = (pen.look, ui.painter());
        let apart = lane.height() >= NAMES + 14.0;
        let top = lane.top() + if apart { NAMES } else { 0.0 };
        let area = Rect::from_min_max(pos2(lane.left(), top), lane.max);
        painter.hline(area.x_range(), area.top(), (1.0, look.rule));
        let depth = |db: f64| area.top() + area.height() * (db as f32 / LANE_DB).min(1.0);
        let moments = || pen.shown.history.moments();
        let clip = painter.with_clip_rect(area.expand2(vec2(0.0, 3.0)));
        for (sign, ink) in [(1.0, look.takes), (-1.0, look.gives)] {
            let part = |moment: &Moment| (sign * moment.taken(stage)).max(0.0);
            // Each stretch in which it does something is a shape of its own.
            let (mut upper, mut lower) = (Vec::new(), Vec::new());
            let close = |upper: &mut Vec<Pos2>, lower: &mut Vec<Pos2>| {
                fill_between(&clip, upper, lower, ink.gamma_multiply(0.4));
                line(&clip, std::mem::take(lower), 1.0, ink);
                upper.clear();
            };
            for moment in moments() {
                let (at, db) = (x(moment), part(moment));
                let idle = db < 0.02;
                if idle && lower.is_empty() {
                    continue;
                }
                upper.push(pos2(at, area.top()));
                lower.push(pos2(at, depth(db)));
                if idle {
                    close(&mut upper, &mut lower);
                }
            }
            close(&mut upper, &mut lower);
        }
        if stage == StageId::Limiter {
            // Where the ceiling was touched.
            let mut last = f32::NEG_INFINITY;
            for moment in moments().filter(|moment| moment.taken(stage) >= 0.05) {
                let at = x(moment);
                if at - last >= 5.0 {
                    painter.circle_filled(pos2(at, area.top()), 2.5, look.takes);
                    last = at;
                }
            }
        }
        let base = if apart { area.top() - 4.0 } else { area.bottom() - 2.0 };
        let name = stage.name().to_lowercase();
        let text = if stage == StageId::Limiter { format!("{name}: ceiling touched") } else { name };
        write(painter, pos2(lane.left(), base), Align::Min, text, words(TINY), look.quiet);
        let larger = |a: f64, b: f64| if b.abs() > a.abs() { b } else { a };
        let most = moments().map(|moment| moment.taken(stage)).fold(0.0, larger);
        let text = if most.is_finite() { say::signed(-most, 1) } else { "\u{2212}\u{221e}".into() };
        let ink = if most.abs() < 0.05 { look.quiet } else { look.ink };
        write(painter, pos2(edge, base), Align::Max, text, numbers(TINY), ink);
    }
}
