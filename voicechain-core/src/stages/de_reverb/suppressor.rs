//! Gains that suppress late reverberation and noise in each band.

use super::parameters::Parameters;
use super::predictor::{Interference, PredictionPowers};
use super::stft::{BANDS, BANDS_PER_FLOOR, FLOORS, Stft};
use crate::blank::blank;

/// Maximum delay from the direct sound to the late reverberation, hops.
const MAX_LATE_HOPS: usize = 24;
/// Parts of the minimum search window of the noise floor.
const PARTS: usize = 8;
/// Noise counts fully if it is at most this far below the peak level, dB. Chosen on the development recordings (see
/// tests/standards/DE_REVERB.md).
const NOISY_DB: f32 = 27.0;
/// Noise that is further below the peak level does not count, dB.
const CLEAN_DB: f32 = 37.0;
/// Up to this ratio of sound to late reverberation and noise, over all bands, no direct sound is present, dB. Chosen on
/// the development recordings (see tests/standards/DE_REVERB.md).
const LATE_DB: f32 = -3.0;
/// From this ratio on direct sound is fully present, dB.
const DIRECT_DB: f32 = 3.0;
/// Share of the range, in dB, that limits the attenuation during direct sound. The full range is left to pauses and to
/// the ends of words, where no speech can be damaged.
const DIRECT_SHARE: f32 = 0.55;
/// The same share in audible noise, which also lies below the direct sound (see tests/standards/DE_REVERB.md).
const DIRECT_SHARE_IN_NOISE: f32 = 0.8;
/// Factor on the late reverberation without direct sound. Chosen on the development recordings (see
/// tests/standards/DE_REVERB.md).
const LATE_OVERSUBTRACTION: f32 = 1.5;
/// Factor on the late reverberation during direct sound, as far as detection is required (see
/// tests/standards/DE_REVERB.md).
const LATE_SHARE_BESIDE_DIRECT: f32 = 0.5;
/// Lower limit of the peak level as a share of the power of the current hop, at most of full scale (-40 dB). After
/// silence the peak level is thus found within a second.
const INSTANT_PEAK_SHARE: f32 = 1e-4;
/// Powers below this count as zero.
const MIN_POWER: f32 = 1e-20;
/// The output is the delayed input while less than this share of the power (-70 dB) would be removed.
const MIN_REMOVED_SHARE: f32 = 1e-7;

/// State of the suppressor.
#[derive(Clone, Debug)]
pub(super) struct Suppressor {
    pub(super) powers: [f32; BANDS],
    pub(super) gains: [f32; BANDS],
    /// Smoothed power without noise, as of the previous hop.
    smooth: [f32; BANDS],
    /// Modelled power of the reverberation.
    reverberation: [f32; BANDS],
    /// Reverberation of the latest hops: upper halves of `f32`.
    history: [[u16; BANDS]; MAX_LATE_HOPS],
    at: usize,
    /// Position of the late reverberation of the current hop in `history`.
    oldest: usize,
    /// Power after suppression in the previous hop.
    passed: [f32; BANDS],
    noise_smooth: [f32; FLOORS],
    noise_running: [f32; FLOORS],
    noise_past: [[f32; FLOORS]; PARTS],
    noise: [f32; FLOORS],
    part: usize,
    parts: usize,
    hops: u32,
    /// Peak level: power of all bands.
    peak: f32,
}

blank! {
    Suppressor {
        powers, gains, smooth, reverberation, history, at, oldest, passed, noise_smooth, noise_running, noise_past,
        noise, part, parts, hops, peak,
    }
}

/// Summary of the gains of a hop.
#[derive(Clone, Copy, Debug)]
pub(super) struct GainSummary {
    /// Gain above the processed bands.
    pub(super) above: f32,
    /// False if the removed power is negligible.
    pub(super) acts: bool,
    /// Power after over power before.
    pub(super) left: f32,
}

