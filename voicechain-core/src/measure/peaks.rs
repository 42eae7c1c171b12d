//! Speech peaks.

use crate::blank::blank;
use crate::detectors::voice_activity::P56_MARGIN_DB;
use crate::dsp::SubBlockClock;
use crate::dsp::histogram::interpolated_bin;
use crate::math::{power_to_db, to_db};
use crate::units::SampleRate;

/// Lowest level of a segment, dB.
const BOTTOM_DB: f64 = -110.0;
/// Level bins of 2 dB, up to +6 dB.
const LEVEL_BINS: usize = 58;
const LEVEL_DB: f64 = 2.0;
/// Bins of 0.5 dB for the peak above the lower edge of its level bin. No segment of 10 ms at 48 kHz has a peak more
/// than 26.8 dB above its level.
const BINS: usize = 56;
const PEAKS_PER_LEVEL: usize = 4;
/// All bins of absolute peak level.
const LEVELS: usize = LEVEL_BINS * PEAKS_PER_LEVEL + BINS;
/// Percentile of the speech peak.
const SHARE: f64 = 0.95;

/// Histogram of the sample peaks of 10 ms segments by peak and level. Active speech is selected afterwards, once the
/// active level is known. Bins of 2 dB and 0.5 dB count a recording that is 20 dB quieter alike. Memory 13 kB. Tested
/// by `the_speech_peak_counts_active_segments_only`.
#[derive(Clone, Debug)]
pub struct SpeechPeakMeter {
    clock: SubBlockClock,
    peak: f32,
    energy: f64,
    highest: f32,
    counts: [[u32; BINS]; LEVEL_BINS],
}

blank! { SpeechPeakMeter { clock, peak, energy, highest, counts } }

impl SpeechPeakMeter {
    /// A meter for a sample rate.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        Self { clock: SubBlockClock::new(rate), peak: 0.0, energy: 0.0, highest: 0.0, counts: [[0; BINS]; LEVEL_BINS] }
    }

    /// Processes samples.
    pub fn push(&mut self, samples: &[f32]) {
        let Self { clock, peak, energy, highest, counts } = self;
        clock.cut(samples, |part, complete| {
            for &sample in part {
                let x = f64::from(sample);
                *energy += x * x;
                *peak = peak.max(sample.abs());
            }
            if let Some(length) = complete {
                *highest = highest.max(*peak);
                let level = (power_to_db(*energy / length) - BOTTOM_DB) / LEVEL_DB;
                if level >= 0.0 {
                    let level_bin = (level as usize).min(LEVEL_BINS - 1);
                    let over = (to_db(f64::from(*peak)) - BOTTOM_DB) * PEAKS_PER_LEVEL as f64 / LEVEL_DB;
                    let bin = (over.max(0.0) as usize).saturating_sub(level_bin * PEAKS_PER_LEVEL).min(BINS - 1);
                    counts[level_bin][bin] = counts[level_bin][bin].saturating_add(1);
                }
                (*peak, *energy) = (0.0, 0.0);
            }
        });
    }

    /// Highest magnitude, dBFS; minus infinity without input.
    #[must_use]
    pub fn peak_dbfs(&self) -> f64 {
        to_db(f64::from(self.highest.max(self.peak)))
    }

    /// 95th percentile of the sample peaks of all segments within 15.9 dB of the active level, dBFS; `None` without
    /// any.
    #[must_use]
    pub fn speech_peak_dbfs(&self, active_level_dbov: f64) -> Option<f64> {
        let threshold = (active_level_dbov - P56_MARGIN_DB - BOTTOM_DB) / LEVEL_DB;
        let mut levels = [0.0_f64; LEVELS];
        let mut total = 0.0;
        for (level_bin, counts) in self.counts.iter().enumerate() {
            // The bin that contains the threshold counts by its share above it.
            let share = (level_bin as f64 + 1.0 - threshold).clamp(0.0, 1.0);
            for (level, &count) in levels[level_bin * PEAKS_PER_LEVEL..].iter_mut().zip(counts) {
                let count = share * f64::from(count);
                *level += count;
                total += count;
            }
        }
        let above = interpolated_bin(levels.into_iter().rev(), (1.0 - SHARE) * total)?;
        Some(BOTTOM_DB + (LEVELS as f64 - above) * LEVEL_DB / PEAKS_PER_LEVEL as f64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    extern crate std;
    use std::f64::consts::TAU;
    use std::vec::Vec;

    const RATE: f64 = 48_000.0;

    fn sine(hz: f64, amplitude: f64, seconds: f64) -> Vec<f64> {
        (0..(seconds * RATE) as u64).map(|n| amplitude * libm::sin(TAU * hz * n as f64 / RATE)).collect()
    }

    /// 96 % of the active time at a peak of -12 dBFS, 4 % at -6 dBFS, and pauses that do not count.
    #[test]
    fn the_speech_peak_counts_active_segments_only() {
        for scale in [1.0, 0.1] {
            let at = |db: f64, seconds: f64| sine(1_000.0, scale * libm::exp10(db / 20.0), seconds);
            let mut signal = [at(-12.0, 9.6), at(-6.0, 0.4), at(-60.0, 10.0)].concat();
            let mut peaks = SpeechPeakMeter::new(SampleRate::new(RATE).unwrap());
            let mut split = SpeechPeakMeter::new(SampleRate::new(RATE).unwrap());
            let samples: Vec<f32> = signal.drain(..).map(|x| x as f32).collect();
            peaks.push(&samples);
            samples.chunks(77).for_each(|piece| split.push(piece));
            let level = -15.0 + 20.0 * libm::log10(scale);
            let found = peaks.speech_peak_dbfs(level).unwrap();
            assert!((found - (-12.0 + 20.0 * libm::log10(scale))).abs() < 0.5, "{found}");
            assert_eq!(split.speech_peak_dbfs(level), Some(found));
            assert!((peaks.peak_dbfs() - (-6.0 + 20.0 * libm::log10(scale))).abs() < 0.01);
            // Negative control: with only the loud part active.
            let louder = peaks.speech_peak_dbfs(level + 18.0).unwrap();
            assert!(louder > found + 5.0, "{louder}");
        }
    }
}
