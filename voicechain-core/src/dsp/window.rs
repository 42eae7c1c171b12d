//! Window functions.

/// Periodic Hann window at position `n` of `length`: zero at 0 and at `length`, 1 in the middle.
#[must_use]
pub fn hann(n: f64, length: f64) -> f64 {
    0.5 - 0.5 * libm::cos(2.0 * core::f64::consts::PI * n / length)
}

/// Kaiser window at a position from -1 to 1, 1 in the middle. `beta` trades main-lobe width against side-lobe level.
///
/// Source: J. F. Kaiser, "Nonrecursive digital filter design using the I0-sinh window function", Proc. IEEE Int. Symp.
/// Circuits and Systems, 1974.
#[must_use]
pub fn kaiser(position: f64, beta: f64) -> f64 {
    bessel_i0(beta * libm::sqrt((1.0 - position * position).max(0.0))) / bessel_i0(beta)
}

/// Modified Bessel function of the first kind and order 0, from its power series; converges for arguments up to
/// about 30.
#[must_use]
pub fn bessel_i0(x: f64) -> f64 {
    let (mut sum, mut term) = (1.0, 1.0);
    for k in 1..60 {
        term *= (0.5 * x / f64::from(k)) * (0.5 * x / f64::from(k));
        sum += term;
    }
    sum
}

/// Coefficients of the four-term Blackman-Harris window; side lobes at -92 dB.
///
/// Source: F. J. Harris, "On the use of windows for harmonic analysis with the discrete Fourier transform", Proc. IEEE
/// 66(1):51-83, 1978.
pub const BLACKMAN_HARRIS: [f64; 4] = [0.35875, -0.48829, 0.14128, -0.01168];

/// Applies the Blackman-Harris window of the slice's length.
///
/// The cosines come from the recurrence `cos((n + 1) w) = 2 cos(w) cos(n w) - cos((n - 1) w)`, which needs no table.
pub fn blackman_harris(samples: &mut [f32]) {
    let step = 2.0 * core::f64::consts::PI / samples.len().max(1) as f64;
    let [mean, terms @ ..] = BLACKMAN_HARRIS;
    let twice = [1.0, 2.0, 3.0].map(|k| 2.0 * libm::cos(k * step));
    let mut now = [1.0; 3];
    let mut before = [1.0, 2.0, 3.0].map(|k| libm::cos(k * step));
    for sample in samples {
        let weight = mean + terms[0] * now[0] + terms[1] * now[1] + terms[2] * now[2];
        *sample *= weight as f32;
        for k in 0..3 {
            (now[k], before[k]) = (twice[k] * now[k] - before[k], now[k]);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Abramowitz and Stegun 1964, table 9.8: exp(-x) I0(x).
    #[test]
    fn bessel_function_matches_published_tables() {
        for (x, scaled) in [(0.0, 1.0), (1.0, 0.465_759_607_6), (5.0, 0.183_540_812_6), (10.0, 0.127_833_337_2)] {
            assert!((libm::exp(-x) * bessel_i0(x) - scaled).abs() < 1e-9, "{x}");
        }
    }

    #[test]
    fn windows_are_one_in_the_middle_and_small_at_the_ends() {
        assert_eq!((hann(0.0, 64.0), hann(32.0, 64.0)), (0.0, 1.0));
        assert!((hann(16.0, 64.0) - 0.5).abs() < 1e-15);
        assert_eq!(kaiser(0.0, 7.857), 1.0);
        assert!((kaiser(1.0, 7.857) - 1.0 / bessel_i0(7.857)).abs() < 1e-15);
        let mut ones = [1.0_f32; 4_096];
        blackman_harris(&mut ones);
        // The sum of the coefficients with alternating signs is 1, their plain sum 6e-5.
        assert!((ones[2_048] - 1.0).abs() < 1e-6 && (ones[0] - 6e-5).abs() < 1e-7, "{} {}", ones[2_048], ones[0]);
        let mean = ones.iter().map(|&w| f64::from(w)).sum::<f64>() / 4_096.0;
        assert!((mean - BLACKMAN_HARRIS[0]).abs() < 1e-7);
    }
}
