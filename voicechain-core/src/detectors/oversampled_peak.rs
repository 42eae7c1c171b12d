//! Oversampled peak detector for a true-peak limiter.

use crate::blank::blank;
use crate::dsp::extent::{Extent, larger};
use crate::dsp::parabola::interpolated_peak;
use crate::frame::CHUNK;

/// Look-ahead in samples: how far [`OversampledPeak`] reads beyond the frame that it reports.
pub const LOOK_AHEAD: usize = 55;

/// Samples kept between calls.
const KEPT: usize = 2 * LOOK_AHEAD;
/// Kept samples, one chunk, and the unused samples that the last group of lanes reads beyond it.
const LINE: usize = KEPT + CHUNK + 2;
/// Sample before the first half-sample value.
const FIRST: usize = LOOK_AHEAD - 4;
/// Half-sample values for one chunk: one per frame, seven around them, and padding to whole lanes.
const HALVES: usize = CHUNK + 16;
/// Quarter-sample values for one chunk: one per frame, one before, and padding to whole lanes.
const QUARTERS: usize = CHUNK + 8;
/// Frames that the quarter-sample values are computed for at a time, and that share one bound.
const GROUP: usize = 8;

/// Wide twofold interpolation filter, one half of its symmetric 104 taps: `sin(pi t)/(pi t)` at t = 1/2, 3/2 ... under
/// a Kaiser window of beta 3 and 104 samples, scaled to unity gain at 0 Hz.
///
/// From 0 to 0.4535 of the sample rate its gain is within 0.08 dB of 1. The low beta makes the sum of magnitudes
/// (3.455, 10.77 dB) as large as that of a filter of 192 taps with beta 10. Peaks near half the sample rate are therefore
/// not under-read compared with a sharper interpolation filter.
#[rustfmt::skip]
#[allow(clippy::unreadable_literal, clippy::excessive_precision)]
static WIDE: [f32; 52] = [
    0.637346983, -0.21225813, 0.127126053, -0.0905595496, 0.0701819211, -0.0571632646,
    0.0481075458, -0.0414300151, 0.0362917483, -0.032207109, 0.0288755074, -0.0261009522,
    0.0237502065, -0.0217295438, 0.0199711267, -0.0184246469, 0.0170520227, -0.0158238951,
    0.0147172743, -0.0137139065, 0.0127991149, -0.0119609674, 0.0111896675, -0.0104770958,
    0.00981647242, -0.00920208544, 0.00862909667, -0.00809337478, 0.00759137794, -0.00712004444,
    0.00667672092, -0.00625909213, 0.00586512918, -0.00549304765, 0.00514126895, -0.00480839284,
    0.00449317042, -0.00419448456, 0.00391133176, -0.00364280748, 0.00338809285, -0.00314644398,
    0.0029171824, -0.00269968761, 0.00249338965, -0.00229776325, 0.00211232249, -0.00193661614,
    0.00177022407, -0.00161275337, 0.00146383594, -0.00132312486,
];

/// Narrow twofold interpolation filter, one half of 64 taps: the same design with beta 3.5 and 64 samples.
///
/// The wide filter alone has a blind spot. Near half the sample rate, content 30 to 50 samples away can cancel a peak in
/// its reading, but hardly in that of a filter whose window is narrower.
#[rustfmt::skip]
#[allow(clippy::unreadable_literal, clippy::excessive_precision)]
static NARROW: [f32; 32] = [
    0.637247324, -0.211805701, 0.126353636, -0.0894748122, 0.0687908754, -0.0554723851,
    0.046124205, -0.0391626321, 0.0337497927, -0.0294010844, 0.02581691, -0.0228022132,
    0.0202246252, -0.0179912243, 0.0160348881, -0.0143059576, 0.0127669005, -0.0113888299,
    0.0101491362, -0.00902985316, 0.00801649876, -0.00709724752, 0.00626231637, -0.00550351012,
    0.00481388159, -0.00418746984, 0.0036191002, -0.00310422899, 0.00263882056, -0.00221925252,
    0.00184224045, -0.00150477642,
];

