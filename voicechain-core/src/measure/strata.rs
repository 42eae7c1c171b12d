//! Sums kept apart by level, so that what counts can be decided when the voice's level is known.

/// Lowest level that is told apart, dB.
const BOTTOM_DB: f64 = -110.0;
/// From the lowest to the highest, +10 dB.
const RANGE_DB: f64 = 120.0;

/// Sums of `N` values, one set for every stratum of level from -110 to +10 dB: 60 strata of 2 dB, or 30 of 4 dB where
/// `N` is large. Memory `4 STRATA (N + 1)` bytes. A sum of ones stays exact up to 2^24: a day of 5 ms frames.
#[derive(Clone, Debug)]
pub(crate) struct Strata<const N: usize, const STRATA: usize = 60> {
    sums: [[f32; N]; STRATA],
    counts: [u32; STRATA],
}

impl<const N: usize, const STRATA: usize> Strata<N, STRATA> {
    /// Width of a stratum, dB.
    const STEP_DB: f64 = RANGE_DB / STRATA as f64;

    pub(crate) const fn new() -> Self {
        Self { sums: [[0.0; N]; STRATA], counts: [0; STRATA] }
    }

    /// The sums of a level, to be added to, with one more counted. What is not a number counts as the lowest.
    pub(crate) fn at(&mut self, db: f64) -> &mut [f32; N] {
        let place = (((db - BOTTOM_DB) / Self::STEP_DB).max(0.0) as usize).min(STRATA - 1);
        self.counts[place] = self.counts[place].saturating_add(1);
        &mut self.sums[place]
    }

    /// Everything at or above a level: sums and count. Of the stratum that the level cuts, the share above it.
    pub(crate) fn from(&self, db: f64) -> ([f64; N], f64) {
        let (mut sums, mut total) = ([0.0; N], 0.0);
        for (place, (values, &count)) in self.sums.iter().zip(&self.counts).enumerate() {
            let above = place as f64 + 1.0 - (db - BOTTOM_DB) / Self::STEP_DB;
            let share = above.clamp(0.0, 1.0);
            for (sum, &value) in sums.iter_mut().zip(values) {
                *sum += share * f64::from(value);
            }
            total += share * f64::from(count);
        }
        (sums, total)
    }

    /// The quietest: everything up to `within_db` over the stratum in which a share (0 to 1) of all is reached.
    pub(crate) fn quietest(&self, share: f64, within_db: f64) -> ([f64; N], f64) {
        let wanted = share * self.counts.iter().map(|&count| f64::from(count)).sum::<f64>();
        let (mut below, mut last) = (0.0, 0);
        for (place, &count) in self.counts.iter().enumerate() {
            below += f64::from(count);
            last = place;
            if below > 0.0 && below >= wanted {
                break;
            }
        }
        let end = (last + (within_db / Self::STEP_DB) as usize).min(STRATA - 1);
        let (mut sums, mut total) = ([0.0; N], 0.0);
        for (values, &count) in self.sums.iter().zip(&self.counts).take(end + 1) {
            for (sum, &value) in sums.iter_mut().zip(values) {
                *sum += f64::from(value);
            }
            total += f64::from(count);
        }
        (sums, total)
    }
}
