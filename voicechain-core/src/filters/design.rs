//! Filter design: from Hz, dB and Q to the coefficients of a [`Section`].
//!
//! A frequency above [`MAX_FREQUENCY_OF_RATE`] of the sample rate or a gain of 0 dB returns [`Section::IDENTITY`]: the
//! band is bypassed. Arguments must lie in the ranges of the table of settings; the stages check them.

use super::section::Section;
use crate::math::from_db;
use crate::units::SampleRate;
use core::f64::consts::{FRAC_1_SQRT_2, PI};

/// Highest usable frequency as a share of the sample rate. A band above it is bypassed.
pub const MAX_FREQUENCY_OF_RATE: f64 = 0.45;

/// Gains closer to 0 dB than this count as 0 dB.
const SMALLEST_GAIN_DB: f64 = 1e-6;

/// True when a band at `frequency_hz` is usable at this rate.
#[must_use]
pub fn fits(frequency_hz: f64, rate: SampleRate) -> bool {
    frequency_hz <= MAX_FREQUENCY_OF_RATE * rate.hz()
}

/// Bilinear transform of `(B2 s^2 + B1 s + B0) / (s^2 + A1 s + A0)` with `s` in units of the prewarped frequency.
/// Accepts any rate in Hz, because measuring also filters decimated signals, which may be slower than a [`SampleRate`].
fn bilinear(numerator: [f64; 3], denominator: [f64; 3], frequency_hz: f64, rate_hz: f64) -> Section {
    let g = libm::tan(PI * frequency_hz / rate_hz);
    let expand = |[c0, c1, c2]: [f64; 3]| {
        let (c0, c1) = (c0 * g * g, c1 * g);
        [c2 + c1 + c0, 2.0 * (c0 - c2), c2 - c1 + c0]
    };
    let [b0, b1, b2] = expand(numerator);
    let [a0, a1, a2] = expand(denominator);
    Section { b0: b0 / a0, b1: b1 / a0, b2: b2 / a0, a1: a1 / a0, a2: a2 / a0 }
}

/// Highest order of [`butterworth_high_pass`].
pub const MAX_BUTTERWORTH_ORDER: u32 = 8;

/// Butterworth high-pass of order 1 to 8 (6 to 48 dB/octave) as up to four sections; unused sections are identity. An
/// order outside this range counts as the nearest within it. Bilinear transform prewarped at `frequency_hz`, where the
/// gain is -3.01 dB for every order.
///
/// Section Q is `1 / (2 cos theta_k)` with the angles of the Butterworth circle; an odd order has one real pole. Tested
/// by `high_pass_matches_the_closed_form` and `high_pass_is_3_db_down_at_the_corner`.
#[must_use]
pub fn butterworth_high_pass(order: u32, frequency_hz: f64, rate: SampleRate) -> [Section; 4] {
    let mut sections = [Section::IDENTITY; 4];
    if !fits(frequency_hz, rate) {
        return sections;
    }
    let order = order.clamp(1, MAX_BUTTERWORTH_ORDER);
    let pairs = (order / 2) as usize;
    for (k, section) in sections.iter_mut().enumerate().take(pairs) {
        let inverse_q = butterworth_inverse_q(order, k);
        *section = bilinear([0.0, 0.0, 1.0], [1.0, inverse_q, 1.0], frequency_hz, rate.hz());
    }
    if order % 2 == 1 {
        sections[pairs] = first_order_high_pass(frequency_hz, rate);
    }
    sections
}

/// Butterworth low-pass of order `2 N` as `N` sections, -3.01 dB at `frequency_hz`, for any rate in Hz. Bilinear
/// transform.
pub(crate) fn butterworth_low_pass_at<const N: usize>(frequency_hz: f64, rate_hz: f64) -> [Section; N] {
    core::array::from_fn(|k| {
        let inverse_q = butterworth_inverse_q(2 * N as u32, k);
        bilinear([1.0, 0.0, 0.0], [1.0, inverse_q, 1.0], frequency_hz, rate_hz)
    })
}

/// `1/Q` of pole pair `k` of a Butterworth filter: `2 cos theta_k`.
fn butterworth_inverse_q(order: u32, k: usize) -> f64 {
    let n = f64::from(order);
    let theta = PI * (2.0 * k as f64 + f64::from(order % 2) + 1.0) / (2.0 * n);
    2.0 * libm::cos(theta)
}

/// First-order high-pass, -3.01 dB at `frequency_hz`.
#[must_use]
pub fn first_order_high_pass(frequency_hz: f64, rate: SampleRate) -> Section {
    let g = libm::tan(PI * frequency_hz / rate.hz());
    let b0 = 1.0 / (1.0 + g);
    Section { b0, b1: -b0, b2: 0.0, a1: (g - 1.0) / (g + 1.0), a2: 0.0 }
}

