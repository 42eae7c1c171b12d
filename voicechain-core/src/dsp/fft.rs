//! Real FFT and its inverse for power-of-two lengths, in fixed memory.

use super::complex::Complex4;
use super::unit_circle;
use crate::blank::blank;
use wide::f32x4;

/// Minimum frame length, samples.
pub const MIN_LENGTH: usize = 128;
/// Maximum frame length, samples.
pub const MAX_LENGTH: usize = 4_096;

/// `HALF` complex values with separate real and imaginary parts, so that four are processed at a time.
///
/// As a frame, even samples are real parts and odd samples imaginary parts. As a spectrum, bin `k` is at
/// `k rate / length`; bin 0 packs the real values at 0 Hz and at half the sample rate.
pub type SplitComplex<const HALF: usize> = [[f32; HALF]; 2];

/// Real FFT of one frame length, at most `2 HALF` samples.
///
/// Stockham's self-sorting FFT of radix 4 (plus one pass of radix 2 for odd powers of two) on half as many complex
/// values, with the usual step between these and a real frame: W. T. Cochran et al., "What is the Fast Fourier
/// Transform?", Proc. IEEE 55(10):1664-1674, 1967; P. N. Swarztrauber, "FFT algorithms for vector computers", Parallel
/// Computing 1:45-63, 1984. Single precision; the error of a forward and inverse transform is below -130 dB. The
/// twiddle tables are constants shared by all instances. Tested by `fft_matches_the_direct_sum`.
#[derive(Clone, Copy, Debug)]
pub struct RealFft<const HALF: usize> {
    half: usize,
}

blank! { [const HALF: usize] RealFft<HALF> { half } }

impl<const HALF: usize> RealFft<HALF> {
    /// Creates the transform for a frame length: a power of two from [`MIN_LENGTH`] to `2 HALF`. Any other length is
    /// rounded up to the next power of two and limited to that range.
    #[must_use]
    pub const fn new(length: usize) -> Self {
        const { assert!(HALF.is_power_of_two() && 2 * HALF >= MIN_LENGTH && 2 * HALF <= MAX_LENGTH) };
        let length = if length < 2 * HALF { length } else { 2 * HALF };
        let length = if length > MIN_LENGTH { length.next_power_of_two() } else { MIN_LENGTH };
        Self { half: length / 2 }
    }

    fn tables(&self) -> &'static Tables {
        match self.length() {
            0..=128 => &LENGTH_128,
            129..=256 => &LENGTH_256,
            257..=512 => &LENGTH_512,
            513..=1_024 => &LENGTH_1024,
            1_025..=2_048 => &LENGTH_2048,
            _ => &LENGTH_4096,
        }
    }

    /// Frame length in samples.
    #[must_use]
    pub fn length(&self) -> usize {
        2 * self.half
    }

    /// Transforms a frame to its spectrum in place; `scratch` is working memory.
    pub fn forward(&self, z: &mut SplitComplex<HALF>, scratch: &mut SplitComplex<HALF>) {
        let (half, tables) = (self.half, self.tables());
        let [re, im] = z;
        complex(half, &tables.twiddles, [re, im], scratch);
        (re[0], im[0]) = (re[0] + im[0], re[0] - im[0]);
        im[half / 2] = -im[half / 2];
        each_pair(&tables.real_twiddles, re, im, half, |low, high, turn| {
            let half = f32x4::splat(0.5);
            // Spectra of the even and of the odd samples.
            let even = Complex4 { re: half * (low.re + high.re), im: half * (low.im - high.im) };
            let odd = Complex4 { re: half * (low.im + high.im), im: half * (high.re - low.re) };
            let odd = Complex4 { re: turn.re * odd.re - turn.im * odd.im, im: turn.re * odd.im + turn.im * odd.re };
            (even.plus(odd), Complex4 { re: even.re - odd.re, im: odd.im - even.im })
        });
    }

    /// Transforms a spectrum to its frame in place, scaled by half the frame length; `scratch` is working memory.
    pub fn inverse(&self, z: &mut SplitComplex<HALF>, scratch: &mut SplitComplex<HALF>) {
        let (half, tables) = (self.half, self.tables());
        let [re, im] = z;
        (re[0], im[0]) = (0.5 * (re[0] + im[0]), 0.5 * (re[0] - im[0]));
        im[half / 2] = -im[half / 2];
        each_pair(&tables.real_twiddles, re, im, half, |low, high, turn| {
            let half = f32x4::splat(0.5);
            let even = Complex4 { re: half * (low.re + high.re), im: half * (low.im - high.im) };
            let odd = Complex4 { re: half * (low.re - high.re), im: half * (low.im + high.im) };
            let odd = Complex4 { re: turn.re * odd.re + turn.im * odd.im, im: turn.re * odd.im - turn.im * odd.re };
            let low = Complex4 { re: even.re - odd.im, im: even.im + odd.re };
            (low, Complex4 { re: even.re + odd.im, im: odd.re - even.im })
        });
        // Swapping real and imaginary parts inverts the transform.
        complex(half, &tables.twiddles, [im, re], scratch);
    }
}

