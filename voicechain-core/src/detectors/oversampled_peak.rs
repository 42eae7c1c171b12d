//! Oversampled peak detector for a true-peak limiter.

use crate::dsp::parabola::interpolated_peak;
use crate::frame::CHUNK;

/// Look-ahead in samples: how far [`OversampledPeak`] reads beyond the frame that it reports.
pub const LOOK_AHEAD: usize = 51;

/// Samples kept between calls.
const KEPT: usize = 102;
/// Kept samples, one chunk, and the unused samples that the last group of lanes reads beyond it.
const LINE: usize = KEPT + CHUNK + 2;
/// Half-sample values for one chunk: one per frame, seven around them, and padding to whole lanes.
const HALVES: usize = CHUNK + 16;
/// Quarter-sample values for one chunk: one per frame, one before, and padding to whole lanes.
const QUARTERS: usize = CHUNK + 8;

/// Twofold interpolation filter, one half of its symmetric 96 taps: `sin(pi t)/(pi t)` at t = 1/2, 3/2 ... under a
/// Kaiser window of beta 3 and 96 samples, scaled to unity gain at 0 Hz.
///
/// From 0 to 0.4535 of the sample rate its gain is within 0.04 dB of 1. The low beta makes the sum of magnitudes
/// (3.404, 10.64 dB) larger than that of most longer designs. Peaks near half the sample rate are therefore not
/// under-read compared with a sharper interpolation filter.
#[rustfmt::skip]
#[allow(clippy::unreadable_literal, clippy::excessive_precision)]
static HALF: [f32; 48] = [
    0.637401104, -0.212243021, 0.127077296, -0.0904823393, 0.0700781271, -0.057033889,
    0.0479532741, -0.041251421, 0.0360893682, -0.0319814719, 0.0286271609, -0.0258304644,
    0.0234581754, -0.0214166027, 0.0196379367, -0.0180719066, 0.0166804623, -0.0154342782,
    0.0143103944, -0.0132905869, 0.0123602059, -0.0115073463, 0.0107222339, -0.00999677368,
    0.00932420138, -0.00869882666, 0.00811582431, -0.00757107744, 0.00706105167, -0.00658269646,
    0.00613336219, -0.00571073685, 0.00531279342, -0.0049377447, 0.00458400883, -0.00425017811,
    0.00393499527, -0.003637332, 0.00335617131, -0.0030905928, 0.00283975969, -0.0026029076,
    0.00237933663, -0.00216840161, 0.00196950673, -0.00178209879, 0.00160566205, -0.00143971434,
];

/// Interpolation filter from twofold to fourfold, one half of 12 taps: the same design with beta 5 and 12 samples of
/// the twofold signal.
#[rustfmt::skip]
#[allow(clippy::unreadable_literal, clippy::excessive_precision)]
static QUARTER: [f32; 6] = [0.627645493, -0.184445322, 0.0851504728, -0.0398362726, 0.0163294878, -0.00484386971];

/// No reported peak exceeds the largest sample by more than this factor times the largest second difference of the
/// samples.
///
/// Each interpolated value is the linear interpolation between two samples plus a weighted sum of second differences
/// `x[n-1] - 2 x[n] + x[n+1]`; 1.75 bounds that sum, 0.21 the parabola. Tested by `peak_bound_holds_for_every_tap`.
const MAX_RISE_PER_CURVATURE: f32 = 1.96;
/// No reported peak exceeds this factor times the largest sample (12.3 dB).
const MAX_GAIN: f32 = 4.1;
/// Margin for single-precision rounding.
const ROUNDING_MARGIN: f32 = 1.001;

/// Larger of two numbers; compiles to one instruction.
#[inline(always)]
fn larger(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
}

/// Inter-sample peak per frame, the largest of all channels.
///
/// The peak of frame n is the largest magnitude of the signal from n up to, but not including, n + 1. It covers the
/// sample, the half-sample value (96 taps), the quarter-sample values (12 more taps on the twofold signal), and a
/// parabola through each local maximum and its neighbours. Latency: [`LOOK_AHEAD`] = 51 samples.
///
/// Error on steady sines up to 0.45 of the sample rate, at any phase: -0.02 to +0.09 dB (the ripple of the filters; the
/// parabola contributes 0.02 dB). Tested by `steady_sines_are_read_within_the_error_bound`.
///
/// A cheap bound runs first: the largest sample plus 1.96 times the largest second difference. If it stays below the
/// threshold, no peak can reach the threshold and the interpolation is skipped. Cost: under 1 ns per sample for a voice
/// below the ceiling, about 10 ns with interpolation. Results depend on the samples only, not on the block size.
#[derive(Clone, Debug)]
pub struct OversampledPeak<const C: usize> {
    /// Samples per channel; the first `KEPT` are from earlier calls.
    line: [[f32; LINE]; C],
}

