//! Parabolic interpolation of three neighbouring values: position and height of a peak.

use crate::math::Real;

/// Position of the maximum of the parabola through three values at unit spacing, relative to the middle one; 0 if the
/// parabola has no maximum.
///
/// Within half a step if the middle value is the largest, and beyond that otherwise: clamp the result unless the middle
/// value is a local maximum.
#[inline(always)]
#[must_use]
pub fn vertex<T: Real>([left, here, right]: [T; 3]) -> T {
    let bend = left - T::from_f64(2.0) * here + right;
    if bend < T::ZERO { T::from_f64(0.5) * (left - right) / bend } else { T::ZERO }
}

/// Height of the parabola through three values at its [`vertex`].
#[inline(always)]
#[must_use]
pub fn height<T: Real>([left, here, right]: [T; 3], vertex: T) -> T {
    here - T::from_f64(0.25) * (left - right) * vertex
}

/// Peak of the parabola through three magnitudes if the middle one is the largest, otherwise the middle value. Equals
/// [`height`] at [`vertex`] as one branch-free expression that vectorises.
#[inline(always)]
#[must_use]
pub fn interpolated_peak(before: f32, middle: f32, after: f32) -> f32 {
    let rise = middle - before;
    let fall = middle - after;
    let bend = rise + fall;
    let tilt = rise - fall;
    let top = middle + tilt * tilt / (8.0 * bend);
    if rise >= 0.0 && fall >= 0.0 && bend > 0.0 { top } else { middle }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn vertex_and_height_of_a_parabola_are_exact() {
        for (place, top, bend) in [(0.0, 1.0, -1.0), (0.3, 2.0, -0.5), (-0.5, 4.0, -3.0)] {
            let at = |x: f64| top + bend * (x - place) * (x - place);
            let values = [-1.0, 0.0, 1.0].map(at);
            let found = vertex(values);
            assert!((found - place).abs() < 1e-14 && (height(values, found) - top).abs() < 1e-14, "{found}");
            let [before, middle, after] = values.map(|x| x as f32);
            assert!((f64::from(interpolated_peak(before, middle, after)) - top).abs() < 1e-6);
        }
        assert_eq!((vertex([1.0, 1.0, 1.0]), vertex([2.0, 1.0, 2.0])), (0.0, 0.0));
    }
}