impl Suppressor {
    /// Sets the initial state, in place.
    pub(super) fn clear(&mut self) {
        self.gains.fill(1.0);
        for values in [&mut self.powers, &mut self.smooth, &mut self.reverberation, &mut self.passed] {
            values.fill(0.0);
        }
        self.history.iter_mut().for_each(|values| values.fill(0));
        self.noise_past.iter_mut().for_each(|values| values.fill(f32::MAX));
        self.noise_running.fill(f32::MAX);
        self.noise_smooth.fill(0.0);
        self.noise.fill(0.0);
        (self.at, self.oldest, self.part, self.parts, self.hops) = (0, 0, 0, 0, 0);
        self.peak = MIN_POWER;
    }

    /// Clears the signal history and keeps noise floor and peak level.
    pub(super) fn end_analysis(&mut self) {
        self.gains.fill(1.0);
        for values in [&mut self.powers, &mut self.smooth, &mut self.reverberation, &mut self.passed] {
            values.fill(0.0);
        }
        self.history.iter_mut().for_each(|values| values.fill(0));
        self.noise_smooth = self.noise;
        (self.at, self.oldest) = (0, 0);
    }

    /// Starts a hop: [`interference`](Self::interference) then returns the late reverberation of this hop.
    ///
    /// Habets, Gannot, Cohen, "Late Reverberant Spectral Variance Estimation Based on a Statistical Model", IEEE Signal
    /// Processing Letters 16(9):770-773, 2009. With a feed of 1 it equals Lebart, Boucher, Denbigh, Acta Acustica
    /// 87:359-366, 2001.
    pub(super) fn begin(&mut self, stft: &Stft, parameters: &Parameters) {
        let n = stft.bands.min(BANDS);
        let slots = stft.late_hops.clamp(2, MAX_LATE_HOPS);
        self.at = (self.at + 1) % slots;
        // The slot after the current one holds the oldest hop.
        self.oldest = (self.at + 1) % slots;
        for ((r, smooth), slot) in
            self.reverberation[..n].iter_mut().zip(&self.smooth[..n]).zip(&mut self.history[self.at][..n])
        {
            let next = parameters.decay_per_hop
                * ((1.0 - parameters.reverberant_share) * *r + parameters.reverberant_share * smooth);
            *r = if next > MIN_POWER { next } else { 0.0 };
            *slot = (r.to_bits().wrapping_add(0x8000) >> 16) as u16;
        }
    }