/// Applies a window and writes even samples to `re`, odd samples to `im`: the layout of a frame.
#[inline(always)]
pub fn pack_windowed(samples: &[f32], window: &[f32], re: &mut [f32], im: &mut [f32]) {
    let (samples, window) = (samples.as_chunks::<2>().0, window.as_chunks::<2>().0);
    for (((re, im), x), w) in re.iter_mut().zip(im).zip(samples).zip(window) {
        (*re, *im) = (x[0] * w[0], x[1] * w[1]);
    }
}

/// Writes the power of every bin, multiplied by `scale`. The value at half the sample rate, packed into bin 0, is left
/// out.
#[inline(always)]
pub fn powers<const HALF: usize>([re, im]: &SplitComplex<HALF>, scale: f32, to: &mut [f32]) {
    for ((power, re), im) in to.iter_mut().zip(re).zip(im) {
        *power = scale * (re * re + im * im);
    }
    if let Some(first) = to.first_mut() {
        *first = scale * (re[0] * re[0]);
    }
}

/// Twiddle factors of the first quarter of a circle, real and imaginary parts.
type Twiddles = [[f32; MAX_LENGTH / 8]; 2];
/// Twiddle factors of the first quarter of a circle with twice as many points.
type RealTwiddles = [[f32; MAX_LENGTH / 4]; 2];

/// Twiddle factors of one frame length. All tables have the size of the longest, so that indices are checked against
/// constants.
#[derive(Debug)]
struct Tables {
    /// `exp(-j TAU p / half)` for the first quarter.
    twiddles: Twiddles,
    /// `exp(-j TAU k / (2 half))` for the first half.
    real_twiddles: RealTwiddles,
}

impl Tables {
    const fn new(length: usize) -> Self {
        Self { twiddles: quarter_circle(length / 2), real_twiddles: quarter_circle(length) }
    }
}

static LENGTH_128: Tables = Tables::new(128);
static LENGTH_256: Tables = Tables::new(256);
static LENGTH_512: Tables = Tables::new(512);
static LENGTH_1024: Tables = Tables::new(1_024);
static LENGTH_2048: Tables = Tables::new(2_048);
static LENGTH_4096: Tables = Tables::new(4_096);

/// `exp(-j TAU k / circle)` for the first quarter of the circle.
const fn quarter_circle<const N: usize>(circle: usize) -> [[f32; N]; 2] {
    let mut table = [[0.0; N]; 2];
    let mut k = 0;
    while 4 * k < circle {
        let [cos, sin] = unit_circle::point(k, circle);
        (table[0][k], table[1][k]) = (cos as f32, -sin as f32);
        k += 1;
    }
    table
}

