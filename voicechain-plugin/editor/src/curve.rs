//! The curve of one stage: what it does to frequencies, or to levels with where it is now.

use crate::axes::{Axes, curve_points, line};
use crate::look::{TINY, words, write};
use crate::{Designed, Pen, decay, detector, opened, strip, words as say};
use egui::{Align, Rect, Shape, Stroke, StrokeKind, Ui, pos2, vec2};
use voicechain_core::settings::StageId;

/// The levels that drive a dynamics stage, from the lowest to the highest that its curve shows, and what they are.
fn levels(stage: StageId) -> Option<(f64, f64, &'static str)> {
    // By id: a stage that is not there yet has its place.
    match stage.id() {
        "de_esser" => Some((-24.0, 24.0, "\u{201c}s\u{201d} against vowels, \u{2212}24 to +24 dB")),
        "limiter" => Some((-18.0, 6.0, "in and out, \u{2212}18 to +6 dBTP")),
        "compressor" => Some((-60.0, 0.0, "in and out, \u{2212}60 to 0 dB")),
        "expander" => Some((0.0, 48.0, "over the noise, 0 to 48 dB")),
        "leveller" => Some((-50.0, -8.0, "phrases in and out, \u{2212}50 to \u{2212}8 LUFS")),
        _ => None,
    }
}

/// A picture of an open row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Picture {
    /// Level in to level out.
    Levels,
    /// What it does to frequencies.
    Frequencies,
    /// What a detector listens to.
    Detector,
    /// How a room dies away.
    Decay,
}

/// The pictures of a stage.
pub(crate) fn pictures(stage: StageId) -> &'static [Picture] {
    match stage.id() {
        "de_esser" => &[Picture::Levels, Picture::Detector],
        "de_reverb" => &[Picture::Decay],
        _ if levels(stage).is_some() => &[Picture::Levels],
        _ if strip::bands().iter().any(|band| band.stage == stage) => &[Picture::Frequencies],
        _ => &[],
    }
}

/// Draws one into a square, with a line below it.
pub(crate) fn draw(ui: &Ui, picture: Picture, stage: StageId, rect: Rect, designed: &Designed, pen: &Pen<'_>) {
    let caption = match picture {
        Picture::Levels => {
            let (low, high, text) = levels(stage).unwrap_or((-60.0, 0.0, ""));
            over_levels(ui, stage, rect, [low, high], designed, pen);
            text.to_string()
        }
        Picture::Frequencies => {
            over_frequencies(ui, stage, rect, designed, pen);
            "0.1, 1, 10 kHz; 10 dB a line".into()
        }
        Picture::Detector => {
            detector::draw(ui, rect, designed, pen);
            detector::CAPTION.into()
        }
        Picture::Decay => {
            decay::draw(ui, rect, designed, pen);
            decay::caption(pen)
        }
    };
    write(ui.painter(), pos2(rect.left(), rect.bottom() + 14.0), Align::Min, caption, words(TINY), pen.look.quiet);
}

fn over_frequencies(ui: &Ui, stage: StageId, rect: Rect, designed: &Designed, pen: &Pen<'_>) {
    let look = pen.look;
    let painter = ui.painter().with_clip_rect(rect.expand(1.0));
    painter.rect(rect, 0.0, look.field, (1.0, look.rule), StrokeKind::Inside);
    let axes = Axes { rect, db: 15.0 };
    for db in [-10.0, 0.0, 10.0] {
        painter.hline(rect.x_range(), axes.y(db), (1.0, look.rule));
    }
    for hz in [100.0, 1_000.0, 10_000.0] {
        painter.vline(axes.x(hz), rect.y_range(), (1.0, look.rule));
    }
    let points = curve_points().map(|hz| {
        let db = designed.coefs.stage_response(stage, f64::from(hz)).db().max(-60.0) as f32;
        pos2(axes.x(hz), axes.y(db))
    });
    line(&painter, points.collect(), 2.0, look.after);
}

/// Level in to level out.
fn over_levels(ui: &Ui, stage: StageId, rect: Rect, [low, high]: [f64; 2], designed: &Designed, pen: &Pen<'_>) {
    let look = pen.look;
    let painter = ui.painter().with_clip_rect(rect.expand(1.0));
    painter.rect(rect, 0.0, look.field, (1.0, look.rule), StrokeKind::Inside);
    let at = |input: f64, output: f64| {
        let share = |level: f64| ((level - low) / (high - low)) as f32;
        pos2(rect.left() + rect.width() * share(input), rect.bottom() - rect.height() * share(output))
    };
    for n in 1..4 {
        let level = low + (high - low) * 0.25 * f64::from(n);
        painter.hline(rect.x_range(), at(low, level).y, (1.0, look.rule));
        painter.vline(at(level, low).x, rect.y_range(), (1.0, look.rule));
    }
    painter.extend(Shape::dashed_line(&[at(low, low), at(high, high)], Stroke::new(1.0, look.quiet), 4.0, 3.0));
    let gain = |level: f64| designed.coefs.stage_gain_db(stage, level);
    let levels = || (0..=120).map(|n| low + (high - low) * f64::from(n) / 120.0);
    line(&painter, levels().map(|level| at(level, level + gain(level))).collect(), 2.0, look.after);
    // Where on its curve it is now: where it would take as much in rest.
    let taken = pen.shown.history.now().map_or(0.0, |moment| moment.taken(stage));
    if taken.abs() < 0.05 || !pen.is_on(stage) {
        return;
    }
    let reaches = |level: &f64| if taken > 0.0 { -gain(*level) >= taken } else { gain(*level) >= -taken };
    let found = if gain(low) < gain(high) { levels().rfind(reaches) } else { levels().find(reaches) };
    let Some(level) = found else { return };
    let ink = if taken > 0.0 { look.takes } else { look.gives };
    let (from, to) = (at(level, level), at(level, level - taken));
    painter.line_segment([from, to], (2.0, ink));
    painter.circle_filled(to, 4.0, ink);
    opened::mark(ui, to + vec2(9.0, 13.0), &say::signed(-taken, 1), ink);
}
