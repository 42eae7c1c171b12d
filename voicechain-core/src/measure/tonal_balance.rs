//! Tonal balance: long-term spectrum of active speech, compared with the long-term average speech
//! spectrum (LTASS).

use super::level_bins::LevelBins;
use super::profile::{Measured, THIRD_OCTAVES, TonalBalance, Unavailable};
use super::spectra::{Framing, Spectrum, total};
use crate::blank::blank;
use crate::math::power_to_db;
use crate::speech::{BYRNE_1994_COMBINED, deviation_from_published};

/// Width of the narrow bands from which the bandwidth is measured, Hz.
pub(crate) const NARROW_HZ: f64 = 187.5;
/// Number of narrow bands: up to 24 kHz.
pub(crate) const NARROW: usize = 128;
/// Minimum duration of a spectrum, s.
const MIN_S: f64 = 2.0;
/// Minimum level of a band above the noise, dB.
const OVER_NOISE_DB: f64 = 6.0;

/// Accumulates the spectra of long frames by their level, in third octaves and narrow bands.
#[derive(Clone, Debug)]
pub(crate) struct TonalBalanceMeter {
    framing: Framing,
    /// Sums of third octaves and narrow bands, by frame level.
    thirds: LevelBins<THIRD_OCTAVES>,
    narrow: LevelBins<NARROW, 30>,
    /// Edges of the third octaves, bins.
    edges: [f32; THIRD_OCTAVES + 1],
}

blank! { TonalBalanceMeter { framing, thirds, narrow, edges } }

impl TonalBalanceMeter {
    /// A meter for spectra of long frames.
    pub(crate) fn new(framing: &Framing) -> Self {
        let bin_hz = framing.bin_hz();
        // IEC 61260-1: base-ten edges, 1 kHz 10^((i +- 1/2) / 10); 63 Hz is i = -12.
        let edges = core::array::from_fn(|i| (1_000.0 * libm::exp10((i as f64 - 12.5) / 10.0) / bin_hz) as f32);
        Self { framing: *framing, thirds: LevelBins::new(), narrow: LevelBins::new(), edges }
    }

    /// Processes a spectrum and its level in dB.
    pub(crate) fn frame(&mut self, &Spectrum { powers, .. }: &Spectrum<'_>, level_db: f64) {
        for (sum, edge) in self.thirds.at(level_db).iter_mut().zip(self.edges.windows(2)) {
            *sum += between(powers, edge[0], edge[1]);
        }
        let step = self.narrow_per_bin();
        let sums = self.narrow.at(level_db);
        for (k, power) in powers.iter().enumerate() {
            sums[((k as f32 * step) as usize).min(NARROW - 1)] += power;
        }
    }

    /// Narrow bands per bin.
    fn narrow_per_bin(&self) -> f32 {
        (self.framing.bin_hz() / NARROW_HZ) as f32
    }

    /// Mean third-octave powers of active speech, relative to full scale squared.
    pub(crate) fn thirds(&self, active_level_dbov: f64) -> Measured<[f64; THIRD_OCTAVES]> {
        let (sums, count) = self.thirds.speech(active_level_dbov);
        if count * self.framing.hop_s() < MIN_S {
            return Err(Unavailable::TooShort);
        }
        Ok(sums.map(|sum| sum / count))
    }

    /// Upper edge of a third octave, Hz.
    pub(crate) fn upper_hz(&self, band: usize) -> f64 {
        f64::from(self.edges[band + 1]) * self.framing.bin_hz()
    }

    /// Power density of active speech in bands of [`NARROW_HZ`], dB, and the number of bands at this rate.
    pub(crate) fn narrow_db(&self, active_level_dbov: f64) -> Measured<([f64; NARROW], usize)> {
        let (sums, count) = self.narrow.speech(active_level_dbov);
        if count * self.framing.hop_s() < MIN_S {
            return Err(Unavailable::TooShort);
        }
        let bands = ((0.5 * self.framing.rate_hz / NARROW_HZ) as usize).min(NARROW);
        let mut bins = [0.0_f64; NARROW];
        let step = self.narrow_per_bin();
        for k in 0..self.framing.length / 2 {
            bins[((k as f32 * step) as usize).min(NARROW - 1)] += 1.0;
        }
        let level = |i: usize| power_to_db((sums[i] / (count * bins[i].max(1.0))).max(1e-20));
        Ok((core::array::from_fn(level), bands))
    }

