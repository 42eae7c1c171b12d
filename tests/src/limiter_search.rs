//! Search for sequences that drive the true peak of the limiter's output over its ceiling.
//!
//! Hill climbing over short full-band sequences: a mutation stays if the output reads at least as high. The mutations
//! know the limiter (they hide a peak from an interpolator like its detector, and move its gain next to a peak) and the
//! meter (they add its interpolation kernel at the place of the highest reading). Readings are the largest of four
//! [`ReferenceMeter`]s. Everything is reproducible from the seed.

use crate::reference_meter::ReferenceMeter;
use crate::tones::Random;
use std::f64::consts::PI;
use voicechain_core::SampleRate;
use voicechain_core::error::SettingError;
use voicechain_core::frame::Frame;
use voicechain_core::settings::LimiterSettings;
use voicechain_core::stages::{Limiter, Processor, StageCoefs};

/// Samples of a sequence.
const LENGTH: usize = 400;
/// Largest input sample, as a factor of the ceiling: 32 dB.
pub const MAX_OVER_CEILING: f64 = 40.0;
/// Number of starting sequences.
const STARTS: usize = 8;
/// Distance from a peak up to which mutations aim, samples.
const REACH: f64 = 100.0;

/// What a search may reach, dB over the ceiling: up to 8 000 steps in the tests, 50 000 in the program.
pub const BOUND_DB: f64 = 0.3;
/// Taps and window parameters of the meters.
pub const METERS: [(usize, f64); 4] = [(96, 5.0), (96, 8.0), (128, 9.0), (192, 10.0)];

/// Worst case that a search has found.
#[derive(Clone, Debug)]
pub struct Worst<const C: usize> {
    /// True peak of the output over the ceiling, dB.
    pub excess_db: f64,
    /// The sequence.
    pub input: Vec<[f32; C]>,
    /// Limiter's output for it, latency removed.
    pub output: Vec<[f32; C]>,
    /// Channel of the highest reading.
    pub channel: usize,
    /// Meter of the highest reading, index in [`METERS`].
    pub meter: usize,
    /// Time of the highest reading, samples after the start of the sequence.
    pub time: f64,
    /// Largest output sample over the ceiling, dB.
    pub sample_excess_db: f64,
}

/// A search against one limiter.
pub struct Search<const C: usize, L> {
    /// Limits a sequence and returns as many frames, latency removed.
    limit: L,
    /// Ceiling, linear.
    ceiling: f64,
    meters: Vec<ReferenceMeter>,
    random: Random,
}

/// Sinc at `t` samples under a power of the parabola that ends at `half` samples.
fn tapered_sinc(t: f64, half: f64, power: f64) -> f64 {
    let taper = (1.0 - (t / half).powi(2)).max(0.0).powf(power);
    if t == 0.0 { taper } else { taper * (PI * t).sin() / (PI * t) }
}

impl<const C: usize, L: Fn(&[[f32; C]]) -> Vec<[f32; C]>> Search<C, L> {
    /// A search against `limit`, which limits a sequence to `ceiling_dbtp` and returns as many frames, latency removed.
    pub fn new(limit: L, ceiling_dbtp: f64, seed: u64) -> Self {
        Self {
            limit,
            ceiling: 10_f64.powf(ceiling_dbtp / 20.0),
            meters: METERS.iter().map(|&(taps, beta)| ReferenceMeter::new(taps, beta)).collect(),
            random: Random::new(seed),
        }
    }

    /// Runs the search over `steps` sequences.
    ///
    /// Half the steps are shared by all starts, a quarter by the best two, the rest goes to the best.
    pub fn run(&mut self, steps: usize) -> Worst<C> {
        let mut chains: Vec<Worst<C>> = (0..STARTS)
            .map(|which| {
                let input = self.start(which);
                self.evaluate(input)
            })
            .collect();
        for (kept, share) in [(STARTS, 2 * STARTS), (2, 8), (1, 4)] {
            chains.sort_by(|a, b| b.excess_db.total_cmp(&a.excess_db));
            chains.truncate(kept);
            for chain in &mut chains {
                for _ in 0..steps / share {
                    let input = self.mutated(chain);
                    let next = self.evaluate(input);
                    if next.excess_db >= chain.excess_db {
                        *chain = next;
                    }
                }
            }
        }
        chains.swap_remove(0)
    }

