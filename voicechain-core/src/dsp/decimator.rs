//! Lowering the sample rate by a whole number at once.

use super::dot;
use super::window::hann;
use core::f64::consts::PI;

/// The longest impulse response.
pub const TAPS: usize = 256;
/// Samples taken at once.
const PIECE: usize = 256;
/// What is larger is no sample of a recording, and squares of it would not be finite.
const LARGEST: f32 = 1e6;

/// A low-pass that keeps every `every`-th sample: a sinc under a Hann window, made to pass constants unchanged.
///
/// Samples that are not finite or above 1e6 count as 0. Cost: `length / every` multiply-adds per sample; memory 3 kB. Its
/// phase counts from reset, so that any split gives the same bits.
#[derive(Clone, Debug)]
pub struct Decimator {
    taps: [f32; TAPS],
    /// Taps that count, a multiple of eight.
    length: usize,
    factor: usize,
    /// The newest samples, of which those at `next..next + length` make the next output.
    past: [f32; TAPS + PIECE],
    filled: usize,
    next: usize,
}

impl Decimator {
    /// Keeps one sample in `every`, behind an impulse response of `length` samples (at most [`TAPS`]) whose gain is -6 dB at
    /// `edge`, as a share of the rate.
    #[must_use]
    pub fn new(factor: usize, length: usize, edge: f64) -> Self {
        let (factor, wanted) = (factor.max(1), length.clamp(1, TAPS));
        let centre = 0.5 * (wanted - 1) as f64;
        let mut exact = [0.0_f64; TAPS];
        for (n, tap) in exact.iter_mut().enumerate().take(wanted) {
            let (t, turn) = (n as f64 - centre, 2.0 * edge);
            let sinc = if t == 0.0 { turn } else { libm::sin(PI * turn * t) / (PI * t) };
            *tap = sinc * hann((n + 1) as f64, (wanted + 1) as f64);
        }
        let sum: f64 = exact.iter().sum();
        let length = wanted.next_multiple_of(8).min(TAPS);
        Self {
            taps: exact.map(|tap| (tap / sum) as f32),
            length,
            factor,
            past: [0.0; TAPS + PIECE],
            filled: 0,
            next: 0,
        }
    }

    /// How many samples go in for one that comes out.
    #[must_use]
    pub fn factor(&self) -> usize {
        self.factor
    }

    /// Takes samples and gives each that comes out to `out`.
    pub fn push(&mut self, samples: &[f32], mut out: impl FnMut(f32)) {
        for piece in samples.chunks(PIECE) {
            // At most `length - 1` samples were left, so that there is room for the piece.
            for (to, &sample) in self.past[self.filled..].iter_mut().zip(piece) {
                *to = if sample.abs() <= LARGEST { sample } else { 0.0 };
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

/// Lowers the rate by a whole number under a triangle of twice that length, which puts what would fold into the lowest
/// twentieth of the new rate at least 45 dB down.
#[derive(Clone, Debug)]
pub struct TriangleDecimator {
    factor: u32,
    at: u32,
    /// Samples so far, weighted for the present output and for the next.
    now: f32,
    next: f32,
}

impl TriangleDecimator {
    /// Keeps one sample in so many, at least 1.
    #[must_use]
    pub fn new(factor: u32) -> Self {
        Self { factor: factor.max(1), at: 0, now: 0.0, next: 0.0 }
    }

    /// Takes samples; gives each that comes out to `out`.
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

    /// -6 dB at 1.5 kHz, 1.33 ms long, 6 to 12 kHz.
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
    fn the_band_passes_and_what_would_fold_into_it_does_not() {
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
    fn any_split_gives_the_same_bits() {
        let noise: Vec<f32> = (0..9_000_u32).map(|n| (n.wrapping_mul(2_654_435_761) >> 8) as f32 / 1e7).collect();
        for rate in [8_000.0, 44_100.0, 192_000.0] {
            let whole = decimated(rate, &noise, noise.len());
            assert!([1, 7, 300, 1_000].iter().all(|&piece| decimated(rate, &noise, piece) == whole), "{rate}");
        }
    }
}
