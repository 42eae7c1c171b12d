//! Tonal balance of the voice relative to published speech, with the findings.

use crate::axes::{Axes, HIGH_HZ, LOW_HZ, NAMED, fill_between, line, scale};
use crate::bands::response_db;
use crate::draw_context::DrawContext;
use crate::formatting;
use crate::page::Page;
use crate::style::{SMALL, TINY, number_font, text_font, width, write};
use crate::widgets::{hover_position, readout};
use egui::{Align, Pos2, Rect, Shape, Stroke, Ui, pos2, vec2};
use voicechain_core::speech::{BYRNE_1994_COMBINED, SPEAKER_SD_DB, SPEAKER_SD_FIRST_BAND};

/// Range of the level axis to either side of 0, dB.
const TONAL_BALANCE_DB: f32 = 13.0;
/// Frequency ratio of half a third octave.
const HALF_BAND: f32 = 1.122_018_5;

impl Page {
    pub(crate) fn tonal_balance(&mut self, ui: &mut Ui, rect: Rect, cx: &mut DrawContext<'_>) {
        let palette = cx.palette;
        let axes = Axes { rect, db: TONAL_BALANCE_DB };
        let base = rect.top() - 8.0;
        let long = "the voice against published speech (band: how far speakers differ)";
        let text = if rect.width() > 560.0 { long } else { "the voice against published speech" };
        write(ui.painter(), pos2(rect.left(), base), Align::Min, text, text_font(SMALL), palette.quiet);
        write(ui.painter(), pos2(rect.left() - 8.0, base), Align::Max, "dB", text_font(TINY), palette.quiet);
        let painter = ui.painter().with_clip_rect(rect);
        // Outside the published bands, the nearest value is used.
        let spread =
            |band: usize| SPEAKER_SD_DB[band.saturating_sub(SPEAKER_SD_FIRST_BAND).min(SPEAKER_SD_DB.len() - 1)] as f32;
        let middles = BYRNE_1994_COMBINED.iter().enumerate().map(|(band, (hz, _))| (*hz as f32, spread(band)));
        let (low, high) = ((LOW_HZ, spread(0)), (HIGH_HZ, spread(BYRNE_1994_COMBINED.len())));
        let band: Vec<(f32, f32)> = std::iter::once(low).chain(middles).chain([high]).collect();
        let edge = |sign: f32| band.iter().map(|(hz, db)| axes.at(*hz, sign * db)).collect::<Vec<Pos2>>();
        fill_between(&painter, &edge(1.0), &edge(-1.0), palette.band);
        for sign in [1.0, -1.0] {
            line(&painter, edge(sign), 1.0, palette.rule);
        }
        for (hz, _) in NAMED {
            painter.vline(axes.x(hz), rect.y_range(), (1.0, palette.rule.gamma_multiply(0.7)));
        }
        painter.hline(rect.x_range(), axes.y(0.0), (1.0, palette.rule));
        scale(ui.painter(), &axes, &palette);
        match cx.view.profile.and_then(|profile| Some((profile, profile.tonal_balance.ok()?))) {
            Some((profile, tonal_balance)) => {
                let mut x = rect.right();
                for (name, thick, ink) in [("after", 2.0, palette.accent), ("before", 1.0, palette.quiet)] {
                    let word = write(ui.painter(), pos2(x, base), Align::Max, name, text_font(SMALL), ink);
                    ui.painter().hline(word.left() - 22.0..=word.left() - 6.0, base - 4.0, (thick, ink));
                    x = word.left() - 36.0;
                }
                self.spectrum(ui, &axes, &tonal_balance.deviation_db, cx);
                self.findings(ui, &axes, profile, cx);
            }
            None => {
                let text = match (cx.view.measuring, cx.view.profile) {
                    (true, _) => "measuring: the voice appears here after a few seconds",
                    (false, Some(_)) => "too little of the voice was heard to draw it",
                    (false, None) => "no voice measured yet: press \u{201c}measure\u{201d} and play it",
                };
                // On the background colour, so that no line crosses the text.
                let at = rect.center();
                let size = vec2(width(ui.painter(), text, text_font(SMALL)) + 24.0, 24.0);
                ui.painter().rect_filled(Rect::from_center_size(at, size), 3.0, palette.paper);
                write(ui.painter(), at + vec2(0.0, 4.0), Align::Center, text, text_font(SMALL), palette.quiet);
            }
        }
        self.tonal_balance_readout(ui, &axes, cx);
    }

