//! The floor under a voice: the lowest smoothed power of the last seconds.

/// Parts of the past, each with its lowest power.
const PARTS: usize = 8;

/// The lowest of a smoothed power over a stretch of time, brought up to date with every value.
///
/// Minimum statistics: speech leaves the floor free often enough for the lowest value of a few seconds to be the noise
/// alone. Source: R. Martin, "Noise Power Spectral Density Estimation Based on Optimal Smoothing and Minimum Statistics",
/// IEEE Trans. Speech and Audio Processing 9(5):504-512, 2001, with a fixed smoothing that the caller does. The lowest of
/// many values lies under their mean; the caller knows by how much. Before the first part of the stretch is over nothing
/// is known. The stretch has an end: what was heard before it is forgotten completely. Tested by
/// `the_floor_is_the_lowest_of_the_stretch`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NoiseFloor {
    past: [f32; PARTS],
    running: f32,
    next: usize,
    known: usize,
    values: u32,
    values_per_part: u32,
}

impl NoiseFloor {
    /// A floor over so many values, rounded to eight parts.
    #[must_use]
    pub fn new(values: f64) -> Self {
        let values_per_part = libm::fmax(1.0, libm::round(values / PARTS as f64)) as u32;
        Self { past: [f32::MAX; PARTS], running: f32::MAX, next: 0, known: 0, values: 0, values_per_part }
    }

    /// Takes a power.
    #[inline(always)]
    pub fn push(&mut self, power: f32) {
        self.running = if power < self.running { power } else { self.running };
        self.values += 1;
        if self.values == self.values_per_part {
            self.past[self.next] = core::mem::replace(&mut self.running, f32::MAX);
            self.next = (self.next + 1) % PARTS;
            self.known = (self.known + 1).min(PARTS);
            self.values = 0;
        }
    }

    /// The lowest power; `None` before the first part is over.
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
    fn the_floor_is_the_lowest_of_the_stretch() {
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
        assert_eq!(floor.lowest(), Some(3.0), "eight parts of ten, the one with 1 is gone");
        floor.push(0.5);
        assert_eq!(floor.lowest(), Some(0.5), "the running part counts at once");
    }
}
