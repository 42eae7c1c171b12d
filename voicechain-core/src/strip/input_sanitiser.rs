//! Input sanitising: all samples inside the strip are finite and within +36 dBFS.

/// Clamp level, +36 dBFS.
const MAX_MAGNITUDE: f32 = 64.0;
/// Smaller samples become zero: they are subnormal, or would lead to subnormal states.
const MIN_MAGNITUDE: f32 = 1e-30;

/// Sanitises input samples and counts them.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct InputSanitiser {
    sanitised_samples: u64,
}

impl InputSanitiser {
    /// Zeroes non-finite and negligible samples, clamps excessive ones, and returns the largest magnitude.
    pub(super) fn sanitise<const C: usize>(&mut self, frames: &mut [[f32; C]]) -> f32 {
        // As integers, float magnitudes keep their order. Non-finite values are above all others.
        let bits = |sample: f32| (sample.to_bits() & 0x7FFF_FFFF) as i32;
        let (quietest, loudest) = (MIN_MAGNITUDE.to_bits() as i32, MAX_MAGNITUDE.to_bits() as i32);
        let mut peak = 0;
        for sample in frames.as_flattened_mut() {
            let size = bits(*sample);
            *sample = if size < quietest { 0.0 } else { *sample };
            peak = if size > peak { size } else { peak };
        }
        if peak > loudest {
            for sample in frames.as_flattened_mut().iter_mut().filter(|s| bits(**s) > loudest) {
                self.sanitised_samples += 1;
                *sample = clamped(*sample);
            }
            peak = frames.iter().flatten().map(|s| bits(*s)).max().unwrap_or(0);
        }
        f32::from_bits(peak as u32)
    }

    /// Number of non-finite or clamped samples.
    pub(super) fn sanitised_samples(&self) -> u64 {
        self.sanitised_samples
    }
}

fn clamped(sample: f32) -> f32 {
    if sample.is_finite() { sample.clamp(-MAX_MAGNITUDE, MAX_MAGNITUDE) } else { 0.0 }
}

/// Sanitises a frame without counting. Negligible samples stay.
pub(super) fn sanitised_frame<const C: usize>(frame: &[f32; C]) -> [f32; C] {
    frame.map(clamped)
}

/// Zeroes negligible samples, so that hosts never receive subnormal numbers.
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
        assert_eq!(sanitiser.sanitised_samples(), 3, "subnormal numbers are not counted");
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