/// Complex FFT in place.
fn complex<const HALF: usize>(
    half: usize,
    twiddles: &Twiddles,
    [re, im]: [&mut [f32; HALF]; 2],
    scratch: &mut SplitComplex<HALF>,
) {
    let [scratch_re, scratch_im] = scratch;
    let (mut x, mut y) = ((&mut re[..half], &mut im[..half]), (&mut scratch_re[..half], &mut scratch_im[..half]));
    let (mut n, mut s, mut swapped) = (half, 1, false);
    while n >= 4 {
        let (from, to) = ((&*x.0, &*x.1), (&mut *y.0, &mut *y.1));
        match (s, n) {
            (1, _) => first_pass(n, twiddles, from, to),
            (4, _) => second_pass(n, twiddles, from, to),
            (_, 4) => last_pass(s, from, to),
            _ => pass(n, s, twiddles, from, to),
        }
        core::mem::swap(&mut x, &mut y);
        (n, s, swapped) = (n / 4, s * 4, !swapped);
    }
    if n == 2 {
        for (from, to) in [(&*x.0, &mut *y.0), (&*x.1, &mut *y.1)] {
            let ((a, b), (sum, difference)) = (from.split_at(s), to.split_at_mut(s));
            for (((sum, difference), a), b) in sum.iter_mut().zip(difference).zip(a).zip(b) {
                (*sum, *difference) = (a + b, a - b);
            }
        }
        core::mem::swap(&mut x, &mut y);
        swapped = !swapped;
    }
    if swapped {
        // The result is in the scratch buffer.
        y.0.copy_from_slice(x.0);
        y.1.copy_from_slice(x.1);
    }
}

/// Conversion between a complex spectrum and a real one: updates every pair of bins `k` and `half - k`, four at a time.
#[inline(always)]
fn each_pair(
    real_twiddles: &RealTwiddles,
    re: &mut [f32],
    im: &mut [f32],
    half: usize,
    step: impl Fn(Complex4, Complex4, Complex4) -> (Complex4, Complex4),
) {
    // From bin 1 upwards and from the last bin downwards; the middle bin stays.
    let pairs = half / 2 - 1;
    let (low_re, high_re) = re[1..half].split_at_mut(pairs);
    let (low_im, high_im) = im[1..half].split_at_mut(pairs);
    let (high_re, high_im) = (&mut high_re[1..], &mut high_im[1..]);
    let (twiddle_re, twiddle_im) = (&real_twiddles[0][1..=pairs], &real_twiddles[1][1..=pairs]);
    let (low_re, rest_low_re) = low_re.as_chunks_mut::<4>();
    let (low_im, rest_low_im) = low_im.as_chunks_mut::<4>();
    let (rest_high_re, high_re) = high_re.as_rchunks_mut::<4>();
    let (rest_high_im, high_im) = high_im.as_rchunks_mut::<4>();
    let (twiddle_re, rest_twiddle_re) = twiddle_re.as_chunks::<4>();
    let (twiddle_im, rest_twiddle_im) = twiddle_im.as_chunks::<4>();
    let turned = |[a, b, c, d]: [f32; 4]| [d, c, b, a];
    let low = low_re.iter_mut().zip(low_im);
    let high = high_re.iter_mut().rev().zip(high_im.iter_mut().rev());
    for (((low_re, low_im), (high_re, high_im)), (twiddle_re, twiddle_im)) in
        low.zip(high).zip(twiddle_re.iter().zip(twiddle_im))
    {
        let low = Complex4 { re: f32x4::from(*low_re), im: f32x4::from(*low_im) };
        let high = Complex4 { re: f32x4::from(turned(*high_re)), im: f32x4::from(turned(*high_im)) };
        let (low, high) = step(low, high, Complex4 { re: f32x4::from(*twiddle_re), im: f32x4::from(*twiddle_im) });
        (*low_re, *low_im) = (low.re.to_array(), low.im.to_array());
        (*high_re, *high_im) = (turned(high.re.to_array()), turned(high.im.to_array()));
    }
    // Three pairs remain.
    let rest = |part: &[f32]| f32x4::from([part[0], part[1], part[2], 0.0]);
    let rest_turned = |part: &[f32]| f32x4::from([part[2], part[1], part[0], 0.0]);
    let low = Complex4 { re: rest(rest_low_re), im: rest(rest_low_im) };
    let high = Complex4 { re: rest_turned(rest_high_re), im: rest_turned(rest_high_im) };
    let (low, high) = step(low, high, Complex4 { re: rest(rest_twiddle_re), im: rest(rest_twiddle_im) });
    rest_low_re.copy_from_slice(&low.re.to_array()[..3]);
    rest_low_im.copy_from_slice(&low.im.to_array()[..3]);
    rest_high_re.copy_from_slice(&turned(high.re.to_array())[1..]);
    rest_high_im.copy_from_slice(&turned(high.im.to_array())[1..]);
}

