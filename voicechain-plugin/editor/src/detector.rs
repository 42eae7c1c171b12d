//! De-esser plot, 1 to 18 kHz: sibilant band of the detector, response at maximum gain reduction, and measured
//! frequency of the sibilants.

use crate::axes::{HIGH_HZ, fill_between, line};
use crate::draw_context::{DrawContext, row_of};
use crate::formatting;
use crate::strip_design::StripDesign;
use crate::style::{TINY, text_font, write};
use egui::{Align, Rect, Shape, Stroke, StrokeKind, Ui, pos2};
use voicechain_core::settings::StageId;

/// Lower end of the frequency axis and grid lines, Hz.
const LOW_HZ: f32 = 1_000.0;
const LINES: [f32; 4] = [2_000.0, 4_000.0, 8_000.0, 16_000.0];
/// Ends of the level scale, dB; grid lines every 6 dB.
const TOP_DB: f32 = 6.0;
const BOTTOM_DB: f32 = -30.0;
const POINTS: usize = 80;

pub(crate) const CAPTION: &str = "2, 4, 8, 16 kHz; 6 dB a line";

pub(crate) fn draw(ui: &Ui, rect: Rect, design: &StripDesign, cx: &DrawContext<'_>) {
    let (palette, coefs) = (cx.palette, &design.coefs);
    let painter = ui.painter().with_clip_rect(rect.expand(1.0));
    painter.rect(rect, 0.0, palette.field, (1.0, palette.rule), StrokeKind::Inside);
    let x = |hz: f32| rect.left() + rect.width() * (hz / LOW_HZ).ln() / (HIGH_HZ / LOW_HZ).ln();
    let y = |db: f32| {
        let share = (TOP_DB - db.clamp(BOTTOM_DB - 6.0, TOP_DB)) / (TOP_DB - BOTTOM_DB);
        rect.top() + rect.height() * share
    };
    let hertz = || (0..POINTS).map(|n| LOW_HZ * (HIGH_HZ / LOW_HZ).powf(n as f32 / (POINTS - 1) as f32));
    let band: Vec<_> = hertz().map(|hz| pos2(x(hz), y(coefs.sibilant_response(f64::from(hz)).db() as f32))).collect();
    let baseline: Vec<_> = band.iter().map(|at| pos2(at.x, rect.bottom())).collect();
    fill_between(&painter, &band, &baseline, palette.band);
    for db in [0.0, -6.0, -12.0, -18.0, -24.0] {
        painter.hline(rect.x_range(), y(db), (1.0, palette.rule));
    }
    for hz in LINES {
        painter.vline(x(hz), rect.y_range(), (1.0, palette.rule));
    }
    line(&painter, band, 1.0, palette.quiet);
    let range_db = row_of(StageId::DeEsser, "range_db").map_or(0.0, |(row, _)| cx.value(StageId::DeEsser, row));
    let max_reduction = |hz: f32| pos2(x(hz), y(coefs.de_esser_response(f64::from(hz), range_db).db() as f32));
    line(&painter, hertz().map(max_reduction).collect(), 2.0, palette.accent);
    let write = |at, align, text: &str, ink| {
        write(&painter, at, align, text, text_font(TINY), ink);
    };
    write(pos2(x(LOW_HZ) + 4.0, y(0.0) - 4.0), Align::Min, "at most", palette.accent);
    write(pos2(x(6_300.0), rect.bottom() - 20.0), Align::Center, "listens", palette.ink);
    let measured = cx.view.profile.and_then(|profile| profile.sibilance.ok());
    if let Some(sibilance) = measured {
        let at = x((sibilance.frequency_hz as f32).clamp(LOW_HZ, HIGH_HZ));
        painter.add(Shape::dashed_line(
            &[pos2(at, rect.top() + 16.0), pos2(at, rect.bottom())],
            Stroke::new(1.5, palette.reduction),
            3.0,
            2.0,
        ));
        let text = format!("\u{201c}s\u{201d} at {}", formatting::hertz(sibilance.frequency_hz));
        write(pos2(at.min(rect.right() - 38.0), rect.top() + 12.0), Align::Center, &text, palette.ink);
    }
}
