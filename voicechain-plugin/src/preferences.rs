//! How the person at a track likes the editor.

use voicechain_editor::{DEFAULT_SIZE, MIN_SIZE, ZOOM_RANGE};

/// The largest width and height of a window, points.
const MAX_SIDE: f32 = 8_192.0;

/// How the person at this track likes the editor. Saved, but not a parameter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Preferences {
    /// The dark colours.
    pub dark: bool,
    /// Zoom on top of the display's own, from 1 to 3.
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
    /// As text for a state: `dark 1.25 1300x900`.
    #[must_use]
    pub fn text(&self) -> String {
        let theme = if self.dark { "dark" } else { "light" };
        format!("{theme} {} {}x{}", self.zoom, self.size[0], self.size[1])
    }

    /// Reads [`text`](Self::text); what is out of range is brought into it, and `None` is no such text.
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
        let [least_width, least_height] = MIN_SIZE;
        let size = [number(width)?.clamp(least_width, MAX_SIDE), number(height)?.clamp(least_height, MAX_SIDE)];
        Some(Self { dark, zoom, size })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn preferences_survive_their_text_and_nonsense_is_refused() {
        let preferences = Preferences { dark: true, zoom: 1.75, size: [1_280.0, 800.5] };
        assert_eq!(Preferences::read(&preferences.text()), Some(preferences));
        assert_eq!(Preferences::read("light 9 1x1e9").unwrap().zoom, 3.0);
        for wrong in ["", "dark", "blue 1 2x3", "dark NaN 800x600", "dark 1 800", "dark 1 infx600"] {
            assert_eq!(Preferences::read(wrong), None, "{wrong}");
        }
    }
}
