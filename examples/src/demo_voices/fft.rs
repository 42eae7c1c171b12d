//! FFT wrappers and FFT convolution.

use realfft::num_complex::Complex;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};

pub(super) fn forward_fft(
    fft: &dyn RealToComplex<f32>,
    block: &mut [f32],
    bins: &mut [Complex<f32>],
    scratch: &mut [Complex<f32>],
) {
    let done = fft.process_with_scratch(block, bins, scratch);
    debug_assert!(done.is_ok(), "{done:?}");
}

pub(super) fn inverse_fft(
    fft: &dyn ComplexToReal<f32>,
    bins: &mut [Complex<f32>],
    block: &mut [f32],
    scratch: &mut [Complex<f32>],
) {
    // The bins at 0 Hz and at the Nyquist frequency are real except for rounding errors.
    let last = bins.len() - 1;
    bins[0].im = 0.0;
    bins[last].im = 0.0;
    let done = fft.process_with_scratch(bins, block, scratch);
    debug_assert!(done.is_ok(), "{done:?}");
}

/// Overlap-add convolution, truncated to the length of the input.
pub(super) fn convolve(samples: &[f32], response: &[f32]) -> Vec<f32> {
    let size = (4 * response.len()).next_power_of_two();
    let hop = size - response.len();
    let mut planner = RealFftPlanner::<f32>::new();
    let (forward, inverse) = (planner.plan_fft_forward(size), planner.plan_fft_inverse(size));
    let (mut block, mut bins) = (forward.make_input_vec(), forward.make_output_vec());
    let (mut scratch_f, mut scratch_i) = (forward.make_scratch_vec(), inverse.make_scratch_vec());
    let mut filter = forward.make_output_vec();
    block[..response.len()].copy_from_slice(response);
    forward_fft(&*forward, &mut block, &mut filter, &mut scratch_f);
    filter.iter_mut().for_each(|f| *f /= size as f32);
    let mut out = vec![0.0; samples.len()];
    for (index, part) in samples.chunks(hop).enumerate() {
        if part.iter().all(|s| *s == 0.0) {
            continue;
        }
        block.fill(0.0);
        block[..part.len()].copy_from_slice(part);
        forward_fft(&*forward, &mut block, &mut bins, &mut scratch_f);
        bins.iter_mut().zip(&filter).for_each(|(b, f)| *b *= f);
        inverse_fft(&*inverse, &mut bins, &mut block, &mut scratch_i);
        out[index * hop..].iter_mut().zip(&block).for_each(|(o, b)| *o += b);
    }
    out
}
