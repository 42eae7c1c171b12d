//! Lowering the sample rate at once to what a pitch needs.

use core::f64::consts::PI;

/// Lowest rate that comes out, Hz.
const LOWEST_HZ: f64 = 6_000.0;
/// Edge (-6 dB) of the low-pass, Hz, and the length of its impulse response, s.
const EDGE_HZ: f64 = 1_500.0;
const LENGTH_S: f64 = 1.0 / 750.0;
/// The longest impulse response: that of 192 kHz.
const TAPS: usize = 256;
/// Samples taken at once.
const PIECE: usize = 256;
/// What is larger is no sample of a recording, and squares of it would not be finite.
const LARGEST: f32 = 1e6;

/// A low-pass of 1.5 kHz that keeps every `every`-th sample, so that the rate is at least 6 kHz and less than 12 kHz.
///
/// A sinc under a Hann window of 1.33 ms, made to pass constants unchanged: -6 dB at 1.5 kHz, and at least 40 dB down above
/// 3 kHz, so that what folds into the band below 3 kHz is at least as far down. Samples that are not
/// finite or above 1e6 count as 0. Cost about 8 multiply-adds per sample at every rate; memory 3 kB. Its phase counts from
/// reset, so that any split gives the same bits.
#[derive(Clone, Debug)]
pub(super) struct Lowering {
    taps: [f32; TAPS],
    /// Taps that count, a multiple of eight.
    length: usize,
    every: usize,
    /// The newest samples, of which those at `next..next + length` make the next output.
    past: [f32; TAPS + PIECE],
    filled: usize,
    next: usize,
}

impl Lowering {
    pub(super) fn new(rate_hz: f64) -> Self {
        let every = ((rate_hz / LOWEST_HZ) as usize).max(1);
        let wanted = ((LENGTH_S * rate_hz + 0.5) as usize).clamp(1, TAPS);
        let centre = 0.5 * (wanted - 1) as f64;
        let mut exact = [0.0_f64; TAPS];
        for (n, tap) in exact.iter_mut().enumerate().take(wanted) {
            let (t, turn) = (n as f64 - centre, 2.0 * EDGE_HZ / rate_hz);
            let sinc = if t == 0.0 { turn } else { libm::sin(PI * turn * t) / (PI * t) };
            let cosine = libm::cos(PI * t / (0.5 * (wanted + 1) as f64));
            *tap = sinc * 0.5 * (1.0 + cosine);
        }
        let sum: f64 = exact.iter().sum();
        let length = wanted.next_multiple_of(8).min(TAPS);
        Self { taps: exact.map(|tap| (tap / sum) as f32), length, every, past: [0.0; TAPS + PIECE], filled: 0, next: 0 }
    }

    /// How many samples go in for one that comes out.
    pub(super) fn every(&self) -> usize {
        self.every
    }

    /// Takes samples and gives each that comes out to `out`.
    pub(super) fn push(&mut self, samples: &[f32], mut out: impl FnMut(f32)) {
        for piece in samples.chunks(PIECE) {
            // At most `length - 1` samples were left, so that there is room for the piece.
            for (to, &sample) in self.past[self.filled..].iter_mut().zip(piece) {
                *to = if sample.abs() <= LARGEST { sample } else { 0.0 };
            }
            self.filled += piece.len();
            while self.next + self.length <= self.filled {
                out(dot(&self.taps[..self.length], &self.past[self.next..self.next + self.length]));
                self.next += self.every;
            }
            let gone = self.next.min(self.filled);
            self.past.copy_within(gone..self.filled, 0);
            self.filled -= gone;
            self.next -= gone;
        }
    }
}

/// Sum of products, in eight lanes so that it is quick and always added in the same order.
pub(super) fn dot(a: &[f32], b: &[f32]) -> f32 {
    let mut lanes = [0.0_f32; 8];
    let ((left, left_rest), (right, right_rest)) = (a.as_chunks::<8>(), b.as_chunks::<8>());
    for (left, right) in left.iter().zip(right) {
        for (lane, (a, b)) in lanes.iter_mut().zip(left.iter().zip(right)) {
            *lane += a * b;
        }
    }
    let rest: f32 = left_rest.iter().zip(right_rest).map(|(a, b)| a * b).sum();
    lanes.iter().sum::<f32>() + rest
}

#[cfg(test)]
mod tests {
    use super::*;
    extern crate std;
    use std::vec::Vec;

    fn lowered(rate: f64, samples: &[f32], piece: usize) -> Vec<f32> {
        let (mut lowering, mut out) = (Lowering::new(rate), Vec::new());
        samples.chunks(piece).for_each(|piece| lowering.push(piece, |sample| out.push(sample)));
        out
    }

    fn gain_db(rate: f64, hz: f64) -> f64 {
        let tone: Vec<f32> =
            (0..(0.5 * rate) as usize).map(|n| libm::sin(2.0 * PI * hz / rate * n as f64) as f32).collect();
        let out = lowered(rate, &tone, 512);
        let power = out[32..].iter().map(|&s| f64::from(s).powi(2)).sum::<f64>() / (out.len() - 32) as f64;
        10.0 * libm::log10(power / 0.5)
    }

    #[test]
    fn the_voice_band_passes_and_what_would_fold_into_it_does_not() {
        for rate in [8_000.0, 11_025.0, 22_050.0, 44_100.0, 48_000.0, 192_000.0] {
            let low = rate / Lowering::new(rate).every() as f64;
            assert!((6_000.0..12_000.0).contains(&low), "{rate}: {low}");
            assert!(gain_db(rate, 100.0).abs() < 0.1 && gain_db(rate, 500.0).abs() < 1.5, "{rate}");
            for hz in [0.75, 0.9, 1.1, 2.0, 3.1].map(|part| part * low).into_iter().filter(|hz| *hz < 0.5 * rate) {
                assert!(gain_db(rate, hz) < -40.0, "{rate} {hz}: {}", gain_db(rate, hz));
            }
        }
    }

    #[test]
    fn any_split_gives_the_same_bits() {
        let noise: Vec<f32> = (0..9_000_u32).map(|n| (n.wrapping_mul(2_654_435_761) >> 8) as f32 / 1e7).collect();
        for rate in [8_000.0, 44_100.0, 192_000.0] {
            let whole = lowered(rate, &noise, noise.len());
            assert!([1, 7, 300, 1_000].iter().all(|&piece| lowered(rate, &noise, piece) == whole), "{rate}");
        }
    }
}