    fn evaluate(&self, input: Vec<[f32; C]>) -> Worst<C> {
        let output = (self.limit)(&input);
        let mut worst = Worst {
            excess_db: f64::NEG_INFINITY,
            input,
            output,
            channel: 0,
            meter: 0,
            time: 0.0,
            sample_excess_db: f64::NEG_INFINITY,
        };
        let db = |linear: f64| 20.0 * (linear / self.ceiling).log10();
        for channel in 0..C {
            let line: Vec<f32> = worst.output.iter().map(|frame| frame[channel]).collect();
            let largest = line.iter().fold(0.0_f32, |most, x| most.max(x.abs()));
            worst.sample_excess_db = worst.sample_excess_db.max(db(f64::from(largest)));
            for (meter, reference) in self.meters.iter().enumerate() {
                let reading = reference.read(&line);
                if db(reading.peak) > worst.excess_db {
                    worst.excess_db = db(reading.peak);
                    (worst.channel, worst.meter, worst.time) = (channel, meter, reading.time);
                }
            }
        }
        worst
    }

    /// Level over the ceiling, -6 to 32 dB, as a factor of full scale.
    fn level(&mut self) -> f64 {
        self.ceiling * 10_f64.powf((38.0 * self.random.unit() - 6.0) / 20.0)
    }

    fn sign(&mut self) -> f64 {
        if self.random.unit() < 0.5 { -1.0 } else { 1.0 }
    }

    fn index(&mut self, count: usize) -> usize {
        ((self.random.unit() * count as f64) as usize).min(count - 1)
    }

    fn store(&self, value: f64) -> f32 {
        let most = MAX_OVER_CEILING * self.ceiling;
        value.clamp(-most, most) as f32
    }

    /// Start sequences: noise, random signs, alternation at half the rate with flips, growing alternation, bursts, and
    /// the signs of a meter's kernel between samples, which is its highest reading of +-1. Signs that turn round beyond a
    /// radius are the highest reading of +-1 while a wider filter reads less. Most starts have a jump of level.
    fn start(&mut self, which: usize) -> Vec<[f32; C]> {
        let mut out = vec![[0.0; C]; LENGTH];
        for channel in 0..C {
            let (first, second) = (self.level(), self.level());
            let jump = LENGTH / 4 + self.index(LENGTH / 2);
            let half = METERS[self.index(METERS.len())].0 as f64 / 2.0;
            let centre = (LENGTH / 4 + self.index(LENGTH / 2)) as f64 + 0.5;
            let radius = 10.0 + 110.0 * self.random.unit();
            let growth = 10_f64.powf(self.random.signed() / 20.0);
            let mut alternating = 1.0;
            for (n, frame) in out.iter_mut().enumerate() {
                let step = if n < jump { first } else { second };
                alternating = if self.random.unit() > 0.99 { alternating } else { -alternating };
                let t = n as f64 - centre;
                let aligned = ((PI * t).sin() / t).signum();
                let value = match which {
                    0 => step * self.random.normal(),
                    1 => step * self.sign(),
                    2 => step * alternating,
                    3 => self.ceiling * growth.powi(n as i32 - jump as i32) * alternating,
                    4 => step * if n % 100 < 60 { self.sign() } else { 0.01 * self.random.normal() },
                    5 => first * if t.abs() < radius { aligned } else { -aligned },
                    6 => step * if t.abs() < half { aligned } else { alternating },
                    _ => step * if t.abs() < half { aligned } else { self.sign() },
                };
                frame[channel] = self.store(value);
            }
        }
        out
    }

