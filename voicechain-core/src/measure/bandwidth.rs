//! Bandwidth of a recording.

use super::profile::{Bandwidth, Measured};
use super::tonal_balance::{NARROW_HZ, TonalBalanceMeter};

/// Levels further below the strongest band are limited to this distance, dB.
const RANGE_DB: f64 = 85.0;
/// Minimum drop within six bands at a band limit, dB. Measured on real voices.
const DROP_DB: f64 = 15.0;
/// All content above a band limit is at least this far below the level before it, dB.
const MIN_FALL_DB: f64 = 10.0;
/// The band limit is placed where the level is this far below the level before it, dB.
const EDGE_DB: f64 = 6.0;
/// A band limit above this share of half the rate is that of the sample rate.
const RATE_LIMIT_SHARE: f64 = 0.85;
/// Recordings that end at or below this are narrowband, Hz.
const NARROWBAND_HZ: f64 = 4_000.0;

impl TonalBalanceMeter {
    /// Bandwidth: the largest lasting drop in the spectrum of active speech.
    pub(crate) fn bandwidth(&self, active_level_dbov: f64) -> Measured<Bandwidth> {
        let (mut levels, bands) = self.narrow_db(active_level_dbov)?;
        let levels = &mut levels[..bands];
        let half = bands as f64 * NARROW_HZ;
        let most = levels.iter().fold(f64::NEG_INFINITY, |most, &db| most.max(db));
        levels.iter_mut().for_each(|db| *db = db.max(most - RANGE_DB));
        let mean = |from: usize, to: usize| levels[from..=to].iter().sum::<f64>() / (to - from + 1) as f64;
        let mut best: Option<(f64, usize)> = None;
        let mut highest_above = f64::NEG_INFINITY;
        for i in (8..bands.saturating_sub(3)).rev() {
            highest_above = if i + 4 == bands { mean(i + 1, i + 3) } else { highest_above.max(levels[i + 3]) };
            let (before, after) = (mean(i - 4, i - 2), mean(i + 1, i + 3));
            let drop = before - after;
            if drop >= DROP_DB && highest_above < before - MIN_FALL_DB && best.is_none_or(|(most, _)| drop > most) {
                best = Some((drop, i));
            }
        }
        let Some((_, mut j)) = best else {
            return Ok(Bandwidth { high_hz: half, limited: false, narrowband: half <= NARROWBAND_HZ });
        };
        while j > 8 && levels[j] < mean(j - 8, j - 5) - EDGE_DB {
            j -= 1;
        }
        let high_hz = (j + 1) as f64 * NARROW_HZ;
        let limited = high_hz < RATE_LIMIT_SHARE * half;
        let high_hz = if limited { high_hz } else { half };
        Ok(Bandwidth { high_hz, limited, narrowband: high_hz <= NARROWBAND_HZ })
    }
}

#[cfg(test)]
mod tests {
    use super::super::tonal_balance::tests::{measured, speech};

    #[test]
    fn band_limited_speech_is_distinguished_from_full_band_speech() {
        for (rate, end, limited) in [
            (48_000.0, 3_400.0, true),
            (48_000.0, 7_800.0, true),
            (48_000.0, 10_800.0, true),
            (48_000.0, 24_000.0, false),
            (44_100.0, 22_050.0, false),
            (32_000.0, 16_000.0, false),
            (8_000.0, 4_000.0, false),
        ] {
            let found = measured(rate, &speech(rate, 3.0, end, 1.0), 4_800).bandwidth(-20.0).unwrap();
            assert_eq!(found.limited, limited, "{end}: {found:?}");
            assert!(!limited || (found.high_hz / end - 1.0).abs() < 0.12, "{end}: {found:?}");
            assert!(limited || found.high_hz > 0.97 * end, "{end}: {found:?}");
            assert_eq!(found.narrowband, end <= 4_000.0);
        }
    }
}