impl<const C: usize> OversampledPeak<C> {
    /// Creates a cleared detector.
    #[must_use]
    pub const fn new() -> Self {
        Self { line: [[0.0; LINE]; C] }
    }

    /// Processes up to [`CHUNK`] frames (further ones are ignored) and writes the peaks of the frames [`LOOK_AHEAD`]
    /// samples earlier to `peaks`.
    ///
    /// Peaks below `threshold` (linear, above 0) may be reported as 0. Returns false, with all of `peaks` at 0, when no
    /// peak can reach the threshold.
    ///
    /// Samples must be finite and at most 2^100 in magnitude.
    pub fn push(&mut self, frames: &[[f32; C]], threshold: f32, peaks: &mut [f32; CHUNK]) -> bool {
        let count = frames.len().min(CHUNK);
        let mut reached = false;
        *peaks = [0.0; CHUNK];
        for (c, line) in self.line.iter_mut().enumerate() {
            for (sample, frame) in line[KEPT..KEPT + CHUNK].iter_mut().zip(frames) {
                *sample = frame[c];
            }
            if bound(&line[..KEPT + count]) >= threshold {
                reached = true;
                interpolate(line, count, peaks);
            }
            line.copy_within(count..count + KEPT, 0);
        }
        reached
    }
}

impl<const C: usize> Default for OversampledPeak<C> {
    fn default() -> Self {
        Self::new()
    }
}

/// Upper bound of the peaks that [`interpolate`] can find in these samples.
fn bound(samples: &[f32]) -> f32 {
    let mut magnitude = [0.0_f32; 8];
    let mut curvature = [0.0_f32; 8];
    let (mut at, last) = (0, samples.len() - 10);
    loop {
        // The last step overlaps the previous one.
        let from = at.min(last);
        let window: &[f32; 10] = samples[from..].first_chunk().unwrap_or(&[0.0; 10]);
        for i in 0..8 {
            magnitude[i] = larger(window[i].abs(), magnitude[i]);
            curvature[i] = larger((window[i] - 2.0 * window[i + 1] + window[i + 2]).abs(), curvature[i]);
        }
        if at >= last {
            break;
        }
        at += 8;
    }
    let ends = larger(samples[samples.len() - 1].abs(), samples[samples.len() - 2].abs());
    let magnitude = magnitude.iter().fold(ends, |most, &x| larger(x, most));
    let curvature = curvature.iter().fold(0.0, |most, &x| larger(x, most));
    let by_magnitude = MAX_GAIN * magnitude;
    let by_curvature = magnitude + MAX_RISE_PER_CURVATURE * curvature;
    ROUNDING_MARGIN * if by_curvature < by_magnitude { by_curvature } else { by_magnitude }
}

/// Raises `peaks[..count]` to the peaks of one channel.
fn interpolate(line: &[f32; LINE], count: usize, peaks: &mut [f32; CHUNK]) {
    // Half-sample values: index i lies half a sample after line[47 + i]. The first reported frame is line[51].
    let mut halves = [0.0_f32; HALVES];
    let needed = count + 7;
    let mut at = 0;
    while at < needed {
        if needed - at > 16 {
            half_way::<24>(&line[at..], &mut halves[at..]);
            at += 24;
        } else {
            half_way::<8>(&line[at..], &mut halves[at..]);
            at += 8;
        }
    }
    // Quarter-sample values: index i belongs to line[50 + i]. Index 0 is the frame before the first reported one.
    let mut first = [0.0_f32; QUARTERS];
    let mut third = [0.0_f32; QUARTERS];
    let mut at = 0;
    while at < count + 1 {
        let x = |offset: usize| -> &[f32; 8] { line[at + offset..].first_chunk().unwrap_or(&[0.0; 8]) };
        let h = |offset: usize| -> &[f32; 8] { halves[at + offset..].first_chunk().unwrap_or(&[0.0; 8]) };
        let x: [&[f32; 8]; 6] = core::array::from_fn(|i| x(48 + i));
        let h: [&[f32; 8]; 7] = core::array::from_fn(h);
        for i in 0..8 {
            let pairs = [
                x[2][i] + h[3][i],
                h[2][i] + x[3][i],
                x[1][i] + h[4][i],
                h[1][i] + x[4][i],
                x[0][i] + h[5][i],
                h[0][i] + x[5][i],
            ];
            first[at + i] = weigh(&pairs);
        }
        for i in 0..8 {
            let pairs = [
                h[3][i] + x[3][i],
                x[2][i] + h[4][i],
                h[2][i] + x[4][i],
                x[1][i] + h[5][i],
                h[1][i] + x[5][i],
                x[0][i] + h[6][i],
            ];
            third[at + i] = weigh(&pairs);
        }
        at += 8;
    }
    for (i, peak) in peaks[..count].iter_mut().enumerate() {
        let before = third[i].abs();
        let sample = line[51 + i].abs();
        let quarter = first[i + 1].abs();
        let half = halves[i + 4].abs();
        let three_quarters = third[i + 1].abs();
        let next = line[52 + i].abs();
        let a = larger(interpolated_peak(before, sample, quarter), interpolated_peak(sample, quarter, half));
        let b = larger(interpolated_peak(quarter, half, three_quarters), interpolated_peak(half, three_quarters, next));
        *peak = larger(larger(a, b), *peak);
    }
}

