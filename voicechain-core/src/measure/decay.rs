//! Decay time of the reverberation, estimated from the voice alone.

use super::profile::{Measured, Reverberation, Unavailable};
use super::spectra::{Framing, Spectrum};
use crate::blank::blank;
use crate::dsp::histogram::{interpolated_bin, percentile_bin};
use crate::math::{power_to_db, smoothing};

/// Third-octave bands, from 250 Hz up to 6.35 kHz.
const BANDS: usize = 14;
const LOWEST_HZ: f64 = 250.0;
/// Interval between stored frames.
const STORE_EVERY: usize = 2;
/// Frames per segment: 15 s at 48 kHz.
const RING: usize = 1_408;
/// Levels are stored in steps of 0.5 dB from -127.5 dB up.
const BOTTOM_DB: f64 = -127.5;
const STEP_DB: f64 = 0.5;
/// Time constant of the band powers, ms.
const SMOOTH_MS: f64 = 8.0;
/// Length of a slope, s.
const SLOPE_S: f64 = 0.107;
/// Maximum length of a slope, frames.
const MAX_SLOPE: usize = 32;
/// Percentile from which the noise floor of a band is measured.
const FLOOR_SHARE: f64 = 0.05;
/// The noise floor is the mean power of levels up to this distance above that percentile, dB.
const FLOOR_DB: f64 = 6.0;
/// Minimum distance of a band's peaks (99th percentile) above its noise floor, dB.
const MIN_RANGE_DB: f64 = 12.0;
/// Levels this far below the peaks count as noise floor, dB: gated or cut recordings fall further.
const DEPTH_DB: f64 = 50.0;
/// Minimum level at the end of a slope above the noise floor, dB.
const OVER_FLOOR_DB: f64 = 2.0;
/// Share of all decays that are steeper than the steep slope.
const STEEP: f64 = 0.1;
/// Share of all decays that are steeper than the median slope.
const MEDIAN: f64 = 0.5;
/// Histogram of ln(60 / slope), which is ln(decay time) for an exponential decay.
const SLOPES: usize = 512;
const LOWEST_LN: f64 = -4.0;
const LN_STEP: f64 = 0.012;
/// Minimum number of decays in all bands.
const MIN_DECAYS: u64 = 250;
/// Minimum duration, s.
const MIN_S: f64 = 5.0;
/// Below this signal-to-noise ratio no result is available, dB.
const MIN_SNR_DB: f64 = 6.0;
/// Below this signal-to-noise ratio decays end early in the noise and appear steeper, dB. The map compensates for it.
const CLEAN_SNR_DB: f64 = 35.0;
/// Maximum distance below that ratio for which the map compensates, dB.
const NOISIEST_DB: f64 = 20.0;

/// Estimates the decay time from the slopes of third-octave bands.
///
/// Input: spectra of short frames, four hops per frame. Slopes are measured over 107 ms. The map is
///
/// `ln T = 0.496 x^2 + 3.408 x - 0.734 y + 1.634 + n (0.192 x + 0.242)`.
///
/// - `x`: `ln(60 / slope)` of the slope that a tenth of all decays exceed. It reflects the fastest decay that the
///   reverberation allows.
/// - `y`: the same of the slope that half of all decays exceed. It shows how much of the decays belongs to the voice
///   itself.
/// - `n`: a tenth of the distance of the signal-to-noise ratio below 35 dB, at most 2.
///
/// Fitted by robust least squares on the development recordings: 22 voices in twelve rooms with three noises. Accuracy:
/// see tests/accuracy/RESULTS.md, group `reverberation`.
///
/// Every second frame is stored. Noise floors and peaks are those of successive segments of 15 s at 48 kHz. Memory
/// 22 kB.
#[derive(Clone, Debug)]
pub(crate) struct DecayMeter {
    ring: [[u8; BANDS]; RING],
    filled: usize,
    /// Frames since the last stored one.
    since: usize,
    power: [f64; BANDS],
    /// First bin of each band, and the end of the last band.
    edges: [usize; BANDS + 1],
    keep: f64,
    frame_s: f64,
    slope: usize,
    decays: [u32; SLOPES],
    frames: u64,
}

blank! { DecayMeter { ring, filled, since, power, edges, keep, frame_s, slope, decays, frames } }

impl DecayMeter {
    /// A meter for spectra of short frames.
    pub(crate) fn new(framing: &Framing) -> Self {
        let frame_s = STORE_EVERY as f64 * framing.hop_s();
        Self {
            ring: [[0; BANDS]; RING],
            filled: 0,
            since: 0,
            power: [0.0; BANDS],
            edges: core::array::from_fn(|k| framing.bin(LOWEST_HZ * libm::exp2(k as f64 / 3.0))),
            keep: smoothing(SMOOTH_MS, 1.0, framing.hop_s()),
            frame_s,
            slope: ((SLOPE_S / frame_s + 0.5) as usize).clamp(4, MAX_SLOPE),
            decays: [0; SLOPES],
            frames: 0,
        }
    }

