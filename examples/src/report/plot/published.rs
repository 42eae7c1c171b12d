//! Third-octave levels relative to published speech.

pub(super) use voicechain_core::speech::{BYRNE_1994_COMBINED as PUBLISHED_SPEECH, SPEAKER_SD_FIRST_BAND};
use voicechain_core::speech::{SPEAKER_SD_DB, deviation_from_published as compare};

/// Standard deviation of speakers from published speech, by band from [`SPEAKER_SD_FIRST_BAND`] on, dB.
pub(super) fn spread() -> impl Iterator<Item = (usize, f32)> {
    SPEAKER_SD_DB.iter().enumerate().map(|(at, &sd)| (SPEAKER_SD_FIRST_BAND + at, sd as f32))
}

/// Centre of a third-octave band, Hz. Bands are exactly a tenth of a decade apart.
pub(super) fn centre_hz(band: usize) -> f32 {
    10f32.powf(1.8 + 0.1 * band as f32)
}

/// Deviation of third-octave levels from published speech at equal power between 160 Hz and 6.3 kHz, dB. Bands without
/// a finite level in the list are `None`.
pub(super) fn deviation_from_published(levels: &[(f32, f32)], pitch_hz: Option<f64>) -> [Option<f32>; 25] {
    let mut found = [None; 25];
    for &(hz, db) in levels.iter().filter(|(hz, db)| hz.is_finite() && *hz > 0.0 && db.is_finite()) {
        let band = ((hz.log10() - 1.8) * 10.0).round();
        if (0.0..25.0).contains(&band) {
            found[band as usize] = Some(f64::from(db));
        }
    }
    compare(&found, pitch_hz).map_or([None; 25], |all| all.map(|db| db.map(|db| db as f32)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_speech_has_no_deviation_from_itself_at_any_level() {
        let quiet: Vec<_> = PUBLISHED_SPEECH.iter().map(|(hz, db)| (*hz as f32, (db - 83.0) as f32)).collect();
        for difference in deviation_from_published(&quiet, None) {
            assert!(difference.is_some_and(|db| db.abs() < 1e-3));
        }
        assert_eq!(deviation_from_published(&[], None), [None; 25]);
        let holes = [(1000.0, f32::NEG_INFINITY), (f32::NAN, 3.0), (2000.0, -20.0), (30_000.0, 1.0)];
        assert_eq!(deviation_from_published(&holes, None).iter().flatten().count(), 1);
    }
}