/// Radix-4 butterfly followed by the twiddle factors `w`, `w^2`, `w^3`.
#[inline(always)]
fn butterfly([a, b, c, d]: [Complex4; 4], [w1, w2, w3]: [Complex4; 3]) -> [Complex4; 4] {
    let (sum, difference) = (a.plus(c), a.minus(c));
    let (other, turned) = (b.plus(d), b.minus(d).times_j());
    [sum.plus(other), difference.minus(turned).times(w1), sum.minus(other).times(w2), difference.plus(turned).times(w3)]
}

type Parts<'a> = (&'a [f32], &'a [f32]);
type PartsMut<'a> = (&'a mut [f32], &'a mut [f32]);

/// First pass: four neighbouring butterflies at a time.
fn first_pass(n: usize, twiddles: &Twiddles, x: Parts<'_>, y: PartsMut<'_>) {
    let m = n / 16;
    let ((re, _), (im, _)) = (x.0.as_chunks::<4>(), x.1.as_chunks::<4>());
    let ((to_re, _), (to_im, _)) = (y.0.as_chunks_mut::<16>(), y.1.as_chunks_mut::<16>());
    let ((twiddle_re, _), (twiddle_im, _)) = (twiddles[0].as_chunks::<4>(), twiddles[1].as_chunks::<4>());
    for (p, (to_re, to_im)) in to_re.iter_mut().zip(to_im).enumerate().take(m) {
        let quarters = [0, m, 2 * m, 3 * m].map(|at| Complex4::load(re, im, at + p));
        let w1 = Complex4::load(twiddle_re, twiddle_im, p);
        let w2 = w1.times(w1);
        let out = butterfly(quarters, [w1, w2, w2.times(w1)]);
        let (out_re, out_im) = (f32x4::transpose(out.map(|v| v.re)), f32x4::transpose(out.map(|v| v.im)));
        for lane in 0..4 {
            to_re[4 * lane..4 * lane + 4].copy_from_slice(&out_re[lane].to_array());
            to_im[4 * lane..4 * lane + 4].copy_from_slice(&out_im[lane].to_array());
        }
    }
}

/// Second pass: four neighbouring values form one vector.
fn second_pass(n: usize, twiddles: &Twiddles, x: Parts<'_>, y: PartsMut<'_>) {
    let m = n / 4;
    let (re, im) = (quarters(x.0, m), quarters(x.1, m));
    let (to_re, to_im) = (y.0.as_chunks_mut::<16>().0, y.1.as_chunks_mut::<16>().0);
    let (twiddle_re, twiddle_im) = (twiddles[0].as_chunks::<4>().0, twiddles[1].as_chunks::<4>().0);
    let to = to_re[..m].iter_mut().zip(&mut to_im[..m]);
    for (p, ((to_re, to_im), (twiddle_re, twiddle_im))) in
        to.zip(twiddle_re[..m].iter().zip(&twiddle_im[..m])).enumerate()
    {
        let w1 = Complex4 { re: f32x4::splat(twiddle_re[0]), im: f32x4::splat(twiddle_im[0]) };
        let w2 = w1.times(w1);
        let from = core::array::from_fn(|k| Complex4::load(re[k], im[k], p));
        let out = butterfly(from, [w1, w2, w2.times(w1)]);
        for (k, v) in out.into_iter().enumerate() {
            to_re[4 * k..4 * k + 4].copy_from_slice(&v.re.to_array());
            to_im[4 * k..4 * k + 4].copy_from_slice(&v.im.to_array());
        }
    }
}