/// First moment of one half of the narrow filter, less that of the wide filter, samples.
///
/// A filter of one wide and one narrow half reads a ramp with this error per slope.
const SKEW: f32 = 0.011_128_053;

/// Scale of the quarter-sample value on the side of the wide half, -0.07 dB. Without it that value reads steady sines up
/// to 0.148 dB too high, at 0.4155 of the rate (computed with numpy): the half-sample values of a filter of one wide and
/// one narrow half are shifted in time against the samples.
const WIDE_SIDE: f32 = 0.992;

/// Interpolation filter from twofold to fourfold, one half of 12 taps: the same design with beta 5 and 12 samples of
/// the twofold signal.
#[rustfmt::skip]
#[allow(clippy::unreadable_literal, clippy::excessive_precision)]
static QUARTER: [f32; 6] = [0.627645493, -0.184445322, 0.0851504728, -0.0398362726, 0.0163294878, -0.00484386971];

/// No reported peak exceeds the largest sample by more than this factor times the largest second difference of the
/// samples.
///
/// Each interpolated value is the linear interpolation between its two neighbours plus a weighted sum of second
/// differences `x[n-1] - 2 x[n] + x[n+1]`; 1.9 bounds that sum, 0.21 the parabola. Hence the bound holds between two
/// samples with the larger of the two in place of the largest sample. Tested by `peak_bound_holds_for_every_tap`.
const MAX_RISE_PER_CURVATURE: f32 = 2.11;
/// No reported peak exceeds this factor times the largest sample (11.3 dB).
const MAX_GAIN: f32 = 3.65;
/// Margin for single-precision rounding.
const ROUNDING_MARGIN: f32 = 1.001;

/// Inter-sample peak per frame, the largest of all channels.
///
/// The peak of frame n is the largest magnitude of the signal from n up to, but not including, n + 1. Latency:
/// [`LOOK_AHEAD`] = 55 samples. It covers the sample and the values of four interpolation filters:
///
/// - Wide and narrow filter: the half-sample value (104 or 64 taps), the quarter-sample values (12 more taps on the
///   twofold signal), and a parabola through each local maximum and its neighbours.
/// - Two filters of one wide and one narrow half, which read a peak beside which a gain will move: the half-sample value
///   and the quarter-sample values, that on the side of the wide half times 0.992.
///
/// Error on steady sines up to 0.45 of the sample rate, at any phase: -0.02 to +0.09 dB (the ripple of the filters; the
/// parabola contributes 0.02 dB). Tested by `steady_sines_are_read_within_the_error_bound`.
///
/// The reading of any other interpolation filter depends on its window: an interpolated value near half the sample rate
/// is not defined by the samples around it alone. A filter with a window between the narrow and the wide one reads close
/// to a mean of the two, so the larger of both is a bound for it, up to the error between the computed positions.
///
/// A cheap bound runs first: the largest sample plus 2.11 times the largest second difference. If it stays below the
/// threshold, no peak can reach the threshold and the interpolation is skipped. Otherwise the same bound, with the
/// largest sample of each group of eight frames, limits the interpolation to the frames from the first to the last
/// group that can reach the threshold. A skipped frame's peak is below the threshold, so the peaks at or above it depend
/// on the samples only, not on the block size. Tested by `peak_bound_preserves_peaks_above_the_threshold` and
/// `peaks_above_the_threshold_do_not_depend_on_the_block_size`.
#[derive(Clone, Debug)]
pub struct OversampledPeak<const C: usize> {
    /// Samples per channel; the first `KEPT` are from earlier calls.
    line: [[f32; LINE]; C],
    recent: [Recent; C],
}

blank! { [const C: usize] OversampledPeak<C> { line, recent } }