    /// Processes the spectrum of the next frame.
    pub(crate) fn frame(&mut self, &Spectrum { powers, .. }: &Spectrum<'_>) {
        self.since += 1;
        let keep = self.since == STORE_EVERY;
        let Some(place) = self.ring.get_mut(self.filled) else { return };
        for (((level, smooth), from), to) in
            place.iter_mut().zip(&mut self.power).zip(&self.edges).zip(&self.edges[1..])
        {
            let power: f32 = powers.get(*from..*to).unwrap_or(&[]).iter().sum();
            *smooth = self.keep * *smooth + (1.0 - self.keep) * f64::from(power);
            if keep {
                // NaN counts as the lowest level.
                *level = ((power_to_db(smooth.max(1e-13)) - BOTTOM_DB) / STEP_DB + 0.5) as u8;
            }
        }
        if !keep {
            return;
        }
        self.since = 0;
        self.filled += 1;
        self.frames += 1;
        if self.filled == RING {
            count_decays(&self.ring, self.slope, self.frame_s, &mut self.decays);
            self.filled = 0;
        }
    }

    /// Reverberation, given the signal-to-noise ratio in dB. If the ratio is unavailable for a reason other than noise,
    /// the recording counts as noise-free.
    pub(crate) fn reverberation(&self, snr_db: Measured<f64>) -> Measured<Reverberation> {
        let snr_db = match snr_db {
            Err(Unavailable::TooNoisy) => return Err(Unavailable::TooNoisy),
            Ok(snr_db) if snr_db < MIN_SNR_DB => return Err(Unavailable::TooNoisy),
            known => known.unwrap_or(f64::INFINITY),
        };
        let mut decays = self.decays;
        // A short last segment after complete ones would have no noise floor of its own.
        if self.frames as usize == self.filled || self.filled as f64 * self.frame_s >= MIN_S {
            count_decays(&self.ring[..self.filled], self.slope, self.frame_s, &mut decays);
        }
        let total: u64 = decays.iter().map(|&n| u64::from(n)).sum();
        if total < MIN_DECAYS {
            let short = (self.frames as f64) * self.frame_s < MIN_S;
            return Err(if short { Unavailable::TooShort } else { Unavailable::NoSuitableSegment });
        }
        let [steep, median] = [STEEP, MEDIAN].map(|share| exceeded_by(&decays, share * total as f64));
        let noise = 0.1 * (CLEAN_SNR_DB - snr_db).clamp(0.0, NOISIEST_DB);
        let ln = (0.496 * steep + 3.408) * steep - 0.734 * median + 1.634 + noise * (0.192 * steep + 0.242);
        Ok(Reverberation::with_decay_time(libm::exp(ln).clamp(0.1, 1.5)))
    }
}

/// ln(60 / slope) of the slope that this number of decays exceed.
fn exceeded_by(decays: &[u32; SLOPES], wanted: f64) -> f64 {
    let place = interpolated_bin(decays.iter().map(|&count| f64::from(count)), wanted);
    LOWEST_LN + LN_STEP * place.unwrap_or(SLOPES as f64)
}