/// Computes `G` half-sample values from `G + 95` samples, outermost taps first.
#[inline(always)]
fn half_way<const G: usize>(samples: &[f32], halves: &mut [f32]) {
    let mut sums = [0.0_f32; G];
    for (tap, &weight) in HALF.iter().enumerate().rev() {
        let (Some(left), Some(right)) =
            (samples[47 - tap..].first_chunk::<G>(), samples[48 + tap..].first_chunk::<G>())
        else {
            return;
        };
        for i in 0..G {
            sums[i] += weight * (left[i] + right[i]);
        }
    }
    halves[..G].copy_from_slice(&sums);
}

#[inline(always)]
fn weigh(pairs: &[f32; 6]) -> f32 {
    let mut sum = 0.0;
    for tap in (0..6).rev() {
        sum += QUARTER[tap] * pairs[tap];
    }
    sum
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use crate::dsp::window::kaiser;
    use core::f64::consts::PI;
    use std::{println, vec, vec::Vec};

    /// Design formula of the tables: sinc at half-odd positions under a Kaiser window, scaled to unity gain at 0 Hz.
    fn formula(beta: f64, pairs: usize) -> Vec<f64> {
        let raw: Vec<f64> = (0..pairs)
            .map(|k| {
                let t = k as f64 + 0.5;
                let u = t / pairs as f64;
                libm::sin(PI * t) / (PI * t) * kaiser(u, beta)
            })
            .collect();
        let sum: f64 = 2.0 * raw.iter().sum::<f64>();
        raw.iter().map(|h| h / sum).collect()
    }

    #[test]
    fn interpolation_tables_match_their_formula() {
        for (k, h) in formula(3.0, 48).iter().enumerate() {
            assert!((f64::from(HALF[k]) - h).abs() < 1e-7);
        }
        for (k, h) in formula(5.0, 6).iter().enumerate() {
            assert!((f64::from(QUARTER[k]) - h).abs() < 1e-7);
        }
    }

    fn peaks_of(signal: &[f32], threshold: f32) -> Vec<f32> {
        let mut detector = OversampledPeak::<1>::new();
        let mut out = vec![];
        for piece in signal.chunks(CHUNK) {
            let frames: Vec<[f32; 1]> = piece.iter().map(|&x| [x]).collect();
            let mut peaks = [0.0; CHUNK];
            detector.push(&frames, threshold, &mut peaks);
            out.extend_from_slice(&peaks[..piece.len()]);
        }
        out
    }

    /// The values at the four quarters after sample 0 as weights on the samples from -60 to 60.
    fn weights() -> [[f64; 121]; 6] {
        let mut twofold = [[0.0_f64; 121]; 31];
        for (i, w) in twofold.iter_mut().enumerate() {
            let (place, odd) = (45 + i / 2, i % 2 == 1);
            // Index 30 is sample 60, the origin. Positions run from 45 to 60; the rest is symmetric.
            if odd {
                for (tap, &h) in HALF.iter().enumerate() {
                    if let Some(w) = (place + 8).checked_sub(tap).and_then(|k| w.get_mut(k)) {
                        *w += f64::from(h);
                    }
                    if let Some(w) = w.get_mut(place + 9 + tap) {
                        *w += f64::from(h);
                    }
                }
            } else {
                w[place + 8] = 1.0;
            }
        }
        // Twofold index 14 is sample 60.
        let quarter = |first: usize| {
            let mut sum = [0.0; 121];
            for (tap, &q) in QUARTER.iter().enumerate() {
                for (k, s) in sum.iter_mut().enumerate() {
                    *s += f64::from(q) * (twofold[first - tap][k] + twofold[first + 1 + tap][k]);
                }
            }
            sum
        };
        // From a quarter before sample 60 to one sample after it.
        [quarter(13), twofold[14], quarter(14), twofold[15], quarter(15), twofold[16]]
    }

    /// Sum of magnitudes of the weights on second differences that are equivalent to `weights` on samples.
    fn curvature_sum(weights: &[f64; 121]) -> f64 {
        let (mut once, mut twice, mut sum) = (0.0, 0.0, 0.0);
        for w in weights {
            once += w;
            twice += once;
            sum += twice.abs();
        }
        assert!(once.abs() < 1e-6 && twice.abs() < 1e-4, "{once} {twice}");
        sum
    }

    #[test]
    fn peak_bound_holds_for_every_tap() {
        let points = weights();
        let (mut by_curvature, mut by_magnitude) = (0.0_f64, 0.0_f64);
        for point in 1..5 {
            let w = &points[point];
            // Remove the linear interpolation between samples 60 and 61 (one quarter per step).
            let share = 0.25 * (point as f64 - 1.0);
            let mut rest = *w;
            rest[60] -= 1.0 - share;
            rest[61] -= share;
            let mut second = [0.0; 121];
            for (k, s) in second.iter_mut().enumerate() {
                *s = 2.0 * w[k] - points[point - 1][k] - points[point + 1][k];
            }
            // The parabola through a maximum adds at most an eighth of the second difference.
            by_curvature = by_curvature.max(curvature_sum(&rest) + curvature_sum(&second) / 8.0);
            let sum = |w: &[f64; 121]| w.iter().map(|x| x.abs()).sum::<f64>();
            by_magnitude = by_magnitude.max(sum(w) + sum(&second) / 8.0);
        }
        println!("bound by second differences {by_curvature:.3}, by magnitude {by_magnitude:.3}");
        assert!(by_curvature < f64::from(MAX_RISE_PER_CURVATURE) && by_magnitude < f64::from(MAX_GAIN));
    }

    #[test]
    fn steady_sines_are_read_within_the_error_bound() {
        let read = |frequency: f64, phase: f64| {
            let sine = |n: i32| libm::sin(2.0 * PI * (frequency * f64::from(n) + phase)) as f32;
            let peaks = peaks_of(&(0..1_000).map(sine).collect::<Vec<_>>(), 1e-9);
            20.0 * libm::log10(f64::from(peaks[300..].iter().fold(0.0_f32, |m, &p| m.max(p))))
        };
        let (mut low, mut high) = (0.0_f64, 0.0_f64);
        for k in 1..450 {
            let error = read(f64::from(k) * 0.001_007, 0.1 * f64::from(k));
            (low, high) = (low.min(error), high.max(error));
        }
        // Sines with a period of a few samples repeat the same sampling phases: test the worst phase.
        for (cycles, samples) in
            [(1, 3), (1, 4), (1, 5), (2, 5), (1, 6), (2, 7), (3, 7), (3, 8), (4, 9), (4, 10), (9, 20)]
        {
            for phase in 0..32 {
                let error = read(f64::from(cycles) / f64::from(samples), f64::from(phase) / f64::from(32 * samples));
                (low, high) = (low.min(error), high.max(error));
            }
        }
        println!("steady sines read {low:.3} to +{high:.3} dB");
        assert!(low > -0.05 && high < 0.09, "{low} {high}");
    }

    #[test]
    fn a_peak_is_reported_51_samples_late() {
        let mut signal = vec![0.0_f32; 300];
        signal[100] = 1.0;
        let peaks = peaks_of(&signal, 0.9);
        let largest = peaks.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1)).unwrap();
        assert_eq!((largest.0, *largest.1), (100 + LOOK_AHEAD, 1.0));
    }

    #[test]
    fn peak_bound_preserves_peaks_above_the_threshold() {
        let mut seed = 1_u32;
        let mut level = 0.0_f32;
        let signal: Vec<f32> = (0..20_000)
            .map(|n| {
                seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                if n % 500 == 0 {
                    level = (seed >> 8) as f32 / 1.7e7;
                }
                level * ((seed >> 8) as f32 / 8_388_608.0 - 1.0)
            })
            .collect();
        let (all, some) = (peaks_of(&signal, 1e-9), peaks_of(&signal, 0.8));
        let above =
            |peaks: &[f32]| -> Vec<u32> { peaks.iter().map(|p| if *p >= 0.8 { p.to_bits() } else { 0 }).collect() };
        assert!(above(&all) == above(&some));
        assert!(all != some);
    }
}