    fn mutated(&mut self, from: &Worst<C>) -> Vec<[f32; C]> {
        let mut out = from.input.clone();
        for _ in 0..1 + self.index(2) {
            self.mutate(from, &mut out);
        }
        out
    }

    /// A sample near the highest reading, or anywhere.
    fn place(&mut self, from: &Worst<C>) -> usize {
        let near = from.time + REACH * self.random.signed() * self.random.unit();
        if self.random.unit() < 0.8 { near.clamp(0.0, LENGTH as f64 - 1.0) as usize } else { self.index(LENGTH) }
    }

    fn mutate(&mut self, from: &Worst<C>, out: &mut [[f32; C]]) {
        let c = if self.random.unit() < 0.7 { from.channel } else { self.index(C) };
        let at = self.place(from);
        let longest = if self.random.unit() < 0.5 { 8 } else { 100 };
        let end = (at + 1 + self.index(longest)).min(LENGTH);
        // Reciprocal of the gain, and the sign of the signal, at the highest reading.
        let middle = (from.time.max(0.0) as usize).min(LENGTH - 1);
        let (x, y) = (f64::from(from.input[middle][from.channel]), f64::from(from.output[middle][from.channel]));
        let inverse_gain = if y == 0.0 { 1.0 } else { x / y };
        let step = 10_f64.powf(-3.0 * self.random.unit());
        match self.index(12) {
            // Flips of a few samples.
            0 => {
                for _ in 0..1 + self.index(4) {
                    let n = self.place(from);
                    out[n][c] = -out[n][c];
                }
            }
            // A part with the opposite sign, or all from here on.
            1 if self.random.unit() < 0.3 => out[at..].iter_mut().for_each(|frame| frame[c] = -frame[c]),
            1 => out[at..end].iter_mut().for_each(|frame| frame[c] = -frame[c]),
            // A part louder or softer.
            2 => {
                let gain = 10_f64.powf(12.0 * step * self.random.signed() / 20.0);
                for frame in &mut out[at..end] {
                    frame[c] = self.store(gain * f64::from(frame[c]));
                }
            }
            // All louder or softer.
            3 => {
                let gain = 10_f64.powf(6.0 * step * self.random.signed() / 20.0);
                for frame in out {
                    frame[c] = self.store(gain * f64::from(frame[c]));
                }
            }
            // Shift by one sample from here on.
            4 if self.random.unit() < 0.5 => {
                for n in (at + 1..LENGTH).rev() {
                    out[n][c] = out[n - 1][c];
                }
            }
            4 => {
                for n in at..LENGTH - 1 {
                    out[n][c] = out[n + 1][c];
                }
            }
            // One level for a part.
            5 => {
                let level = out[at][c].abs();
                out[at..end].iter_mut().for_each(|frame| frame[c] = level.copysign(frame[c]));
            }
            // A single sample, for example one that lowers the gain.
            6 => {
                let value = self.level() * self.sign();
                out[at][c] = self.store(value);
            }
            // Noise on a part.
            7 => {
                for frame in &mut out[at..end] {
                    let factor = 1.0 + step * self.random.normal();
                    frame[c] = self.store(f64::from(frame[c]) * factor);
                }
            }
            // The meter's kernel, or its signs, at the highest reading, in the levels of the output.
            8 | 9 => {
                let signs = self.random.unit() < 0.5;
                let part = self.random.unit() < 0.5;
                let kernel: Vec<f64> = (0..LENGTH).map(|n| self.meters[from.meter].weight(from.time, n)).collect();
                let output = |n: usize| f64::from(from.output[n][from.channel]);
                let sign = kernel.iter().enumerate().map(|(n, weight)| weight * output(n)).sum::<f64>().signum();
                for (n, weight) in kernel.iter().enumerate() {
                    if *weight == 0.0 || (part && !(at..end).contains(&n)) {
                        continue;
                    }
                    let inverse = if output(n) == 0.0 {
                        inverse_gain
                    } else {
                        f64::from(from.input[n][from.channel]) / output(n)
                    };
                    let change = sign * if signs { weight.signum() } else { 4.0 * weight };
                    let value = f64::from(out[n][from.channel]) + step * change * self.ceiling * inverse;
                    out[n][from.channel] = self.store(value);
                }
            }
            // A peak hidden from an interpolator next to it.
            _ => {
                let reach = if self.random.unit() < 0.5 { 2.0 } else { 60.0 };
                let time = from.time + reach * self.random.signed();
                let (half, power) = (20.0 + 40.0 * self.random.unit(), 0.5 + 2.5 * self.random.unit());
                let weights: Vec<f64> = (0..LENGTH).map(|n| tapered_sinc(n as f64 - time, half, power)).collect();
                let energy: f64 = weights.iter().map(|w| w * w).sum();
                let value: f64 = weights.iter().zip(&*out).map(|(w, frame)| w * f64::from(frame[c])).sum();
                if energy > 0.0 {
                    for (w, frame) in weights.iter().zip(out) {
                        frame[c] = self.store(f64::from(frame[c]) - step * value / energy * w);
                    }
                }
            }
        }
    }
}

