//! How the room dies away, and what the de-reverb leaves of it: a straight line in decibels by the set decay time, beside
//! it the measured one; from the late part on, what is taken at most.

use crate::axes::{fill_between, line};
use crate::designed::Designed;
use crate::look::{TINY, numbers, words, write};
use crate::pen::{Pen, row_of};
use crate::words as say;
use egui::{Align, Rect, Shape, Stroke, StrokeKind, Ui, pos2};
use voicechain_core::settings::StageId;

/// Lower end of the scale, dB, with a line each fifteen.
const BOTTOM_DB: f64 = -60.0;
/// Ends that the time may have, s.
const SPANS_S: [f64; 4] = [0.25, 0.5, 1.0, 2.0];

/// What stands below it.
pub(crate) fn caption(pen: &Pen<'_>) -> String {
    format!("0 to {} s; 15 dB a line", say::number(span_s(pen), 2))
}

fn set_s(pen: &Pen<'_>) -> f64 {
    let decay = row_of(StageId::DeReverb, "decay_ms").map(|(row, _)| pen.value(StageId::DeReverb, row));
    1e-3 * decay.unwrap_or(500.0)
}

fn measured_s(pen: &Pen<'_>) -> Option<f64> {
    let room = pen.shown.profile.and_then(|profile| profile.room.ok());
    room.map(|room| room.decay_time_s).filter(|seconds| seconds.is_finite() && *seconds > 0.0)
}

fn span_s(pen: &Pen<'_>) -> f64 {
    let longest = set_s(pen).max(measured_s(pen).unwrap_or(0.0));
    SPANS_S.into_iter().find(|span| *span >= longest).unwrap_or(SPANS_S[SPANS_S.len() - 1])
}

pub(crate) fn draw(ui: &Ui, rect: Rect, designed: &Designed, pen: &Pen<'_>) {
    let look = pen.look;
    let painter = ui.painter().with_clip_rect(rect.expand(1.0));
    painter.rect(rect, 0.0, look.field, (1.0, look.rule), StrokeKind::Inside);
    let span = span_s(pen);
    let at = |seconds: f64, db: f64| {
        let (x, y) = ((seconds / span) as f32, (db / BOTTOM_DB) as f32);
        pos2(rect.left() + rect.width() * x, rect.top() + rect.height() * y)
    };
    for n in 1..4 {
        let share = 0.25 * f64::from(n);
        painter.hline(rect.x_range(), at(0.0, share * BOTTOM_DB).y, (1.0, look.rule));
        painter.vline(at(share * span, 0.0).x, rect.y_range(), (1.0, look.rule));
    }
    let late = designed.coefs.late_sound().filter(|late| late.most_taken_db > 0.005);
    let decay_s = designed.coefs.late_sound().map_or_else(|| set_s(pen), |late| late.decay_s);
    let falls = |seconds: f64| BOTTOM_DB * seconds / decay_s;
    let words = |at, align, text: &str, ink| {
        write(&painter, at, align, text, words(TINY), ink);
    };
    if let Some(measured) = measured_s(pen) {
        // Its end is marked even where the two lines are one.
        let end = at(measured, BOTTOM_DB);
        painter.add(Shape::dashed_line(&[at(0.0, 0.0), end], Stroke::new(1.5, look.quiet), 2.0, 3.0));
        painter.vline(end.x, end.y - 6.0..=end.y, (2.5, look.takes));
        let text = format!("measured {} s", say::number(measured, 2));
        words(pos2(rect.right() - 5.0, rect.top() + 29.0), Align::Max, &text, look.ink);
    }
    match late {
        None => {
            line(&painter, vec![at(0.0, 0.0), at(decay_s, BOTTOM_DB)], 2.0, look.after);
            words(pos2(rect.right() - 5.0, rect.top() + 15.0), Align::Max, "nothing is taken", look.quiet);
        }
        Some(late) => {
            let begins = late.begins_s.min(decay_s);
            let room = [at(begins, falls(begins)), at(decay_s, BOTTOM_DB)];
            let left = [at(begins, falls(begins) - late.most_taken_db), at(decay_s, BOTTOM_DB - late.most_taken_db)];
            fill_between(&painter, &room, &left, look.takes.gamma_multiply(0.25));
            painter.add(Shape::dashed_line(&room, Stroke::new(1.0, look.quiet), 4.0, 3.0));
            line(&painter, [&[at(0.0, 0.0), room[0]][..], &left].concat(), 2.0, look.after);
            // Upright, from one line to the other, where there is room for its number.
            let middle = begins + 0.4 * (decay_s - begins);
            let (above, below) = (at(middle, falls(middle)), at(middle, falls(middle) - late.most_taken_db));
            painter.line_segment([above, below], (1.5, look.takes));
            let text = say::signed(-late.most_taken_db, 1);
            write(&painter, above + egui::vec2(5.0, -2.0), Align::Min, text, numbers(TINY), look.takes);
            let text = format!("at most, from {} ms on", say::number(1e3 * late.begins_s, 0));
            words(pos2(rect.right() - 5.0, rect.top() + 15.0), Align::Max, &text, look.quiet);
        }
    }
}
