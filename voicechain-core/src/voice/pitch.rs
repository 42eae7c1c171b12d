//! The pitch of a voice, hop by hop and as percentiles.
//!
//! YIN (de Cheveigné and Kawahara 2002, J. Acoust. Soc. Am. 111: cumulative mean normalised difference, absolute threshold,
//! parabolic interpolation; steps and names from memory) on the voice band at a rate below 12 kHz.

use super::halving::Halving;
use super::histogram::LevelHistogram;
use super::profile::{Doubt, Measured, Pitch};

/// Lowest and highest pitch, Hz.
const LOWEST_HZ: f64 = 65.0;
const HIGHEST_HZ: f64 = 420.0;
/// The normalised difference under which a lag counts as a period.
const THRESHOLD: f32 = 0.18;
/// Length over which two stretches are compared, and hop, s.
const WINDOW_S: f64 = 0.032;
const HOP_S: f64 = 0.020;
/// Edges of the voice band, Hz.
const BAND_HZ: (f64, f64) = (60.0, 1_000.0);
/// A pitch counts when a neighbour lies within this ratio of it.
const NEIGHBOUR: f64 = 1.15;
/// Frames this far under the 90th percentile of all levels do not count, dB.
const RANGE_DB: f64 = 25.0;
/// Under this 90th percentile nothing is heard, dB of full scale.
const FLOOR_DB: f64 = -75.0;
/// Fewest frames that must count as loud enough (2 s), and as voiced (0.5 s).
const LEAST_ACTIVE: u64 = 100;
const LEAST_VOICED: u64 = 25;
/// Smallest share of voiced frames that a voice has. Common sense, no source.
const LEAST_SHARE: f64 = 0.1;

/// Most halvings: from 192 kHz to 6 kHz.
const HALVINGS: usize = 5;
/// Samples kept: window and longest lag at just under 12 kHz, rounded up.
const PAST: usize = 640;
/// Lags, likewise.
const LAGS: usize = 192;
/// Levels in steps of 2 dB from -110 dB, and pitches in 48 steps per octave.
const LEVELS: usize = 56;
const LEVEL_BOTTOM_DB: f64 = -110.0;
const LEVEL_STEP_DB: f64 = 2.0;
const PER_OCTAVE: f64 = 48.0;
const PITCHES: usize = 130;

/// A Butterworth high-pass or low-pass of second order (bilinear transform), transposed direct form II.
#[derive(Clone, Debug)]
struct Pass {
    b: [f64; 3],
    a: [f64; 2],
    state: [f64; 2],
}

impl Pass {
    fn new(rate_hz: f64, edge_hz: f64, high: bool) -> Self {
        let k = libm::tan(core::f64::consts::PI * edge_hz / rate_hz);
        let norm = 1.0 / (1.0 + core::f64::consts::SQRT_2 * k + k * k);
        let b = if high { [norm, -2.0 * norm, norm] } else { [k * k * norm, 2.0 * k * k * norm, k * k * norm] };
        let a = [2.0 * (k * k - 1.0) * norm, (1.0 - core::f64::consts::SQRT_2 * k + k * k) * norm];
        Self { b, a, state: [0.0; 2] }
    }

    fn run(&mut self, x: f64) -> f64 {
        let y = self.b[0] * x + self.state[0];
        self.state[0] = self.b[1] * x - self.a[0] * y + self.state[1];
        self.state[1] = self.b[2] * x - self.a[1] * y;
        y
    }
}

/// Measures the pitch of mono blocks of any length, rates 8 to 192 kHz. Fed any split, it gives the same bits.
///
/// The differences take about 0.9 million multiply-adds per second at 48 kHz; halving the rate costs more than they do.
/// Memory 37 kB. Tests: `tests` below.
#[derive(Clone, Debug)]
pub(crate) struct PitchMeter {
    halvings: [Halving; HALVINGS],
    stages: usize,
    high: Pass,
    low: Pass,
    rate_hz: f64,
    window: usize,
    lags: usize,
    /// Samples before the next hop, as a fraction is carried over.
    due: f64,
    past: [f32; PAST],
    filled: usize,
    /// The frame before, waiting for its neighbour, and the one before that.
    waiting: Option<(f64, Option<f32>)>,
    before: Option<f32>,
    levels: LevelHistogram,
    counts: [[u32; PITCHES]; LEVELS],
}

