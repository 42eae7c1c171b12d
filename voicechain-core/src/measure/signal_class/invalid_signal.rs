//! Detection of samples that are not audio.

use crate::blank::blank;

/// Repeated values count if they reach this share of their channel's highest magnitude.
const HELD_SHARE: f32 = 0.25;
/// Signals below -60 dBFS are not judged.
const FAINTEST: f32 = 1e-3;
/// Magnitude beyond any recording (18 dB over full scale).
const BEYOND: f32 = 8.0;
/// Maximum share of non-finite samples.
const MAX_SANITISED: f64 = 0.05;
/// Maximum share of non-zero samples beyond any recording.
const MAX_BEYOND: f64 = 0.01;
/// Maximum share of non-zero samples that repeat the magnitude of their predecessor.
const MAX_HELD: f64 = 0.9;
/// Minimum mean square of random samples. Uniform samples over the full scale have one third.
const RANDOM_POWER: f64 = 0.2;
/// Maximum correlation of neighbours in random samples.
const RANDOM_CORRELATION: f64 = 0.1;

/// Detects samples that are not audio, from the raw input.
///
/// Cost: some 2 ns per sample. Tested by `non_audio_signals_are_invalid`.
#[derive(Clone, Debug)]
pub(crate) struct InvalidSignalDetector<const C: usize> {
    last: [f32; C],
    largest: [f32; C],
    /// Number of samples that are not zero, that repeat, and that are beyond any recording; sums of squares and of
    /// products of neighbours.
    nonzero: u64,
    held: u64,
    beyond: u64,
    energy: [f64; C],
    products: [f64; C],
}

blank! { [const C: usize] InvalidSignalDetector<C> { last, largest, nonzero, held, beyond, energy, products } }

impl<const C: usize> InvalidSignalDetector<C> {
    pub(crate) const fn new() -> Self {
        Self { last: [0.0; C], largest: [0.0; C], nonzero: 0, held: 0, beyond: 0, energy: [0.0; C], products: [0.0; C] }
    }

    /// Processes frames of finite samples.
    pub(crate) fn push(&mut self, frames: &[[f32; C]]) {
        for frame in frames {
            for (c, &sample) in frame.iter().enumerate() {
                let last = self.last[c];
                let size = sample.abs();
                self.largest[c] = self.largest[c].max(size);
                let (x, before) = (f64::from(sample), f64::from(last));
                self.nonzero += u64::from(size > 0.0);
                self.held += u64::from(size > 0.0 && size == last.abs() && size >= HELD_SHARE * self.largest[c]);
                self.beyond += u64::from(size > BEYOND);
                self.energy[c] += x * x;
                self.products[c] += x * before;
                self.last[c] = sample;
            }
        }
    }

    /// True if the samples are not audio, given the number of non-finite samples.
    pub(crate) fn is_invalid(&self, samples: u64, sanitised: u64) -> bool {
        let (nonzero, samples) = (self.nonzero as f64, samples as f64);
        if sanitised as f64 > MAX_SANITISED * samples {
            return true;
        }
        if self.largest.iter().all(|&largest| largest < FAINTEST) {
            return false;
        }
        let (energy, products) = (self.energy.iter().sum::<f64>(), self.products.iter().sum::<f64>());
        let random = energy > RANDOM_POWER * samples && products.abs() < RANDOM_CORRELATION * energy;
        random || self.beyond as f64 > MAX_BEYOND * nonzero || self.held as f64 > MAX_HELD * nonzero
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    extern crate std;
    use std::vec::Vec;

    fn random(seed: u32) -> impl Iterator<Item = u32> {
        let mut state = seed;
        core::iter::repeat_with(move || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            state >> 8
        })
    }

    fn is_invalid(samples: impl Iterator<Item = f32>, sanitised: u64) -> bool {
        let frames: Vec<[f32; 1]> = samples.map(|s| [s]).collect();
        let mut invalid_signal = InvalidSignalDetector::<1>::new();
        frames.chunks(77).for_each(|piece| invalid_signal.push(piece));
        invalid_signal.is_invalid(frames.len() as u64, sanitised)
    }

    #[test]
    fn non_audio_signals_are_invalid() {
        let unit = |n: u32| n as f32 / 8_388_608.0 - 1.0;
        assert!(is_invalid(random(1).take(50_000).map(unit), 0), "uniformly random over the full scale");
        assert!(is_invalid(random(2).take(50_000).map(|n| if n & 64 == 0 { 0.7 } else { -0.7 }), 0), "random bits");
        assert!(is_invalid((0..50_000).map(|_| 0.25), 0), "a constant");
        assert!(
            is_invalid((0..50_000).map(|n| libm::sinf(n as f32 * 0.01) * 30_000.0), 0),
            "integers read as floating point"
        );
        assert!(is_invalid((0..50_000).map(|n| 0.1 * libm::sinf(n as f32 * 0.01)), 10_000), "non-finite samples");
        // Controls: the same noise 12 dB lower, a full-scale tone, a tone clipped by 6 dB, and silence.
        assert!(!is_invalid(random(1).take(50_000).map(|n| 0.25 * unit(n)), 0));
        assert!(!is_invalid((0..50_000).map(|n| libm::sinf(n as f32 * 0.01)), 0));
        assert!(!is_invalid((0..50_000).map(|n| (2.0 * libm::sinf(n as f32 * 0.05)).clamp(-1.0, 1.0)), 0));
        assert!(!is_invalid((0..50_000).map(|_| 0.0), 0));
        assert!(!is_invalid((0..50_000).map(|_| 3e-5), 0), "a constant of one 16-bit step");
        assert!(!is_invalid((0..50_000).map(|n| 0.1 * libm::sinf(n as f32 * 0.01)), 100));
    }
}
