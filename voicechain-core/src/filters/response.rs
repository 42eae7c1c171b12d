//! The complex response of a filter at one frequency, read from its coefficients.

/// A complex gain.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Response {
    /// Real part.
    pub re: f64,
    /// Imaginary part.
    pub im: f64,
}

impl Response {
    /// Gain 1, phase 0.
    pub const ONE: Self = Self { re: 1.0, im: 0.0 };

    /// Two filters one behind the other: the product.
    #[must_use]
    pub fn then(self, next: Self) -> Self {
        Self { re: self.re * next.re - self.im * next.im, im: self.re * next.im + self.im * next.re }
    }

    /// `gain` times the response.
    #[must_use]
    pub fn scaled(self, gain: f64) -> Self {
        Self { re: self.re * gain, im: self.im * gain }
    }

    /// Squared magnitude.
    #[must_use]
    pub fn power(self) -> f64 {
        self.re * self.re + self.im * self.im
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

    /// The difference of two complex numbers.
    pub(crate) fn minus(self, other: Self) -> Self {
        Self { re: self.re - other.re, im: self.im - other.im }
    }

    /// The quotient of two complex numbers.
    pub(crate) fn over(self, divisor: Self) -> Self {
        let norm = divisor.power();
        Self {
            re: (self.re * divisor.re + self.im * divisor.im) / norm,
            im: (self.im * divisor.re - self.re * divisor.im) / norm,
        }
    }
}
