//! Sums kept apart by level, so that what counts can be decided when the voice's level is known.

use crate::detectors::voice_activity::P56_MARGIN_DB;

/// Lowest level that is told apart, dB.
const BOTTOM_DB: f64 = -110.0;
/// From the lowest to the highest, +10 dB.
const RANGE_DB: f64 = 120.0;

/// Sums of `N` values, one set for every bin of level from -110 to +10 dB: 60 bins of 2 dB, or 30 of 4 dB where
/// `N` is large. Memory `4 LEVELS (N + 1)` bytes. A sum of ones stays exact up to 2^24: a day of 5 ms frames.
#[derive(Clone, Debug)]
pub(crate) struct LevelBins<const N: usize, const LEVELS: usize = 60> {
    sums: [[f32; N]; LEVELS],
    counts: [u32; LEVELS],
}

impl<const N: usize, const LEVELS: usize> LevelBins<N, LEVELS> {
    /// Width of a bin, dB.
    const STEP_DB: f64 = RANGE_DB / LEVELS as f64;

    pub(crate) const fn new() -> Self {
        Self { sums: [[0.0; N]; LEVELS], counts: [0; LEVELS] }
    }

    /// The sums of a level, to be added to, with one more counted. What is not a number counts as the lowest.
    pub(crate) fn at(&mut self, db: f64) -> &mut [f32; N] {
        let place = (((db - BOTTOM_DB) / Self::STEP_DB).max(0.0) as usize).min(LEVELS - 1);
        self.counts[place] = self.counts[place].saturating_add(1);
        &mut self.sums[place]
    }

    /// Everything that is speech of an active level, in dB: what lies at most the margin of ITU-T P.56 under it.
    pub(crate) fn speech(&self, active_level_dbov: f64) -> ([f64; N], f64) {
        self.from(active_level_dbov - P56_MARGIN_DB)
    }

    /// Everything at or above a level: sums and count. Of the bin that the level cuts, the share above it.
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

    /// The quietest: everything up to `within_db` over the bin in which a share (0 to 1) of all is reached.
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
        let end = (last + (within_db / Self::STEP_DB) as usize).min(LEVELS - 1);
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
