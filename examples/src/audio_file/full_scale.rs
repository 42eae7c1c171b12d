//! Counts stretches at full scale: what the file itself cannot represent. Flat peaks at lower levels, of a recording that
//! was clipped and attenuated, are found by the core (`voicechain_core::measure::clipping`).

/// Number of consecutive samples at full scale that count as a stretch (common practice, no source).
const MIN_SAMPLES: u32 = 4;

/// Counts stretches at or beyond full scale per channel. Decoded lossy audio may lie beyond it.
pub(super) struct FullScaleDetector {
    full_scale: f32,
    runs: Vec<i64>,
    pub(super) stretches: u64,
    /// First frame of the first stretch.
    pub(super) first: Option<u64>,
}

impl FullScaleDetector {
    pub(super) fn new(bits: u32, channels: usize) -> Self {
        // Largest positive code of the format, at most of 16 bits, so that recordings clipped at 16 bits and converted
        // later are detected too.
        let full_scale = 1.0 - 1.0 / f32::from(1u16 << (bits.clamp(8, 16) - 1));
        Self { full_scale, runs: vec![0; channels], stretches: 0, first: None }
    }

    /// Analyses interleaved samples whose first frame is `position`.
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
            if run.abs() == i64::from(MIN_SAMPLES) {
                self.stretches += 1;
                let end = position + (index / channels) as u64;
                self.first.get_or_insert(end + 1 - u64::from(MIN_SAMPLES));
            }
        }
    }
}
