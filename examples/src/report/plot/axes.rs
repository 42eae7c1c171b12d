//! SVG canvas with drawing primitives, and the level scale.

use crate::report::text::escape;
use std::fmt::Write;

/// Approximate width of a character at label size, accurate enough to keep labels apart.
pub(super) const CHARACTER_WIDTH: f32 = 6.4;

/// Left edge of the plots, right of the scale numbers.
pub(super) const LEFT_MARGIN: f32 = 40.0;
pub(super) const RIGHT_MARGIN: f32 = 8.0;

/// SVG drawing under construction.
pub(super) struct Drawing {
    pub(super) width: f32,
    pub(super) body: String,
}

impl Drawing {
    pub(super) fn new(width: f32) -> Self {
        Self { width, body: String::new() }
    }

    pub(super) fn right(&self) -> f32 {
        self.width - RIGHT_MARGIN
    }

    pub(super) fn line(&mut self, class: &str, from: (f32, f32), to: (f32, f32)) {
        let ((x1, y1), (x2, y2)) = (from, to);
        let _ = write!(self.body, r#"<line class="{class}" x1="{x1:.1}" y1="{y1:.1}" x2="{x2:.1}" y2="{y2:.1}"/>"#);
    }

    pub(super) fn path(&mut self, class: &str, path: &str, clip: &str) {
        if !path.is_empty() {
            let _ = write!(self.body, r#"<path class="{class}" clip-path="url(#{clip})" d="{path}"/>"#);
        }
    }

    pub(super) fn clip(&mut self, id: &str, top: f32, bottom: f32) {
        let (width, height) = (self.right() - LEFT_MARGIN, bottom - top);
        let _ = write!(
            self.body,
            r#"<clipPath id="{id}"><rect x="{LEFT_MARGIN}" y="{top:.1}" width="{width:.1}" height="{height:.1}"/></clipPath>"#
        );
    }

    pub(super) fn text(&mut self, class: &str, at: (f32, f32), anchor: &str, text: &str) {
        let (x, y) = at;
        let text = escape(text);
        let _ =
            write!(self.body, r#"<text class="{class}" x="{x:.1}" y="{y:.1}" text-anchor="{anchor}">{text}</text>"#);
    }

    pub(super) fn diamond(&mut self, x: f32, y: f32) {
        let _ = write!(self.body, r#"<path class="handle" d="M{x:.1} {:.1}l6 6l-6 6l-6 -6z"/>"#, y - 6.0);
    }

    pub(super) fn finish(self, class: &str, id: &str, height: f32, title: &str, description: &str) -> String {
        let Self { width, body } = self;
        format!(
            r#"<svg class="{class}" viewBox="0 0 {width} {height}" role="img" aria-labelledby="{id}-t {id}-d"><title id="{id}-t">{}</title><desc id="{id}-d">{}</desc>{body}</svg>"#,
            escape(title),
            escape(description)
        )
    }

    /// Finishes the drawing as a standalone file with embedded style.
    pub(super) fn finish_standalone(self, height: f32, title: &str, description: &str, style: &str) -> String {
        let Self { width, body } = self;
        format!(
            r#"<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 {width} {height}" role="img" aria-labelledby="t d"><title id="t">{}</title><desc id="d">{}</desc><style>{style}</style>{body}</svg>
"#,
            escape(title),
            escape(description)
        )
    }
}

/// Vertical scale from `high` at `top` to `low` at `bottom`.
#[derive(Clone, Copy)]
pub(super) struct Scale {
    pub(super) high: f32,
    pub(super) low: f32,
    pub(super) top: f32,
    pub(super) bottom: f32,
}

impl Scale {
    /// Vertical position of a value. Values off the scale are clamped to 10 % beyond its ends; NaN is below the scale.
    pub(super) fn y(&self, value: f32) -> f32 {
        let margin = 0.1 * (self.high - self.low);
        let value = if value.is_nan() { self.low - margin } else { value.clamp(self.low - margin, self.high + margin) };
        self.top + (self.high - value) / (self.high - self.low) * (self.bottom - self.top)
    }
}
