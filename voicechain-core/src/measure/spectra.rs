//! Short-time power spectra, independent of the block size.

use crate::blank::{Blank, blank};
use crate::dsp::fft::{self, RealFft};
use crate::dsp::window::hann;
use crate::math::power_to_db;

/// Band of a frame's level, Hz: that of speech.
const LEVEL_HZ: [f64; 2] = [80.0, 8_000.0];

/// Position of frames in a signal, and of bins in their spectra.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Framing {
    pub(crate) rate_hz: f64,
    /// Frame length, samples.
    pub(crate) length: usize,
    /// Hop, samples.
    pub(crate) hop: usize,
}

blank! { Framing { rate_hz, length, hop } }

impl Framing {
    /// Long frames: 64 to 93 ms, with a hop of half a frame.
    pub(crate) fn long(rate_hz: f64) -> Self {
        let length = match rate_hz {
            hz if hz > 34_000.0 => 4_096,
            hz if hz > 17_000.0 => 2_048,
            hz if hz > 8_500.0 => 1_024,
            _ => 512,
        };
        Self { rate_hz, length, hop: length / 2 }
    }

    /// Short frames: 16 to 32 ms, with a hop of a quarter of a frame (256 samples at 44.1 and 48 kHz).
    pub(crate) fn short(rate_hz: f64) -> Self {
        let length = (Self::long(rate_hz).length / 4).max(256);
        Self { rate_hz, length, hop: length / 4 }
    }

    /// Bin spacing, Hz.
    pub(crate) fn bin_hz(&self) -> f64 {
        self.rate_hz / self.length as f64
    }

    /// Hop, s.
    pub(crate) fn hop_s(&self) -> f64 {
        self.hop as f64 / self.rate_hz
    }

    /// Bin nearest to a frequency, at most the end of the spectrum.
    pub(crate) fn bin(&self, hz: f64) -> usize {
        ((hz / self.bin_hz() + 0.5) as usize).min(self.length / 2)
    }
}

/// Power spectrum of one frame.
///
/// The sum over all bins is the mean square of the signal (Parseval, divided by the mean square of the window). Bin `k`
/// is at `k rate / length`, from 0 up to, but excluding, half the rate.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Spectrum<'a> {
    pub(crate) powers: &'a [f32],
    framing: &'a Framing,
}

impl<'a> Spectrum<'a> {
    pub(crate) fn new(powers: &'a [f32], framing: &'a Framing) -> Self {
        Self { powers, framing }
    }

    /// Level from 80 Hz to 8 kHz, dB.
    pub(crate) fn level_db(&self) -> f64 {
        let [from, to] = LEVEL_HZ.map(|hz| self.framing.bin(hz).min(self.powers.len()));
        power_to_db(f64::from(total(&self.powers[from..to])).max(1e-13))
    }
}

/// Splits samples into frames every `hop` samples and computes their spectra under a Hann window. The frame length is a
/// power of two, at most `2 HALF`.
///
/// The first frame ends with sample `length - 1`. Single precision: the floor is about 130 dB below the strongest
/// component. Memory `16 HALF` bytes, and as much on the stack per transform.
#[derive(Clone, Debug)]
pub(crate) struct Spectra<const HALF: usize> {
    window: [[f32; 2]; HALF],
    past: [[f32; 2]; HALF],
    fft: RealFft<HALF>,
    framing: Framing,
    filled: usize,
    scale: f32,
}

blank! { [const HALF: usize] Spectra<HALF> { window, past, fft, framing, filled, scale } }

impl<const HALF: usize> Spectra<HALF> {
    pub(crate) fn new(framing: Framing) -> Self {
        let mut spectra = Self::BLANK;
        spectra.restart(framing);
        spectra
    }

