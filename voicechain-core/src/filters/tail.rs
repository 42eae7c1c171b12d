//! How long a chain of sections rings, found from its poles.

use super::response::Response;
use super::section::Section;
use crate::math::from_db;

/// Samples of the impulse response that are computed one by one, for its peak and for short tails.
const START: usize = 64;
/// The longest chain: all filters of a strip, and one in hand.
const MAX_SECTIONS: usize = 12;
/// Poles of a chain closer to each other than this share of their distance to the unit circle are moved apart, along a
/// circle, so that each has a share of its own in the sum. The sum then bounds what coinciding poles would give,
/// `n^(m-1) p^n` for `m` of them, for all `n` up to the end of the tail, without being far above it.
const APART: f64 = 0.05;

/// Poles that were moved apart give a slightly different sum; a factor of 2 covers the difference.
const SAFETY_FACTOR: f64 = 0.5;

/// Samples after the last one of the input in which the output can still be above -120 dB of the largest value of the
/// impulse response.
///
/// The impulse response from the second sample on is a sum over the poles, `sum r p^(n-1)`; with `r` and `p` replaced
/// by their magnitudes the sum only falls, and the sample where it passes -120 dB is found by bisection. Within the
/// first [`START`] samples the answer is exact. Cost: a bounded number of operations, whatever the frequencies.
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
    // The first power of two at which all is quiet, then the last sample before it that is not.
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

/// The first samples of the impulse response.
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

/// Magnitude of the residue of every pole and the logarithm of its radius; true when poles had to be moved for it.
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
            let distance = APART * (1.0 - radius);
            if before.iter().all(|p| p.minus(pole).power() >= 0.99 * distance * distance) {
                break;
            }
            moved = true;
            // Along the circle; a pole at zero has nothing to turn.
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
        // A pole at 0 is heard in one sample only; its logarithm stays finite, so that the sum is a number there.
        (libm::sqrt(residue.power()), libm::fmax(0.5 * libm::log(pole.power()), -1e3))
    });
    (modes, moved)
}
