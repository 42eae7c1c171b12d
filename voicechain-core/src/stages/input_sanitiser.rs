//! Input sanitising: all samples inside a stage and inside the strip are finite and within +36 dBFS.

use crate::blank::blank;

/// Clamp level, +36 dBFS.
const MAX_MAGNITUDE: f32 = 64.0;
/// Smaller samples become zero: they are subnormal, or would lead to subnormal states.
const MIN_MAGNITUDE: f32 = 1e-30;

/// Numbers of sanitised input samples. Subnormal samples, which become zero, are not counted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct SanitisedSamples {
    /// Non-finite samples, replaced by silence.
    pub non_finite: u64,
    /// Finite samples beyond +36 dBFS, clamped to it.
    pub clamped: u64,
}

blank! { SanitisedSamples { non_finite, clamped } }

/// Sanitises input samples and counts them.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct InputSanitiser {
    counts: SanitisedSamples,
}

blank! { InputSanitiser { counts } }

impl InputSanitiser {
    /// Zeroes non-finite and negligible samples, and clamps excessive ones.
    pub(crate) fn sanitise<const C: usize>(&mut self, frames: &mut [[f32; C]]) {
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
                let count = if sample.is_finite() { &mut self.counts.clamped } else { &mut self.counts.non_finite };
                *count += 1;
                *sample = clamped(*sample);
            }
        }
    }

    /// Numbers of sanitised samples.
    pub(crate) fn sanitised_samples(&self) -> SanitisedSamples {
        self.counts
    }
}

fn clamped(sample: f32) -> f32 {
    if sample.is_finite() { sample.clamp(-MAX_MAGNITUDE, MAX_MAGNITUDE) } else { 0.0 }
}

/// Sanitises a frame without counting. Negligible samples stay.
pub(crate) fn sanitised_frame<const C: usize>(frame: &[f32; C]) -> [f32; C] {
    frame.map(clamped)
}

/// Zeroes negligible samples, so that hosts never receive subnormal numbers.
pub(crate) fn flush_denormals<const C: usize>(frames: &mut [[f32; C]]) {
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
        sanitiser.sanitise(&mut frames);
        assert_eq!(frames, [[0.5, 0.0], [-64.0, 0.0], [0.0, -0.25], [64.0, -64.0]]);
        let counts = SanitisedSamples { non_finite: 2, clamped: 1 };
        assert_eq!(sanitiser.sanitised_samples(), counts, "subnormal numbers are not counted");
        sanitiser.sanitise(&mut [[0.125, -0.5]]);
        assert_eq!(sanitiser.sanitised_samples(), counts);
    }

    #[test]
    fn denormals_are_flushed_to_zero() {
        let mut frames = [[f32::MIN_POSITIVE / 2.0, -1e-31], [1e-29, -1.0]];
        flush_denormals(&mut frames);
        assert_eq!(frames, [[0.0, 0.0], [1e-29, -1.0]]);
    }
}
