//! The long-term spectrum of active speech, against published speech.

use super::profile::{BANDS, Colour, Doubt, Measured};
use super::spectra::{LONGEST, Spectra, total};
use super::strata::Strata;
use crate::math::power_to_db;
use crate::speech::{BYRNE_1994_COMBINED, against_published};

/// Width of the narrow bands that the bandwidth is read from, Hz.
pub(crate) const NARROW_HZ: f64 = 187.5;
/// Narrow bands: up to 24 kHz.
pub(crate) const NARROW: usize = 128;
/// A frame counts as speech when it is at most so far under the active level, dB (the margin of ITU-T P.56).
const MARGIN_DB: f64 = 15.9;
/// Fewest frames that give a spectrum: two seconds.
const FEWEST_S: f64 = 2.0;
/// A band must stand so far over the noise, dB.
const OVER_NOISE_DB: f64 = 6.0;

/// Hears a mono recording at 8 to 48 kHz and keeps its spectrum: frames of 85 ms (4096 samples at 48 kHz) under a Hann
/// window, every half frame, kept apart by the frame's level from 80 Hz to 8 kHz.
#[derive(Clone, Debug)]
pub(crate) struct ColourMeter {
    spectra: Spectra<LONGEST>,
    bin_hz: f64,
    frame_s: f64,
    /// Third octaves and narrow bands of frames, by level.
    thirds: Strata<BANDS>,
    narrow: Strata<NARROW, 30>,
    edges: [f32; BANDS + 1],
}

impl ColourMeter {
    pub(crate) fn new(rate_hz: f64) -> Self {
        let length = frame_length(rate_hz);
        let bin_hz = rate_hz / length as f64;
        // IEC 61260-1: base-ten edges, 1 kHz 10^((i +- 1/2) / 10); 63 Hz is i = -12.
        let edges = core::array::from_fn(|i| (1_000.0 * libm::exp10((i as f64 - 12.5) / 10.0) / bin_hz) as f32);
        Self {
            spectra: Spectra::new(length, length / 2),
            bin_hz,
            frame_s: 0.5 * length as f64 / rate_hz,
            thirds: Strata::new(),
            narrow: Strata::new(),
            edges,
        }
    }

    /// Samples up to the end of the frame that ends next.
    pub(crate) fn until_frame(&self) -> usize {
        self.spectra.until_frame()
    }

    /// Distance of the bins of its spectra, Hz.
    pub(crate) fn bin_hz(&self) -> f64 {
        self.bin_hz
    }

    /// Takes samples; calls `also` with the powers of each frame and their level from 80 Hz to 8 kHz in dB.
    pub(crate) fn push(&mut self, samples: &[f32], mut also: impl FnMut(&[f32], f64)) {
        let Self { spectra, bin_hz, thirds, narrow, edges, .. } = self;
        spectra.push(samples, |powers| {
            let bin = |hz: f64| ((hz / *bin_hz + 0.5) as usize).min(powers.len());
            let level = power_to_db(f64::from(total(&powers[bin(80.0)..bin(8_000.0)])).max(1e-13));
            for (sum, edge) in thirds.at(level).iter_mut().zip(edges.windows(2)) {
                *sum += between(powers, edge[0], edge[1]);
            }
            let sums = narrow.at(level);
            let step = (*bin_hz / NARROW_HZ) as f32;
            for (k, power) in powers.iter().enumerate() {
                sums[((k as f32 * step) as usize).min(NARROW - 1)] += power;
            }
            also(powers, level);
        });
    }

    /// Power density of active speech in bands of [`NARROW_HZ`], dB, and how many bands the rate has.
    pub(crate) fn narrow_db(&self, active_level_dbov: f64) -> Measured<([f64; NARROW], usize)> {
        let (sums, count) = self.narrow.from(active_level_dbov - MARGIN_DB);
        if count * self.frame_s < FEWEST_S {
            return Err(Doubt::TooShort);
        }
        let half = 0.5 * self.spectra.length() as f64 * self.bin_hz;
        let bands = ((half / NARROW_HZ) as usize).min(NARROW);
        let mut bins = [0.0_f64; NARROW];
        let step = (self.bin_hz / NARROW_HZ) as f32;
        for k in 0..self.spectra.length() / 2 {
            bins[((k as f32 * step) as usize).min(NARROW - 1)] += 1.0;
        }
        let level = |i: usize| power_to_db((sums[i] / (count * bins[i].max(1.0))).max(1e-20));
        Ok((core::array::from_fn(level), bands))
    }

    /// Third octaves of the quietest frames, dBFS: those that are less than 6 dB over the quietest twentieth. Steady noise
    /// reads right within 1 dB; what rises and falls, as voices do, up to 3 dB too low.
    pub(crate) fn quiet_dbfs(&self) -> [f64; BANDS] {
        let (sums, count) = self.thirds.quietest(0.05, 6.0);
        sums.map(|sum| power_to_db((sum / count.max(1.0)).max(1e-20)))
    }

