//! Measures written files with independent code: `hound`, `dasp` and `ebur128`.

use dasp::Sample;
use ebur128::{EbuR128, Mode};
use std::path::Path;

/// A decoded WAV file.
pub(crate) struct DecodedWav {
    pub(crate) rate_hz: u32,
    pub(crate) channels: u16,
    pub(crate) bits: u16,
    pub(crate) float: bool,
    pub(crate) samples: Vec<f32>,
}

/// Levels by `ebur128`.
#[derive(Debug)]
pub(crate) struct LoudnessReadings {
    pub(crate) integrated_lufs: f64,
    pub(crate) range_lu: f64,
    pub(crate) true_peak_dbtp: f64,
    pub(crate) sample_peak_dbfs: f64,
}

/// Reads a whole file.
pub(crate) fn decode(path: &Path) -> DecodedWav {
    let mut reader = hound::WavReader::open(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let spec = reader.spec();
    let float = spec.sample_format == hound::SampleFormat::Float;
    let samples = if float {
        reader.samples::<f32>().map(|s| s.expect("a sample")).collect()
    } else {
        // A shorter word is the upper part of a longer one.
        let shift = 32 - spec.bits_per_sample;
        reader.samples::<i32>().map(|s| (s.expect("a sample") << shift).to_sample()).collect()
    };
    DecodedWav { rate_hz: spec.sample_rate, channels: spec.channels, bits: spec.bits_per_sample, float, samples }
}

impl DecodedWav {
    pub(crate) fn frames(&self) -> usize {
        self.samples.len() / usize::from(self.channels)
    }

    /// One channel in double precision.
    pub(crate) fn channel(&self, index: usize) -> Vec<f64> {
        self.samples.iter().skip(index).step_by(self.channels.into()).map(|s| f64::from(*s)).collect()
    }

    pub(crate) fn levels(&self) -> LoudnessReadings {
        measure(&self.samples, self.channels, self.rate_hz)
    }

    /// Levels in a stereo mix, where a mono file feeds both channels.
    pub(crate) fn levels_in_stereo(&self) -> LoudnessReadings {
        if self.channels == 2 {
            return self.levels();
        }
        let both: Vec<f32> = self.samples.iter().flat_map(|s| [*s, *s]).collect();
        measure(&both, 2, self.rate_hz)
    }
}

fn measure(samples: &[f32], channels: u16, rate_hz: u32) -> LoudnessReadings {
    let mut meter = EbuR128::new(channels.into(), rate_hz, Mode::all() - Mode::HISTOGRAM).expect("a meter");
    meter.add_frames_f32(samples).expect("whole frames");
    let db = |gain: f64| 20.0 * gain.log10();
    let most = |peak: &dyn Fn(u32) -> f64| (0..u32::from(channels)).map(peak).fold(0.0, f64::max);
    LoudnessReadings {
        integrated_lufs: meter.loudness_global().expect("a loudness"),
        range_lu: meter.loudness_range().expect("a range"),
        true_peak_dbtp: db(most(&|c| meter.true_peak(c).expect("a peak"))),
        sample_peak_dbfs: db(most(&|c| meter.sample_peak(c).expect("a peak"))),
    }
}