impl PitchMeter {
    pub(crate) fn new(rate_hz: f64) -> Self {
        let (mut low_rate, mut stages) = (rate_hz, 0);
        while low_rate >= 12_000.0 && stages < HALVINGS {
            low_rate *= 0.5;
            stages += 1;
        }
        let window = ((WINDOW_S * low_rate) as usize).min(PAST - LAGS);
        let lags = ((low_rate / LOWEST_HZ) as usize + 2).min(LAGS);
        Self {
            halvings: core::array::from_fn(|_| Halving::new()),
            stages,
            high: Pass::new(low_rate, BAND_HZ.0, true),
            low: Pass::new(low_rate, BAND_HZ.1, false),
            rate_hz: low_rate,
            window,
            lags,
            due: (window + lags) as f64,
            past: [0.0; PAST],
            filled: 0,
            waiting: None,
            before: None,
            levels: LevelHistogram::new(),
            counts: [[0; PITCHES]; LEVELS],
        }
    }

    /// Takes samples; calls `heard` with the pitch in Hz, or `None`, of each hop of 20 ms as it ends.
    pub(crate) fn push(&mut self, samples: &[f32], mut heard: impl FnMut(Option<f32>)) {
        for &sample in samples {
            let mut one = [if sample.is_finite() { sample } else { 0.0 }];
            let mut there = true;
            for halving in &mut self.halvings[..self.stages] {
                let mut to = [0.0; 1];
                if halving.run(&one, &mut to) == 0 {
                    there = false;
                    break;
                }
                one = to;
            }
            if there {
                let voice = self.low.run(self.high.run(f64::from(one[0])));
                self.take(voice as f32, &mut heard);
            }
        }
    }

    fn take(&mut self, sample: f32, heard: &mut impl FnMut(Option<f32>)) {
        let length = self.window + self.lags;
        if self.filled == length {
            // Room for the hop: what is older than a frame goes, in one move per hop.
            let hop = (libm::ceil(self.due).max(1.0) as usize).min(length);
            self.past.copy_within(hop..length, 0);
            self.filled -= hop;
        }
        self.past[self.filled] = sample;
        self.filled += 1;
        self.due -= 1.0;
        if self.filled == length {
            self.due += HOP_S * self.rate_hz;
            let power = self.past[..self.window].iter().map(|s| s * s).sum::<f32>() / self.window as f32;
            let level = 10.0 * libm::log10(f64::from(power) + 1e-13);
            let pitch = self.period().map(|lag| (self.rate_hz / f64::from(lag)) as f32);
            self.frame(level, pitch);
            heard(pitch);
        }
    }

    /// The period of the frame in samples, where there is one.
    fn period(&self) -> Option<f32> {
        let (window, lags) = (self.window, self.lags);
        let shortest = (self.rate_hz / HIGHEST_HZ) as usize;
        let mut normal = [1.0_f32; LAGS];
        let mut sum = 0.0_f32;
        for (lag, normal) in normal.iter_mut().enumerate().take(lags).skip(1) {
            let difference = squared_difference(&self.past[..window], &self.past[lag..lag + window]);
            sum += difference;
            *normal = if sum > 0.0 { difference * lag as f32 / sum } else { 1.0 };
        }
        let mut lag = (shortest..lags - 1).find(|&lag| normal[lag] < THRESHOLD)?;
        while lag + 2 < lags && normal[lag + 1] < normal[lag] {
            lag += 1;
        }
        let (left, here, right) = (normal[lag - 1], normal[lag], normal[lag + 1]);
        let bend = left - 2.0 * here + right;
        let shift = if bend > 0.0 { (0.5 * (left - right) / bend).clamp(-0.5, 0.5) } else { 0.0 };
        let period = lag as f32 + shift;
        let hz = self.rate_hz / f64::from(period);
        (LOWEST_HZ..=HIGHEST_HZ).contains(&hz).then_some(period)
    }

    /// Counts the frame before this one, now that both its neighbours are known.
    fn frame(&mut self, level_db: f64, pitch: Option<f32>) {
        self.levels.push(level_db);
        if let Some((level, waiting)) = self.waiting.replace((level_db, pitch)) {
            if let Some(hz) = waiting.filter(|&hz| near(hz, self.before) || near(hz, pitch)) {
                let stratum = ((level - LEVEL_BOTTOM_DB) / LEVEL_STEP_DB).max(0.0) as usize;
                let bin = (libm::log2(f64::from(hz) / LOWEST_HZ) * PER_OCTAVE).max(0.0) as usize;
                let count = &mut self.counts[stratum.min(LEVELS - 1)][bin.min(PITCHES - 1)];
                *count = count.saturating_add(1);
            }
            self.before = waiting;
        }
    }