/// Settings of one search.
#[derive(Clone, Copy, Debug)]
pub struct Setup {
    /// Heading of the column.
    pub name: &'static str,
    /// 1 or 2.
    pub channels: usize,
    /// Ceiling in dBTP, look-ahead and release in ms.
    values: [f64; 3],
}

impl Setup {
    /// The limiter's settings.
    #[must_use]
    pub fn settings(&self) -> LimiterSettings {
        let [ceiling_dbtp, look_ahead_ms, release_ms] = self.values;
        LimiterSettings { on: true, ceiling_dbtp, look_ahead_ms, release_ms }
    }
}

/// Fastest settings, one channel and two different ones, the default, and the longest look-ahead.
pub const SETUPS: [Setup; 4] = [
    Setup { name: "fastest, mono", channels: 1, values: [-12.0, 0.5, 10.0] },
    Setup { name: "fastest", channels: 2, values: [0.0, 0.5, 10.0] },
    Setup { name: "default", channels: 2, values: [-1.0, 1.5, 80.0] },
    Setup { name: "long", channels: 2, values: [-6.0, 5.0, 10.0] },
];

/// Limits a sequence and removes the latency.
fn limited<const C: usize>(coefs: &StageCoefs<Limiter, C>, input: &[[f32; C]]) -> Vec<[f32; C]>
where
    [f32; C]: Frame,
{
    let latency = coefs.latency() as usize;
    let mut frames = input.to_vec();
    frames.resize(input.len() + latency, [0.0; C]);
    Processor::new(coefs).run(&mut frames);
    frames.split_off(latency)
}

/// Highest true peak over the ceiling that a search finds, dB.
///
/// # Errors
/// If the rate is not allowed.
///
/// # Panics
/// If a sample exceeds the ceiling.
pub fn excess_db(setup: &Setup, rate: SampleRate, seed: u64, steps: usize) -> Result<f64, SettingError> {
    let settings = setup.settings();
    let ceiling = settings.ceiling_dbtp;
    let (excess, samples) = if setup.channels == 1 {
        let coefs = StageCoefs::design(&settings, true, rate)?;
        let worst = Search::<1, _>::new(|input| limited(&coefs, input), ceiling, seed).run(steps);
        (worst.excess_db, worst.sample_excess_db)
    } else {
        let coefs = StageCoefs::design(&settings, true, rate)?;
        let worst = Search::<2, _>::new(|input| limited(&coefs, input), ceiling, seed).run(steps);
        (worst.excess_db, worst.sample_excess_db)
    };
    assert!(samples <= 0.0, "a sample exceeds the ceiling by {samples} dB");
    Ok(excess)
}