    /// Draws the voice before the strip as third-octave steps, and after it as a smooth line.
    fn spectrum(&self, ui: &Ui, axes: &Axes, deviation: &[Option<f64>], cx: &DrawContext<'_>) {
        let palette = cx.palette;
        let painter = ui.painter().with_clip_rect(axes.rect.expand(1.0));
        let (mut steps, mut after, mut beyond) = (Vec::new(), Vec::new(), Vec::new());
        for (band, ((hz, _), db)) in BYRNE_1994_COMBINED.iter().zip(deviation).enumerate() {
            let hz = *hz as f32;
            let Some(db) = db else {
                line(&painter, std::mem::take(&mut steps), 1.0, palette.quiet);
                continue;
            };
            let db = *db as f32;
            steps.extend([axes.at(hz / HALF_BAND, db), axes.at(hz * HALF_BAND, db)]);
            let change = self.design.as_ref().map_or(0.0, |design| response_db(&design.coefs, f64::from(hz)));
            after.push((hz, db + change as f32));
            if db.abs() > axes.db {
                // One mark for adjacent bands on the same side, with the largest deviation.
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
        line(&painter, steps, 1.0, palette.quiet);
        let points = smooth(&after);
        line(
            &painter,
            points.into_iter().map(|(hz, db)| pos2(axes.x(hz), axes.y(db.max(-40.0)))).collect(),
            2.0,
            palette.accent,
        );
        // Deviations beyond the scale are marked with their value.
        for (_, hz, db) in beyond {
            let (up, right) = (db > 0.0, axes.x(hz) > axes.rect.right() - 50.0);
            let at = axes.at(hz, db) + vec2(0.0, if up { 8.0 } else { -8.0 });
            let text = if db.is_finite() { formatting::signed(f64::from(db), 0) } else { "\u{2212}\u{221e}".into() };
            let wide = width(ui.painter(), &text, number_font(TINY)) + 18.0;
            let chip = Rect::from_min_size(pos2(if right { at.x - wide } else { at.x }, at.y - 7.0), vec2(wide, 14.0));
            painter.rect_filled(chip, 2.0, palette.paper);
            let tip = if up { -4.0 } else { 4.0 };
            let middle = pos2(chip.left() + 7.0, at.y);
            let corners = vec![middle + vec2(0.0, tip), middle + vec2(4.0, -tip), middle + vec2(-4.0, -tip)];
            painter.add(Shape::convex_polygon(corners, palette.reduction, Stroke::NONE));
            write(&painter, pos2(chip.left() + 14.0, at.y + 4.0), Align::Min, text, number_font(TINY), palette.ink);
        }
    }

    /// Shows a readout at the pointer.
    fn tonal_balance_readout(&mut self, ui: &Ui, axes: &Axes, cx: &DrawContext<'_>) {
        // Over a button, the hint line is already in use.
        let Some(at) = hover_position(ui, axes.rect).filter(|_| self.hint.is_empty()) else { return };
        let hz = axes.hz(at.x);
        let nearest = BYRNE_1994_COMBINED.iter().position(|(centre, _)| (*centre as f32 / hz).ln().abs() < 0.116);
        let tonal_balance = cx.view.profile.and_then(|profile| profile.tonal_balance.ok());
        let before = nearest.and_then(|band| Some((band, tonal_balance?.deviation_db[band]?)));
        let mut text = formatting::hertz(f64::from(hz));
        if let (Some((band, before)), Some(design)) = (before, &self.design) {
            let after = before + response_db(&design.coefs, BYRNE_1994_COMBINED[band].0);
            text =
                format!("{text}  before {}  after {} dB", formatting::signed(before, 1), formatting::signed(after, 1));
            self.hint = "against published speech: before, and after the strip".into();
        }
        ui.painter().vline(at.x, axes.rect.y_range(), (1.0, cx.palette.quiet.gamma_multiply(0.4)));
        readout(ui, at, axes.rect, &text, cx);
    }
}

/// Points on a smooth line through third-octave values (Catmull-Rom spline).
fn smooth(values: &[(f32, f32)]) -> Vec<(f32, f32)> {
    let mut points = Vec::new();
    for n in 0..values.len().saturating_sub(1) {
        let at = |k: isize| values[(n as isize + k).clamp(0, values.len() as isize - 1) as usize];
        let [a, b, c, d] = [at(-1), at(0), at(1), at(2)];
        for step in 0..8 {
            let t = step as f32 / 8.0;
            let interpolate = |a: f32, b: f32, c: f32, d: f32| {
                b + 0.5 * t * (c - a + t * (2.0 * a - 5.0 * b + 4.0 * c - d + t * (3.0 * (b - c) + d - a)))
            };
            points.push((b.0 * (c.0 / b.0).powf(t), interpolate(a.1, b.1, c.1, d.1)));
        }
    }
    points.extend(values.last());
    points
}
