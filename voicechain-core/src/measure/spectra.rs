//! Short-time power spectra, the same for every split of the samples into blocks.

use core::f64::consts::PI;
use microfft::real;

/// The longest frame, samples.
pub(crate) const LONGEST: usize = 4_096;

/// Frames of a length that is a power of two from 256 to [`LONGEST`], under a Hann window, every `hop` samples.
///
/// The powers are scaled so that their sum over all bins is the mean square of the signal (Parseval, divided by the
/// window's mean square); bin `k` is at `k rate / length`, from 0 up to but without half the rate. The first frame ends
/// with sample `length - 1`. Single precision: the floor lies some 130 dB under the strongest component. `N` is the longest
/// length that there is room for: memory `8 N` bytes, and as much on the stack while a frame is made.
#[derive(Clone, Debug)]
pub(crate) struct Spectra<const N: usize = LONGEST> {
    window: [f32; N],
    past: [f32; N],
    length: usize,
    hop: usize,
    filled: usize,
    scale: f32,
}

impl<const N: usize> Spectra<N> {
    pub(crate) fn new(length: usize, hop: usize) -> Self {
        assert!(length.is_power_of_two() && (256..=N.min(LONGEST)).contains(&length) && hop >= 1 && hop <= length);
        let mut window = [0.0_f32; N];
        let mut energy = 0.0;
        for (n, w) in window[..length].iter_mut().enumerate() {
            let value = 0.5 - 0.5 * libm::cos(2.0 * PI * n as f64 / length as f64);
            energy += value * value;
            *w = value as f32;
        }
        let scale = (2.0 / (length as f64 * energy)) as f32;
        Self { window, past: [0.0; N], length, hop, filled: 0, scale }
    }

    pub(crate) fn length(&self) -> usize {
        self.length
    }

    /// Samples up to the end of the frame that ends next, at least one.
    pub(crate) fn until_frame(&self) -> usize {
        self.length - self.filled
    }

    /// Takes samples, and calls `each` with the powers (`length / 2` bins) of every frame that is complete.
    pub(crate) fn push(&mut self, samples: &[f32], mut each: impl FnMut(&[f32])) {
        let mut rest = samples;
        while !rest.is_empty() {
            let (now, later) = rest.split_at(rest.len().min(self.length - self.filled));
            self.past[self.filled..self.filled + now.len()].copy_from_slice(now);
            self.filled += now.len();
            rest = later;
            if self.filled == self.length {
                let mut work = [0.0; N];
                each(self.powers(&mut work));
                self.past.copy_within(self.hop..self.length, 0);
                self.filled = self.length - self.hop;
            }
        }
    }

    fn powers<'a>(&self, work: &'a mut [f32; N]) -> &'a [f32] {
        for ((work, past), window) in work.iter_mut().zip(&self.past).zip(&self.window).take(self.length) {
            *work = past * window;
        }
        macro_rules! transform {
            ($($length:literal $function:ident),+) => {
                match self.length {
                    $($length => {
                        // The slice has exactly this length.
                        let Some(work) = work.first_chunk_mut::<$length>() else { return &[] };
                        let spectrum = real::$function(work);
                        // What would be half the rate comes packed into the first bin.
                        spectrum[0].im = 0.0;
                        let mut powers = [0.0_f32; $length / 2];
                        for (power, bin) in powers.iter_mut().zip(spectrum.iter()) {
                            *power = self.scale * (bin.re * bin.re + bin.im * bin.im);
                        }
                        powers[0] *= 0.5;
                        work[..$length / 2].copy_from_slice(&powers);
                    })+
                    _ => return &[],
                }
            };
        }
        transform!(256 rfft_256, 512 rfft_512, 1024 rfft_1024, 2048 rfft_2048, 4096 rfft_4096);
        &work[..self.length / 2]
    }
}

/// Sum of powers, as eight sums that run side by side.
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

    #[test]
    fn the_powers_of_a_tone_sum_to_its_mean_square() {
        for length in [256, 512, 1_024, 2_048, 4_096] {
            let mut spectra = Spectra::<LONGEST>::new(length, length / 2);
            let tone: [f32; 10_000] = core::array::from_fn(|n| (0.5 * libm::sin(2.0 * PI * 0.1234 * n as f64)) as f32);
            let mut frames = 0;
            for piece in tone.chunks(77) {
                spectra.push(piece, |powers| {
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