/// Last pass for a power of four: all twiddle factors are 1.
fn last_pass(s: usize, x: Parts<'_>, y: PartsMut<'_>) {
    let count = s / 4;
    let (re, im) = (quarters(x.0, count), quarters(x.1, count));
    let ([r0, r1, r2, r3], [i0, i1, i2, i3]) = (quarters_mut(y.0, count), quarters_mut(y.1, count));
    for q in 0..count {
        let [a, b, c, d] = core::array::from_fn(|k| Complex4::load(re[k], im[k], q));
        let (sum, difference) = (a.plus(c), a.minus(c));
        let (other, turned) = (b.plus(d), b.minus(d).times_j());
        let [a, b, c, d] = [sum.plus(other), difference.minus(turned), sum.minus(other), difference.plus(turned)];
        (r0[q], i0[q]) = (a.re.to_array(), a.im.to_array());
        (r1[q], i1[q]) = (b.re.to_array(), b.im.to_array());
        (r2[q], i2[q]) = (c.re.to_array(), c.im.to_array());
        (r3[q], i3[q]) = (d.re.to_array(), d.im.to_array());
    }
}

/// Splits into four successive parts of `count` vectors each.
#[inline(always)]
fn quarters(x: &[f32], count: usize) -> [&[[f32; 4]]; 4] {
    let x = x.as_chunks::<4>().0;
    core::array::from_fn(|k| &x[k * count..][..count])
}

#[inline(always)]
fn quarters_mut(x: &mut [f32], count: usize) -> [&mut [[f32; 4]]; 4] {
    let (a, rest) = x.as_chunks_mut::<4>().0.split_at_mut(count);
    let (b, rest) = rest.split_at_mut(count);
    let (c, d) = rest.split_at_mut(count);
    [a, b, c, &mut d[..count]]
}

