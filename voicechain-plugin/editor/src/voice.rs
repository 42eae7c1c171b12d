//! The voice against published speech, with what was found in it.

use crate::axes::{Axes, HIGH_HZ, LOW_HZ, NAMED, fill_between, line, scale};
use crate::bands::shape_db;
use crate::look::{SMALL, TINY, numbers, width, words, write};
use crate::page::Page;
use crate::pen::Pen;
use crate::widgets::{pointer, readout};
use crate::words as say;
use egui::{Align, Pos2, Rect, Shape, Stroke, Ui, pos2, vec2};
use voicechain_core::speech::{BYRNE_1994_COMBINED, SPREAD_DB, SPREAD_FROM};

/// Decibels to either side.
const VOICE_DB: f32 = 13.0;
/// Half a third octave, as a ratio.
const HALF_BAND: f32 = 1.122_018_5;

impl Page {
    pub(crate) fn voice(&mut self, ui: &mut Ui, rect: Rect, pen: &mut Pen<'_>) {
        let look = pen.look;
        let axes = Axes { rect, db: VOICE_DB };
        let base = rect.top() - 8.0;
        let long = "the voice against published speech (band: how far speakers differ)";
        let text = if rect.width() > 560.0 { long } else { "the voice against published speech" };
        write(ui.painter(), pos2(rect.left(), base), Align::Min, text, words(SMALL), look.quiet);
        write(ui.painter(), pos2(rect.left() - 8.0, base), Align::Max, "dB", words(TINY), look.quiet);
        let painter = ui.painter().with_clip_rect(rect);
        // Beyond the bands that were measured the nearest is held.
        let spread = |band: usize| SPREAD_DB[band.saturating_sub(SPREAD_FROM).min(SPREAD_DB.len() - 1)] as f32;
        let middles = BYRNE_1994_COMBINED.iter().enumerate().map(|(band, (hz, _))| (*hz as f32, spread(band)));
        let (low, high) = ((LOW_HZ, spread(0)), (HIGH_HZ, spread(BYRNE_1994_COMBINED.len())));
        let band: Vec<(f32, f32)> = std::iter::once(low).chain(middles).chain([high]).collect();
        let edge = |sign: f32| band.iter().map(|(hz, db)| axes.at(*hz, sign * db)).collect::<Vec<Pos2>>();
        fill_between(&painter, &edge(1.0), &edge(-1.0), look.band);
        for sign in [1.0, -1.0] {
            line(&painter, edge(sign), 1.0, look.rule);
        }
        for (hz, _) in NAMED {
            painter.vline(axes.x(hz), rect.y_range(), (1.0, look.rule.gamma_multiply(0.7)));
        }
        painter.hline(rect.x_range(), axes.y(0.0), (1.0, look.rule));
        scale(ui.painter(), &axes, &look);
        match pen.shown.profile.and_then(|profile| Some((profile, profile.colour.ok()?))) {
            Some((profile, colour)) => {
                let mut x = rect.right();
                for (name, thick, ink) in [("after", 2.0, look.after), ("before", 1.0, look.quiet)] {
                    let word = write(ui.painter(), pos2(x, base), Align::Max, name, words(SMALL), ink);
                    ui.painter().hline(word.left() - 22.0..=word.left() - 6.0, base - 4.0, (thick, ink));
                    x = word.left() - 36.0;
                }
                self.spectrum(ui, &axes, &colour.deviation_db, pen);
                self.findings(ui, &axes, profile, pen);
            }
            None => {
                let text = match (pen.shown.measuring, pen.shown.profile) {
                    (true, _) => "listening: the voice appears here after a few seconds",
                    (false, Some(_)) => "too little of the voice was heard to draw it",
                    (false, None) => "no voice measured yet: press \u{201c}measure\u{201d} and play it",
                };
                // On paper, so that no line runs through the words.
                let at = rect.center();
                let size = vec2(width(ui.painter(), text, words(SMALL)) + 24.0, 24.0);
                ui.painter().rect_filled(Rect::from_center_size(at, size), 3.0, look.paper);
                write(ui.painter(), at + vec2(0.0, 4.0), Align::Center, text, words(SMALL), look.quiet);
            }
        }
        self.pointed(ui, &axes, pen);
    }

