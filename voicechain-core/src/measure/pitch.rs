//! Pitch of a voice, per hop and as percentiles.
//!
//! Three steps: [`Decimator`] keeps the sound below 1.5 kHz at 6 to 12 kHz, [`PeriodFinder`] finds candidate periods in
//! each frame, and [`PitchContour`] selects among them over time. Frames are selected at the end, once the level of the
//! voice is known. Compared with a reference library by the group `pitch` of `accuracy` in tests.

use super::held_notes::HeldNotes;
use super::periods::{FRAME, PeriodFinder};
use super::pitch_contour::PitchContour;
use super::pitch_distribution::{self, PITCHES, PitchDistribution};
use super::profile::{Measured, Pitch, Unavailable};
use crate::blank::{Blank, blank};
use crate::dsp::{Decimator, LevelHistogram, dot};
use crate::filters::design;
use crate::filters::section::DirectForm;

/// The sample rate is decimated by the largest integer that keeps it at or above this, Hz.
const LOWEST_RATE_HZ: f64 = 6_000.0;
/// Cut-off (-6 dB) of the decimation low-pass, Hz. Aliases into the band below 3 kHz are attenuated by at least 40 dB.
const EDGE_HZ: f64 = 1_500.0;
/// Length of its impulse response, s.
const LENGTH_S: f64 = 1.0 / 750.0;
/// Hop, s.
const HOP_S: f64 = 0.020;
/// Cut-off of the high-pass, Hz.
const HIGH_PASS_HZ: f64 = 60.0;
/// Frames this far below the 99th percentile of all levels are pauses, dB. Some recordings consist of nine tenths
/// pauses.
const PAUSE_DB: f64 = 40.0;
/// Frames this far below the 90th percentile of all non-pauses do not count, dB. With 25 dB the hum between the phrases
/// of a quiet recording would count as voice.
const RANGE_DB: f64 = 20.0;
/// Below this 99th percentile the recording is silent, dBFS.
const FLOOR_DB: f64 = -75.0;
/// Minimum number of active frames (2 s).
const MIN_ACTIVE: u64 = 100;
/// Minimum number of voiced frames (0.5 s).
const MIN_VOICED: u64 = 25;
/// Minimum share of voiced frames in a voice. Common sense, no source.
const MIN_VOICED_SHARE: f64 = 0.1;

/// Histogram: levels in steps of 2 dB from -110 dB.
const LEVELS: usize = 56;
const LEVEL_BOTTOM_DB: f64 = -110.0;
const LEVEL_STEP_DB: f64 = 2.0;

/// Measures the pitch of mono blocks of any length, at rates of 8 to 192 kHz. Results do not depend on the block size.
///
/// Range: 65 Hz to 1 kHz. Cost: the comparisons take about 0.9 million multiply-adds per second at 48 kHz, the
/// decimation 0.4 million. Memory 42 kB. Tested by its own tests.
#[derive(Clone, Debug)]
pub(crate) struct PitchMeter {
    decimator: Decimator,
    high_pass: DirectForm<f64>,
    high_states: [f64; 2],
    finder: PeriodFinder,
    past: Past,
    contour: PitchContour,
    levels: LevelHistogram,
    counts: [[u32; PITCHES]; LEVELS],
    held: HeldNotes<LEVELS>,
}

blank! { PitchMeter { decimator, high_pass, high_states, finder, past, contour, levels, counts, held } }

/// Latest samples at the decimated rate.
#[derive(Clone, Debug)]
struct Past {
    samples: [f32; FRAME],
    filled: usize,
    hop: f64,
    /// Samples from the start of the frame to the start of the next, with the fraction carried over.
    due: f64,
}

blank! { Past { samples, filled, hop, due } }

impl PitchMeter {
    /// Clears the meter in place, for a mono recording at this rate. It is large.
    pub(crate) fn restart(&mut self, rate_hz: f64) {
        let every = (rate_hz / LOWEST_RATE_HZ) as usize;
        let decimator = Decimator::new(every, (LENGTH_S * rate_hz + 0.5) as usize, EDGE_HZ / rate_hz);
        let low_hz = rate_hz / decimator.factor() as f64;
        *self = Self::BLANK;
        self.decimator = decimator;
        self.high_pass = DirectForm::new(&design::high_pass_at(HIGH_PASS_HZ, design::BUTTERWORTH_Q, low_hz));
        self.finder = PeriodFinder::new(low_hz);
        self.past.hop = HOP_S * low_hz;
    }

