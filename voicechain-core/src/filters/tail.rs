//! Tail length of a chain of sections, computed from its poles.

use super::response::Response;
use super::section::Section;
use crate::math::from_db;

/// Samples of the impulse response that are computed directly, for its peak and for short tails.
const START: usize = 64;
/// Longest chain: all filters of a strip and one spare.
const MAX_SECTIONS: usize = 12;
/// Minimum spacing of two poles as a share of their distance to the unit circle. Closer poles are moved apart along a
/// circle, so that each has its own residue. The sum over the separated poles then bounds the response of coinciding
/// poles, `n^(m-1) p^n` for multiplicity `m`, up to the end of the tail, and is not far above it.
const MIN_POLE_SPACING: f64 = 0.05;

/// Factor on the threshold when poles were moved apart: covers the change of the sum.
const SAFETY_FACTOR: f64 = 0.5;

/// Tail length in samples: how long after the last input sample the output can exceed -120 dB relative to the peak of
/// the impulse response.
///
/// From the second sample on the impulse response is a sum over the poles, `sum r p^(n-1)`. With `r` and `p` replaced
/// by their magnitudes the sum decreases monotonically, and bisection finds the sample where it falls below -120 dB.
/// Within the first [`START`] samples the result is exact. Cost: a bounded number of operations at any frequency.
pub(crate) fn samples<'a>(sections: impl Iterator<Item = &'a Section>) -> u32 {
    let mut chain = [Section::IDENTITY; MAX_SECTIONS];
    let mut count = 0;
    for section in sections.filter(|s| !s.is_identity()).take(MAX_SECTIONS) {
        chain[count] = *section;
        count += 1;
    }
    let chain = &chain[..count];
    if chain.is_empty() {
        return 0;
    }
    let start = impulse_response(chain);
    let limit = from_db(-120.0) * start.iter().fold(0.0, |peak, v| f64::max(peak, v.abs()));
    let (modes, moved) = modes(chain);
    let modes = &modes[..2 * count];
    let quiet_below = if moved { SAFETY_FACTOR * limit } else { limit };
    let rings_at =
        |n: u32| modes.iter().map(|(r, log_p)| r * libm::exp(log_p * (f64::from(n) - 1.0))).sum::<f64>() > quiet_below;
    // Find a power of two at which the response is below the threshold, then bisect for the last sample above it.
    let mut quiet = 1;
    while rings_at(quiet) {
        if quiet > u32::MAX / 2 {
            return u32::MAX;
        }
        quiet *= 2;
    }
    let mut rings = quiet / 2;
    while quiet - rings > 1 {
        let middle = rings + (quiet - rings) / 2;
        if rings_at(middle) {
            rings = middle;
        } else {
            quiet = middle;
        }
    }
    if (rings as usize) < START {
        rings = start.iter().rposition(|v| v.abs() > limit).unwrap_or(0) as u32;
    }
    rings
}

/// First samples of the impulse response.
fn impulse_response(chain: &[Section]) -> [f64; START] {
    let mut response = [0.0; START];
    response[0] = 1.0;
    for s in chain {
        let (mut first, mut second) = (0.0, 0.0);
        for value in &mut response {
            let x = *value;
            *value = s.b0 * x + first;
            first = s.b1 * x - s.a1 * *value + second;
            second = s.b2 * x - s.a2 * *value;
        }
    }
    response
}

/// Magnitude of every pole's residue and logarithm of its radius. The flag is true when poles were moved apart.
fn modes(chain: &[Section]) -> ([(f64, f64); 2 * MAX_SECTIONS], bool) {
    let mut poles = [Response { re: 0.0, im: 0.0 }; 2 * MAX_SECTIONS];
    for (pair, section) in poles.chunks_exact_mut(2).zip(chain) {
        pair.copy_from_slice(&section.poles());
    }
    let count = 2 * chain.len();
    let mut moved = false;
    for at in 1..count {
        for _ in 0..count {
            let (before, pole) = (&poles[..at], poles[at]);
            let radius = libm::sqrt(pole.power());
            let distance = MIN_POLE_SPACING * (1.0 - radius);
            if before.iter().all(|p| p.minus(pole).power() >= 0.99 * distance * distance) {
                break;
            }
            moved = true;
            // Rotate along the circle; move a pole near 0 along the imaginary axis.
            let angle = distance / radius.max(0.5);
            let (sin, cos) = libm::sincos(angle);
            poles[at] = if radius > distance {
                pole.in_series(Response { re: cos, im: sin })
            } else {
                Response { re: pole.re, im: pole.im + distance }
            };
        }
    }
    let modes = core::array::from_fn(|at| {
        if at >= count {
            return (0.0, 0.0);
        }
        let pole = poles[at];
        let mut residue = Response::ONE;
        for (k, s) in chain.iter().enumerate() {
            let square = pole.in_series(pole);
            let above =
                Response { re: s.b0 * square.re + s.b1 * pole.re + s.b2, im: s.b0 * square.im + s.b1 * pole.im };
            residue = residue.in_series(above);
            for other in [2 * k, 2 * k + 1] {
                if other != at {
                    residue = residue.divided_by(pole.minus(poles[other]));
                }
            }
        }
        // A pole at 0 contributes to one sample only. Its logarithm stays finite so that the sum is a number.
        (libm::sqrt(residue.power()), libm::fmax(0.5 * libm::log(pole.power()), -1e3))
    });
    (modes, moved)
}
