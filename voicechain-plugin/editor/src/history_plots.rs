//! Plots of the last fifteen seconds: input and output loudness, and gain reduction of every stage.

use crate::axes::{fill_between, line};
use crate::draw_context::DrawContext;
use crate::formatting;
use crate::history::{HISTORY_S, HistoryPoint};
use crate::page::Page;
use crate::style::{SMALL, TINY, number_font, text_font, write};
use egui::{Align, Pos2, Rect, Ui, pos2, vec2};
use voicechain_core::settings::StageId;

/// Ends and grid lines of the loudness scale, LUFS.
const LUFS: [f32; 2] = [-50.0, -8.0];
const LINES: [f32; 4] = [-14.0, -23.0, -32.0, -41.0];
/// Range of a gain-reduction plot, dB.
const PLOT_DB: f32 = 10.0;
/// Height reserved for the name of a plot, points.
const NAMES: f32 = 16.0;
/// Width reserved for numbers at the right, points.
const NUMBERS: f32 = 38.0;

impl Page {
    /// Draws the plots. `above` and `below` are the places beside the tonal balance and the frequency response.
    pub(crate) fn history_plots(&self, ui: &Ui, above: Rect, below: Rect, cx: &DrawContext<'_>) {
        let (palette, painter) = (cx.palette, ui.painter());
        let edge = above.right();
        let shrunk = |rect: Rect| Rect::from_min_max(rect.min, pos2(edge - NUMBERS, rect.bottom()));
        let (above, below) = (shrunk(above), shrunk(below));
        let title = |y: f32, text: &str, right: &str| {
            write(painter, pos2(above.left(), y), Align::Min, text, text_font(SMALL), palette.quiet);
            write(painter, pos2(edge, y), Align::Max, right, text_font(SMALL), palette.quiet);
        };
        title(above.top() - 8.0, "the last 15 seconds", "LUFS");
        let mut right = above.right() - 10.0;
        for (name, thick, ink) in [("out", 2.0, palette.accent), ("in", 1.0, palette.quiet)] {
            let word = write(painter, pos2(right, above.top() - 8.0), Align::Max, name, text_font(SMALL), ink);
            painter.hline(word.left() - 22.0..=word.left() - 6.0, above.top() - 12.0, (thick, ink));
            right = word.left() - 34.0;
        }
        title(below.top() - 8.0, "what was taken away", "most, dB");

        let history = cx.view.history;
        let end = history.now().map_or(0.0, |point| point.time_s);
        let x = |point: &HistoryPoint| above.right() - above.width() * ((end - point.time_s) / HISTORY_S) as f32;
        let y = |lufs: f32| {
            let share = (lufs.clamp(LUFS[0], LUFS[1]) - LUFS[0]) / (LUFS[1] - LUFS[0]);
            above.bottom() - share * above.height()
        };
        let every = if above.height() < 64.0 { 2 } else { 1 };
        for lufs in LINES.into_iter().step_by(every) {
            painter.hline(above.x_range(), y(lufs), (1.0, palette.rule));
            let text = formatting::number(f64::from(lufs), 0);
            write(painter, pos2(edge, y(lufs) + 4.0), Align::Max, text, number_font(TINY), palette.quiet);
        }
        let clip = painter.with_clip_rect(above.expand(1.0));
        for (n, width, ink) in [(0, 1.0, palette.quiet), (1, 2.0, palette.accent)] {
            let level = |point: &HistoryPoint| point.lufs[n].map_or(LUFS[0], |v| v as f32);
            let points = history.points().map(|point| pos2(x(point), y(level(point))));
            line(&clip, points.collect(), width, ink);
        }

        let moves = |stage: &StageId| cx.view.metered_stages.contains(stage) && cx.acts(*stage);
        let plots: Vec<StageId> = cx.view.settings.signal_order().into_iter().filter(moves).collect();
        let tall = below.height() / plots.len().max(1) as f32;
        for (n, stage) in plots.into_iter().enumerate() {
            let top = below.top() + tall * n as f32;
            let plot = Rect::from_min_max(pos2(below.left(), top), pos2(below.right(), top + tall - 2.0));
            self.gain_reduction_plot(ui, plot, edge, stage, &x, cx);
        }
    }

    /// Draws the gain reduction of one stage as an area below a line. Its name is above the line if it fits, else on
    /// the area.
    fn gain_reduction_plot(
        &self,
        ui: &Ui,
        plot: Rect,
        edge: f32,
        stage: StageId,
        x: &dyn Fn(&HistoryPoint) -> f32,
        cx: &DrawContext<'_>,
    ) {
        let (palette, painter) = (cx.palette, ui.painter());
        let apart = plot.height() >= NAMES + 14.0;
        let top = plot.top() + if apart { NAMES } else { 0.0 };
        let area = Rect::from_min_max(pos2(plot.left(), top), plot.max);
        painter.hline(area.x_range(), area.top(), (1.0, palette.rule));
        let depth = |db: f64| area.top() + area.height() * (db as f32 / PLOT_DB).min(1.0);
        let points = || cx.view.history.points();
        let clip = painter.with_clip_rect(area.expand2(vec2(0.0, 3.0)));
        for (sign, ink) in [(1.0, palette.reduction), (-1.0, palette.boost)] {
            let part = |point: &HistoryPoint| (sign * point.reduction(stage)).max(0.0);
            // Each active segment is a shape of its own.
            let (mut upper, mut lower) = (Vec::new(), Vec::new());
            let close = |upper: &mut Vec<Pos2>, lower: &mut Vec<Pos2>| {
                fill_between(&clip, upper, lower, ink.gamma_multiply(0.4));
                line(&clip, std::mem::take(lower), 1.0, ink);
                upper.clear();
            };
            for point in points() {
                let (at, db) = (x(point), part(point));
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
            // Marks where the limiter has reduced the gain.
            let mut last = f32::NEG_INFINITY;
            for point in points().filter(|point| point.reduction(stage) >= 0.05) {
                let at = x(point);
                if at - last >= 5.0 {
                    painter.circle_filled(pos2(at, area.top()), 2.5, palette.reduction);
                    last = at;
                }
            }
        }
        let base = if apart { area.top() - 4.0 } else { area.bottom() - 2.0 };
        let name = stage.name().to_lowercase();
        let text = if stage == StageId::Limiter { format!("{name}: ceiling touched") } else { name };
        write(painter, pos2(plot.left(), base), Align::Min, text, text_font(TINY), palette.quiet);
        let larger = |a: f64, b: f64| if b.abs() > a.abs() { b } else { a };
        let extreme = points().map(|point| point.reduction(stage)).fold(0.0, larger);
        let text = if extreme.is_finite() { formatting::signed(-extreme, 1) } else { "\u{2212}\u{221e}".into() };
        let ink = if extreme.abs() < 0.05 { palette.quiet } else { palette.ink };
        write(painter, pos2(edge, base), Align::Max, text, number_font(TINY), ink);
    }
}
