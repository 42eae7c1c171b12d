//! Decay plot of the de-reverb: level over time for the modelled and the measured decay time, as straight lines in dB.
//! The stage models late reverberation with a multiple of the set decay time. Late reverberation is shown with its
//! maximum attenuation.

use crate::axes::{fill_between, line};
use crate::draw_context::{DrawContext, row_of};
use crate::formatting;
use crate::strip_design::StripDesign;
use crate::style::{TINY, number_font, text_font, write};
use egui::{Align, Rect, Shape, Stroke, StrokeKind, Ui, pos2};
use voicechain_core::format::quantity;
use voicechain_core::settings::StageId;

/// Lower end of the level scale, dB; grid lines every 15 dB.
const BOTTOM_DB: f64 = -60.0;
/// Possible lengths of the time axis, s.
const SPANS_S: [f64; 5] = [0.25, 0.5, 1.0, 2.0, 4.0];

/// Caption below the plot.
pub(crate) fn caption(design: &StripDesign, cx: &DrawContext<'_>) -> String {
    format!("0 to {}; 15 dB a line", quantity(span_s(design, cx), "s"))
}

/// Decay time of the model; the set one while the stage does not run.
fn modelled_s(design: &StripDesign, cx: &DrawContext<'_>) -> f64 {
    design.coefs.late_reverberation().map_or_else(|| set_s(cx), |late| late.decay_s)
}

fn set_s(cx: &DrawContext<'_>) -> f64 {
    let decay = row_of(StageId::DeReverb, "decay_ms").map(|(row, _)| cx.value(StageId::DeReverb, row));
    1e-3 * decay.unwrap_or(500.0)
}

fn measured_s(cx: &DrawContext<'_>) -> Option<f64> {
    let reverberation = cx.view.profile.and_then(|profile| profile.reverberation.ok());
    reverberation
        .map(|reverberation| reverberation.decay_time_s)
        .filter(|seconds| seconds.is_finite() && *seconds > 0.0)
}

fn span_s(design: &StripDesign, cx: &DrawContext<'_>) -> f64 {
    let decay_s = modelled_s(design, cx).max(measured_s(cx).unwrap_or(0.0));
    SPANS_S.into_iter().find(|span| *span >= decay_s).unwrap_or(SPANS_S[SPANS_S.len() - 1])
}

pub(crate) fn draw(ui: &Ui, rect: Rect, design: &StripDesign, cx: &DrawContext<'_>) {
    let palette = cx.palette;
    let painter = ui.painter().with_clip_rect(rect.expand(1.0));
    painter.rect(rect, 0.0, palette.field, (1.0, palette.rule), StrokeKind::Inside);
    let span = span_s(design, cx);
    let at = |seconds: f64, db: f64| {
        let (x, y) = ((seconds / span) as f32, (db / BOTTOM_DB) as f32);
        pos2(rect.left() + rect.width() * x, rect.top() + rect.height() * y)
    };
    for n in 1..4 {
        let share = 0.25 * f64::from(n);
        painter.hline(rect.x_range(), at(0.0, share * BOTTOM_DB).y, (1.0, palette.rule));
        painter.vline(at(share * span, 0.0).x, rect.y_range(), (1.0, palette.rule));
    }
    let late = design.coefs.late_reverberation().filter(|late| late.max_attenuation_db > 0.005);
    let decay_s = modelled_s(design, cx);
    let level_db = |seconds: f64| BOTTOM_DB * seconds / decay_s;
    let label = |at, align, text: &str, ink| {
        write(&painter, at, align, text, text_font(TINY), ink);
    };
    if let Some(measured) = measured_s(cx) {
        // Its end is marked, so that it is visible even if both lines coincide.
        let end = at(measured, BOTTOM_DB);
        painter.add(Shape::dashed_line(&[at(0.0, 0.0), end], Stroke::new(1.5, palette.quiet), 2.0, 3.0));
        painter.vline(end.x, end.y - 6.0..=end.y, (2.5, palette.reduction));
        let text = format!("measured {}", quantity(measured, "s"));
        label(pos2(rect.right() - 5.0, rect.top() + 29.0), Align::Max, &text, palette.ink);
    }
    match late {
        None => {
            line(&painter, vec![at(0.0, 0.0), at(decay_s, BOTTOM_DB)], 2.0, palette.accent);
            label(pos2(rect.right() - 5.0, rect.top() + 15.0), Align::Max, "nothing is taken", palette.quiet);
        }
        Some(late) => {
            let onset = late.onset_s.min(decay_s);
            let reverberation = [at(onset, level_db(onset)), at(decay_s, BOTTOM_DB)];
            let remaining = [
                at(onset, level_db(onset) - late.max_attenuation_db),
                at(decay_s, BOTTOM_DB - late.max_attenuation_db),
            ];
            fill_between(&painter, &reverberation, &remaining, palette.reduction.gamma_multiply(0.25));
            painter.add(Shape::dashed_line(&reverberation, Stroke::new(1.0, palette.quiet), 4.0, 3.0));
            line(&painter, [&[at(0.0, 0.0), reverberation[0]][..], &remaining].concat(), 2.0, palette.accent);
            // Vertical mark of the attenuation between both lines, with its value beside it.
            let middle = onset + 0.4 * (decay_s - onset);
            let (above, below) = (at(middle, level_db(middle)), at(middle, level_db(middle) - late.max_attenuation_db));
            painter.line_segment([above, below], (1.5, palette.reduction));
            let text = formatting::signed(-late.max_attenuation_db, 1);
            write(&painter, above + egui::vec2(5.0, -2.0), Align::Min, text, number_font(TINY), palette.reduction);
            let text = format!("at most, from {} on", quantity(late.onset_s, "s"));
            label(pos2(rect.right() - 5.0, rect.top() + 15.0), Align::Max, &text, palette.quiet);
        }
    }
}
