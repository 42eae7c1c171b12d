//! Preferences of the editor: colours, zoom, window size.

use voicechain_editor::{DEFAULT_SIZE, MIN_SIZE, ZOOM_RANGE};

/// Maximum width and height of the window, points.
const MAX_SIDE: f32 = 8_192.0;

/// Preferences of one instance's editor. Saved with the state, but not a parameter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Preferences {
    /// Dark colour scheme.
    pub dark: bool,
    /// Zoom relative to the scale of the display, 1 to 3.
    pub zoom: f32,
    /// Size of the window, points.
    pub size: [f32; 2],
}

impl Default for Preferences {
    fn default() -> Self {
        Self { dark: false, zoom: ZOOM_RANGE[0], size: DEFAULT_SIZE }
    }
}

impl Preferences {
    /// Text form for the saved state, e.g. `dark 1.25 1300x900`.
    #[must_use]
    pub fn text(&self) -> String {
        let theme = if self.dark { "dark" } else { "light" };
        format!("{theme} {} {}x{}", self.zoom, self.size[0], self.size[1])
    }

    /// Parses [`text`](Self::text); values out of range are clamped. `None` if the text has another form.
    #[must_use]
    pub fn read(text: &str) -> Option<Self> {
        let mut parts = text.split(' ');
        let dark = match parts.next()? {
            "dark" => true,
            "light" => false,
            _ => return None,
        };
        let number = |text: &str| text.parse().ok().filter(|number: &f32| number.is_finite());
        let zoom = number(parts.next()?)?.clamp(ZOOM_RANGE[0], ZOOM_RANGE[1]);
        let (width, height) = parts.next()?.split_once('x')?;
        let [min_width, min_height] = MIN_SIZE;
        let size = [number(width)?.clamp(min_width, MAX_SIDE), number(height)?.clamp(min_height, MAX_SIDE)];
        Some(Self { dark, zoom, size })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn preferences_survive_the_round_trip_and_malformed_text_is_refused() {
        let preferences = Preferences { dark: true, zoom: 1.75, size: [1_280.0, 800.5] };
        assert_eq!(Preferences::read(&preferences.text()), Some(preferences));
        assert_eq!(Preferences::read("light 9 1x1e9").unwrap().zoom, 3.0);
        for wrong in ["", "dark", "blue 1 2x3", "dark NaN 800x600", "dark 1 800", "dark 1 infx600"] {
            assert_eq!(Preferences::read(wrong), None, "{wrong}");
        }
    }
}
