//! Colours and fonts.

use egui::{
    Align, Color32, CornerRadius, FontData, FontDefinitions, FontFamily, FontId, Painter, Pos2, Rect, Stroke, Theme,
    Visuals, pos2,
};
use std::sync::Arc;

/// Colours of the page.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Palette {
    /// Background.
    pub paper: Color32,
    /// Primary text.
    pub ink: Color32,
    /// Secondary text.
    pub quiet: Color32,
    /// Separators and grid lines.
    pub rule: Color32,
    /// Band of the spread among speakers.
    pub band: Color32,
    /// Processed signal, and controls that are on.
    pub accent: Color32,
    /// Reduction.
    pub reduction: Color32,
    /// Boost.
    pub boost: Color32,
    /// Background of an open row.
    pub selected: Color32,
    /// Background of a field or plot.
    pub field: Color32,
}

const fn hex(rgb: u32) -> Color32 {
    Color32::from_rgb((rgb >> 16) as u8, (rgb >> 8) as u8, rgb as u8)
}

impl Palette {
    /// Light or dark palette.
    #[must_use]
    pub const fn of(dark: bool) -> Self {
        if dark {
            Self {
                paper: hex(0x14191D),
                ink: hex(0xE8E6DF),
                quiet: hex(0x93A0AA),
                rule: hex(0x2E373E),
                band: hex(0x28312F),
                accent: hex(0x45BDB6),
                reduction: hex(0xE08A5F),
                boost: hex(0x8FA3EE),
                selected: hex(0x1E262C),
                field: hex(0x0F1316),
            }
        } else {
            Self {
                paper: hex(0xFBFAF6),
                ink: hex(0x1F2A33),
                quiet: hex(0x636F79),
                rule: hex(0xDDD9CE),
                band: hex(0xEFE8D6),
                accent: hex(0x0B7271),
                reduction: hex(0xB25028),
                boost: hex(0x3C55A5),
                selected: hex(0xF3F0E7),
                field: hex(0xFFFFFF),
            }
        }
    }

    /// Applies the colours to egui's own elements: tooltips, menus, text fields.
    pub(crate) fn apply(&self, ctx: &egui::Context, dark: bool) {
        let theme = if dark { Theme::Dark } else { Theme::Light };
        if ctx.theme() == theme && ctx.global_style().visuals.panel_fill == self.paper {
            return;
        }
        ctx.set_theme(theme);
        let mut visuals = if dark { Visuals::dark() } else { Visuals::light() };
        visuals.panel_fill = self.paper;
        visuals.window_fill = self.field;
        visuals.window_stroke = Stroke::new(1.0, self.rule);
        visuals.extreme_bg_color = self.field;
        visuals.override_text_color = Some(self.ink);
        visuals.selection.bg_fill = self.accent.gamma_multiply(0.3);
        visuals.selection.stroke = Stroke::new(1.0, self.ink);
        visuals.window_shadow = egui::Shadow::NONE;
        visuals.popup_shadow = egui::Shadow::NONE;
        visuals.window_corner_radius = CornerRadius::same(4);
        visuals.menu_corner_radius = CornerRadius::same(4);
        for widget in [
            &mut visuals.widgets.inactive,
            &mut visuals.widgets.hovered,
            &mut visuals.widgets.active,
            &mut visuals.widgets.open,
            &mut visuals.widgets.noninteractive,
        ] {
            widget.bg_stroke = Stroke::new(1.0, self.rule);
            widget.expansion = 0.0;
        }
        visuals.widgets.hovered.weak_bg_fill = self.selected;
        visuals.widgets.inactive.weak_bg_fill = Color32::TRANSPARENT;
        ctx.set_visuals_of(theme, visuals);
        ctx.style_mut_of(theme, |style| {
            style.animation_time = 0.0;
            style.interaction.tooltip_delay = 0.4;
            style.interaction.selectable_labels = false;
        });
    }
}

/// Installs the fonts of the page; they are available from the next frame on.
pub(crate) fn install_fonts(ctx: &egui::Context) {
    let mut fonts = FontDefinitions::empty();
    for (name, family, bytes) in [
        ("words", FontFamily::Proportional, &include_bytes!("../fonts/words.ttf")[..]),
        ("numbers", FontFamily::Monospace, &include_bytes!("../fonts/numbers.ttf")[..]),
    ] {
        fonts.font_data.insert(name.into(), Arc::new(FontData::from_static(bytes)));
        fonts.families.insert(family, vec![name.into()]);
    }
    // Each font is the fallback of the other.
    for (family, other) in [(FontFamily::Proportional, "numbers"), (FontFamily::Monospace, "words")] {
        fonts.families.entry(family).or_default().push(other.into());
    }
    ctx.set_fonts(fonts);
}

/// Font for text.
pub(crate) fn text_font(size: f32) -> FontId {
    FontId::new(size, FontFamily::Proportional)
}

/// Font for numbers.
pub(crate) fn number_font(size: f32) -> FontId {
    FontId::new(size, FontFamily::Monospace)
}

/// Draws one line of text with its baseline at `at`, so that texts of all sizes share a baseline; returns its
/// rectangle.
pub(crate) fn write(
    painter: &Painter,
    at: Pos2,
    align: Align,
    text: impl Into<String>,
    font: FontId,
    ink: Color32,
) -> Rect {
    let galley = painter.layout_no_wrap(text.into(), font, ink);
    let glyph = galley.rows.first().and_then(|row| Some(row.pos.y + row.glyphs.first()?.pos.y));
    let width = galley.size().x;
    let left = match align {
        Align::Min => at.x,
        Align::Center => at.x - 0.5 * width,
        Align::Max => at.x - width,
    };
    let rect = Rect::from_min_size(pos2(left, at.y - glyph.unwrap_or(0.0)), galley.size());
    painter.galley(rect.min, galley, ink);
    rect
}

/// Width of a line of text, points.
pub(crate) fn width(painter: &Painter, text: &str, font: FontId) -> f32 {
    painter.layout_no_wrap(text.into(), font, Color32::PLACEHOLDER).size().x
}

/// Font sizes, points.
pub(crate) const TITLE: f32 = 21.0;
pub(crate) const BODY: f32 = 14.0;
pub(crate) const SMALL: f32 = 12.0;
pub(crate) const TINY: f32 = 11.0;
pub(crate) const DIGITS: f32 = 12.5;
/// Width of a digit of size [`DIGITS`], points.
pub(crate) const DIGIT: f32 = 0.6 * DIGITS;
/// Distance from the middle of a line to its baseline, points.
pub(crate) const BASELINE: f32 = 4.5;
