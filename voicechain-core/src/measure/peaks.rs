//! Speech peaks and clipping.

use super::profile::Clipping;
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

/// Number of stored extremes.
const EXTREMES: usize = 8;
/// Runs below this share of the highest sample do not count (3 dB).
const NEAR: f32 = 0.708;
/// Runs below -40 dBFS do not count: 16-bit steps would look alike.
const LOWEST: f32 = 0.01;
/// Samples examined together.
const PIECE: usize = 32;
/// Minimum length of a run, samples.
const MIN_RUN: u32 = 3;

/// Runs of one channel at one value.
#[derive(Clone, Copy, Debug, Default)]
struct Extreme {
    value: f32,
    runs: u32,
    samples: u64,
}

/// Detects clipped runs of one channel: at least three successive equal samples at a peak or trough, entered and left
/// with a jump.
///
/// A rounded 16-bit wave may also hold its top step, but its neighbours are one step lower; clipped waves fall by many
/// steps. The value need not be full scale, because a recording may have been attenuated after clipping. The eight
/// highest values are stored; those within 3 dB of the highest sample count.
///
/// Limits: a square wave is indistinguishable from clipping. Clipping before lossy coding or resampling is not
/// detected. Tested by `clipping_is_counted_at_any_level` and `loud_waves_are_not_clipped`.
#[derive(Clone, Debug)]
pub struct ClippingDetector {
    last: f32,
    /// Length of the current run of equal samples.
    run: u32,
    /// Sample before that run.
    before: f32,
    peak: f32,
    extremes: [Extreme; EXTREMES],
}

impl Default for ClippingDetector {
    fn default() -> Self {
        Self::new()
    }
}

impl ClippingDetector {
    /// A detector in its initial state.
    #[must_use]
    pub const fn new() -> Self {
        const NONE: Extreme = Extreme { value: 0.0, runs: 0, samples: 0 };
        Self { last: 0.0, run: 0, before: 0.0, peak: 0.0, extremes: [NONE; EXTREMES] }
    }

    /// Processes samples of the channel at the original sample rate.
    pub fn push(&mut self, samples: &[f32]) {
        let (pieces, rest) = samples.as_chunks::<PIECE>();
        for piece in pieces {
            // Most pieces contain no equal neighbours: no run starts or ends in them.
            let repeats = piece.iter().zip(&piece[1..]).fold(false, |repeats, (a, b)| repeats | (a == b));
            if repeats || self.run >= MIN_RUN || piece[0] == self.last {
                self.examine(piece);
            } else {
                self.peak = piece.iter().fold(self.peak, |peak, sample| peak.max(sample.abs()));
                (self.before, self.last, self.run) = (piece[PIECE - 2], piece[PIECE - 1], 1);
            }
        }
        self.examine(rest);
    }

    /// Processes samples one by one.
    fn examine(&mut self, samples: &[f32]) {
        for &sample in samples {
            if sample == self.last {
                self.run = self.run.saturating_add(1);
            } else {
                if self.run >= MIN_RUN {
                    self.finish(sample);
                }
                self.peak = self.peak.max(sample.abs());
                self.before = self.last;
                self.last = sample;
                self.run = 1;
            }
        }
    }

    /// Highest magnitude.
    #[must_use]
    pub fn peak(&self) -> f32 {
        self.peak
    }

    /// Ends a run; `after` is the sample that follows it.
    fn finish(&mut self, after: f32) {
        const STEP: f32 = 1.0 / 32_768.0;
        let side = 1.0_f32.copysign(self.last);
        let height = self.last.abs();
        let (fall_before, fall_after) = (height - side * self.before, height - side * after);
        let jump = 4.0 * STEP + height / 4_096.0;
        if height < LOWEST || !(fall_before > 0.0 && fall_after > 0.0 && fall_before + fall_after > jump) {
            return;
        }
        let place = match self.extremes.iter().position(|extreme| extreme.value == self.last) {
            Some(place) => place,
            None => {
                let mut lowest = 0;
                for place in 1..EXTREMES {
                    if self.extremes[place].value.abs() < self.extremes[lowest].value.abs() {
                        lowest = place;
                    }
                }
                if self.extremes[lowest].value.abs() >= height {
                    return;
                }
                self.extremes[lowest] = Extreme { value: self.last, ..Extreme::default() };
                lowest
            }
        };
        let extreme = &mut self.extremes[place];
        extreme.runs = extreme.runs.saturating_add(1);
        extreme.samples += u64::from(self.run);
    }

    /// Clipping so far. A run that the recording ends in does not count.
    #[must_use]
    pub fn result(&self) -> Clipping {
        let mut clipping = Clipping::default();
        for extreme in self.extremes.iter().filter(|extreme| extreme.value.abs() >= NEAR * self.peak) {
            clipping.runs = clipping.runs.saturating_add(extreme.runs);
            clipping.samples += extreme.samples;
        }
        clipping
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

    fn bits_16(x: f64) -> f32 {
        (libm::round(x * 32_767.0) / 32_768.0) as f32
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

    fn clipping(signal: impl IntoIterator<Item = f32>) -> Clipping {
        let signal: Vec<f32> = signal.into_iter().collect();
        let (mut whole, mut split) = (ClippingDetector::new(), ClippingDetector::new());
        whole.push(&signal);
        signal.chunks(5).for_each(|piece| split.push(piece));
        assert_eq!(whole.result(), split.result());
        whole.result()
    }

    #[test]
    fn clipping_is_counted_at_any_level() {
        for attenuation in [1.0, 0.5, 0.1, 0.03] {
            for overdrive in [1.02, 1.3, 3.0] {
                // Light clipping that was attenuated afterwards has edges of few steps.
                if overdrive < 1.1 && attenuation < 0.5 {
                    continue;
                }
                let wave = sine(220.0, overdrive, 1.0);
                let found = clipping(wave.iter().map(|x| bits_16(attenuation * x.clamp(-1.0, 1.0))));
                // 220 periods, clipped at both peaks; the first and the last may be cut.
                assert!((438..=440).contains(&found.runs), "{attenuation} {overdrive}: {found:?}");
                let share = 1.0 - libm::asin(1.0 / overdrive) / (TAU / 4.0);
                assert!((found.samples as f64 / 48_000.0 - share).abs() < 0.03, "{overdrive}: {found:?}");
            }
        }
        // A single louder sample, such as a click after attenuation, does not hide the clipping.
        let clipped = sine(220.0, 2.0, 1.0).into_iter().map(|x| bits_16(0.8 * x.clamp(-1.0, 1.0)));
        assert!(clipping(clipped.chain([1.0, 0.0])).runs > 430);
    }

    /// Negative control: full-scale tones from 20 Hz to 20 kHz, in 16 bits, and a voice-like sum of harmonics.
    #[test]
    fn loud_waves_are_not_clipped() {
        for hz in [20.0, 50.0, 87.3, 220.0, 997.0, 1_000.0, 6_000.0, 8_000.0, 12_000.0, 19_997.0] {
            let found = clipping(sine(hz, 1.0, 2.0).into_iter().map(bits_16));
            assert_eq!(found, Clipping::default(), "{hz}");
        }
        let harmonics = (1..40).map(|h| sine(110.0 * f64::from(h), 0.3 / f64::from(h), 1.0));
        let sum = harmonics.reduce(|a, b| a.iter().zip(b).map(|(a, b)| a + b).collect()).unwrap();
        assert_eq!(clipping(sum.into_iter().map(bits_16)), Clipping::default());
        assert_eq!(clipping([0.0; 1_000]), Clipping::default());
    }
}