    /// Processes samples. Calls `on_pitch` at the end of every frame of 48 ms, one per hop of 20 ms, with the pitch in
    /// Hz (`None` if unvoiced), as far as past frames reveal it, and the level of the frame in dB.
    pub(crate) fn push(&mut self, samples: &[f32], mut on_pitch: impl FnMut(Option<f32>, f64)) {
        let Self { decimator, high_pass, high_states, finder, past, contour, levels, counts, held } = self;
        let length = finder.length();
        decimator.push(samples, |sample| {
            past.samples[past.filled] = high_pass.step(high_states, f64::from(sample)) as f32;
            past.filled += 1;
            if past.filled < length {
                return;
            }
            let frame = &past.samples[..length];
            let level = 10.0 * libm::log10(f64::from(dot(frame, frame)) / length as f64 + 1e-13);
            levels.push(level);
            if let Some((level, hz)) = contour.push(level, finder.find(frame)) {
                held.push(hz, level_bin(level));
                if let Some(hz) = hz {
                    let count = &mut counts[level_bin(level)][pitch_distribution::step(hz)];
                    *count = count.saturating_add(1);
                }
            }
            on_pitch(contour.now(), level);
            past.due += past.hop;
            let gone = (past.due as usize).clamp(1, length);
            past.due -= gone as f64;
            past.samples.copy_within(gone..length, 0);
            past.filled -= gone;
        });
    }

    /// Frames of active speech so far and the distribution of their pitches.
    fn active(&self) -> Measured<(u64, PitchDistribution)> {
        let top = self.levels.percentile(0.99).filter(|&db| db >= FLOOR_DB).ok_or(Unavailable::Silence)?;
        let loud = self.levels.percentile_from(top - PAUSE_DB, 0.9).unwrap_or(top);
        let counts = |place: usize| LEVEL_BOTTOM_DB + (place as f64 + 0.5) * LEVEL_STEP_DB >= loud - RANGE_DB;
        let mut pitches = PitchDistribution::new();
        for (place, steps) in self.counts.iter().enumerate().filter(|(place, _)| counts(*place)) {
            steps.iter().enumerate().for_each(|(step, &count)| pitches.add(step, u64::from(count)));
            pitches.add_held(u64::from(self.held.counts()[place]));
        }
        for (level, hz) in self.contour.pending() {
            if let Some(hz) = hz.filter(|_| counts(level_bin(level))) {
                pitches.add(pitch_distribution::step(hz), 1);
            }
        }
        Ok((self.levels.count_from(loud - RANGE_DB), pitches))
    }

    /// Distribution of the pitches so far; without frames in silence.
    pub(crate) fn distribution(&self) -> PitchDistribution {
        self.active().map_or(PitchDistribution::new(), |(_, pitches)| pitches)
    }

    /// Pitch so far. Percentiles are interpolated within 1/36 octave.
    pub(crate) fn pitch(&self) -> Measured<Pitch> {
        let (active, pitches) = self.active()?;
        if active < MIN_ACTIVE {
            return Err(Unavailable::TooShort);
        }
        let voiced = pitches.frames();
        let share = (voiced as f64 / active as f64).min(1.0);
        if voiced < MIN_VOICED || share < MIN_VOICED_SHARE {
            return Err(Unavailable::NotAVoice);
        }
        let at = |part: f64| pitches.percentile_hz(part);
        Ok(Pitch { low_hz: at(0.1), median_hz: at(0.5), high_hz: at(0.9), voiced_share: share })
    }
}

