//! Points of the unit circle as constants of the program.

use core::f64::consts::TAU;

/// Cosine and sine of `TAU k / circle`, to double precision, at compile time. `circle` is a multiple of 8, or `k` lies
/// in the first quarter. Tested by `points_match_sincos_to_double_precision`.
#[must_use]
pub const fn point(k: usize, circle: usize) -> [f64; 2] {
    let k = k % circle;
    let quarter = circle / 4;
    if 4 * k >= circle {
        // A quarter turn back: the point (c, s) becomes (-s, c).
        let [cos, sin] = point(k - quarter, circle);
        return [-sin, cos];
    }
    // Both series converge quickly in the first eighth; the second eighth mirrors it.
    let mirrored = 8 * k > circle;
    let from = if mirrored { quarter - k } else { k };
    let angle = TAU * from as f64 / circle as f64;
    if mirrored { [sine(angle), cosine(angle)] } else { [cosine(angle), sine(angle)] }
}

/// Taylor series of the sine up to `x^21`: double precision up to an eighth of the circle.
const fn sine(x: f64) -> f64 {
    let (mut term, mut sum, mut k) = (x, 0.0, 1);
    while k < 22 {
        sum += term;
        term *= -x * x / ((k + 1) * (k + 2)) as f64;
        k += 2;
    }
    sum
}

/// Taylor series of the cosine up to `x^20`, with the same precision.
const fn cosine(x: f64) -> f64 {
    let (mut term, mut sum, mut k) = (1.0, 0.0, 0);
    while k < 21 {
        sum += term;
        term *= -x * x / ((k + 1) * (k + 2)) as f64;
        k += 2;
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn points_match_sincos_to_double_precision() {
        for circle in [8, 128, 384, 3_072, 4_096, 7_168, 14_336] {
            for k in 0..circle {
                let (sin, cos) = libm::sincos(TAU * k as f64 / circle as f64);
                let found = point(k, circle);
                // The argument of `sincos` is rounded.
                assert!((found[0] - cos).abs() < 2e-15 && (found[1] - sin).abs() < 2e-15, "{k} of {circle}: {found:?}");
            }
        }
    }
}
