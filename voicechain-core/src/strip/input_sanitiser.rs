//! What the strip lets in: finite samples of a sane size.

/// Samples beyond this (+36 dB of full scale) are held to it.
const MAX_MAGNITUDE: f32 = 64.0;
/// Samples below this are silence (they are subnormal, or would become so).
const MIN_MAGNITUDE: f32 = 1e-30;

/// Counts what it has refused.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct InputSanitiser {
    sanitised_samples: u64,
}

impl InputSanitiser {
    /// Silences what is not finite or too small to matter, holds what is absurdly large, and gives the largest magnitude.
    pub(super) fn sanitise<const C: usize>(&mut self, frames: &mut [[f32; C]]) -> f32 {
        // As whole numbers, magnitudes of floats are in the same order; what is not finite is above all others.
        let bits = |sample: f32| (sample.to_bits() & 0x7FFF_FFFF) as i32;
        let (quietest, loudest) = (MIN_MAGNITUDE.to_bits() as i32, MAX_MAGNITUDE.to_bits() as i32);
        let mut most = 0;
        for sample in frames.as_flattened_mut() {
            let size = bits(*sample);
            *sample = if size < quietest { 0.0 } else { *sample };
            most = if size > most { size } else { most };
        }
        if most > loudest {
            for sample in frames.as_flattened_mut().iter_mut().filter(|s| bits(**s) > loudest) {
                self.sanitised_samples += 1;
                *sample = clamped(*sample);
            }
            most = frames.iter().flatten().map(|s| bits(*s)).max().unwrap_or(0);
        }
        f32::from_bits(most as u32)
    }

    /// How many samples were refused: not finite, or beyond the largest.
    pub(super) fn sanitised_samples(&self) -> u64 {
        self.sanitised_samples
    }
}

fn clamped(sample: f32) -> f32 {
    if sample.is_finite() { sample.clamp(-MAX_MAGNITUDE, MAX_MAGNITUDE) } else { 0.0 }
}

/// A frame as the sanitiser lets it in, without counting; tiny samples stay.
pub(super) fn sanitised_frame<const C: usize>(frame: &[f32; C]) -> [f32; C] {
    frame.map(clamped)
}

/// Silences what is too small to matter, so that no host gets subnormal numbers.
pub(super) fn flush_denormals<const C: usize>(frames: &mut [[f32; C]]) {
    for sample in frames.as_flattened_mut() {
        *sample = if sample.abs() < MIN_MAGNITUDE { 0.0 } else { *sample };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn non_finite_samples_become_zero_and_huge_ones_are_clamped() {
        let mut sanitiser = InputSanitiser::default();
        let mut frames = [[0.5, f32::NAN], [-1e9, f32::INFINITY], [1e-38, -0.25], [64.0, -64.0]];
        assert_eq!(sanitiser.sanitise(&mut frames), 64.0);
        assert_eq!(frames, [[0.5, 0.0], [-64.0, 0.0], [0.0, -0.25], [64.0, -64.0]]);
        assert_eq!(sanitiser.sanitised_samples(), 3, "a subnormal number is no fault of the recording");
        assert_eq!(sanitiser.sanitise(&mut [[0.125, -0.5]]), 0.5);
        assert_eq!(sanitiser.sanitised_samples(), 3);
    }

    #[test]
    fn denormals_are_flushed_to_zero() {
        let mut frames = [[f32::MIN_POSITIVE / 2.0, -1e-31], [1e-29, -1.0]];
        flush_denormals(&mut frames);
        assert_eq!(frames, [[0.0, 0.0], [1e-29, -1.0]]);
    }
}
