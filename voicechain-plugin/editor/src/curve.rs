//! Plots of one stage: frequency response, or transfer curve with the current operating point.

use crate::axes::{Axes, curve_points, line};
use crate::draw_context::DrawContext;
use crate::strip_design::StripDesign;
use crate::style::{TINY, text_font, write};
use crate::widgets::value_label;
use crate::{decay, detector, formatting};
use egui::{Align, Rect, Shape, Stroke, StrokeKind, Ui, pos2, vec2};
use voicechain_core::settings::StageId;

/// Range of levels that drive a dynamics stage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct LevelRange {
    /// Lowest and highest level of the curve, dB.
    ends_db: [f64; 2],
    /// Caption that names the levels.
    caption: &'static str,
}

/// Kind of plot in an open row.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Plot {
    /// Output level over input level.
    TransferCurve(LevelRange),
    /// Gain over frequency.
    FrequencyResponse,
    /// Sibilant band and response of the de-esser.
    Detector,
    /// Decay of the reverberation.
    Decay,
}

/// Transfer curve of a dynamics stage.
const fn transfer_curve(low_db: f64, high_db: f64, caption: &'static str) -> Plot {
    Plot::TransferCurve(LevelRange { ends_db: [low_db, high_db], caption })
}

/// Plots of a stage.
pub(crate) const fn plots(stage: StageId) -> &'static [Plot] {
    match stage {
        StageId::Trim | StageId::Hum | StageId::Output => &[],
        StageId::HighPass | StageId::CorrectiveEq | StageId::ToneEq => &[Plot::FrequencyResponse],
        StageId::DeReverb => &[Plot::Decay],
        StageId::Expander => const { &[transfer_curve(0.0, 48.0, "over the noise, 0 to 48 dB")] },
        StageId::Leveller => {
            const { &[transfer_curve(-50.0, -8.0, "phrases in and out, \u{2212}50 to \u{2212}8 LUFS")] }
        }
        StageId::DeEsser => {
            const { &[transfer_curve(-24.0, 24.0, "\u{201c}s\u{201d} against vowels, \u{2212}24 to +24 dB"), Plot::Detector] }
        }
        StageId::Compressor => const { &[transfer_curve(-60.0, 0.0, "in and out, \u{2212}60 to 0 dB")] },
        StageId::Limiter => const { &[transfer_curve(-18.0, 6.0, "in and out, \u{2212}18 to +6 dBTP")] },
    }
}

/// Draws a plot into a square, with a caption below it.
pub(crate) fn draw(ui: &Ui, plot: Plot, stage: StageId, rect: Rect, design: &StripDesign, cx: &DrawContext<'_>) {
    let caption = match plot {
        Plot::TransferCurve(levels) => {
            draw_transfer_curve(ui, stage, rect, levels.ends_db, design, cx);
            levels.caption.into()
        }
        Plot::FrequencyResponse => {
            draw_frequency_response(ui, stage, rect, design, cx);
            "0.1, 1, 10 kHz; 10 dB a line".into()
        }
        Plot::Detector => {
            detector::draw(ui, rect, design, cx);
            detector::CAPTION.into()
        }
        Plot::Decay => {
            decay::draw(ui, rect, design, cx);
            decay::caption(design, cx)
        }
    };
    write(
        ui.painter(),
        pos2(rect.left(), rect.bottom() + 14.0),
        Align::Min,
        caption,
        text_font(TINY),
        cx.palette.quiet,
    );
}

fn draw_frequency_response(ui: &Ui, stage: StageId, rect: Rect, design: &StripDesign, cx: &DrawContext<'_>) {
    let palette = cx.palette;
    let painter = ui.painter().with_clip_rect(rect.expand(1.0));
    painter.rect(rect, 0.0, palette.field, (1.0, palette.rule), StrokeKind::Inside);
    let axes = Axes { rect, db: 15.0 };
    for db in [-10.0, 0.0, 10.0] {
        painter.hline(rect.x_range(), axes.y(db), (1.0, palette.rule));
    }
    for hz in [100.0, 1_000.0, 10_000.0] {
        painter.vline(axes.x(hz), rect.y_range(), (1.0, palette.rule));
    }
    let points = curve_points().map(|hz| {
        let db = design.coefs.stage_response(stage, f64::from(hz)).db().max(-60.0) as f32;
        pos2(axes.x(hz), axes.y(db))
    });
    line(&painter, points.collect(), 2.0, palette.accent);
}

/// Draws the transfer curve: output level over input level, with the current operating point.
fn draw_transfer_curve(
    ui: &Ui,
    stage: StageId,
    rect: Rect,
    [low, high]: [f64; 2],
    design: &StripDesign,
    cx: &DrawContext<'_>,
) {
    let palette = cx.palette;
    let painter = ui.painter().with_clip_rect(rect.expand(1.0));
    painter.rect(rect, 0.0, palette.field, (1.0, palette.rule), StrokeKind::Inside);
    let at = |input: f64, output: f64| {
        let share = |level: f64| ((level - low) / (high - low)) as f32;
        pos2(rect.left() + rect.width() * share(input), rect.bottom() - rect.height() * share(output))
    };
    for n in 1..4 {
        let level = low + (high - low) * 0.25 * f64::from(n);
        painter.hline(rect.x_range(), at(low, level).y, (1.0, palette.rule));
        painter.vline(at(level, low).x, rect.y_range(), (1.0, palette.rule));
    }
    painter.extend(Shape::dashed_line(&[at(low, low), at(high, high)], Stroke::new(1.0, palette.quiet), 4.0, 3.0));
    let gain = |level: f64| design.coefs.stage_gain_db(stage, level);
    let levels = || (0..=120).map(|n| low + (high - low) * f64::from(n) / 120.0);
    line(&painter, levels().map(|level| at(level, level + gain(level))).collect(), 2.0, palette.accent);
    // Operating point: the input level at which the static curve has the current gain reduction.
    let reduction_db = cx.view.history.now().map_or(0.0, |point| point.reduction(stage));
    if reduction_db.abs() < 0.05 || !cx.acts(stage) {
        return;
    }
    let reaches =
        |level: &f64| if reduction_db > 0.0 { -gain(*level) >= reduction_db } else { gain(*level) >= -reduction_db };
    let found = if gain(low) < gain(high) { levels().rfind(reaches) } else { levels().find(reaches) };
    let Some(level) = found else { return };
    let ink = if reduction_db > 0.0 { palette.reduction } else { palette.boost };
    let (from, to) = (at(level, level), at(level, level - reduction_db));
    painter.line_segment([from, to], (2.0, ink));
    painter.circle_filled(to, 4.0, ink);
    value_label(ui, to + vec2(9.0, 13.0), &formatting::signed(-reduction_db, 1), ink);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bands::bands;

    #[test]
    fn stages_with_bands_show_a_frequency_response() {
        for &stage in StageId::ALL {
            let has_band = bands().iter().any(|band| band.stage == stage);
            assert_eq!(plots(stage).contains(&Plot::FrequencyResponse), has_band, "{stage:?}");
        }
    }
}
