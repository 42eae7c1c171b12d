//! Complex numbers of any real type, scalar or four-wide.

use crate::blank::{Blank, blank};
use core::ops::{Add, Mul, Neg, Sub};
use wide::f32x4;

/// Complex number.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Complex<T> {
    /// Real part.
    pub re: T,
    /// Imaginary part.
    pub im: T,
}

blank! { [T: Blank] Complex<T> { re, im } }

/// Four complex numbers in one vector.
pub type Complex4 = Complex<f32x4>;

impl<T> Complex<T>
where
    T: Copy + Add<Output = T> + Sub<Output = T> + Mul<Output = T>,
{
    /// Sum.
    #[inline(always)]
    #[must_use]
    pub fn plus(self, o: Self) -> Self {
        Self { re: self.re + o.re, im: self.im + o.im }
    }

    /// Difference.
    #[inline(always)]
    #[must_use]
    pub fn minus(self, o: Self) -> Self {
        Self { re: self.re - o.re, im: self.im - o.im }
    }

    /// Product.
    #[inline(always)]
    #[must_use]
    pub fn times(self, o: Self) -> Self {
        Self { re: self.re * o.re - self.im * o.im, im: self.re * o.im + self.im * o.re }
    }

    /// Real part of the product.
    #[inline(always)]
    #[must_use]
    pub fn real_of_product(self, o: Self) -> T {
        self.re * o.re - self.im * o.im
    }

    /// Product with a real number.
    #[inline(always)]
    #[must_use]
    pub fn scaled(self, by: T) -> Self {
        Self { re: self.re * by, im: self.im * by }
    }

    /// Squared magnitude.
    #[inline(always)]
    #[must_use]
    pub fn power(self) -> T {
        self.re * self.re + self.im * self.im
    }
}

impl<T: Copy + Neg<Output = T>> Complex<T> {
    /// Complex conjugate.
    #[inline(always)]
    #[must_use]
    pub fn conjugate(self) -> Self {
        Self { re: self.re, im: -self.im }
    }

    /// Product with `j`.
    #[inline(always)]
    #[must_use]
    pub fn times_j(self) -> Self {
        Self { re: -self.im, im: self.re }
    }
}

impl Complex<f32> {
    /// Unit phasor at a phase in turns: `exp(j TAU turns)`.
    #[must_use]
    pub fn unit_phasor(turns: f64) -> Self {
        let (sin, cos) = libm::sincos(core::f64::consts::TAU * turns);
        Self { re: cos as f32, im: sin as f32 }
    }

    /// Magnitude.
    #[must_use]
    pub fn magnitude(self) -> f32 {
        libm::sqrtf(self.power())
    }
}

impl Complex4 {
    /// Zero in every lane.
    pub const ZERO: Self = Self { re: f32x4::ZERO, im: f32x4::ZERO };

    /// Loads four neighbouring values from separate arrays of real and imaginary parts.
    #[inline(always)]
    #[must_use]
    pub fn load(re: &[[f32; 4]], im: &[[f32; 4]], at: usize) -> Self {
        Self { re: f32x4::from(re[at]), im: f32x4::from(im[at]) }
    }

    /// Sets the first lane to zero.
    #[inline(always)]
    #[must_use]
    pub fn zero_first_lane(self) -> Self {
        let last = f32x4::from([0.0, 1.0, 1.0, 1.0]);
        Self { re: self.re * last, im: self.im * last }
    }
}

impl From<[Complex<f32>; 4]> for Complex4 {
    #[inline(always)]
    fn from(four: [Complex<f32>; 4]) -> Self {
        Self { re: f32x4::from(four.map(|z| z.re)), im: f32x4::from(four.map(|z| z.im)) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn four_wide_arithmetic_matches_scalar_arithmetic() {
        let one = |k: usize| Complex { re: k as f32 - 1.5, im: 0.25 * k as f32 + 1.0 };
        let [a, b] = [0, 4].map(|from| [0, 1, 2, 3].map(|k| one(from + k)));
        let product = Complex4::from(a).times(Complex4::from(b).conjugate());
        for k in 0..4 {
            // (a + jb)(c - jd) = ac + bd + j(bc - ad)
            let (re, im) = (a[k].re * b[k].re + a[k].im * b[k].im, a[k].im * b[k].re - a[k].re * b[k].im);
            assert_eq!((product.re.to_array()[k], product.im.to_array()[k]), (re, im));
        }
        assert_eq!(Complex { re: 3.0, im: 4.0 }.power(), 25.0);
        let quarter = Complex::unit_phasor(0.25);
        assert!((quarter.im - 1.0).abs() < 1e-7 && quarter.re.abs() < 1e-7);
        assert_eq!(Complex { re: 1.0, im: 2.0 }.times_j(), Complex { re: -2.0, im: 1.0 });
    }
}
