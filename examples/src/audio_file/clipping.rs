//! Clipping: samples at full scale, several in a row.

/// So many samples in a row at full scale make a clipped stretch (common practice, no source).
const MIN_CLIPPED_SAMPLES: u32 = 4;

/// Counts stretches at full scale.
pub(super) struct ClippingDetector {
    full_scale: f32,
    runs: Vec<i64>,
    pub(super) stretches: u64,
    /// The frame at which the first one begins.
    pub(super) first: Option<u64>,
}

impl ClippingDetector {
    pub(super) fn new(bits: u32, channels: usize) -> Self {
        // The largest positive code of the format, and of 16 bits for anything finer: recordings that were clipped in
        // 16 bits and converted later are found as well.
        let full_scale = 1.0 - 1.0 / f32::from(1u16 << (bits.clamp(8, 16) - 1));
        Self { full_scale, runs: vec![0; channels], stretches: 0, first: None }
    }

    /// Looks at frames that begin at `position`.
    pub(super) fn push(&mut self, samples: &[f32], position: u64) {
        let channels = self.runs.len();
        for (index, &sample) in samples.iter().enumerate() {
            let run = &mut self.runs[index % channels];
            let sign = if sample >= self.full_scale {
                1
            } else if sample <= -self.full_scale {
                -1
            } else {
                *run = 0;
                continue;
            };
            *run = if *run * sign > 0 { *run + sign } else { sign };
            if run.abs() == i64::from(MIN_CLIPPED_SAMPLES) {
                self.stretches += 1;
                let end = position + (index / channels) as u64;
                self.first.get_or_insert(end + 1 - u64::from(MIN_CLIPPED_SAMPLES));
            }
        }
    }
}
