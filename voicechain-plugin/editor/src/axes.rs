//! Frequency axis shared by tonal balance and frequency response, and functions that draw on it.

use crate::formatting;
use crate::style::{Palette, TINY, number_font, write};
use egui::{Align, Color32, Mesh, Painter, Pos2, Rect, Shape, Stroke, pos2};

/// Ends of the frequency axis, Hz.
pub(crate) const LOW_HZ: f32 = 50.0;
pub(crate) const HIGH_HZ: f32 = 18_000.0;
/// Grid lines of the frequency axis, Hz, with their labels.
pub(crate) const NAMED: [(f32, &str); 9] = [
    (63.0, "63"),
    (125.0, "125"),
    (250.0, "250"),
    (500.0, "500"),
    (1_000.0, "1k"),
    (2_000.0, "2k"),
    (4_000.0, "4k"),
    (8_000.0, "8k"),
    (16_000.0, "16k"),
];
/// Number of points of a curve.
pub(crate) const POINTS: usize = 240;

/// Frequencies of the points of a curve, Hz, logarithmically spaced.
pub(crate) fn curve_points() -> impl Iterator<Item = f32> {
    (0..POINTS).map(|n| LOW_HZ * (HIGH_HZ / LOW_HZ).powf(n as f32 / (POINTS - 1) as f32))
}

/// Axes of a plot: frequency to the right, level upwards from −`db` to +`db`.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Axes {
    pub(crate) rect: Rect,
    pub(crate) db: f32,
}

impl Axes {
    pub(crate) fn x(&self, hz: f32) -> f32 {
        self.rect.left() + self.rect.width() * (hz / LOW_HZ).ln() / (HIGH_HZ / LOW_HZ).ln()
    }

    pub(crate) fn hz(&self, x: f32) -> f32 {
        LOW_HZ * (HIGH_HZ / LOW_HZ).powf((x - self.rect.left()) / self.rect.width())
    }

    pub(crate) fn y(&self, db: f32) -> f32 {
        self.rect.center().y - 0.5 * self.rect.height() * db / self.db
    }

    /// As [`y`](Self::y), clamped to the plot.
    pub(crate) fn y_inside(&self, db: f32) -> f32 {
        self.y(db.clamp(-self.db, self.db))
    }

    pub(crate) fn at(&self, hz: f32, db: f32) -> Pos2 {
        pos2(self.x(hz), self.y_inside(db))
    }
}

/// Draws the level scale at the left, with as many numbers as fit.
pub(crate) fn scale(painter: &Painter, axes: &Axes, palette: &Palette) {
    let far = axes.y(0.0) - axes.y(9.0);
    for db in [-9.0, 0.0, 9.0].into_iter().filter(|db| *db == 0.0 || far >= 15.0) {
        let at = pos2(axes.rect.left() - 8.0, axes.y(db) + 4.0);
        write(painter, at, Align::Max, formatting::signed(f64::from(db), 0), number_font(TINY), palette.quiet);
    }
}

/// Fills the area between two lines with the same x coordinates.
pub(crate) fn fill_between(painter: &Painter, upper: &[Pos2], lower: &[Pos2], colour: Color32) {
    let mut mesh = Mesh::default();
    for (n, (a, b)) in upper.iter().zip(lower).enumerate() {
        mesh.colored_vertex(*a, colour);
        mesh.colored_vertex(*b, colour);
        if n > 0 {
            let i = 2 * n as u32;
            mesh.add_triangle(i - 2, i - 1, i);
            mesh.add_triangle(i - 1, i, i + 1);
        }
    }
    painter.add(Shape::mesh(mesh));
}

/// Draws a line through points.
pub(crate) fn line(painter: &Painter, points: Vec<Pos2>, width: f32, colour: Color32) {
    if points.len() > 1 {
        painter.add(Shape::line(points, Stroke::new(width, colour)));
    }
}
