//! Speech peaks, of a voice while somebody speaks, and clipping.

use super::profile::Clipping;
use crate::detectors::voice_activity::P56_MARGIN_DB;
use crate::dsp::SubBlockClock;
use crate::dsp::histogram::interpolated_bin;
use crate::math::{power_to_db, to_db};
use crate::units::SampleRate;

/// Lowest level of a piece that is told apart, dB.
const BOTTOM_DB: f64 = -110.0;
/// Bins of level, 2 dB each, up to +6 dB.
const LEVELS_APART: usize = 58;
const LEVEL_DB: f64 = 2.0;
/// Bins of the peak over the lower end of its level's bin, 0.5 dB each: no piece of 10 ms at 48 kHz has a peak that is more
/// than 26.8 dB over its level.
const BINS: usize = 56;
const PEAKS_PER_LEVEL: usize = 4;
/// All bins of a peak's level.
const LEVELS: usize = LEVELS_APART * PEAKS_PER_LEVEL + BINS;
/// Share of the peaks that lie under the speech peak.
const SHARE: f64 = 0.95;

/// Sample peaks of pieces of 10 ms, counted by peak and by level, so that those of active speech can be picked when the
/// active level is known. 2 dB and 0.5 dB steps, so that a recording that is 20 dB quieter counts alike. Memory 13 kB.
/// Tested by `the_peak_of_speech_is_that_of_its_active_pieces`.
#[derive(Clone, Debug)]
pub struct SpeechPeakMeter {
    clock: SubBlockClock,
    peak: f32,
    energy: f64,
    highest: f32,
    counts: [[u32; BINS]; LEVELS_APART],
}

impl SpeechPeakMeter {
    /// A meter for a rate.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        Self {
            clock: SubBlockClock::new(rate),
            peak: 0.0,
            energy: 0.0,
            highest: 0.0,
            counts: [[0; BINS]; LEVELS_APART],
        }
    }

    /// Takes samples.
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
                    let level_bin = (level as usize).min(LEVELS_APART - 1);
                    let over = (to_db(f64::from(*peak)) - BOTTOM_DB) * PEAKS_PER_LEVEL as f64 / LEVEL_DB;
                    let bin = (over.max(0.0) as usize).saturating_sub(level_bin * PEAKS_PER_LEVEL).min(BINS - 1);
                    counts[level_bin][bin] = counts[level_bin][bin].saturating_add(1);
                }
                (*peak, *energy) = (0.0, 0.0);
            }
        });
    }

    /// The largest magnitude, dBFS; minus infinity when nothing was heard.
    #[must_use]
    pub fn peak_dbfs(&self) -> f64 {
        to_db(f64::from(self.highest.max(self.peak)))
    }

    /// 95th percentile of the sample peaks of those pieces that are within 15.9 dB of the active level, dBFS.
    #[must_use]
    pub fn speech_peak_dbfs(&self, active_level_dbov: f64) -> Option<f64> {
        let threshold = (active_level_dbov - P56_MARGIN_DB - BOTTOM_DB) / LEVEL_DB;
        let mut levels = [0.0_f64; LEVELS];
        let mut total = 0.0;
        for (level_bin, counts) in self.counts.iter().enumerate() {
            // Of the bin that the threshold cuts, the share above.
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

/// How many different extremes are kept.
const EXTREMES: usize = 8;
/// Stretches at less than this share of the highest sample are no clipping (3 dB).
const NEAR: f32 = 0.708;
/// Nothing under -40 dBFS is taken for clipping: steps of 16 bits would look alike.
const LOWEST: f32 = 0.01;
/// Samples that are looked at together.
const PIECE: usize = 32;
/// Fewest equal samples.
const MIN_RUN: u32 = 3;

/// Stretches of one channel that stay at one value.
#[derive(Clone, Copy, Debug, Default)]
struct Extreme {
    value: f32,
    runs: u32,
    samples: u64,
}

/// Finds clipped stretches of one channel: at least three successive samples with exactly one value at a peak or trough,
/// entered and left with a jump. Where a rounded wave of 16 bits rests on its top step, the samples beside are one step
/// lower; where it was cut off, many. The value need not be full scale: a recording may have been turned down since. The
/// eight highest values are remembered, and count when they are within 3 dB of the highest sample.
///
/// Nothing tells a square wave from clipping. What was coded lossily or resampled after it clipped is not found.
/// Tested by `clipping_is_counted_at_any_level` and `loud_waves_are_not_clipped`.
#[derive(Clone, Debug)]
pub struct ClippingDetector {
    last: f32,
    /// Equal samples up to the last one.
    run: u32,
    /// What the first of them rose from.
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
    /// A detector that has heard nothing.
    #[must_use]
    pub const fn new() -> Self {
        const NONE: Extreme = Extreme { value: 0.0, runs: 0, samples: 0 };
        Self { last: 0.0, run: 0, before: 0.0, peak: 0.0, extremes: [NONE; EXTREMES] }
    }

    /// Takes samples of the channel, at the rate at which they were recorded.
    pub fn push(&mut self, samples: &[f32]) {
        let (pieces, rest) = samples.as_chunks::<PIECE>();
        for piece in pieces {
            // Most pieces rest nowhere: nothing begins in them, and nothing ends.
            let rests = piece.iter().zip(&piece[1..]).fold(false, |rests, (a, b)| rests | (a == b));
            if rests || self.run >= MIN_RUN || piece[0] == self.last {
                self.look(piece);
            } else {
                self.peak = piece.iter().fold(self.peak, |peak, sample| peak.max(sample.abs()));
                (self.before, self.last, self.run) = (piece[PIECE - 2], piece[PIECE - 1], 1);
            }
        }
        self.look(rest);
    }

    /// Takes samples one by one.
    fn look(&mut self, samples: &[f32]) {
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

    /// The largest magnitude.
    #[must_use]
    pub fn peak(&self) -> f32 {
        self.peak
    }

    /// A stretch ends, followed by a sample.
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

    /// What was found. A stretch that the recording ends in does not count.
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
    fn the_peak_of_speech_is_that_of_its_active_pieces() {
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
        for turned_down in [1.0, 0.5, 0.1, 0.03] {
            for overdrive in [1.02, 1.3, 3.0] {
                // What was hardly clipped, and then turned down, has edges of few steps.
                if overdrive < 1.1 && turned_down < 0.5 {
                    continue;
                }
                let wave = sine(220.0, overdrive, 1.0);
                let found = clipping(wave.iter().map(|x| bits_16(turned_down * x.clamp(-1.0, 1.0))));
                // 220 periods, clipped at both ends, the first and the last perhaps cut.
                assert!((438..=440).contains(&found.runs), "{turned_down} {overdrive}: {found:?}");
                let share = 1.0 - libm::asin(1.0 / overdrive) / (TAU / 4.0);
                assert!((found.samples as f64 / 48_000.0 - share).abs() < 0.03, "{overdrive}: {found:?}");
            }
        }
        // One louder sample, as a click after the recording was turned down, does not hide it.
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