    /// Restarts in place, with these frames.
    pub(crate) fn restart(&mut self, framing: Framing) {
        *self = Self::BLANK;
        self.fft = RealFft::new(framing.length);
        let length = self.fft.length();
        let mut energy = 0.0;
        for (n, w) in self.window.as_flattened_mut()[..length].iter_mut().enumerate() {
            let value = hann(n as f64, length as f64);
            energy += value * value;
            *w = value as f32;
        }
        self.scale = (2.0 / (length as f64 * energy)) as f32;
        self.framing = Framing { length, hop: framing.hop.clamp(1, length), ..framing };
    }

    /// Samples up to the end of the next frame, at least one.
    fn until_frame(&self) -> usize {
        self.framing.length - self.filled
    }

    /// Splits samples at the ends of frames and calls `each` with every piece, so that other meters stay aligned with
    /// the spectra.
    pub(crate) fn pieces<'s>(&mut self, samples: &'s [f32], mut each: impl FnMut(&mut Self, &'s [f32])) {
        let mut rest = samples;
        while !rest.is_empty() {
            let (now, later) = rest.split_at(rest.len().min(self.until_frame()));
            each(self, now);
            rest = later;
        }
    }

    /// Processes samples; calls `each` with the spectrum of every complete frame.
    pub(crate) fn push(&mut self, samples: &[f32], mut each: impl FnMut(&Spectrum<'_>)) {
        let Framing { length, hop, .. } = self.framing;
        let mut rest = samples;
        while !rest.is_empty() {
            let (now, later) = rest.split_at(rest.len().min(length - self.filled));
            self.past.as_flattened_mut()[self.filled..self.filled + now.len()].copy_from_slice(now);
            self.filled += now.len();
            rest = later;
            if self.filled == length {
                self.frame(&mut each);
                self.past.as_flattened_mut().copy_within(hop..length, 0);
                self.filled = length - hop;
            }
        }
    }

    fn frame(&self, each: &mut impl FnMut(&Spectrum<'_>)) {
        let length = self.framing.length;
        let (mut z, mut scratch) = ([[0.0; HALF]; 2], [[0.0; HALF]; 2]);
        let [re, im] = &mut z;
        fft::pack_windowed(&self.past.as_flattened()[..length], &self.window.as_flattened()[..length], re, im);
        self.fft.forward(&mut z, &mut scratch);
        let [powers, _] = &mut scratch;
        let powers = &mut powers[..length / 2];
        fft::powers(&z, self.scale, powers);
        // All other bins include their mirror images.
        powers[0] *= 0.5;
        each(&Spectrum::new(powers, &self.framing));
    }
}

/// Sum of powers, in eight parallel sums.
pub(crate) fn total(powers: &[f32]) -> f32 {
    let (eights, rest) = powers.as_chunks::<8>();
    let mut sums = [0.0_f32; 8];
    for eight in eights {
        for (sum, power) in sums.iter_mut().zip(eight) {
            *sum += power;
        }
    }
    sums.iter().chain(rest).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use core::f64::consts::PI;

    #[test]
    fn the_powers_of_a_tone_sum_to_its_mean_square() {
        for length in [256, 512, 1_024, 2_048, 4_096] {
            let mut spectra = Spectra::<2_048>::new(Framing { rate_hz: 48_000.0, length, hop: length / 2 });
            let tone: [f32; 10_000] = core::array::from_fn(|n| (0.5 * libm::sin(2.0 * PI * 0.1234 * n as f64)) as f32);
            let mut frames = 0;
            for piece in tone.chunks(77) {
                spectra.push(piece, |&Spectrum { powers, .. }| {
                    let sum: f32 = powers.iter().sum();
                    assert!((sum - 0.125).abs() < 1e-3, "{length}: {sum}");
                    let loudest = (0..powers.len()).max_by(|&a, &b| powers[a].total_cmp(&powers[b])).unwrap();
                    assert_eq!(loudest, (0.1234 * length as f64).round() as usize);
                    frames += 1;
                });
            }
            assert_eq!(frames, (10_000 - length) / (length / 2) + 1);
        }
    }
}
