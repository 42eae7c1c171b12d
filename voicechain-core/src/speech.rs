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

/// A voice whose median pitch is higher is compared with the female column below 200 Hz (measured on 13 of 15 labelled
/// voices).
const FEMALE_HZ: f64 = 165.0;

/// The published level of a third-octave band (by its place in [`BYRNE_1994_COMBINED`]), dB, for a voice of this median
/// pitch; where that is not known, the combined column.
#[must_use]
pub fn published_db(band: usize, pitch_hz: Option<f64>) -> f64 {
    match BYRNE_1994_FEMALE_LOW.get(band) {
        Some(&(_, db)) if pitch_hz.is_some_and(|hz| hz > FEMALE_HZ) => db,
        _ => BYRNE_1994_COMBINED.get(band).map_or(0.0, |&(_, db)| db),
    }
}

/// Bands whose power is made equal before a voice is compared: 160 Hz to 6.3 kHz.
const NORMALISED_BANDS: core::ops::RangeInclusive<usize> = 4..=20;

/// Third-octave levels (dB of any reference) as differences from published speech, dB, both with the same power from
/// 160 Hz to 6.3 kHz, of the bands that are known. `None` when none of those is. Tested by
/// `published_speech_is_no_difference_from_itself`.
#[must_use]
pub fn deviation_from_published(levels_db: &[Option<f64>; 25], pitch_hz: Option<f64>) -> Option<[Option<f64>; 25]> {
    let (mut heard, mut published) = (0.0, 0.0);
    for band in NORMALISED_BANDS {
        if let Some(db) = levels_db[band] {
            heard += libm::exp10(0.1 * db);
            published += libm::exp10(0.1 * published_db(band, pitch_hz));
        }
    }
    if !(heard > 0.0 && heard.is_finite()) {
        return None;
    }
    let shift = crate::math::power_to_db(heard / published);
    Some(core::array::from_fn(|band| levels_db[band].map(|db| db - published_db(band, pitch_hz) - shift)))
}

/// The first band of [`SPEAKER_SD_DB`]: 100 Hz.
pub const SPEAKER_SD_FIRST_BAND: usize = 2;

/// How far speakers differ from published speech: one standard deviation in dB, third octave by third octave from 100 Hz
/// to 10 kHz. From a trial on 49 recorded speakers: voice, room and microphone together.
pub const SPEAKER_SD_DB: [f64; 21] =
    [8.7, 8.6, 9.0, 6.5, 3.8, 3.2, 3.2, 2.6, 2.4, 2.9, 3.5, 3.8, 3.2, 3.8, 4.8, 5.6, 6.2, 5.9, 4.9, 7.7, 8.7];

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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_speech_is_no_difference_from_itself() {
        for (pitch, low) in [(None, 54.4), (Some(120.0), 54.4), (Some(200.0), 37.5)] {
            assert_eq!(published_db(2, pitch), low);
            let quiet = core::array::from_fn(|band| Some(published_db(band, pitch) - 83.0));
            let against = deviation_from_published(&quiet, pitch).expect("known bands");
            assert!(against.iter().flatten().all(|db| db.abs() < 1e-9));
            assert_eq!(against.iter().flatten().count(), 25);
        }
        // Negative controls: the other column is far away, and nothing known is nothing said.
        let male = core::array::from_fn(|band| Some(published_db(band, None)));
        let other = deviation_from_published(&male, Some(200.0)).expect("known bands");
        assert!(other[2].is_some_and(|db| db > 15.0) && other[10].is_some_and(|db| db.abs() < 0.5));
        assert_eq!(deviation_from_published(&[None; 25], None), None);
    }

    #[test]
    fn the_published_levels_add_up_to_the_published_sum() {
        // Byrne et al. 1994: the levels are given for an overall level of 70 dB SPL.
        let sum: f64 = BYRNE_1994_COMBINED.iter().map(|(_, db)| libm::exp10(0.1 * db)).sum();
        assert!((crate::math::power_to_db(sum) - 70.0).abs() < 0.1);
    }
}
