//! Second-order filter for voices and noise.

use super::level::from_db;
use std::f64::consts::TAU;

/// Second-order section in transposed direct form II (formulas of the Audio EQ Cookbook, W3C Group Note 2021).
#[derive(Clone, Copy)]
pub(super) struct Biquad {
    b: [f64; 3],
    a: [f64; 2],
    s: [f64; 2],
}

impl Biquad {
    fn new(b: [f64; 3], a: [f64; 3]) -> Self {
        Self { b: b.map(|b| b / a[0]), a: [a[1] / a[0], a[2] / a[0]], s: [0.0; 2] }
    }

    fn angle(hz: f64, q: f64, rate: u32) -> (f64, f64) {
        let w = TAU * hz / f64::from(rate);
        (w.cos(), w.sin() / (2.0 * q))
    }

    pub(super) fn band_pass(hz: f64, q: f64, rate: u32) -> Self {
        let (cos, alpha) = Self::angle(hz, q, rate);
        Self::new([alpha, 0.0, -alpha], [1.0 + alpha, -2.0 * cos, 1.0 - alpha])
    }

    pub(super) fn low_pass(hz: f64, q: f64, rate: u32) -> Self {
        let (cos, alpha) = Self::angle(hz, q, rate);
        Self::new([0.5 - 0.5 * cos, 1.0 - cos, 0.5 - 0.5 * cos], [1.0 + alpha, -2.0 * cos, 1.0 - alpha])
    }

    pub(super) fn bell(hz: f64, gain_db: f64, q: f64, rate: u32) -> Self {
        let (cos, alpha) = Self::angle(hz, q, rate);
        let a = from_db(gain_db / 2.0);
        Self::new([1.0 + alpha * a, -2.0 * cos, 1.0 - alpha * a], [1.0 + alpha / a, -2.0 * cos, 1.0 - alpha / a])
    }

    pub(super) fn high_shelf(hz: f64, gain_db: f64, rate: u32) -> Self {
        let (cos, alpha) = Self::angle(hz, std::f64::consts::FRAC_1_SQRT_2, rate);
        let a = from_db(gain_db / 2.0);
        let root = 2.0 * a.sqrt() * alpha;
        let (up, down) = (a + 1.0, a - 1.0);
        Self::new(
            [a * (up + down * cos + root), -2.0 * a * (down + up * cos), a * (up + down * cos - root)],
            [up - down * cos + root, 2.0 * (down - up * cos), up - down * cos - root],
        )
    }

    pub(super) fn next(&mut self, x: f64) -> f64 {
        let y = self.b[0] * x + self.s[0];
        self.s[0] = self.b[1] * x - self.a[0] * y + self.s[1] + 1e-30;
        self.s[1] = self.b[2] * x - self.a[1] * y;
        y
    }

    pub(super) fn run(mut self, samples: &mut [f32]) {
        samples.iter_mut().for_each(|s| *s = self.next(f64::from(*s)) as f32);
    }
}
