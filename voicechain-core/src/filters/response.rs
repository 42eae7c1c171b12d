//! Complex response of a filter at one frequency.

use crate::dsp::Complex;

/// Complex gain.
pub type Response = Complex<f64>;

impl Response {
    /// Gain 1, phase 0.
    pub const ONE: Self = Self { re: 1.0, im: 0.0 };

    /// Response of two filters in series: the product.
    #[must_use]
    pub fn in_series(self, next: Self) -> Self {
        self.times(next)
    }

    /// Magnitude in dB; minus infinity for a gain of 0.
    #[must_use]
    pub fn db(self) -> f64 {
        crate::math::power_to_db(self.power())
    }

    /// Phase in radians, from -pi to pi.
    #[must_use]
    pub fn phase(self) -> f64 {
        libm::atan2(self.im, self.re)
    }

    /// Quotient of two complex numbers.
    pub(crate) fn divided_by(self, divisor: Self) -> Self {
        let norm = divisor.power();
        Self {
            re: (self.re * divisor.re + self.im * divisor.im) / norm,
            im: (self.im * divisor.re - self.re * divisor.im) / norm,
        }
    }
}