/// Adds the decays of one segment to the histogram.
fn count_decays(piece: &[[u8; BANDS]], slope: usize, frame_s: f64, decays: &mut [u32; SLOPES]) {
    let middle = 0.5 * (slope as f64 - 1.0);
    let squares: f64 = (0..slope).map(|i| (i as f64 - middle) * (i as f64 - middle)).sum();
    for band in 0..BANDS {
        let mut counts = [0_u32; 256];
        piece.iter().for_each(|levels| counts[usize::from(levels[band])] += 1);
        let at = |share: f64| percentile_bin(counts.iter().map(|&n| f64::from(n)), share * piece.len() as f64);
        let (Some(lowest), Some(peak)) = (at(FLOOR_SHARE), at(0.99)) else { continue };
        let (mut sum, mut number) = (0.0, 0.0);
        for (level, &count) in counts.iter().enumerate().take(lowest + (FLOOR_DB / STEP_DB) as usize) {
            sum += f64::from(count) * libm::exp10(0.1 * level as f64 * STEP_DB);
            number += f64::from(count);
        }
        let (floor_db, peak_db) = (power_to_db(sum / number), peak as f64 * STEP_DB);
        // The lowest level is silence, or a band beyond the sample rate.
        if peak_db - floor_db < MIN_RANGE_DB {
            continue;
        }
        let floor_db = floor_db.max(peak_db - DEPTH_DB);
        // Levels without the power of the noise floor.
        let noise = libm::exp10(0.1 * floor_db);
        let clean: [f32; 256] = core::array::from_fn(|level| {
            let power = libm::exp10(0.1 * level as f64 * STEP_DB);
            power_to_db((power - noise).max(0.05 * power)) as f32
        });
        for window in piece.windows(slope) {
            if f64::from(window[slope - 1][band]) * STEP_DB <= floor_db + OVER_FLOOR_DB {
                continue;
            }
            let along: f64 = (window.iter().enumerate())
                .map(|(i, levels)| (i as f64 - middle) * f64::from(clean[usize::from(levels[band])]))
                .sum();
            let fall = -along / (squares * frame_s);
            if fall > 0.0 {
                let place = ((libm::log(60.0 / fall) - LOWEST_LN) / LN_STEP).max(0.0) as usize;
                let count = &mut decays[place.min(SLOPES - 1)];
                *count = count.saturating_add(1);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::super::spectra::Spectra;
    use super::*;
    use std::vec::Vec;

    const RATE: f64 = 48_000.0;

    fn noise(state: &mut u32) -> f64 {
        *state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f64::from(*state >> 8) / 8_388_608.0 - 1.0
    }

    /// Bursts of noise every 0.6 to 1.2 s that decay by 60 dB in `decay_s`, over a noise floor.
    fn bursts(decay_s: f64, gain: f64, seconds: f64) -> Vec<f32> {
        let (mut state, mut level, mut left) = (7, 0.0, 0);
        (0..(seconds * RATE) as usize)
            .map(|_| {
                if left == 0 {
                    left = (RATE * (0.9 + 0.3 * noise(&mut state))) as usize;
                    level = 0.3;
                }
                left -= 1;
                level *= libm::exp10(-3.0 / (decay_s * RATE));
                (gain * (level * noise(&mut state) + 3e-5 * noise(&mut state))) as f32
            })
            .collect()
    }

    fn measured(samples: &[f32], split: usize) -> DecayMeter {
        let framing = Framing::short(RATE);
        let mut spectra = Spectra::<512>::new(framing);
        let mut meter = DecayMeter::new(&framing);
        samples.chunks(split).for_each(|piece| spectra.push(piece, |spectrum| meter.frame(spectrum)));
        meter
    }

    #[test]
    fn slower_decays_measure_longer_and_near_their_own_time() {
        // The map is fitted to voices in rooms. Decays without direct sound before them measure longer.
        let mut before = 0.0;
        for decay_s in [0.4, 0.6, 0.9] {
            let reverberation =
                measured(&bursts(decay_s, 1.0, 40.0), 4_800).reverberation(Err(Unavailable::Silence)).unwrap();
            assert!(
                (0.8..1.5).contains(&(reverberation.decay_time_s / decay_s)) && !reverberation.dry,
                "{decay_s}: {reverberation:?}"
            );
            assert!(reverberation.decay_time_s > 1.2 * before, "{decay_s}: {reverberation:?}");
            before = reverberation.decay_time_s;
        }
        let reverberation = measured(&bursts(0.1, 1.0, 40.0), 4_800).reverberation(Err(Unavailable::Silence)).unwrap();
        assert!(reverberation.dry, "{reverberation:?}");
    }

    #[test]
    fn level_and_block_size_do_not_change_the_decay_time() {
        let loud = measured(&bursts(0.6, 1.0, 12.0), 4_800).reverberation(Err(Unavailable::Silence));
        assert_eq!(measured(&bursts(0.6, 1.0, 12.0), 77).reverberation(Err(Unavailable::Silence)), loud);
        let quiet =
            measured(&bursts(0.6, 0.1, 12.0), 4_800).reverberation(Err(Unavailable::Silence)).unwrap().decay_time_s;
        assert!((quiet / loud.unwrap().decay_time_s - 1.0).abs() < 0.03, "{quiet}");
    }

    #[test]
    fn steady_and_noisy_signals_have_no_decay_time() {
        let mut state = 3;
        let steady: Vec<f32> = (0..480_000).map(|_| 0.1 * noise(&mut state) as f32).collect();
        assert_eq!(
            measured(&steady, 4_800).reverberation(Err(Unavailable::Silence)),
            Err(Unavailable::NoSuitableSegment)
        );
        assert_eq!(
            measured(&steady[..96_000], 4_800).reverberation(Err(Unavailable::Silence)),
            Err(Unavailable::TooShort)
        );
        assert_eq!(measured(&bursts(0.6, 1.0, 12.0), 4_800).reverberation(Ok(5.0)), Err(Unavailable::TooNoisy));
    }
}
