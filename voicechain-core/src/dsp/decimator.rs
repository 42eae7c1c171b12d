//! Decimation by an integer factor.

use super::dot;
use super::window::hann;
use crate::blank::blank;
use core::f64::consts::PI;

/// Maximum number of taps.
pub const TAPS: usize = 256;
/// Samples processed at a time.
const BLOCK: usize = 256;
/// Samples with a larger magnitude are invalid and count as 0: their squares would not be finite.
const MAX_MAGNITUDE: f32 = 1e6;

/// FIR decimator: a Hann-windowed sinc low-pass that keeps every `factor`-th sample. Its gain at 0 Hz is 1.
///
/// Samples that are not finite or exceed 1e6 count as 0. Cost: `length / factor` multiply-adds per sample; memory 3 kB.
/// The phase counts from reset, so that results are bit-identical for any block size. Tested by
/// `output_does_not_depend_on_block_size`.
#[derive(Clone, Debug)]
pub struct Decimator {
    taps: [f32; TAPS],
    /// Number of taps in use, a multiple of eight.
    length: usize,
    factor: usize,
    /// The newest samples. Those at `next..next + length` produce the next output.
    past: [f32; TAPS + BLOCK],
    filled: usize,
    next: usize,
}

blank! { Decimator { taps, length, factor, past, filled, next } }

impl Decimator {
    /// Creates a decimator by `factor` with an impulse response of `length` samples (at most [`TAPS`]). Its gain is -6
    /// dB at `edge`, a share of the input rate.
    #[must_use]
    pub fn new(factor: usize, length: usize, edge: f64) -> Self {
        let (factor, requested) = (factor.max(1), length.clamp(1, TAPS));
        let centre = 0.5 * (requested - 1) as f64;
        let mut exact = [0.0_f64; TAPS];
        for (n, tap) in exact.iter_mut().enumerate().take(requested) {
            let (t, turn) = (n as f64 - centre, 2.0 * edge);
            let sinc = if t == 0.0 { turn } else { libm::sin(PI * turn * t) / (PI * t) };
            *tap = sinc * hann((n + 1) as f64, (requested + 1) as f64);
        }
        let sum: f64 = exact.iter().sum();
        let length = requested.next_multiple_of(8).min(TAPS);
        Self {
            taps: exact.map(|tap| (tap / sum) as f32),
            length,
            factor,
            past: [0.0; TAPS + BLOCK],
            filled: 0,
            next: 0,
        }
    }

    /// Decimation factor: input samples per output sample.
    #[must_use]
    pub fn factor(&self) -> usize {
        self.factor
    }

    /// Filters samples and calls `out` with every output sample.
    pub fn push(&mut self, samples: &[f32], mut out: impl FnMut(f32)) {
        for piece in samples.chunks(BLOCK) {
            // At most `length - 1` samples remain, so the piece fits.
            for (to, &sample) in self.past[self.filled..].iter_mut().zip(piece) {
                *to = if sample.abs() <= MAX_MAGNITUDE { sample } else { 0.0 };
            }
            self.filled += piece.len();
            while self.next + self.length <= self.filled {
                out(dot(&self.taps[..self.length], &self.past[self.next..self.next + self.length]));
                self.next += self.factor;
            }
            let gone = self.next.min(self.filled);
            self.past.copy_within(gone..self.filled, 0);
            self.filled -= gone;
            self.next -= gone;
        }
    }
}

/// Decimator with a triangular impulse response of twice the decimation factor. Aliases into the lowest twentieth of
/// the new rate are attenuated by at least 45 dB.
#[derive(Clone, Debug)]
pub struct TriangleDecimator {
    factor: u32,
    at: u32,
    /// Partial sums of the current and of the next output.
    now: f32,
    next: f32,
}

blank! { TriangleDecimator { factor, at, now, next } }

impl TriangleDecimator {
    /// Creates a decimator by `factor`, at least 1.
    #[must_use]
    pub fn new(factor: u32) -> Self {
        Self { factor: factor.max(1), at: 0, now: 0.0, next: 0.0 }
    }

    /// Filters samples and calls `out` with every output sample.
    pub fn push(&mut self, samples: &[f32], mut out: impl FnMut(f32)) {
        let each = 1.0 / self.factor as f32;
        for &sample in samples {
            let weight = self.at as f32 * each;
            self.next += weight * sample;
            self.now += sample - weight * sample;
            self.at += 1;
            if self.at == self.factor {
                self.at = 0;
                let now = core::mem::replace(&mut self.now, core::mem::take(&mut self.next));
                out(now * each);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    extern crate std;
    use std::vec::Vec;

    /// A decimator to 6 to 12 kHz: -6 dB at 1.5 kHz, 1.33 ms long.
    fn at(rate: f64) -> Decimator {
        Decimator::new((rate / 6_000.0) as usize, (rate / 750.0 + 0.5) as usize, 1_500.0 / rate)
    }

    fn decimated(rate: f64, samples: &[f32], piece: usize) -> Vec<f32> {
        let (mut decimator, mut out) = (at(rate), Vec::new());
        samples.chunks(piece).for_each(|piece| decimator.push(piece, |sample| out.push(sample)));
        out
    }

    fn gain_db(rate: f64, hz: f64) -> f64 {
        let tone: Vec<f32> =
            (0..(0.5 * rate) as usize).map(|n| libm::sin(2.0 * PI * hz / rate * n as f64) as f32).collect();
        let out = decimated(rate, &tone, 512);
        let power = out[32..].iter().map(|&s| f64::from(s).powi(2)).sum::<f64>() / (out.len() - 32) as f64;
        10.0 * libm::log10(power / 0.5)
    }

    #[test]
    fn passband_is_flat_and_aliases_are_attenuated() {
        for rate in [8_000.0, 11_025.0, 22_050.0, 44_100.0, 48_000.0, 192_000.0] {
            let low = rate / at(rate).factor() as f64;
            assert!((6_000.0..12_000.0).contains(&low), "{rate}: {low}");
            assert!(gain_db(rate, 100.0).abs() < 0.1 && gain_db(rate, 500.0).abs() < 1.5, "{rate}");
            for hz in [0.75, 0.9, 1.1, 2.0, 3.1].map(|part| part * low).into_iter().filter(|hz| *hz < 0.5 * rate) {
                assert!(gain_db(rate, hz) < -40.0, "{rate} {hz}: {}", gain_db(rate, hz));
            }
        }
    }

    #[test]
    fn output_does_not_depend_on_block_size() {
        let noise: Vec<f32> = (0..9_000_u32).map(|n| (n.wrapping_mul(2_654_435_761) >> 8) as f32 / 1e7).collect();
        for rate in [8_000.0, 44_100.0, 192_000.0] {
            let whole = decimated(rate, &noise, noise.len());
            assert!([1, 7, 300, 1_000].iter().all(|&piece| decimated(rate, &noise, piece) == whole), "{rate}");
        }
    }
}
