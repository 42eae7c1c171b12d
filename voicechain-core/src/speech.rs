//! Published average speech, and what a filter does to its loudness.

use crate::filters::k_weighting::KWeighting;
use crate::units::SampleRate;
use core::f64::consts::PI;

/// Long-term average speech: third-octave centre in Hz and level in dB, overall 70 dB SPL.
///
/// Source: Byrne et al. 1994, "An international comparison of long-term average speech spectra", JASA 96(4):2108-2120,
/// Table 2, combined column (via independent implementations; below 200 Hz the combined column is male only).
pub const BYRNE_1994_COMBINED: [(f64, f64); 25] = [
    (63.0, 38.6),
    (80.0, 43.5),
    (100.0, 54.4),
    (125.0, 57.7),
    (160.0, 56.8),
    (200.0, 60.2),
    (250.0, 60.3),
    (315.0, 59.0),
    (400.0, 62.1),
    (500.0, 62.1),
    (630.0, 60.5),
    (800.0, 56.8),
    (1_000.0, 53.7),
    (1_250.0, 53.0),
    (1_600.0, 52.0),
    (2_000.0, 48.7),
    (2_500.0, 48.1),
    (3_150.0, 46.8),
    (4_000.0, 45.6),
    (5_000.0, 44.5),
    (6_300.0, 44.3),
    (8_000.0, 43.7),
    (10_000.0, 43.4),
    (12_500.0, 41.3),
    (16_000.0, 40.7),
];

/// The same for women, below 200 Hz only: from 200 Hz up the combined column is the mean of both.
///
/// Source: the same table, female column (via an independent implementation).
pub const BYRNE_1994_FEMALE_LOW: [(f64, f64); 5] =
    [(63.0, 37.0), (80.0, 36.0), (100.0, 37.5), (125.0, 40.1), (160.0, 53.4)];

/// By how many LU a filter changes the loudness of average speech: its power response, given at `omega` radians per
/// sample, weighted with [`BYRNE_1994_COMBINED`] and the K-weighting of ITU-R BS.1770. Every third-octave band is
/// sampled at three frequencies. Tested by `compensated_eq_keeps_the_loudness_of_speech_shaped_noise`.
#[must_use]
pub fn loudness_change_lu(power_response: impl Fn(f64) -> f64, rate: SampleRate) -> f64 {
    let k_weighting = KWeighting::new(rate).sections();
    let (mut before, mut after) = (0.0, 0.0);
    for (centre_hz, level_db) in BYRNE_1994_COMBINED {
        let share = libm::exp10(0.1 * level_db);
        for ninth_of_octave in [-1.0, 0.0, 1.0] {
            let omega = 2.0 * PI * centre_hz * libm::exp2(ninth_of_octave / 9.0) / rate.hz();
            if omega < 0.95 * PI {
                let heard = share * k_weighting.iter().map(|s| s.response(omega).power()).product::<f64>();
                before += heard;
                after += heard * power_response(omega);
            }
        }
    }
    crate::math::power_to_db(after / before)
}
