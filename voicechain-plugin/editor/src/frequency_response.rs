//! Frequency response of the strip, with a handle for every band.

use crate::axes::{Axes, NAMED, curve_points, line, scale};
use crate::band_handle::describe;
use crate::bands::{bands, response_db};
use crate::draw_context::DrawContext;
use crate::formatting;
use crate::page::Page;
use crate::style::{SMALL, TINY, text_font, write};
use crate::widgets::{hover_position, readout};
use egui::{Align, Pos2, Rect, Shape, Stroke, Ui, pos2};

/// Range of the level axis to either side of 0, dB.
pub(crate) const RESPONSE_DB: f32 = 13.0;

impl Page {
    pub(crate) fn frequency_response(&mut self, ui: &mut Ui, rect: Rect, cx: &mut DrawContext<'_>) {
        let palette = cx.palette;
        let axes = Axes { rect, db: RESPONSE_DB };
        let painter = ui.painter().with_clip_rect(rect.expand(1.0));
        let title = pos2(rect.left(), rect.top() - 8.0);
        write(ui.painter(), title, Align::Min, "what the strip does", text_font(SMALL), palette.quiet);
        for (hz, name) in NAMED {
            painter.vline(axes.x(hz), rect.y_range(), (1.0, palette.rule.gamma_multiply(0.7)));
            let at = pos2(axes.x(hz), rect.bottom() + 15.0);
            write(ui.painter(), at, Align::Center, name, text_font(TINY), palette.quiet);
        }
        write(
            ui.painter(),
            pos2(rect.left() - 8.0, rect.bottom() + 15.0),
            Align::Max,
            "Hz",
            text_font(TINY),
            palette.quiet,
        );
        painter.hline(rect.x_range(), axes.y(0.0), (1.0, palette.rule));
        scale(ui.painter(), &axes, &palette);
        if let Some(proposed) = &self.proposed_design {
            let points: Vec<Pos2> = curve_points().zip(&proposed.curve).map(|(hz, db)| axes.at(hz, *db)).collect();
            painter.extend(Shape::dashed_line(&points, Stroke::new(1.5, palette.boost), 5.0, 3.0));
        }
        if let Some(design) = &self.design {
            // Values off the scale leave the plot instead of running along its edge.
            let points = curve_points().zip(&design.curve).map(|(hz, db)| pos2(axes.x(hz), axes.y(db.max(-60.0))));
            line(&painter, points.collect(), 2.0, palette.accent);
        }
        let mut readout_at = None;
        for (n, band) in bands().iter().enumerate() {
            if let Some(at) = self.handle(ui, n, band, &axes, cx) {
                readout_at = Some((at, band));
            }
        }
        match readout_at {
            Some((at, band)) => readout(ui, at, rect, &describe(band, cx), cx),
            None => self.response_readout(ui, &axes, cx),
        }
    }

    /// Shows the response at the pointer.
    fn response_readout(&self, ui: &Ui, axes: &Axes, cx: &DrawContext<'_>) {
        let Some(at) = hover_position(ui, axes.rect) else { return };
        let (Some(design), hz) = (&self.design, f64::from(axes.hz(at.x))) else { return };
        let db = response_db(&design.coefs, hz);
        let y = axes.y_inside(db as f32);
        ui.painter().circle_filled(pos2(at.x, y), 3.0, cx.palette.accent);
        let text = format!("{}  {} dB", formatting::hertz(hz), formatting::signed(db, 1));
        readout(ui, pos2(at.x, y), axes.rect, &text, cx);
    }
}