/// Later pass: the same butterfly on `s` neighbouring values, four at a time.
fn pass(n: usize, s: usize, twiddles: &Twiddles, x: Parts<'_>, y: PartsMut<'_>) {
    let m = n / 4;
    let (to_re, to_im) = (y.0.chunks_exact_mut(4 * s), y.1.chunks_exact_mut(4 * s));
    for (p, (to_re, to_im)) in to_re.zip(to_im).enumerate().take(m) {
        let turn = |k: usize| Complex4 { re: f32x4::splat(twiddles[0][k]), im: f32x4::splat(twiddles[1][k]) };
        let w1 = turn(p * s);
        let w2 = w1.times(w1);
        let w = [w1, w2, w2.times(w1)];
        let from = |part: &'_ [f32], quarter: usize| s * (p + quarter * m)..(s * (p + quarter * m) + s).min(part.len());
        let re: [&[[f32; 4]]; 4] = core::array::from_fn(|q| x.0[from(x.0, q)].as_chunks::<4>().0);
        let im: [&[[f32; 4]]; 4] = core::array::from_fn(|q| x.1[from(x.1, q)].as_chunks::<4>().0);
        let (to_re, to_im) = (to_re.as_chunks_mut::<4>().0, to_im.as_chunks_mut::<4>().0);
        let count = s / 4;
        let (r0, rest) = to_re.split_at_mut(count);
        let (r1, rest) = rest.split_at_mut(count);
        let (r2, r3) = rest.split_at_mut(count);
        let (i0, rest) = to_im.split_at_mut(count);
        let (i1, rest) = rest.split_at_mut(count);
        let (i2, i3) = rest.split_at_mut(count);
        let (re, im) = (re.map(|x| &x[..count]), im.map(|x| &x[..count]));
        let (r3, i3) = (&mut r3[..count], &mut i3[..count]);
        for q in 0..count {
            let quarters = core::array::from_fn(|k| Complex4::load(re[k], im[k], q));
            let [a, b, c, d] = butterfly(quarters, w);
            (r0[q], i0[q]) = (a.re.to_array(), a.im.to_array());
            (r1[q], i1[q]) = (b.re.to_array(), b.im.to_array());
            (r2[q], i2[q]) = (c.re.to_array(), c.im.to_array());
            (r3[q], i3[q]) = (d.re.to_array(), d.im.to_array());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use core::f64::consts::TAU;
    extern crate std;
    use std::boxed::Box;
    use std::vec::Vec;

    #[test]
    fn twiddle_tables_match_sincos_bit_for_bit() {
        for length in [128, 256, 512, 1_024, 2_048, 4_096] {
            let tables = RealFft::<2_048>::new(length).tables();
            for (table, circle) in
                [(tables.twiddles.map(|t| t.to_vec()), length / 2), (tables.real_twiddles.map(|t| t.to_vec()), length)]
            {
                for (k, (re, im)) in table[0].iter().zip(&table[1]).enumerate().take(circle / 4) {
                    let (sin, cos) = libm::sincos(TAU * k as f64 / circle as f64);
                    assert_eq!((re.to_bits(), im.to_bits()), ((cos as f32).to_bits(), (-sin as f32).to_bits()));
                }
            }
        }
    }

    #[test]
    fn unsupported_lengths_are_rounded_up_and_limited() {
        for (requested, length) in [(0, 128), (129, 256), (1_000, 1_024), (1_024, 1_024), (5_000, 1_024)] {
            assert_eq!(RealFft::<512>::new(requested).length(), length);
        }
    }

    #[test]
    fn fft_matches_the_direct_sum() {
        const HALF: usize = MAX_LENGTH / 2;
        let mut scratch = Box::new([[0.0f32; HALF]; 2]);
        for length in [128usize, 256, 512, 1_024, 2_048, 4_096] {
            let fft = RealFft::<HALF>::new(length);
            let half = length / 2;
            let frame: Vec<f64> = (0..length).map(|n| libm::sin(n as f64 * n as f64 * 0.37) + 0.2).collect();
            let mut z = Box::new([[0.0f32; HALF]; 2]);
            for n in 0..half {
                (z[0][n], z[1][n]) = (frame[2 * n] as f32, frame[2 * n + 1] as f32);
            }
            fft.forward(&mut z, &mut scratch);
            let bin = |k: usize| {
                frame.iter().enumerate().fold((0.0, 0.0), |(re, im), (n, x)| {
                    let (sin, cos) = libm::sincos(TAU * ((n * k) % length) as f64 / length as f64);
                    (re + x * cos, im - x * sin)
                })
            };
            let loudest = libm::sqrt(length as f64);
            for k in (1..half).step_by(7).chain([half / 2, half - 1]) {
                let (re, im) = bin(k);
                assert!((f64::from(z[0][k]) - re).abs() < 2e-6 * loudest * 8.0, "{length}, {k}: {} {re}", z[0][k]);
                assert!((f64::from(z[1][k]) - im).abs() < 2e-6 * loudest * 8.0, "{length}, {k}: {} {im}", z[1][k]);
            }
            assert!((f64::from(z[0][0]) - bin(0).0).abs() < 1e-4 * loudest);
            assert!((f64::from(z[1][0]) - bin(half).0).abs() < 1e-4 * loudest);
            fft.inverse(&mut z, &mut scratch);
            let scale = 1.0 / half as f64;
            for n in 0..half {
                let (even, odd) = (scale * f64::from(z[0][n]), scale * f64::from(z[1][n]));
                assert!((even - frame[2 * n]).abs() < 1e-6 && (odd - frame[2 * n + 1]).abs() < 1e-6, "{length}, {n}");
            }
        }
    }
}
