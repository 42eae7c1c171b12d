//! Noise floor: minimum of a smoothed power over the last seconds.

use crate::blank::blank;

/// Sub-windows, each with its own minimum.
const SUB_WINDOWS: usize = 8;

/// Minimum of a smoothed power over a sliding window, updated with every value.
///
/// Minimum statistics: speech pauses often enough that the minimum over a few seconds is that of the noise alone.
/// Source: R. Martin, "Noise Power Spectral Density Estimation Based on Optimal Smoothing and Minimum Statistics", IEEE
/// Trans. Speech and Audio Processing 9(5):504-512, 2001; here the caller applies a fixed smoothing. The minimum lies
/// below the mean of the noise, and the caller corrects this bias. The floor is unknown until the first sub-window is
/// complete. The window is finite: older values have no influence. Tested by
/// `noise_floor_is_the_minimum_of_its_window`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NoiseFloor {
    past: [f32; SUB_WINDOWS],
    running: f32,
    next: usize,
    known: usize,
    values: u32,
    values_per_sub_window: u32,
}

blank! { NoiseFloor { past, running, next, known, values, values_per_sub_window } }

impl NoiseFloor {
    /// Creates a detector with a window of `values` values, rounded to eight equal sub-windows.
    #[must_use]
    pub fn new(values: f64) -> Self {
        let values_per_sub_window = libm::fmax(1.0, libm::round(values / SUB_WINDOWS as f64)) as u32;
        Self { past: [f32::MAX; SUB_WINDOWS], running: f32::MAX, next: 0, known: 0, values: 0, values_per_sub_window }
    }

    /// Adds a power.
    #[inline(always)]
    pub fn push(&mut self, power: f32) {
        self.running = if power < self.running { power } else { self.running };
        self.values += 1;
        if self.values == self.values_per_sub_window {
            self.past[self.next] = core::mem::replace(&mut self.running, f32::MAX);
            self.next = (self.next + 1) % SUB_WINDOWS;
            self.known = (self.known + 1).min(SUB_WINDOWS);
            self.values = 0;
        }
    }

    /// Minimum power in the window; `None` before the first sub-window is complete.
    #[must_use]
    pub fn lowest(&self) -> Option<f32> {
        if self.known == 0 {
            return None;
        }
        Some(self.past.iter().fold(self.running, |low, &p| if p < low { p } else { low }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn noise_floor_is_the_minimum_of_its_window() {
        let mut floor = NoiseFloor::new(80.0);
        for _ in 0..9 {
            floor.push(2.0);
        }
        assert_eq!(floor.lowest(), None);
        floor.push(1.0);
        assert_eq!(floor.lowest(), Some(1.0));
        for n in 0..80 {
            floor.push(3.0 + n as f32);
        }
        assert_eq!(floor.lowest(), Some(3.0), "eight sub-windows of ten values: the one with 1 has left the window");
        floor.push(0.5);
        assert_eq!(floor.lowest(), Some(0.5), "the current sub-window counts at once");
    }
}
