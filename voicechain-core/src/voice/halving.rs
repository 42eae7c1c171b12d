//! Halving the sample rate, as often as wanted.

use core::f64::consts::PI;

/// Pairs of coefficients beside the centre.
const PAIRS: usize = 16;
/// Samples that a filter sees.
const TAPS: usize = 4 * PAIRS - 1;
/// Shape of the Kaiser window: 80 dB.
const BETA: f64 = 7.857;

/// A half-band filter that keeps every second sample.
///
/// A windowed sinc of 63 taps of which every second is zero: flat to 0.01 dB up to 0.2 of its input's rate, at least 75 dB
/// down from 0.3 on; delay 31 samples of its input. Its phase counts from reset, so that any split gives the same bits.
#[derive(Clone, Debug)]
pub(crate) struct Halving {
    taps: [f32; PAIRS],
    /// The last samples, twice, so that those of a filter always lie in a row.
    past: [f32; 2 * (TAPS + 1)],
    at: usize,
    odd: bool,
}

impl Halving {
    pub(crate) fn new() -> Self {
        // Modified Bessel function of the first kind and order 0, by its series.
        let bessel = |x: f64| {
            let (mut sum, mut term) = (1.0, 1.0);
            for k in 1..40 {
                term *= (0.5 * x / f64::from(k)) * (0.5 * x / f64::from(k));
                sum += term;
            }
            sum
        };
        let mut taps = [0.0; PAIRS];
        for (i, tap) in taps.iter_mut().enumerate() {
            let n = (2 * i + 1) as f64;
            let edge = n / (2 * PAIRS) as f64;
            let window = bessel(BETA * libm::sqrt(1.0 - edge * edge)) / bessel(BETA);
            *tap = libm::sin(0.5 * PI * n) / (PI * n) * window;
        }
        let sum: f64 = 0.5 + 2.0 * taps.iter().sum::<f64>();
        Self { taps: taps.map(|tap| (tap / sum) as f32), past: [0.0; 2 * (TAPS + 1)], at: 0, odd: false }
    }

    /// Takes samples and puts every second one of the filtered into `to`; gives how many. `to` has room for half of them,
    /// rounded up.
    pub(crate) fn run(&mut self, samples: &[f32], to: &mut [f32]) -> usize {
        const LENGTH: usize = TAPS + 1;
        let mut count = 0;
        for &sample in samples {
            self.past[self.at] = sample;
            self.past[self.at + LENGTH] = sample;
            self.at = (self.at + 1) % LENGTH;
            self.odd = !self.odd;
            if self.odd {
                continue;
            }
            // Oldest first; the newest is the last of TAPS.
            let window = &self.past[self.at + 1..self.at + 1 + TAPS];
            let centre = TAPS / 2;
            let mut sum = 0.5 * window[centre];
            for (i, tap) in self.taps.iter().enumerate() {
                sum += tap * (window[centre - 2 * i - 1] + window[centre + 2 * i + 1]);
            }
            if let Some(place) = to.get_mut(count) {
                *place = sum;
                count += 1;
            }
        }
        count
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    extern crate std;
    use std::vec::Vec;

    fn gain_db(frequency: f64) -> f64 {
        let mut halving = Halving::new();
        let tone: Vec<f32> = (0..8_192).map(|n| libm::sin(2.0 * PI * frequency * f64::from(n)) as f32).collect();
        let mut out = std::vec![0.0; 4_096];
        assert_eq!(halving.run(&tone, &mut out), 4_096);
        let power = out[100..].iter().map(|&s| f64::from(s).powi(2)).sum::<f64>() / 3_996.0;
        10.0 * libm::log10(power / 0.5)
    }

    #[test]
    fn the_band_passes_and_what_would_fold_into_it_does_not() {
        for frequency in [0.001, 0.05, 0.123, 0.17, 0.2] {
            assert!(gain_db(frequency).abs() < 0.05, "{frequency}: {}", gain_db(frequency));
        }
        for frequency in [0.301, 0.35, 0.41, 0.49] {
            assert!(gain_db(frequency) < -70.0, "{frequency}: {}", gain_db(frequency));
        }
    }

    #[test]
    fn any_split_gives_the_same_bits() {
        let noise: Vec<f32> = (0..1_000_u32).map(|n| (n.wrapping_mul(2_654_435_761) >> 8) as f32 / 1e7).collect();
        let (mut whole, mut split) = (Halving::new(), Halving::new());
        let mut expected = [0.0; 500];
        assert_eq!(whole.run(&noise, &mut expected), 500);
        let mut found = Vec::new();
        for piece in noise.chunks(7) {
            let mut to = [0.0; 4];
            let count = split.run(piece, &mut to);
            found.extend_from_slice(&to[..count]);
        }
        assert_eq!(found, expected);
    }
}