/// Second-order low-pass with this Q (`1/sqrt 2` is Butterworth, -3.01 dB at `frequency_hz`). Bilinear transform.
#[must_use]
pub fn low_pass(frequency_hz: f64, q: f64, rate: SampleRate) -> Section {
    if !fits(frequency_hz, rate) {
        return Section::IDENTITY;
    }
    bilinear([1.0, 0.0, 0.0], [1.0, 1.0 / q, 1.0], frequency_hz, rate.hz())
}

/// Second-order high-pass with this Q. Bilinear transform.
#[must_use]
pub fn high_pass(frequency_hz: f64, q: f64, rate: SampleRate) -> Section {
    if !fits(frequency_hz, rate) {
        return Section::IDENTITY;
    }
    high_pass_at(frequency_hz, q, rate.hz())
}

/// The same for any rate in Hz; `frequency_hz` must be below half of it.
pub(crate) fn high_pass_at(frequency_hz: f64, q: f64, rate_hz: f64) -> Section {
    bilinear([0.0, 0.0, 1.0], [1.0, 1.0 / q, 1.0], frequency_hz, rate_hz)
}

/// Band-pass with gain 1 at `frequency_hz`, -3.01 dB at the band edges set by Q, and slopes of 6 dB/octave far away.
/// Bilinear transform. Tested by `band_audition_is_3_db_down_at_its_band_edges`.
#[must_use]
pub fn band_pass(frequency_hz: f64, q: f64, rate: SampleRate) -> Section {
    if !fits(frequency_hz, rate) {
        return Section::IDENTITY;
    }
    band_pass_at(frequency_hz, q, rate.hz())
}

/// The same for any rate in Hz; `frequency_hz` must be below half of it.
pub(crate) fn band_pass_at(frequency_hz: f64, q: f64, rate_hz: f64) -> Section {
    bilinear([0.0, 1.0 / q, 0.0], [1.0, 1.0 / q, 1.0], frequency_hz, rate_hz)
}

/// Notch with gain 0 at `frequency_hz` and -3.01 dB at the band edges set by Q. Bilinear transform.
#[must_use]
pub fn notch(frequency_hz: f64, q: f64, rate: SampleRate) -> Section {
    if !fits(frequency_hz, rate) {
        return Section::IDENTITY;
    }
    bilinear([1.0, 0.0, 1.0], [1.0, 1.0 / q, 1.0], frequency_hz, rate.hz())
}

/// Bell matched to the analog prototype `(s^2 + (A/Q) s + 1) / (s^2 + s/(A Q) + 1)`, `A = 10^(gain/40)`.
///
/// The poles come from impulse invariance. The zeros match the magnitude at 0 Hz and, with zero slope, at
/// `frequency_hz`; the magnitude stays close up to the top of the band. A cut is the inverse of the boost. Source: M.
/// Vicanek, "Matched Second Order Digital Filters", 2016, sections 3 and 4.
///
/// Error against the prototype at 44.1 kHz for f0 <= 12 kHz, |gain| <= 6 dB, Q >= 0.7: at most 0.4 dB to 16 kHz and 0.6
/// dB to 20 kHz. Tested by `bells_match_the_analog_prototype`.
#[must_use]
pub fn bell(frequency_hz: f64, gain_db: f64, q: f64, rate: SampleRate) -> Section {
    if !fits(frequency_hz, rate) || gain_db.abs() < SMALLEST_GAIN_DB {
        return Section::IDENTITY;
    }
    let boost = matched_bell_boost(frequency_hz, gain_db.abs(), q, rate);
    if gain_db > 0.0 { boost } else { inverse(&boost) }
}

/// Bell with a positive gain.
///
/// The source's conditions on the numerator are `N(0) = P(0)`, `N(phi1) = G^2 P(phi1)` and the same for the slope. `P`
/// is the squared magnitude of the denominator over `phi = sin^2(omega/2)`. The conditions are solved for the quadratic
/// `N(phi) = G^2 P(phi) - (G^2 - 1) P(0) (1 - phi/phi1)^2`, which avoids cancellation at low frequencies and high
/// rates.
fn matched_bell_boost(frequency_hz: f64, gain_db: f64, q: f64, rate: SampleRate) -> Section {
    let omega = 2.0 * PI * frequency_hz / rate.hz();
    let zeta = 0.5 / (from_db(0.5 * gain_db) * q);
    let decay = libm::exp(-zeta * omega);
    let turn = libm::sqrt((1.0 - zeta * zeta).abs()) * omega;
    let (swing, half_swing) = if zeta <= 1.0 {
        (libm::cos(turn), libm::pow(libm::sin(0.5 * turn), 2.0))
    } else {
        (libm::cosh(turn), -libm::pow(libm::sinh(0.5 * turn), 2.0))
    };
    let (a1, a2) = (-2.0 * decay * swing, decay * decay);
    // 1 + a1 + a2, without cancellation.
    let at_dc = libm::pow(libm::expm1(-zeta * omega), 2.0) + 4.0 * decay * half_swing;
    let at_nyquist = 1.0 - a1 + a2;
    let power = from_db(2.0 * gain_db);
    let phi1 = libm::pow(libm::sin(0.5 * omega), 2.0);
    let lift = (power - 1.0) * libm::pow(at_dc / phi1, 2.0);
    let n0 = at_dc * at_dc;
    let n1 = power * at_nyquist * at_nyquist - lift * libm::pow(1.0 - phi1, 2.0);
    let n2 = 0.25 * lift - power * 4.0 * a2;
    let [b0, b1, b2] = minimum_phase(n0, n1, n2);
    Section { b0, b1, b2, a1, a2 }
}

