//! What the strip lets in: finite samples of a sane size.

/// Samples beyond this (+36 dB of full scale) are held to it.
const LOUDEST: f32 = 64.0;
/// Samples below this are silence (they are subnormal, or would become so).
const QUIETEST: f32 = 1e-30;

/// Counts what it has refused.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct InputGuard {
    rejected: u64,
}

impl InputGuard {
    /// Silences what is not finite or too small to matter, holds what is absurdly large, and gives the largest magnitude.
    pub(super) fn admit<const C: usize>(&mut self, frames: &mut [[f32; C]]) -> f32 {
        // As whole numbers, magnitudes of floats are in the same order; what is not finite is above all others.
        let bits = |sample: f32| (sample.to_bits() & 0x7FFF_FFFF) as i32;
        let (quietest, loudest) = (QUIETEST.to_bits() as i32, LOUDEST.to_bits() as i32);
        let mut most = 0;
        for sample in frames.as_flattened_mut() {
            let size = bits(*sample);
            *sample = if size < quietest { 0.0 } else { *sample };
            most = if size > most { size } else { most };
        }
        if most > loudest {
            for sample in frames.as_flattened_mut().iter_mut().filter(|s| bits(**s) > loudest) {
                self.rejected += 1;
                *sample = held(*sample);
            }
            most = frames.iter().flatten().map(|s| bits(*s)).max().unwrap_or(0);
        }
        f32::from_bits(most as u32)
    }

    /// How many samples were refused: not finite, or beyond the largest.
    pub(super) fn rejected(&self) -> u64 {
        self.rejected
    }
}

fn held(sample: f32) -> f32 {
    if sample.is_finite() { sample.clamp(-LOUDEST, LOUDEST) } else { 0.0 }
}

/// A frame as the guard lets it in, without counting; tiny samples stay.
pub(super) fn admitted<const C: usize>(frame: &[f32; C]) -> [f32; C] {
    frame.map(held)
}

/// Silences what is too small to matter, so that no host gets subnormal numbers.
pub(super) fn silence_tiny<const C: usize>(frames: &mut [[f32; C]]) {
    for sample in frames.as_flattened_mut() {
        *sample = if sample.abs() < QUIETEST { 0.0 } else { *sample };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_finite_is_silence_and_what_is_absurd_is_held() {
        let mut guard = InputGuard::default();
        let mut frames = [[0.5, f32::NAN], [-1e9, f32::INFINITY], [1e-38, -0.25], [64.0, -64.0]];
        assert_eq!(guard.admit(&mut frames), 64.0);
        assert_eq!(frames, [[0.5, 0.0], [-64.0, 0.0], [0.0, -0.25], [64.0, -64.0]]);
        assert_eq!(guard.rejected(), 3, "a subnormal number is no fault of the recording");
        assert_eq!(guard.admit(&mut [[0.125, -0.5]]), 0.5);
        assert_eq!(guard.rejected(), 3);
    }

    #[test]
    fn silence_leaves_without_subnormal_numbers() {
        let mut frames = [[f32::MIN_POSITIVE / 2.0, -1e-31], [1e-29, -1.0]];
        silence_tiny(&mut frames);
        assert_eq!(frames, [[0.0, 0.0], [1e-29, -1.0]]);
    }
}