    /// Late reverberation and noise of the current hop.
    pub(super) fn interference(&self) -> Interference<'_> {
        Interference { late: &self.history[self.oldest], noise: &self.noise }
    }

    /// Computes the gains of a started hop from its powers.
    ///
    /// Gain: Wiener filter with the decision-directed ratio of Ephraim and Malah 1984. Noise: minimum statistics over
    /// 1.5 s (Martin 2001). Noise does not feed the reverberation and, where audible, is suppressed along with it. It
    /// is learnt from `filled` frames only, which exclude the silence before the start.
    pub(super) fn hop(
        &mut self,
        stft: &Stft,
        parameters: &Parameters,
        predicted: &PredictionPowers,
        filled: bool,
    ) -> GainSummary {
        let (n, oldest) = (stft.bands.min(BANDS), self.oldest);
        if filled {
            self.update_noise_floor(stft, n, oldest, parameters.decay_until_late);
        }
        let [all, late, noise] = self.sums(n, oldest);
        let audible = self.noise_audibility(stft, all, noise);
        // Without detected reverberation, late reverberation is left untouched; without audible noise, so is
        // everything.
        let late_share =
            parameters.decay_until_late * (predicted.detected + (1.0 - predicted.detected) * (1.0 - audible));
        let strength = parameters.strength * predicted.detected
            + parameters.noise_only_strength * (1.0 - predicted.detected) * audible;
        let direct = direct(all, late_share * late + audible * noise);
        let share = DIRECT_SHARE + audible * (DIRECT_SHARE_IN_NOISE - DIRECT_SHARE);
        let floor = libm::powf(parameters.floor, 1.0 + direct * (share - 1.0));
        let beside_direct = 1.0 + parameters.detection_weight * (LATE_SHARE_BESIDE_DIRECT - 1.0);
        let late_share = late_share * (LATE_OVERSUBTRACTION + direct * (beside_direct - LATE_OVERSUBTRACTION));
        let (powers, gains) = (&self.powers[..n], &mut self.gains[..n]);
        let (late, passed, smooth) = (&self.history[oldest][..n], &mut self.passed[..n], &mut self.smooth[..n]);
        // Spread the noise floors over their bands.
        for (gains, noise) in gains.as_chunks_mut::<BANDS_PER_FLOOR>().0.iter_mut().zip(&self.noise) {
            *gains = [audible * *noise; BANDS_PER_FLOOR];
        }
        for ((((gain, &power), &late), passed), smooth) in
            gains.iter_mut().zip(powers).zip(late).zip(passed).zip(smooth)
        {
            let noise = *gain;
            let interference = late_share * f32::from_bits(u32::from(late) << 16) + noise;
            let interference = if interference > MIN_POWER { interference } else { MIN_POWER };
            let over = power - interference;
            let over = if over > 0.0 { over } else { 0.0 };
            // Wiener gain from the decision-directed ratio, with a single division.
            let wanted =
                parameters.decision_directed_weight * *passed + (1.0 - parameters.decision_directed_weight) * over;
            let wiener = wanted / (wanted + interference);
            let wiener = if wiener > floor { wiener } else { floor };
            let left = wiener * wiener * power;
            *passed = if left > MIN_POWER { left } else { 0.0 };
            let drive = power - noise;
            let drive = if drive > 0.0 { drive } else { 0.0 };
            let next = drive + parameters.feed_smoothing * (*smooth - drive);
            *smooth = if next > MIN_POWER { next } else { 0.0 };
            *gain = 1.0 + strength * (wiener - 1.0);
        }
        self.summarise(n, predicted)
    }

    /// Sums over all bands: power of the sound, of its reverberation, of the noise.
    fn sums(&self, n: usize, oldest: usize) -> [f32; 3] {
        let mut sums = [[0.0f32; 8]; 2];
        let (powers, late) = (self.powers[..n].as_chunks::<8>().0, self.history[oldest][..n].as_chunks::<8>().0);
        for (powers, late) in powers.iter().zip(late) {
            for k in 0..8 {
                sums[0][k] += powers[k];
                sums[1][k] += f32::from_bits(u32::from(late[k]) << 16);
            }
        }
        let [all, late] = sums.map(|sum| sum.iter().sum());
        [all, late, BANDS_PER_FLOOR as f32 * self.noise[..n.div_ceil(BANDS_PER_FLOOR)].iter().sum::<f32>()]
    }

    /// Audibility of the noise, 0 to 1: 1 if it is close below the peak level, 0 if it is the noise floor of a clean
    /// recording, which could only be removed along with the decay of the voice itself.
    fn noise_audibility(&mut self, stft: &Stft, all: f32, noise: f32) -> f32 {
        let most = (self.peak * stft.peak_rise).max(INSTANT_PEAK_SHARE * all.min(stft.full_scale));
        self.peak = all.clamp(self.peak * stft.peak_decay, most).max(MIN_POWER);
        if noise < MIN_POWER {
            return 1.0;
        }
        let under_db = 10.0 * libm::log10f(self.peak / noise);
        ((CLEAN_DB - under_db) / (CLEAN_DB - NOISY_DB)).clamp(0.0, 1.0)
    }

    /// Summarises the effect of the gains and of the prediction on the power.
    fn summarise(&self, n: usize, predicted: &PredictionPowers) -> GainSummary {
        let mut sums = [[0.0f32; 8]; 3];
        let (powers, gains) = (self.powers[..n].as_chunks::<8>().0, self.gains[..n].as_chunks::<8>().0);
        for (powers, gains) in powers.iter().zip(gains) {
            for k in 0..8 {
                let (power, gain) = (powers[k], gains[k]);
                sums[0][k] += power;
                sums[1][k] += gain * gain * power;
                sums[2][k] += (1.0 - gain) * (1.0 - gain) * power;
            }
        }
        let [all, left, taken] = sums.map(|sum| sum.iter().sum::<f32>());
        // Power before the prediction was subtracted.
        let all = all + (predicted.before - predicted.after);
        let top = &self.gains[n - n / 4..n];
        GainSummary {
            above: top.iter().sum::<f32>() / top.len() as f32,
            acts: taken + predicted.between > MIN_REMOVED_SHARE * all && all > MIN_POWER,
            left: if all > MIN_POWER { left / all } else { 1.0 },
        }
    }

    /// Updates the noise floor. The modelled late reverberation is subtracted first; otherwise reverberant pauses would
    /// count as noise.
    fn update_noise_floor(&mut self, stft: &Stft, n: usize, oldest: usize, late_share: f32) {
        let count = n.div_ceil(BANDS_PER_FLOOR);
        // The number of bands is a power of two.
        let (powers, late) =
            (self.powers[..n].as_chunks::<BANDS_PER_FLOOR>().0, self.history[oldest][..n].as_chunks().0);
        for (((powers, late), smooth), running) in
            powers.iter().zip(late).zip(&mut self.noise_smooth).zip(&mut self.noise_running)
        {
            let [a, b, c, d] = *powers;
            let [e, f, g, h] = late.map(|late: u16| f32::from_bits(u32::from(late) << 16));
            let power = 0.25 * ((a + b + c + d) - late_share * (e + f + g + h));
            // The first hop initialises the smoothed power.
            let kept = if self.hops == 0 && self.parts == 0 { 0.0 } else { stft.noise_smoothing };
            let next = power + kept * (*smooth - power);
            // May be negative: the model may exceed the measured power.
            *smooth = if next.abs() > MIN_POWER { next } else { 0.0 };
            let known = if *smooth > 0.0 { *smooth } else { 0.0 };
            *running = if known < *running { known } else { *running };
        }
        self.hops += 1;
        let whole = self.hops >= stft.noise_hops;
        for k in 0..count {
            let known = self.noise_running[k] * stft.noise_bias;
            if known < self.noise[k] {
                self.noise[k] = known;
            }
        }
        if !whole {
            return;
        }
        self.hops = 0;
        self.noise_past[self.part] = self.noise_running;
        self.part = (self.part + 1) % PARTS;
        self.parts = (self.parts + 1).min(PARTS);
        for k in 0..count {
            let lowest = self.noise_past.iter().map(|part| part[k]).fold(f32::MAX, |a, b| if b < a { b } else { a });
            let lowest = lowest * stft.noise_bias;
            // Once known, the floor rises slowly, because a held note is no noise.
            let most = if self.parts < PARTS { lowest } else { self.noise[k] * stft.noise_rise + stft.noise_min_rise };
            self.noise[k] = if lowest < most { lowest } else { most };
        }
        self.noise_running = [f32::MAX; FLOORS];
    }
}

/// Presence of direct sound, 0 to 1, in a hop with this total power and this interference.
fn direct(all: f32, interference: f32) -> f32 {
    let over_db = 10.0 * libm::log10f(all.max(MIN_POWER) / interference.max(MIN_POWER));
    ((over_db - LATE_DB) / (DIRECT_DB - LATE_DB)).clamp(0.0, 1.0)
}

#[cfg(test)]
impl Suppressor {
    /// A suppressor whose late reverberation has this power in every band.
    pub(super) fn with_late(power: f32) -> Self {
        let mut fresh = <Self as crate::blank::Blank>::BLANK;
        fresh.clear();
        fresh.history.iter_mut().for_each(|values| values.fill((power.to_bits() >> 16) as u16));
        fresh
    }

    /// Mean noise floor of the bands.
    pub(super) fn mean_noise(&self, bands: usize) -> f64 {
        let floors = &self.noise[2..bands / BANDS_PER_FLOOR - 2];
        floors.iter().map(|&f| f64::from(f)).sum::<f64>() / floors.len() as f64
    }
}