impl<const C: usize> OversampledPeak<C> {
    /// Creates a cleared detector.
    #[must_use]
    pub const fn new() -> Self {
        Self { line: [[0.0; LINE]; C], recent: [Recent::SILENT; C] }
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
        for (c, (line, recent)) in self.line.iter_mut().zip(&mut self.recent).enumerate() {
            for (sample, frame) in line[KEPT..KEPT + CHUNK].iter_mut().zip(frames) {
                *sample = frame[c];
            }
            let end = KEPT + count;
            let extent = recent.push(Extent::of(&line[end - (count + 2).max(Extent::LEAST)..end]), count);
            if let Some((from, to)) = frames_to_interpolate(extent, line, count, threshold) {
                reached = true;
                interpolate(line, from, to, peaks);
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

/// Upper bound of the peaks that [`interpolate`] can find next to samples of at most `magnitude`, in samples of this
/// extent.
fn bound(extent: Extent, magnitude: f32) -> f32 {
    let by_magnitude = MAX_GAIN * extent.magnitude;
    let by_curvature = magnitude + MAX_RISE_PER_CURVATURE * extent.curvature;
    ROUNDING_MARGIN * if by_curvature < by_magnitude { by_curvature } else { by_magnitude }
}

/// First and end of the frames among `count` whose peaks can reach the threshold, in whole groups of [`GROUP`].
fn frames_to_interpolate(extent: Extent, line: &[f32; LINE], count: usize, threshold: f32) -> Option<(usize, usize)> {
    if bound(extent, extent.magnitude) < threshold {
        return None;
    }
    let mut frames = None;
    for from in (0..count).step_by(GROUP) {
        let to = (from + GROUP).min(count);
        let magnitude = line[LOOK_AHEAD + from..=LOOK_AHEAD + to].iter().fold(0.0, |most, x| larger(x.abs(), most));
        if bound(extent, magnitude) >= threshold {
            frames = Some((frames.map_or(from, |(first, _)| first), to));
        }
    }
    frames
}

/// Extent of at least the last [`KEPT`] samples, in two full parts of at least half of them and one that fills.
#[derive(Clone, Copy, Debug)]
struct Recent {
    full: [Extent; 2],
    filling: Extent,
    /// Samples in the part that fills.
    filled: usize,
}

blank! { Recent { full, filling, filled } }

impl Recent {
    const SILENT: Self = Self { full: [Extent::SILENT; 2], filling: Extent::SILENT, filled: 0 };

    /// Adds the extent of `count` new samples. Returns that of the last [`KEPT`] samples and these.
    fn push(&mut self, new: Extent, count: usize) -> Extent {
        if self.filled >= LOOK_AHEAD {
            self.full = [self.filling, self.full[0]];
            (self.filling, self.filled) = (Extent::SILENT, 0);
        }
        self.filling = self.filling.join(new);
        self.filled += count;
        self.full[0].join(self.full[1]).join(self.filling)
    }
}

/// Half-sample values of one chunk, signed, by the filter on the side before and on the side after the value. Index i lies
/// half a sample after `line[FIRST + i]`.
struct Halves {
    wide: [f32; HALVES],
    narrow: [f32; HALVES],
    wide_narrow: [f32; HALVES],
    narrow_wide: [f32; HALVES],
}

/// Raises `peaks[from..to]` to the peaks of one channel. The first reported frame is `line[LOOK_AHEAD]`.
fn interpolate(line: &[f32; LINE], from: usize, to: usize, peaks: &mut [f32; CHUNK]) {
    let silent = [0.0; HALVES];
    let mut halves = Halves { wide: silent, narrow: silent, wide_narrow: silent, narrow_wide: silent };
    let needed = to + 7;
    let mut at = from;
    while at < needed {
        if needed - at > 16 {
            half_way::<24>(line, at, &mut halves);
            at += 24;
        } else {
            half_way::<8>(line, at, &mut halves);
            at += 8;
        }
    }
    raise(line, &halves.wide, from, to, peaks);
    raise(line, &halves.narrow, from, to, peaks);
    raise_one_sided(line, &halves.wide_narrow, [WIDE_SIDE, 1.0], from, to, peaks);
    raise_one_sided(line, &halves.narrow_wide, [1.0, WIDE_SIDE], from, to, peaks);
}

/// Raises `peaks[from..to]` to these half-sample values of one channel and to the quarter-sample values before and after
/// them, times `scales`.
fn raise_one_sided(
    line: &[f32; LINE],
    halves: &[f32; HALVES],
    scales: [f32; 2],
    from: usize,
    to: usize,
    peaks: &mut [f32; CHUNK],
) {
    for at in (from..to).step_by(GROUP) {
        let first = quarters::<0>(line, halves, at + 1);
        let third = quarters::<1>(line, halves, at + 1);
        let half: &[f32; GROUP] = halves[at + 4..].first_chunk().unwrap_or(&[0.0; GROUP]);
        for (i, peak) in peaks[at..].iter_mut().take((to - at).min(GROUP)).enumerate() {
            let quarters = larger(scales[0] * first[i].abs(), scales[1] * third[i].abs());
            *peak = larger(larger(quarters, half[i].abs()), *peak);
        }
    }
}

/// Quarter-sample values of eight frames: before the half-sample value (`AFTER` 0) or after it (1). Index i belongs to
/// `line[LOOK_AHEAD - 1 + at + i]`.
#[inline(always)]
fn quarters<const AFTER: usize>(line: &[f32; LINE], halves: &[f32; HALVES], at: usize) -> [f32; GROUP] {
    let x = |offset: usize| -> &[f32; 8] { line[at + FIRST + 1 + offset..].first_chunk().unwrap_or(&[0.0; 8]) };
    let h = |offset: usize| -> &[f32; 8] { halves[at + offset..].first_chunk().unwrap_or(&[0.0; 8]) };
    let x: [&[f32; 8]; 6] = core::array::from_fn(x);
    let h: [&[f32; 8]; 7] = core::array::from_fn(h);
    core::array::from_fn(|i| {
        // The samples and half-sample values on both sides, innermost first: the twofold signal alternates between them.
        let pairs = if AFTER == 0 {
            [
                x[2][i] + h[3][i],
                h[2][i] + x[3][i],
                x[1][i] + h[4][i],
                h[1][i] + x[4][i],
                x[0][i] + h[5][i],
                h[0][i] + x[5][i],
            ]
        } else {
            [
                h[3][i] + x[3][i],
                x[2][i] + h[4][i],
                h[2][i] + x[4][i],
                x[1][i] + h[5][i],
                h[1][i] + x[5][i],
                x[0][i] + h[6][i],
            ]
        };
        weigh(&pairs)
    })
}

/// Raises `peaks[from..to]` to the peaks of one channel with these half-sample values.
fn raise(line: &[f32; LINE], halves: &[f32; HALVES], from: usize, to: usize, peaks: &mut [f32; CHUNK]) {
    // Quarter-sample values: index i belongs to line[LOOK_AHEAD - 1 + i], the frame before the first reported one.
    let mut first = [0.0_f32; QUARTERS];
    let mut third = [0.0_f32; QUARTERS];
    let mut at = from;
    while at < to + 1 {
        first[at..at + GROUP].copy_from_slice(&quarters::<0>(line, halves, at));
        third[at..at + GROUP].copy_from_slice(&quarters::<1>(line, halves, at));
        at += GROUP;
    }
    let (line, halves) = (&line[LOOK_AHEAD + from..=LOOK_AHEAD + to], &halves[from + 4..to + 4]);
    let (first, third) = (&first[from + 1..=to], &third[from..=to]);
    for (i, peak) in peaks[from..to].iter_mut().enumerate() {
        let before = third[i].abs();
        let sample = line[i].abs();
        let quarter = first[i].abs();
        let half = halves[i].abs();
        let three_quarters = third[i + 1].abs();
        let next = line[i + 1].abs();
        let a = larger(interpolated_peak(before, sample, quarter), interpolated_peak(sample, quarter, half));
        let b = larger(interpolated_peak(quarter, half, three_quarters), interpolated_peak(half, three_quarters, next));
        *peak = larger(larger(a, b), *peak);
    }
}

/// Computes `G` half-sample values from index `at`.
#[inline(always)]
fn half_way<const G: usize>(line: &[f32; LINE], at: usize, halves: &mut Halves) {
    let samples = &line[at + FIRST..];
    let (Some(before), Some(after)) = (samples.first_chunk::<G>(), samples[1..].first_chunk::<G>()) else {
        return;
    };
    let [wide_left, wide_right] = sides::<G>(&WIDE, line, at);
    let [narrow_left, narrow_right] = sides::<G>(&NARROW, line, at);
    let mut values = [[0.0; G]; 4];
    for i in 0..G {
        let skew = SKEW * (after[i] - before[i]);
        values[0][i] = wide_left[i] + wide_right[i];
        values[1][i] = narrow_left[i] + narrow_right[i];
        values[2][i] = wide_left[i] + narrow_right[i] - skew;
        values[3][i] = narrow_left[i] + wide_right[i] + skew;
    }
    let Halves { wide, narrow, wide_narrow, narrow_wide } = halves;
    for (to, from) in [wide, narrow, wide_narrow, narrow_wide].into_iter().zip(&values) {
        to[at..at + G].copy_from_slice(from);
    }
}

/// The parts of `G` half-sample values from the samples before them and from those after them, outermost taps first.
#[inline(always)]
fn sides<const G: usize>(taps: &[f32], line: &[f32; LINE], at: usize) -> [[f32; G]; 2] {
    let mut sums = [[0.0_f32; G]; 2];
    for (tap, &weight) in taps.iter().enumerate().rev() {
        let (Some(left), Some(right)) =
            (line[at + FIRST - tap..].first_chunk::<G>(), line[at + FIRST + 1 + tap..].first_chunk::<G>())
        else {
            return sums;
        };
        for i in 0..G {
            sums[0][i] += weight * left[i];
            sums[1][i] += weight * right[i];
        }
    }
    sums
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
        for (table, beta) in [(&WIDE[..], 3.0), (&NARROW[..], 3.5), (&QUARTER[..], 5.0)] {
            for (h, expected) in table.iter().zip(formula(beta, table.len())) {
                assert!((f64::from(*h) - expected).abs() < 1e-7);
            }
        }
        let moment = |beta: f64, pairs: usize| -> f64 {
            formula(beta, pairs).iter().enumerate().map(|(k, h)| (k as f64 + 0.5) * h).sum()
        };
        assert!((f64::from(SKEW) - (moment(3.5, 32) - moment(3.0, 52))).abs() < 1e-7);
    }

    fn peaks_of(signal: &[f32], threshold: f32) -> Vec<f32> {
        peaks_in_blocks(signal, threshold, &[CHUNK])
    }

    /// Peaks of blocks of these lengths in turn.
    fn peaks_in_blocks(signal: &[f32], threshold: f32, lengths: &[usize]) -> Vec<f32> {
        let mut detector = OversampledPeak::<1>::new();
        let (mut rest, mut out) = (signal, vec![]);
        for &length in lengths.iter().cycle() {
            if rest.is_empty() {
                break;
            }
            let (now, later) = rest.split_at(length.min(rest.len()));
            let frames: Vec<[f32; 1]> = now.iter().map(|&x| [x]).collect();
            let mut peaks = [0.0; CHUNK];
            detector.push(&frames, threshold, &mut peaks);
            out.extend_from_slice(&peaks[..now.len()]);
            rest = later;
        }
        out
    }

    /// The values at the four quarters after sample 0 as weights on the samples from -60 to 60, of a filter with these
    /// taps before and after the half-sample value.
    fn weights(before: &[f32], after: &[f32], skew: f32) -> [[f64; 121]; 6] {
        let mut twofold = [[0.0_f64; 121]; 31];
        for (i, w) in twofold.iter_mut().enumerate() {
            let (place, odd) = (45 + i / 2, i % 2 == 1);
            // Index 30 is sample 60, the origin. Positions run from 45 to 60; the rest is symmetric.
            if odd {
                for (tap, &h) in before.iter().enumerate() {
                    if let Some(w) = (place + 8).checked_sub(tap).and_then(|k| w.get_mut(k)) {
                        *w += f64::from(h);
                    }
                }
                for (tap, &h) in after.iter().enumerate() {
                    if let Some(w) = w.get_mut(place + 9 + tap) {
                        *w += f64::from(h);
                    }
                }
                w[place + 8] -= f64::from(skew);
                w[place + 9] += f64::from(skew);
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
        let (mut by_curvature, mut by_magnitude) = (0.0_f64, 0.0_f64);
        let sum = |w: &[f64; 121]| w.iter().map(|x| x.abs()).sum::<f64>();
        // Removes the linear interpolation between samples 60 and 61 (one quarter per step).
        let rest = |points: &[[f64; 121]; 6], point: usize| {
            let share = 0.25 * (point as f64 - 1.0);
            let mut rest = points[point];
            rest[60] -= 1.0 - share;
            rest[61] -= share;
            rest
        };
        for filter in [&WIDE[..], &NARROW] {
            let points = weights(filter, filter, 0.0);
            for point in 1..5 {
                let w = &points[point];
                let mut second = [0.0; 121];
                for (k, s) in second.iter_mut().enumerate() {
                    *s = 2.0 * w[k] - points[point - 1][k] - points[point + 1][k];
                }
                // The parabola through a maximum adds at most an eighth of the second difference.
                by_curvature = by_curvature.max(curvature_sum(&rest(&points, point)) + curvature_sum(&second) / 8.0);
                by_magnitude = by_magnitude.max(sum(w) + sum(&second) / 8.0);
            }
        }
        for (before, after, skew) in [(&WIDE[..], &NARROW[..], -SKEW), (&NARROW[..], &WIDE[..], SKEW)] {
            let points = weights(before, after, skew);
            for point in 2..5 {
                by_magnitude = by_magnitude.max(sum(&points[point]));
                by_curvature = by_curvature.max(curvature_sum(&rest(&points, point)));
            }
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
    fn a_peak_is_reported_55_samples_late() {
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

    /// A low tone with short bursts at half the rate, on its peaks and elsewhere: few frames of a block can reach the
    /// threshold.
    #[test]
    fn peaks_above_the_threshold_do_not_depend_on_the_block_size() {
        let signal: Vec<f32> = (0..30_000_u32)
            .map(|n| {
                let tone = 0.9 * libm::sin(f64::from(n) * 0.013);
                let burst = if n % 701 < n / 701 % 23 { 0.4 * f64::from(n / 3_000) / 10.0 } else { 0.0 };
                (tone + if n % 2 == 0 { burst } else { -burst }) as f32
            })
            .collect();
        let threshold = 0.95;
        let above = |peaks: &[f32]| -> Vec<u32> {
            peaks.iter().map(|p| if *p >= threshold { p.to_bits() } else { 0 }).collect()
        };
        let all = above(&peaks_of(&signal, 1e-9));
        assert!(all.iter().any(|&peak| peak > 0));
        for lengths in [&[CHUNK][..], &[1], &[7, 1, 64, 16, 15, 33], &[55, 54], &[2, 63]] {
            assert!(above(&peaks_in_blocks(&signal, threshold, lengths)) == all, "{lengths:?}");
        }
        // Negative control: frames of the same blocks are skipped.
        let some = peaks_of(&signal, threshold);
        let partly = |block: &[f32]| block.contains(&0.0) && block.iter().any(|&peak| peak > 0.0);
        assert!(some.chunks(CHUNK).any(partly));
    }
}
