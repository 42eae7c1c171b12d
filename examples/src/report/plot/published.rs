//! Published speech, and how far a spectrum differs from it.

pub(super) use voicechain_core::speech::BYRNE_1994_COMBINED as PUBLISHED_SPEECH;

/// How far speakers differ from it: one standard deviation in dB over 49 speakers, from 100 Hz to 10 kHz in third octaves.
pub(super) const SPREAD_FROM: usize = 2;
pub(super) const SPREAD: [f32; 21] =
    [8.7, 8.6, 9.0, 6.5, 3.8, 3.2, 3.2, 2.6, 2.4, 2.9, 3.5, 3.8, 3.2, 3.8, 4.8, 5.6, 6.2, 5.9, 4.9, 7.7, 8.7];

/// Bands whose power is made equal before the comparison: 160 Hz to 6.3 kHz.
const COMPARED: std::ops::RangeInclusive<usize> = 4..=20;

/// Middle of a third-octave band, exactly a tenth of a decade apart.
pub(super) fn middle(band: usize) -> f32 {
    10f32.powf(1.8 + 0.1 * band as f32)
}

/// Third-octave levels as difference from published speech, at the same power between 160 Hz and 6.3 kHz. Bands that the
/// list does not have, or that have no finite level, are absent.
pub(super) fn against_published(levels: &[(f32, f32)]) -> [Option<f32>; 25] {
    let mut found = [None; 25];
    for &(hz, db) in levels.iter().filter(|(hz, db)| hz.is_finite() && *hz > 0.0 && db.is_finite()) {
        let band = ((hz.log10() - 1.8) * 10.0).round();
        if (0.0..25.0).contains(&band) {
            found[band as usize] = Some(db);
        }
    }
    let (mut power, mut published) = (0.0f64, 0.0f64);
    for band in COMPARED {
        if let Some(db) = found[band] {
            power += 10f64.powf(f64::from(db) / 10.0);
            published += 10f64.powf(PUBLISHED_SPEECH[band].1 / 10.0);
        }
    }
    if power <= 0.0 {
        return [None; 25];
    }
    let offset = (10.0 * (published / power).log10()) as f32;
    std::array::from_fn(|band| found[band].map(|db| db + offset - PUBLISHED_SPEECH[band].1 as f32))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_speech_itself_is_no_difference_at_any_level() {
        let quiet: Vec<_> = PUBLISHED_SPEECH.iter().map(|(hz, db)| (*hz as f32, (db - 83.0) as f32)).collect();
        for difference in against_published(&quiet) {
            assert!(difference.is_some_and(|db| db.abs() < 1e-3));
        }
        assert_eq!(against_published(&[]), [None; 25]);
        let holes = [(1000.0, f32::NEG_INFINITY), (f32::NAN, 3.0), (2000.0, -20.0), (30_000.0, 1.0)];
        assert_eq!(against_published(&holes).iter().flatten().count(), 1);
    }

    #[test]
    fn the_published_levels_add_up_to_the_published_sum() {
        // Byrne et al. 1994: the levels are given for an overall level of 70 dB SPL.
        let sum: f64 = PUBLISHED_SPEECH.iter().map(|(_, db)| 10f64.powf(db / 10.0)).sum();
        assert!((10.0 * sum.log10() - 70.0).abs() < 0.1);
    }
}