    /// Third-octave levels of the quietest frames, dBFS: those less than 6 dB above their 5th percentile. Accurate
    /// within 1 dB for steady noise; up to 3 dB too low for fluctuating noise, such as babble.
    pub(crate) fn quiet_dbfs(&self) -> [f64; THIRD_OCTAVES] {
        let (sums, count) = self.thirds.quietest(0.05, 6.0);
        sums.map(|sum| power_to_db((sum / count.max(1.0)).max(1e-20)))
    }

    /// Tonal balance, given the active speech level, the third-octave noise levels in dBFS, the bandwidth of the
    /// recording and the median pitch.
    pub(crate) fn tonal_balance(
        &self,
        active_level_dbov: f64,
        noise_dbfs: &[f64; THIRD_OCTAVES],
        high_hz: f64,
        pitch_hz: Option<f64>,
    ) -> Measured<TonalBalance> {
        let powers = self.thirds(active_level_dbov)?;
        let bands_dbfs: [Option<f64>; THIRD_OCTAVES] = core::array::from_fn(|i| {
            let db = power_to_db(powers[i].max(1e-20));
            (self.upper_hz(i) <= high_hz * 1.01 && db >= noise_dbfs[i] + OVER_NOISE_DB).then_some(db)
        });
        let deviation_db = deviation_from_published(&bands_dbfs, pitch_hz).ok_or(Unavailable::TooNoisy)?;
        let region = |from: usize, to: usize| {
            let known = deviation_db[from..=to].iter().flatten();
            let (sum, count) = known.fold((0.0, 0.0), |(sum, count), db| (sum + db, count + 1.0));
            if count * 2.0 >= (to - from + 1) as f64 {
                Ok(sum / count)
            } else {
                Err(Unavailable::InsufficientBandwidth)
            }
        };
        // Bands below the pitch contain no voice.
        let lowest = (2..6).find(|&i| pitch_hz.is_none_or(|hz| BYRNE_1994_COMBINED[i].0 > 0.8 * hz)).unwrap_or(6);
        Ok(TonalBalance {
            bands_dbfs,
            deviation_db,
            low_end_db: region(lowest, 6),
            presence_db: region(15, 19),
            top_end_db: region(20, 23),
        })
    }
}

/// Power between two positions, in bins. Each bin extends half a bin to both sides and counts by its overlap.
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
    use super::super::spectra::Spectra;
    use super::*;
    extern crate std;
    use std::vec::Vec;

    /// The spectrum of published speech as sines, 24 per third octave, up to a frequency. The 20 kHz band is as strong
    /// as the last published one.
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

    pub(crate) fn measured(rate: f64, signal: &[f32], piece: usize) -> TonalBalanceMeter {
        let framing = Framing::long(rate);
        let mut spectra = Spectra::<2_048>::new(framing);
        let mut balance = TonalBalanceMeter::new(&framing);
        for piece in signal.chunks(piece) {
            spectra.push(piece, |spectrum| balance.frame(spectrum, spectrum.level_db()));
        }
        balance
    }

    #[test]
    fn published_speech_has_no_deviation_at_any_level_and_block_size() {
        for scale in [1.0, 0.1] {
            let signal = speech(48_000.0, 3.0, 24_000.0, scale);
            let (meter, split) = (measured(48_000.0, &signal, signal.len()), measured(48_000.0, &signal, 331));
            let active = -20.0 + 20.0 * libm::log10(scale);
            let tonal_balance = meter.tonal_balance(active, &[-120.0; THIRD_OCTAVES], 24_000.0, Some(120.0)).unwrap();
            for (i, deviation) in tonal_balance.deviation_db.iter().enumerate().skip(4) {
                assert!(deviation.unwrap().abs() < 1.0, "band {i}: {deviation:?}");
            }
            assert!(tonal_balance.presence_db.unwrap().abs() < 0.3);
            assert_eq!(split.tonal_balance(active, &[-120.0; THIRD_OCTAVES], 24_000.0, Some(120.0)), Ok(tonal_balance));
            // Negative control: bands beyond the bandwidth are unavailable.
            let narrow = meter.tonal_balance(active, &[-120.0; THIRD_OCTAVES], 4_000.0, Some(120.0)).unwrap();
            assert!(narrow.deviation_db[20].is_none() && narrow.top_end_db == Err(Unavailable::InsufficientBandwidth));
        }
    }
}
