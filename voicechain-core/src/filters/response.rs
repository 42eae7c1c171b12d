//! The complex response of a filter at one frequency, read from its coefficients.

use crate::dsp::Complex;

/// A complex gain.
pub type Response = Complex<f64>;

impl Response {
    /// Gain 1, phase 0.
    pub const ONE: Self = Self { re: 1.0, im: 0.0 };

    /// Two filters one behind the other: the product.
    #[must_use]
    pub fn in_series(self, next: Self) -> Self {
        self.times(next)
    }

    /// Magnitude in dB; minus infinity where the filter passes nothing.
    #[must_use]
    pub fn db(self) -> f64 {
        crate::math::power_to_db(self.power())
    }

    /// Phase in radians, from -pi to pi.
    #[must_use]
    pub fn phase(self) -> f64 {
        libm::atan2(self.im, self.re)
    }

    /// The quotient of two complex numbers.
    pub(crate) fn divided_by(self, divisor: Self) -> Self {
        let norm = divisor.power();
        Self {
            re: (self.re * divisor.re + self.im * divisor.im) / norm,
            im: (self.im * divisor.re - self.re * divisor.im) / norm,
        }
    }
}
