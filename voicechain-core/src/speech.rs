//! Published long-term average speech spectrum (LTASS), and the loudness change that a filter causes on it.

use crate::filters::k_weighting::KWeighting;
use crate::units::SampleRate;
use core::f64::consts::PI;

/// Long-term average speech spectrum: third-octave centre in Hz and level in dB, for an overall level of 70 dB SPL.
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

/// Long-term average speech of women, below 200 Hz only: from 200 Hz up the combined column is the mean of both.
///
/// Source: the same table, female column (via an independent implementation).
pub const BYRNE_1994_FEMALE_LOW: [(f64, f64); 5] =
    [(63.0, 37.0), (80.0, 36.0), (100.0, 37.5), (125.0, 40.1), (160.0, 53.4)];

/// Median pitch above which a voice is compared with the female column below 200 Hz (measured on 13 of 15 labelled
/// voices).
const FEMALE_HZ: f64 = 165.0;

/// Published level of a third-octave band, dB, for a voice of this median pitch. `band` is an index into
/// [`BYRNE_1994_COMBINED`]. With an unknown pitch the combined column applies.
#[must_use]
pub fn published_db(band: usize, pitch_hz: Option<f64>) -> f64 {
    match BYRNE_1994_FEMALE_LOW.get(band) {
        Some(&(_, db)) if pitch_hz.is_some_and(|hz| hz > FEMALE_HZ) => db,
        _ => BYRNE_1994_COMBINED.get(band).map_or(0.0, |&(_, db)| db),
    }
}

/// Bands over which both spectra are normalised to equal power: 160 Hz to 6.3 kHz.
const NORMALISED_BANDS: core::ops::RangeInclusive<usize> = 4..=20;

/// Deviation of third-octave levels from published speech, dB. `levels_db` may have any reference: both spectra are
/// normalised to equal power from 160 Hz to 6.3 kHz. Unknown bands stay `None`; the result is `None` when none of the
/// normalised bands is known. Tested by `published_speech_has_no_deviation_from_itself`.
#[must_use]
pub fn deviation_from_published(levels_db: &[Option<f64>; 25], pitch_hz: Option<f64>) -> Option<[Option<f64>; 25]> {
    let (mut measured, mut published) = (0.0, 0.0);
    for band in NORMALISED_BANDS {
        if let Some(db) = levels_db[band] {
            measured += libm::exp10(0.1 * db);
            published += libm::exp10(0.1 * published_db(band, pitch_hz));
        }
    }
    if !(measured > 0.0 && measured.is_finite()) {
        return None;
    }
    let shift = crate::math::power_to_db(measured / published);
    Some(core::array::from_fn(|band| levels_db[band].map(|db| db - published_db(band, pitch_hz) - shift)))
}

/// Index of the first band of [`SPEAKER_SD_DB`]: 100 Hz.
pub const SPEAKER_SD_FIRST_BAND: usize = 2;

/// Standard deviation of speakers from published speech, dB, per third-octave band from 100 Hz to 10 kHz. Measured on
/// 49 recorded speakers; includes voice, room and microphone.
pub const SPEAKER_SD_DB: [f64; 21] =
    [8.7, 8.6, 9.0, 6.5, 3.8, 3.2, 3.2, 2.6, 2.4, 2.9, 3.5, 3.8, 3.2, 3.8, 4.8, 5.6, 6.2, 5.9, 4.9, 7.7, 8.7];

/// Loudness change of average speech caused by a filter, LU. `power_response` returns the squared magnitude at `omega`
/// radians per sample. It is weighted with [`BYRNE_1994_COMBINED`] and the K-weighting of ITU-R BS.1770, at three
/// frequencies per third-octave band. Tested by `compensated_eq_keeps_the_loudness_of_speech_shaped_noise`.
#[must_use]
pub fn loudness_change_lu(power_response: impl Fn(f64) -> f64, rate: SampleRate) -> f64 {
    let k_weighting = KWeighting::new(rate).sections();
    let (mut before, mut after) = (0.0, 0.0);
    for (centre_hz, level_db) in BYRNE_1994_COMBINED {
        let share = libm::exp10(0.1 * level_db);
        for ninth_of_octave in [-1.0, 0.0, 1.0] {
            let omega = 2.0 * PI * centre_hz * libm::exp2(ninth_of_octave / 9.0) / rate.hz();
            if omega < 0.95 * PI {
                let weighted = share * k_weighting.iter().map(|s| s.response(omega).power()).product::<f64>();
                before += weighted;
                after += weighted * power_response(omega);
            }
        }
    }
    crate::math::power_to_db(after / before)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_speech_has_no_deviation_from_itself() {
        for (pitch, low) in [(None, 54.4), (Some(120.0), 54.4), (Some(200.0), 37.5)] {
            assert_eq!(published_db(2, pitch), low);
            let quiet = core::array::from_fn(|band| Some(published_db(band, pitch) - 83.0));
            let against = deviation_from_published(&quiet, pitch).expect("known bands");
            assert!(against.iter().flatten().all(|db| db.abs() < 1e-9));
            assert_eq!(against.iter().flatten().count(), 25);
        }
        // Negative controls: the other column deviates strongly, and unknown levels return `None`.
        let male = core::array::from_fn(|band| Some(published_db(band, None)));
        let other = deviation_from_published(&male, Some(200.0)).expect("known bands");
        assert!(other[2].is_some_and(|db| db > 15.0) && other[10].is_some_and(|db| db.abs() < 0.5));
        assert_eq!(deviation_from_published(&[None; 25], None), None);
    }

    #[test]
    fn published_levels_sum_to_the_published_overall_level() {
        // Byrne et al. 1994: the levels are given for an overall level of 70 dB SPL.
        let sum: f64 = BYRNE_1994_COMBINED.iter().map(|(_, db)| libm::exp10(0.1 * db)).sum();
        assert!((crate::math::power_to_db(sum) - 70.0).abs() < 0.1);
    }
}