    /// Before as third-octave steps, after as one line.
    fn spectrum(&self, ui: &Ui, axes: &Axes, deviation: &[Option<f64>], pen: &Pen<'_>) {
        let look = pen.look;
        let painter = ui.painter().with_clip_rect(axes.rect.expand(1.0));
        let (mut steps, mut after, mut beyond) = (Vec::new(), Vec::new(), Vec::new());
        for (band, ((hz, _), db)) in BYRNE_1994_COMBINED.iter().zip(deviation).enumerate() {
            let hz = *hz as f32;
            let Some(db) = db else {
                line(&painter, std::mem::take(&mut steps), 1.0, look.quiet);
                continue;
            };
            let db = *db as f32;
            steps.extend([axes.at(hz / HALF_BAND, db), axes.at(hz * HALF_BAND, db)]);
            let change = self.designed.as_ref().map_or(0.0, |designed| shape_db(&designed.coefs, f64::from(hz)));
            after.push((hz, db + change as f32));
            if db.abs() > axes.db {
                // Of neighbours on one side the farthest speaks for all.
                match beyond.last_mut() {
                    Some((n, _, farthest)) if *n + 1 == band && *farthest * db > 0.0 => {
                        *n = band;
                        if db.abs() > f32::abs(*farthest) {
                            *farthest = db;
                        }
                    }
                    _ => beyond.push((band, hz, db)),
                }
            }
        }
        line(&painter, steps, 1.0, look.quiet);
        let points = smooth(&after);
        line(
            &painter,
            points.into_iter().map(|(hz, db)| pos2(axes.x(hz), axes.y(db.max(-40.0)))).collect(),
            2.0,
            look.after,
        );
        // What runs off the scale is marked with its value.
        for (_, hz, db) in beyond {
            let (up, right) = (db > 0.0, axes.x(hz) > axes.rect.right() - 50.0);
            let at = axes.at(hz, db) + vec2(0.0, if up { 8.0 } else { -8.0 });
            let text = if db.is_finite() { say::signed(f64::from(db), 0) } else { "\u{2212}\u{221e}".into() };
            let wide = width(ui.painter(), &text, numbers(TINY)) + 18.0;
            let chip = Rect::from_min_size(pos2(if right { at.x - wide } else { at.x }, at.y - 7.0), vec2(wide, 14.0));
            painter.rect_filled(chip, 2.0, look.paper);
            let tip = if up { -4.0 } else { 4.0 };
            let middle = pos2(chip.left() + 7.0, at.y);
            let corners = vec![middle + vec2(0.0, tip), middle + vec2(4.0, -tip), middle + vec2(-4.0, -tip)];
            painter.add(Shape::convex_polygon(corners, look.takes, Stroke::NONE));
            write(&painter, pos2(chip.left() + 14.0, at.y + 4.0), Align::Min, text, numbers(TINY), look.ink);
        }
    }

    /// A readout under the pointer.
    fn pointed(&mut self, ui: &Ui, axes: &Axes, pen: &Pen<'_>) {
        // What can be pressed is told of in the hint line.
        let Some(at) = pointer(ui, axes.rect).filter(|_| self.hint.is_empty()) else { return };
        let hz = axes.hz(at.x);
        let nearest = BYRNE_1994_COMBINED.iter().position(|(centre, _)| (*centre as f32 / hz).ln().abs() < 0.116);
        let colour = pen.shown.profile.and_then(|profile| profile.colour.ok());
        let before = nearest.and_then(|band| Some((band, colour?.deviation_db[band]?)));
        let mut text = say::hertz(f64::from(hz));
        if let (Some((band, before)), Some(designed)) = (before, &self.designed) {
            let after = before + shape_db(&designed.coefs, BYRNE_1994_COMBINED[band].0);
            text = format!("{text}  before {}  after {} dB", say::signed(before, 1), say::signed(after, 1));
            self.hint = "against published speech: before, and after the strip".into();
        }
        ui.painter().vline(at.x, axes.rect.y_range(), (1.0, pen.look.quiet.gamma_multiply(0.4)));
        readout(ui, at, axes.rect, &text, pen);
    }
}

/// Points on a smooth line through third-octave values (Catmull and Rom).
fn smooth(values: &[(f32, f32)]) -> Vec<(f32, f32)> {
    let mut points = Vec::new();
    for n in 0..values.len().saturating_sub(1) {
        let at = |k: isize| values[(n as isize + k).clamp(0, values.len() as isize - 1) as usize];
        let [a, b, c, d] = [at(-1), at(0), at(1), at(2)];
        for step in 0..8 {
            let t = step as f32 / 8.0;
            let part = |a: f32, b: f32, c: f32, d: f32| {
                b + 0.5 * t * (c - a + t * (2.0 * a - 5.0 * b + 4.0 * c - d + t * (3.0 * (b - c) + d - a)))
            };
            points.push((b.0 * (c.0 / b.0).powf(t), part(a.1, b.1, c.1, d.1)));
        }
    }
    points.extend(values.last());
    points
}
