//! The long-term spectrum of a voice in third octaves.

use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};
use std::sync::Arc;
use voicechain_core::speech::BYRNE_1994_COMBINED;

/// Length of a frame; at 48 kHz a bin is 5.9 Hz wide, so that the lowest band holds more than two.
const FRAME: usize = 8_192;

/// Sums the power of those frames that are loud enough to be speech, band by band.
pub struct LongTermSpectrum {
    fft: Arc<dyn RealToComplex<f64>>,
    rate_hz: f64,
    least_power: f64,
    window: Vec<f64>,
    waiting: Vec<f32>,
    power: Vec<f64>,
    frames: u64,
    input: Vec<f64>,
    output: Vec<Complex<f64>>,
}

impl LongTermSpectrum {
    /// A spectrum of frames whose mean-square level is above `least_dbfs`.
    pub fn new(rate_hz: u32, least_dbfs: f64) -> Self {
        let fft = RealFftPlanner::new().plan_fft_forward(FRAME);
        let turn = std::f64::consts::TAU / FRAME as f64;
        Self {
            output: fft.make_output_vec(),
            fft,
            rate_hz: f64::from(rate_hz),
            least_power: 10f64.powf(least_dbfs / 10.0),
            window: (0..FRAME).map(|n| 0.5 - 0.5 * (turn * n as f64).cos()).collect(),
            waiting: Vec::with_capacity(FRAME),
            power: vec![0.0; FRAME / 2 + 1],
            frames: 0,
            input: vec![0.0; FRAME],
        }
    }

    /// Takes interleaved frames; channels are averaged.
    pub fn push(&mut self, samples: &[f32], channels: usize) {
        for frame in samples.chunks_exact(channels) {
            self.waiting.push(frame.iter().sum::<f32>() / channels as f32);
            if self.waiting.len() == FRAME {
                self.frame();
                self.waiting.drain(..FRAME / 2);
            }
        }
    }

    fn frame(&mut self) {
        let power = self.waiting.iter().map(|&x| f64::from(x) * f64::from(x)).sum::<f64>() / FRAME as f64;
        // Also leaves out what is not a number.
        if !(power > self.least_power && power.is_finite()) {
            return;
        }
        for ((slot, &x), &w) in self.input.iter_mut().zip(&self.waiting).zip(&self.window) {
            *slot = f64::from(x) * w;
        }
        if self.fft.process(&mut self.input, &mut self.output).is_ok() {
            for (sum, bin) in self.power.iter_mut().zip(&self.output) {
                *sum += bin.norm_sqr();
            }
            self.frames += 1;
        }
    }

    /// The level of each third-octave band, (centre in Hz, dB of an arbitrary reference), as far as the rate has room.
    /// Empty when nothing was loud enough.
    pub fn bands(&self) -> Vec<(f32, f32)> {
        if self.frames == 0 {
            return Vec::new();
        }
        let width = self.rate_hz / FRAME as f64;
        let half = 10f64.powf(0.05);
        BYRNE_1994_COMBINED
            .iter()
            .filter(|(centre, _)| centre * half < 0.5 * self.rate_hz)
            .map(|&(centre, _)| {
                // Bins at the edges count by the part that lies inside.
                let (low, high) = (centre / half / width, centre * half / width);
                let sum: f64 = (low.round() as usize..=high.round() as usize)
                    .filter_map(|bin| {
                        let inside = (bin as f64 + 0.5).min(high) - (bin as f64 - 0.5).max(low);
                        self.power.get(bin).map(|p| p * inside.clamp(0.0, 1.0))
                    })
                    .sum();
                (centre as f32, (10.0 * (sum / self.frames as f64).log10()) as f32)
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// White noise has the same power per Hz: third-octave levels rise by 1 dB per band (bands are a tenth of a decade).
    #[test]
    fn white_noise_rises_by_one_decibel_per_band() {
        let mut spectrum = LongTermSpectrum::new(48_000, -60.0);
        let mut seed = 1u32;
        let noise: Vec<f32> = (0..48_000 * 8)
            .map(|_| {
                seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (seed >> 8) as f32 / (1 << 23) as f32 - 1.0
            })
            .collect();
        for piece in noise.chunks(777) {
            spectrum.push(piece, 1);
        }
        let bands = spectrum.bands();
        for pair in bands.windows(2).filter(|pair| pair[0].0 >= 300.0) {
            let exact = 10.0 * (f64::from(pair[1].0) / f64::from(pair[0].0)).log10();
            assert!((f64::from(pair[1].1 - pair[0].1) - exact).abs() < 0.6, "{pair:?}");
        }
    }

    #[test]
    fn silence_has_no_spectrum() {
        let mut spectrum = LongTermSpectrum::new(48_000, -60.0);
        spectrum.push(&vec![0.0; 48_000], 1);
        assert!(spectrum.bands().is_empty());
    }
}