    /// The pitch of what was heard so far. A percentile is interpolated within 1/48 octave.
    pub(crate) fn pitch(&self) -> Measured<Pitch> {
        let loud = self.levels.percentile(0.9).filter(|&db| db >= FLOOR_DB).ok_or(Doubt::Silence)?;
        let active = self.levels.count_from(loud - RANGE_DB);
        if active < LEAST_ACTIVE {
            return Err(Doubt::TooShort);
        }
        let mut pitches = [0_u64; PITCHES];
        for (stratum, counts) in self.counts.iter().enumerate() {
            if LEVEL_BOTTOM_DB + (stratum as f64 + 0.5) * LEVEL_STEP_DB >= loud - RANGE_DB {
                pitches.iter_mut().zip(counts).for_each(|(sum, &count)| *sum += u64::from(count));
            }
        }
        let voiced: u64 = pitches.iter().sum();
        let share = (voiced as f64 / active as f64).min(1.0);
        if voiced < LEAST_VOICED || share < LEAST_SHARE {
            return Err(Doubt::NotAVoice);
        }
        let at = |part: f64| {
            let (wanted, mut below) = (part * voiced as f64, 0.0);
            for (bin, &count) in pitches.iter().enumerate() {
                let count = count as f64;
                if count > 0.0 && below + count >= wanted {
                    return LOWEST_HZ * libm::exp2((bin as f64 + (wanted - below) / count) / PER_OCTAVE);
                }
                below += count;
            }
            HIGHEST_HZ
        };
        Ok(Pitch { low_hz: at(0.1), median_hz: at(0.5), high_hz: at(0.9), voiced_share: share })
    }
}

/// True when there is a neighbour and it is near.
fn near(hz: f32, neighbour: Option<f32>) -> bool {
    neighbour.is_some_and(|other| f64::from(hz.max(other)) <= NEIGHBOUR * f64::from(hz.min(other)))
}

/// Sum of squared differences, in eight lanes so that it is quick and always added in the same order.
fn squared_difference(a: &[f32], b: &[f32]) -> f32 {
    let mut lanes = [0.0_f32; 8];
    let (left, right) = (a.chunks_exact(8), b.chunks_exact(8));
    let rest: f32 = left.remainder().iter().zip(right.remainder()).map(|(a, b)| (a - b) * (a - b)).sum();
    for (a, b) in left.zip(right) {
        for (lane, (a, b)) in lanes.iter_mut().zip(a.iter().zip(b)) {
            *lane += (a - b) * (a - b);
        }
    }
    lanes.iter().sum::<f32>() + rest
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
        let mut meter = PitchMeter::new(rate);
        meter.push(samples, |_| ());
        meter.pitch()
    }

    #[test]
    fn a_known_pitch_is_found_at_every_rate_and_level() {
        for rate in [8_000.0, 11_025.0, 22_050.0, 44_100.0, 48_000.0, 192_000.0] {
            for hz in [70.0, 110.0, 217.0, 400.0] {
                for gain in [0.3, 0.003] {
                    let found = measured(rate, &harmonics(rate, hz, gain)).unwrap();
                    assert!((found.median_hz / hz - 1.0).abs() < 0.02, "{rate} {hz} {gain}: {found:?}");
                    assert!(found.voiced_share > 0.9, "{rate} {hz} {gain}: {found:?}");
                }
            }
        }
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
        assert_eq!(measured(48_000.0, &noise), Err(Doubt::NotAVoice));
        assert_eq!(measured(48_000.0, &[0.0; 192_000]), Err(Doubt::Silence));
        assert_eq!(measured(48_000.0, &harmonics(48_000.0, 110.0, 0.3)[..48_000]), Err(Doubt::TooShort));
    }

    #[test]
    fn any_split_gives_the_same_bits_and_a_value_every_20_ms() {
        let samples = harmonics(44_100.0, 150.0, 0.1);
        let (mut whole, mut split) = (PitchMeter::new(44_100.0), PitchMeter::new(44_100.0));
        let (mut expected, mut found) = (Vec::new(), Vec::new());
        whole.push(&samples, |pitch| expected.push(pitch));
        samples.chunks(37).for_each(|piece| split.push(piece, |pitch| found.push(pitch)));
        assert_eq!(found, expected);
        assert_eq!(split.pitch(), whole.pitch());
        assert!((195..=200).contains(&found.len()), "{}", found.len());
    }
}
