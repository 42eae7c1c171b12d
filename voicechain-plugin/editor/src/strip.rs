//! What the strip does to frequencies: one line, with a handle for every band.

use crate::axes::{Axes, NAMED, curve_points, line, scale};
use crate::band_handle::describe;
use crate::bands::{bands, shape_db};
use crate::look::{SMALL, TINY, words, write};
use crate::page::Page;
use crate::pen::Pen;
use crate::widgets::{pointer, readout};
use crate::words as say;
use egui::{Align, Pos2, Rect, Shape, Stroke, Ui, pos2};

/// Decibels to either side.
pub(crate) const STRIP_DB: f32 = 13.0;

impl Page {
    pub(crate) fn strip(&mut self, ui: &mut Ui, rect: Rect, pen: &mut Pen<'_>) {
        let look = pen.look;
        let axes = Axes { rect, db: STRIP_DB };
        let painter = ui.painter().with_clip_rect(rect.expand(1.0));
        let title = pos2(rect.left(), rect.top() - 8.0);
        write(ui.painter(), title, Align::Min, "what the strip does", words(SMALL), look.quiet);
        for (hz, name) in NAMED {
            painter.vline(axes.x(hz), rect.y_range(), (1.0, look.rule.gamma_multiply(0.7)));
            let at = pos2(axes.x(hz), rect.bottom() + 15.0);
            write(ui.painter(), at, Align::Center, name, words(TINY), look.quiet);
        }
        write(ui.painter(), pos2(rect.left() - 8.0, rect.bottom() + 15.0), Align::Max, "Hz", words(TINY), look.quiet);
        painter.hline(rect.x_range(), axes.y(0.0), (1.0, look.rule));
        scale(ui.painter(), &axes, &look);
        if let Some(proposed) = &self.proposed {
            let points: Vec<Pos2> = curve_points().zip(&proposed.curve).map(|(hz, db)| axes.at(hz, *db)).collect();
            painter.extend(Shape::dashed_line(&points, Stroke::new(1.5, look.gives), 5.0, 3.0));
        }
        if let Some(designed) = &self.designed {
            // What falls out of the picture is not drawn along its edge.
            let points = curve_points().zip(&designed.curve).map(|(hz, db)| pos2(axes.x(hz), axes.y(db.max(-60.0))));
            line(&painter, points.collect(), 2.0, look.after);
        }
        let mut told = None;
        for (n, band) in bands().iter().enumerate() {
            if let Some(at) = self.handle(ui, n, band, &axes, pen) {
                told = Some((at, band));
            }
        }
        match told {
            Some((at, band)) => readout(ui, at, rect, &describe(band, pen), pen),
            None => self.pointed_strip(ui, &axes, pen),
        }
    }

    /// What the strip does where the pointer is.
    fn pointed_strip(&self, ui: &Ui, axes: &Axes, pen: &Pen<'_>) {
        let Some(at) = pointer(ui, axes.rect) else { return };
        let (Some(designed), hz) = (&self.designed, f64::from(axes.hz(at.x))) else { return };
        let db = shape_db(&designed.coefs, hz);
        let y = axes.y_inside(db as f32);
        ui.painter().circle_filled(pos2(at.x, y), 3.0, pen.look.after);
        let text = format!("{}  {} dB", say::hertz(hz), say::signed(db, 1));
        readout(ui, pos2(at.x, y), axes.rect, &text, pen);
    }
}