/// Minimum-phase polynomial with squared magnitude `n0 phi0 + n1 phi1 + n2 4 phi0 phi1`, where `phi1 = sin^2(omega/2)`
/// and `phi0 = 1 - phi1`.
fn minimum_phase(n0: f64, n1: f64, n2: f64) -> [f64; 3] {
    let (at_dc, at_nyquist) = (libm::sqrt(n0.max(0.0)), libm::sqrt(n1.max(0.0)));
    let half = 0.5 * (at_dc + at_nyquist);
    let c0 = 0.5 * (half + libm::sqrt((half * half + n2).max(0.0)));
    [c0, 0.5 * (at_dc - at_nyquist), -0.25 * n2 / c0]
}

/// Section with the reciprocal response: numerator and denominator swapped.
fn inverse(section: &Section) -> Section {
    let Section { b0, b1, b2, a1, a2 } = *section;
    Section { b0: 1.0 / b0, b1: a1 / b0, b2: a2 / b0, a1: b1 / b0, a2: b2 / b0 }
}

/// Butterworth high shelf matched to the analog prototype with squared magnitude `(1 + G x^4) / (1 + x^4 / G)`,
/// `x = f / f0`, `G = 10^(gain/20)`: half the gain (in dB) at `frequency_hz`.
///
/// The squared magnitude is matched at 0 Hz, at half the sample rate and at two frequencies between. Source: M.
/// Vicanek, "Matched Two-Pole Digital Shelving Filters", 2024 (constants of the two frequencies via an independent
/// implementation). Same error bounds as [`bell`]. Tested by `shelves_match_the_analog_prototype`.
#[must_use]
pub fn high_shelf(frequency_hz: f64, gain_db: f64, rate: SampleRate) -> Section {
    if !fits(frequency_hz, rate) || gain_db.abs() < SMALLEST_GAIN_DB {
        return Section::IDENTITY;
    }
    matched_high_shelf(frequency_hz, gain_db, rate)
}

/// Butterworth low shelf, the mirror image of [`high_shelf`]: a high shelf of the opposite gain, scaled by the gain.
///
/// Same source and error bounds. Tested by `shelves_match_the_analog_prototype`.
#[must_use]
pub fn low_shelf(frequency_hz: f64, gain_db: f64, rate: SampleRate) -> Section {
    if !fits(frequency_hz, rate) || gain_db.abs() < SMALLEST_GAIN_DB {
        return Section::IDENTITY;
    }
    let Section { b0, b1, b2, a1, a2 } = matched_high_shelf(frequency_hz, -gain_db, rate);
    let gain = from_db(gain_db);
    Section { b0: b0 * gain, b1: b1 * gain, b2: b2 * gain, a1, a2 }
}

fn matched_high_shelf(frequency_hz: f64, gain_db: f64, rate: SampleRate) -> Section {
    let gain = from_db(gain_db);
    // Corner frequency in units of half the sample rate.
    let corner = 2.0 * frequency_hz / rate.hz();
    let corner2 = corner * corner;
    let analog = |x4: f64| (1.0 + gain * x4) / (1.0 + x4 / gain);
    let at_nyquist = analog(1.0 / (corner2 * corner2));
    // One linear condition on the two unknowns of the denominator per matching frequency
    // `f = corner / sqrt(a + b corner^2)`.
    let condition = |a: f64, b: f64| {
        let spread = a + b * corner2;
        let phi = libm::pow(libm::sin(0.5 * PI * corner / libm::sqrt(spread)), 2.0);
        let power = analog(1.0 / (spread * spread));
        let right = (power - 1.0) * (1.0 - phi);
        ([-phi * right, (at_nyquist - power) * phi * phi], right)
    };
    let ([c11, c12], d1) = condition(0.16, 1.543);
    let ([c21, c22], d2) = condition(0.947, 3.806);
    let alpha1 = (c22 * d1 - c12 * d2) / (c11 * c22 - c12 * c21);
    let alpha2 = (d1 - c11 * alpha1) / c12;
    let beta2 = at_nyquist * alpha2;
    let [a0, a1, a2] = minimum_phase(1.0, alpha2, 0.25 * (alpha1 - alpha2));
    let [b0, b1, b2] = minimum_phase(1.0, beta2, 0.25 * (alpha1 - beta2));
    Section { b0: b0 / a0, b1: b1 / a0, b2: b2 / a0, a1: a1 / a0, a2: a2 / a0 }
}

/// Q of a second-order Butterworth section.
pub const BUTTERWORTH_Q: f64 = FRAC_1_SQRT_2;
