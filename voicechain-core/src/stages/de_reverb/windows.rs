//! Windows of the short-time spectra, as constants of the program.

use crate::dsp::unit_circle;

/// Analysis and synthesis window of one pair of frame lengths.
///
/// The analysis window rises as a sine and falls as a cosine over half the synthesis window. The product of both is a
/// Hann window of the synthesis length, so overlap-add reconstructs the input. The synthesis window includes the scale
/// of the inverse transform. Tested by `the_product_of_the_windows_is_a_hann_window`.
#[derive(Clone, Copy, Debug)]
pub(super) struct Windows {
    pub(super) analysis: &'static [f32],
    pub(super) synthesis: &'static [f32],
}

impl Windows {
    pub(super) const NONE: Self = Self { analysis: &[], synthesis: &[] };
}

/// Value at `n` of the analysis window.
const fn analysis_at(n: usize, analysis: usize, synthesis: usize) -> f64 {
    let fall = synthesis / 2;
    let rise = analysis - fall;
    if n < rise { unit_circle::point(n, 4 * rise)[1] } else { unit_circle::point(n - rise, 4 * fall)[0] }
}

const fn analysis_window<const ANALYSIS: usize>(synthesis: usize) -> [f32; ANALYSIS] {
    let (mut window, mut n) = ([0.0; ANALYSIS], 0);
    while n < ANALYSIS {
        window[n] = analysis_at(n, ANALYSIS, synthesis) as f32;
        n += 1;
    }
    window
}

const fn synthesis_window<const SYNTHESIS: usize>(analysis: usize) -> [f32; SYNTHESIS] {
    // Four hops per window: half of the sum of the overlapping Hann windows. The inverse transform scales by half the
    // frame length.
    let scale = 0.5 * (2.0 / analysis as f64);
    let (mut window, mut n) = ([0.0; SYNTHESIS], 0);
    while n < SYNTHESIS {
        let hann = 0.5 - 0.5 * unit_circle::point(n, SYNTHESIS)[0];
        window[n] = (scale * hann / analysis_at(analysis - SYNTHESIS + n, analysis, SYNTHESIS)) as f32;
        n += 1;
    }
    window
}

macro_rules! windows {
    ($($analysis:literal: $($synthesis:literal),+;)+) => {
        /// Windows of the given lengths; [`Windows::NONE`] for lengths that no sample rate has.
        pub(super) fn windows(analysis: usize, synthesis: usize) -> Windows {
            match (analysis, synthesis) {
                $($(($analysis, $synthesis) => {
                    static ANALYSIS: [f32; $analysis] = analysis_window($synthesis);
                    static SYNTHESIS: [f32; $synthesis] = synthesis_window($analysis);
                    Windows { analysis: &ANALYSIS, synthesis: &SYNTHESIS }
                })+)+
                _ => Windows::NONE,
            }
        }
    };
}
windows! {
    128: 32, 64;
    256: 64, 128;
    512: 128, 256;
    1_024: 256, 512;
    2_048: 512, 1_024;
    4_096: 1_024, 2_048;
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dsp::window::hann;
    use crate::settings::SpectralLatency;
    use crate::stages::de_reverb::stft::Stft;
    use crate::units::SampleRate;

    #[test]
    fn the_product_of_the_windows_is_a_hann_window() {
        for hz in [8_000.0, 11_025.0, 16_000.0, 32_000.0, 48_000.0, 192_000.0] {
            for latency in [SpectralLatency::Low, SpectralLatency::High] {
                let stft = Stft::new(latency, SampleRate::new(hz).unwrap());
                let windows = windows(stft.analysis, stft.synthesis);
                assert_eq!((windows.analysis.len(), windows.synthesis.len()), (stft.analysis, stft.synthesis));
                let end = &windows.analysis[stft.analysis - stft.synthesis..];
                for (n, (a, s)) in end.iter().zip(windows.synthesis).enumerate() {
                    let product = f64::from(a * s) * stft.analysis as f64;
                    assert!((product - hann(n as f64, stft.synthesis as f64)).abs() < 1e-6, "{hz} Hz, {n}: {product}");
                }
                // The rise is a quarter of a sine: at its middle the square is one half.
                let rise = stft.analysis - stft.synthesis / 2;
                assert!((f64::from(windows.analysis[rise / 2]).powi(2) - 0.5).abs() < 1e-6);
            }
        }
        assert!(windows(100, 50).analysis.is_empty());
    }
}