/// Histogram bin of a level in dB.
fn level_bin(level_db: f64) -> usize {
    (((level_db - LEVEL_BOTTOM_DB) / LEVEL_STEP_DB).max(0.0) as usize).min(LEVELS - 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    extern crate std;
    use std::vec::Vec;

    /// Four seconds of harmonics that fall by 6 dB per octave.
    fn harmonics(rate: f64, hz: f64, gain: f64) -> Vec<f32> {
        let sample = |n: usize| {
            let phase = core::f64::consts::TAU * hz * n as f64 / rate;
            let sum: f64 = (1..=20)
                .filter(|&k| hz * f64::from(k) < 0.45 * rate)
                .map(|k| libm::sin(phase * f64::from(k)) / f64::from(k))
                .sum();
            (gain * sum) as f32
        };
        (0..(4.0 * rate) as usize).map(sample).collect()
    }

    fn measured(rate: f64, samples: &[f32]) -> Measured<Pitch> {
        let mut meter = PitchMeter::BLANK;
        meter.restart(rate);
        meter.push(samples, |_, _| ());
        meter.pitch()
    }

    /// Four seconds of glottal pulses through resonances of 80 Hz width. The glottis opens and closes by raised cosines
    /// (from memory of Rosenberg 1971).
    fn vowel(rate: f64, hz: f64, formants: &[f64]) -> Vec<f32> {
        let mut phase = 0.0;
        let mut past = std::vec![[0.0_f64; 2]; formants.len()];
        let (radius, step) = (libm::exp(-core::f64::consts::PI * 80.0 / rate), core::f64::consts::TAU / rate);
        let sample = |_| {
            phase = (phase + hz / rate) % 1.0;
            let opening = |part: f64| libm::cos(core::f64::consts::PI * part);
            let mut x = match phase {
                p if p < 0.4 => 0.5 - 0.5 * opening(p / 0.4),
                p if p < 0.56 => opening(0.5 * (p - 0.4) / 0.16),
                _ => 0.0,
            };
            for (past, formant) in past.iter_mut().zip(formants) {
                let cosine = libm::cos(step * formant);
                let gain = 1.0 - 2.0 * radius * cosine + radius * radius;
                x = gain * x + 2.0 * radius * cosine * past[0] - radius * radius * past[1];
                *past = [x, past[0]];
            }
            (0.1 * x) as f32
        };
        (0..(4.0 * rate) as usize).map(sample).collect()
    }

    #[test]
    fn a_known_pitch_is_found_at_every_rate_and_level() {
        for rate in [8_000.0, 11_025.0, 22_050.0, 44_100.0, 48_000.0, 192_000.0] {
            for hz in [70.0, 110.0, 217.0, 400.0] {
                for gain in [0.3, 0.003] {
                    let found = measured(rate, &harmonics(rate, hz, gain)).unwrap();
                    assert!((found.median_hz / hz - 1.0).abs() < 0.01, "{rate} {hz} {gain}: {found:?}");
                    assert!(found.voiced_share > 0.9, "{rate} {hz} {gain}: {found:?}");
                }
            }
        }
    }

    #[test]
    fn vowels_spoken_and_sung_are_within_a_percent() {
        // First and second resonances of vowels (Peterson and Barney 1952, rounded).
        for formants in [[730.0, 1_090.0], [270.0, 2_290.0], [570.0, 840.0], [300.0, 870.0]] {
            for hz in [70.0, 83.0, 121.0, 197.0, 263.0, 330.0, 440.0, 600.0, 880.0] {
                let found = measured(16_000.0, &vowel(16_000.0, hz, &formants)).unwrap();
                for value in [found.low_hz, found.median_hz, found.high_hz] {
                    assert!((value / hz - 1.0).abs() < 0.02, "{formants:?} {hz}: {found:?}");
                }
                assert!((found.median_hz / hz - 1.0).abs() < 0.01, "{formants:?} {hz}: {found:?}");
            }
        }
    }

    #[test]
    fn a_pitch_is_found_without_its_fundamental() {
        let sum = |multiples: [f64; 4]| -> Vec<f32> {
            let sample = |n: i32| {
                multiples
                    .iter()
                    .map(|k| 0.05 * libm::sin(core::f64::consts::TAU * k * 120.0 / 16_000.0 * f64::from(n)))
                    .sum::<f64>()
            };
            (0..64_000).map(|n| sample(n) as f32).collect()
        };
        let missing = measured(16_000.0, &sum([3.0, 4.0, 5.0, 6.0])).unwrap();
        assert!((missing.median_hz / 120.0 - 1.0).abs() < 0.01, "{missing:?}");
        // Control: even multiples alone have the pitch an octave up, although 120 Hz is also a period.
        let octave = measured(16_000.0, &sum([2.0, 4.0, 6.0, 8.0])).unwrap();
        assert!((octave.median_hz / 240.0 - 1.0).abs() < 0.01, "{octave:?}");
    }

    #[test]
    fn noise_and_silence_have_no_pitch() {
        let mut state = 1_u32;
        let noise: Vec<f32> = (0..192_000)
            .map(|_| {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (state >> 8) as f32 / 16_777_216.0 - 0.5
            })
            .collect();
        assert_eq!(measured(48_000.0, &noise), Err(Unavailable::NotAVoice));
        assert_eq!(measured(48_000.0, &[0.0; 192_000]), Err(Unavailable::Silence));
        assert_eq!(measured(48_000.0, &harmonics(48_000.0, 110.0, 0.3)[..48_000]), Err(Unavailable::TooShort));
    }

    #[test]
    fn block_size_does_not_change_the_result_and_a_value_comes_every_20_ms() {
        let samples = harmonics(44_100.0, 150.0, 0.1);
        let (mut whole, mut split) = (PitchMeter::BLANK, PitchMeter::BLANK);
        whole.restart(44_100.0);
        split.restart(44_100.0);
        let (mut expected, mut found) = (Vec::new(), Vec::new());
        whole.push(&samples, |pitch, level| expected.push((pitch, level.to_bits())));
        samples.chunks(37).for_each(|piece| split.push(piece, |pitch, level| found.push((pitch, level.to_bits()))));
        assert_eq!(found, expected);
        assert_eq!(split.pitch(), whole.pitch());
        assert!((195..=200).contains(&found.len()), "{}", found.len());
    }
}
