//! Samples that no sound has.

/// A value that is held counts when it is at least this share of its channel's largest, both not lower than -60 dBFS.
const HELD_SHARE: f32 = 0.25;
const FAINTEST: f32 = 1e-3;
/// So far over full scale no recording goes (18 dB).
const BEYOND: f32 = 8.0;
/// Shares of the samples from which on the signal is invalid: those that are not finite, beyond every scale, held.
const MAX_SANITISED: f64 = 0.05;
const MAX_BEYOND: f64 = 0.01;
const MAX_HELD: f64 = 0.9;
/// Samples evenly spread over the full scale have a mean square of a third, and neighbours have nothing in common.
const RANDOM_POWER: f64 = 0.2;
const RANDOM_CORRELATION: f64 = 0.1;

/// Looks at raw samples, before anything is made of them.
///
/// Cost some 2 ns for each sample. Tested by `signals_that_are_no_audio_are_invalid`.
#[derive(Clone, Debug)]
pub(crate) struct InvalidSignalDetector<const C: usize> {
    last: [f32; C],
    largest: [f32; C],
    /// Samples that are not zero, and of those the held, the ones beyond every scale, and the rest's sums of squares and
    /// of products with their neighbours.
    heard: u64,
    held: u64,
    beyond: u64,
    energy: [f64; C],
    common: [f64; C],
}

impl<const C: usize> InvalidSignalDetector<C> {
    pub(crate) const fn new() -> Self {
        Self { last: [0.0; C], largest: [0.0; C], heard: 0, held: 0, beyond: 0, energy: [0.0; C], common: [0.0; C] }
    }

    /// Takes frames of finite samples.
    pub(crate) fn push(&mut self, frames: &[[f32; C]]) {
        for frame in frames {
            for (c, &sample) in frame.iter().enumerate() {
                let last = self.last[c];
                let size = sample.abs();
                self.largest[c] = self.largest[c].max(size);
                let (x, before) = (f64::from(sample), f64::from(last));
                self.heard += u64::from(size > 0.0);
                self.held += u64::from(size > 0.0 && size == last.abs() && size >= HELD_SHARE * self.largest[c]);
                self.beyond += u64::from(size > BEYOND);
                self.energy[c] += x * x;
                self.common[c] += x * before;
                self.last[c] = sample;
            }
        }
    }

    /// True when the samples are no audio signal, given how many samples were not finite.
    pub(crate) fn is_invalid(&self, samples: u64, sanitised: u64) -> bool {
        let (heard, samples) = (self.heard as f64, samples as f64);
        if sanitised as f64 > MAX_SANITISED * samples {
            return true;
        }
        if self.largest.iter().all(|&largest| largest < FAINTEST) {
            return false;
        }
        let (energy, common) = (self.energy.iter().sum::<f64>(), self.common.iter().sum::<f64>());
        let random = energy > RANDOM_POWER * samples && common.abs() < RANDOM_CORRELATION * energy;
        random || self.beyond as f64 > MAX_BEYOND * heard || self.held as f64 > MAX_HELD * heard
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

    fn judged(samples: impl Iterator<Item = f32>, sanitised: u64) -> bool {
        let frames: Vec<[f32; 1]> = samples.map(|s| [s]).collect();
        let mut invalid_signal = InvalidSignalDetector::<1>::new();
        frames.chunks(77).for_each(|piece| invalid_signal.push(piece));
        invalid_signal.is_invalid(frames.len() as u64, sanitised)
    }

    #[test]
    fn signals_that_are_no_audio_are_invalid() {
        let unit = |n: u32| n as f32 / 8_388_608.0 - 1.0;
        assert!(judged(random(1).take(50_000).map(unit), 0), "evenly random over the full scale");
        assert!(judged(random(2).take(50_000).map(|n| if n & 64 == 0 { 0.7 } else { -0.7 }), 0), "bits");
        assert!(judged((0..50_000).map(|_| 0.25), 0), "a constant");
        assert!(judged((0..50_000).map(|n| libm::sinf(n as f32 * 0.01) * 30_000.0), 0), "integers taken for shares");
        assert!(judged((0..50_000).map(|n| 0.1 * libm::sinf(n as f32 * 0.01)), 10_000), "not finite");
        // Controls: the same noise 12 dB lower, a tone at full scale, one that is clipped by 6 dB, and silence.
        assert!(!judged(random(1).take(50_000).map(|n| 0.25 * unit(n)), 0));
        assert!(!judged((0..50_000).map(|n| libm::sinf(n as f32 * 0.01)), 0));
        assert!(!judged((0..50_000).map(|n| (2.0 * libm::sinf(n as f32 * 0.05)).clamp(-1.0, 1.0)), 0));
        assert!(!judged((0..50_000).map(|_| 0.0), 0));
        assert!(!judged((0..50_000).map(|_| 3e-5), 0), "one step of 16 bits, held");
        assert!(!judged((0..50_000).map(|n| 0.1 * libm::sinf(n as f32 * 0.01)), 100));
    }
}