    /// The colour, given the active speech level, the noise's third octaves in dBFS, the highest frequency with content
    /// and the median pitch.
    pub(crate) fn colour(
        &self,
        active_level_dbov: f64,
        noise_dbfs: &[f64; BANDS],
        high_hz: f64,
        pitch_hz: Option<f64>,
    ) -> Measured<Colour> {
        let (sums, count) = self.thirds.from(active_level_dbov - MARGIN_DB);
        if count * self.frame_s < FEWEST_S {
            return Err(Doubt::TooShort);
        }
        let bands_dbfs: [Option<f64>; BANDS] = core::array::from_fn(|i| {
            let upper = f64::from(self.edges[i + 1]) * self.bin_hz;
            let db = power_to_db((sums[i] / count).max(1e-20));
            (upper <= high_hz * 1.01 && db >= noise_dbfs[i] + OVER_NOISE_DB).then_some(db)
        });
        let deviation_db = against_published(&bands_dbfs, pitch_hz).ok_or(Doubt::TooNoisy)?;
        let region = |from: usize, to: usize| {
            let known = deviation_db[from..=to].iter().flatten();
            let (sum, count) = known.fold((0.0, 0.0), |(sum, count), db| (sum + db, count + 1.0));
            if count * 2.0 >= (to - from + 1) as f64 { Ok(sum / count) } else { Err(Doubt::NoBand) }
        };
        // Below the pitch there is no voice.
        let lowest = (2..6).find(|&i| pitch_hz.is_none_or(|hz| BYRNE_1994_COMBINED[i].0 > 0.8 * hz)).unwrap_or(6);
        Ok(Colour {
            bands_dbfs,
            deviation_db,
            low_end_db: region(lowest, 6),
            presence_db: region(15, 19),
            top_end_db: region(20, 23),
        })
    }
}

/// Samples of a frame of about 85 ms: a power of two.
pub(crate) fn frame_length(rate_hz: f64) -> usize {
    match rate_hz {
        hz if hz > 34_000.0 => 4_096,
        hz if hz > 17_000.0 => 2_048,
        hz if hz > 8_500.0 => 1_024,
        _ => 512,
    }
}

/// Power between two places, in bins; every bin reaches half a bin to both sides and counts by overlap.
fn between(powers: &[f32], from: f32, to: f32) -> f32 {
    let last = powers.len() as f32 - 0.5;
    let (from, to) = (from.min(last) + 0.5, to.min(last) + 0.5);
    let (first, end) = (from as usize, to as usize);
    let at = |k: usize| powers.get(k).copied().unwrap_or(0.0);
    if first == end {
        return at(first) * (to - from);
    }
    let whole: f32 = powers.get(first + 1..end).map_or(0.0, total);
    at(first) * (first as f32 + 1.0 - from) + whole + at(end) * (to - end as f32)
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    extern crate std;
    use std::vec::Vec;

    /// The spectrum of published speech as sines, 24 per third octave, ending at a frequency; the 20 kHz band is as strong
    /// as the last published.
    pub(crate) fn speech(rate: f64, seconds: f64, end_hz: f64, scale: f64) -> Vec<f32> {
        let mut out = std::vec![0.0_f64; (rate * seconds) as usize];
        let mut phase = 0.3;
        for (i, (_, db)) in BYRNE_1994_COMBINED.iter().chain(BYRNE_1994_COMBINED.last()).enumerate() {
            for part in 0..24 {
                let hz = 1_000.0 * libm::exp10((i as f64 - 12.5 + (f64::from(part) + 0.5) / 24.0) / 10.0);
                if hz < end_hz.min(0.49 * rate) {
                    phase = (phase * 77.7 + 0.123) % 1.0;
                    let amplitude = scale * libm::exp10((db - 90.0) / 20.0) * libm::sqrt(2.0 / 24.0);
                    let (turn_sin, turn_cos) = libm::sincos(core::f64::consts::TAU * hz / rate);
                    let (mut sin, mut cos) = libm::sincos(core::f64::consts::TAU * phase);
                    for sample in &mut out {
                        *sample += amplitude * sin;
                        (sin, cos) = (sin * turn_cos + cos * turn_sin, cos * turn_cos - sin * turn_sin);
                    }
                }
            }
        }
        out.into_iter().map(|s| s as f32).collect()
    }

    #[test]
    fn published_speech_deviates_by_nothing_at_any_level_and_in_any_split() {
        for scale in [1.0, 0.1] {
            let signal = speech(48_000.0, 3.0, 24_000.0, scale);
            let (mut meter, mut split) = (ColourMeter::new(48_000.0), ColourMeter::new(48_000.0));
            meter.push(&signal, |_, _| {});
            signal.chunks(331).for_each(|piece| split.push(piece, |_, _| {}));
            let active = -20.0 + 20.0 * libm::log10(scale);
            let colour = meter.colour(active, &[-120.0; BANDS], 24_000.0, Some(120.0)).unwrap();
            for (i, deviation) in colour.deviation_db.iter().enumerate().skip(4) {
                assert!(deviation.unwrap().abs() < 1.0, "band {i}: {deviation:?}");
            }
            assert!(colour.presence_db.unwrap().abs() < 0.3);
            assert_eq!(split.colour(active, &[-120.0; BANDS], 24_000.0, Some(120.0)), Ok(colour));
            // Negative control: what the recording does not contain is not known.
            let narrow = meter.colour(active, &[-120.0; BANDS], 4_000.0, Some(120.0)).unwrap();
            assert!(narrow.deviation_db[20].is_none() && narrow.top_end_db == Err(Doubt::NoBand));
        }
    }
}
