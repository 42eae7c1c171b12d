//! Linear prediction of the late reverberation in each band.

use super::parameters::Parameters;
use super::stft::{BANDS, FLOORS, HALF, MAX_BAND_GROUPS, PAST, Prediction, Stft, TAPS};
use crate::blank::{Blank, blank};
use crate::dsp::Complex4;
use crate::dsp::fft::SplitComplex;
use wide::f32x4;

#[cfg(test)]
mod tests;

/// Pairs of different taps.
const PAIRS: usize = TAPS * (TAPS - 1) / 2;
/// Regularisation of the normal equations: weight of this many unpredictable values at the observed power. Chosen on
/// the development recordings (see tests/standards/DE_REVERB.md).
const REGULARISATION: f32 = 25.0;
/// Weights are inverse powers. The power is limited from below to this share of the band's peak power of the last
/// seconds.
const MIN_SHARE_OF_PEAK: f32 = 1e-2;
/// The power is also limited from below to this share of the total power of the taps.
const MIN_SHARE_OF_TAPS: f32 = 3e-3;
/// Learning time constant, s. After `t` seconds of sound a reverberant voice reaches the share `t / (t + LEARNING_S)`
/// of its final prediction correlation (see tests/standards/DE_REVERB.md).
const LEARNING_S: f32 = 1.33;
/// Below this normalised correlation the voice counts as dry. Chosen on both halves of the recordings (see
/// tests/standards/DE_REVERB.md).
const DRY_CORRELATION: f32 = 0.2;
/// From this normalised correlation on the voice counts as fully reverberant.
const REVERBERANT_CORRELATION: f32 = 0.25;
/// Correlation assumed before any sound was processed.
const PRIOR_CORRELATION: f32 = 0.19;
/// Weight of that assumption: about three seconds of speech.
const PRIOR_WEIGHT: f32 = 1_000.0;
/// Only values above the noise by this power ratio count towards detection. Noise is unpredictable and would otherwise
/// cancel a detection while the talker pauses (see tests/standards/DE_REVERB.md).
const MIN_POWER_OVER_NOISE: f32 = 4.0;
/// Minimum weight at which an analysis ahead of playback decides on reverberation (see tests/standards/DE_REVERB.md).
const MIN_WEIGHT: f32 = 500.0;
/// Maximum power subtracted from a band, as a multiple of its late reverberation. Chosen on the development recordings
/// (see tests/standards/DE_REVERB.md).
const MAX_LATE_RATIO: f32 = 2.0;
/// Factor on that limit where detection is required, because little of the sound is late (see
/// tests/standards/DE_REVERB.md).
const DETECTED_LATE_FACTOR: f32 = 4.0;
/// Powers below this count as zero.
const MIN_POWER: f32 = 1e-20;

/// Linear prediction of four neighbouring bands.
#[derive(Clone, Copy, Debug)]
struct BandGroup {
    /// Diagonal of the normal equations: weighted powers of the taps.
    diagonal: [f32x4; TAPS],
    /// Upper triangle: weighted products of each tap with every later one.
    upper: [Complex4; PAIRS],
    /// Right-hand side: weighted products of the taps with the observed value.
    rhs: [Complex4; TAPS],
    /// Prediction coefficients.
    coefs: [Complex4; TAPS],
    /// Smoothed power of the observed values.
    power: f32x4,
    /// Smoothed power of the prediction residual.
    residual: f32x4,
    /// Peak power of the last seconds.
    peak: f32x4,
}

blank! { BandGroup { diagonal, upper, rhs, coefs, power, residual, peak } }

impl BandGroup {
    /// Updates the normal equations with the observed value and its taps. Returns the correlation of the prior
    /// prediction with the observed value.
    #[inline(always)]
    fn learn(
        &mut self,
        taps: &[Complex4; TAPS],
        now: Complex4,
        predicted: Complex4,
        noise: f32,
        kept: f32,
    ) -> PredictionCorrelation {
        let kept = f32x4::splat(kept);
        let mut all = f32x4::splat(MIN_POWER);
        for tap in taps {
            all += tap.power();
        }
        if all.to_array() == [MIN_POWER; 4] {
            // Silence carries no information; what was learnt is kept.
            return PredictionCorrelation::BLANK;
        }
        let least = (self.peak * MIN_SHARE_OF_PEAK).fast_max(all * MIN_SHARE_OF_TAPS);
        let weight = f32x4::ONE / self.residual.fast_max(least);
        let mut pair = 0;
        for (i, tap) in taps.iter().enumerate() {
            let weighted = Complex4 { re: tap.re * weight, im: -tap.im * weight };
            self.diagonal[i] = self.diagonal[i] * kept + (weighted.re * tap.re - weighted.im * tap.im);
            self.rhs[i] = self.rhs[i].scaled(kept).plus(weighted.times(now));
            for later in &taps[i + 1..] {
                self.upper[pair] = self.upper[pair].scaled(kept).plus(weighted.times(*later));
                pair += 1;
            }
        }
        let counts = now.power().simd_ge(f32x4::splat(noise * MIN_POWER_OVER_NOISE));
        let weight = counts & (f32x4::ONE / self.power.fast_max(least));
        PredictionCorrelation {
            product: (predicted.re * now.re + predicted.im * now.im) * weight,
            predicted: predicted.power() * weight,
            observed: (now.power() - noise) * weight,
        }
    }

    /// Solves the regularised normal equations by a square-root-free Cholesky decomposition.
    #[inline(never)]
    fn solve(&mut self) {
        let regularisation = f32x4::splat(REGULARISATION);
        let mut inverse_pivot = [f32x4::ZERO; TAPS];
        let mut lower = [[Complex4::ZERO; TAPS]; TAPS];
        let mut pair = 0;
        // The lower triangle mirrors the upper one, in the storage order of its pairs.
        for j in 0..TAPS {
            for row in lower.iter_mut().skip(j + 1) {
                row[j] = self.upper[pair].conjugate();
                pair += 1;
            }
        }
        for j in 0..TAPS {
            // Remainder of column `j`; `scaled_row` holds the factors of its row times their pivots.
            let mut diagonal = self.diagonal[j] + regularisation;
            let mut scaled_row = [Complex4::ZERO; TAPS];
            for k in 0..j {
                let factor = lower[j][k];
                scaled_row[k] = factor.conjugate().scaled(f32x4::ONE / inverse_pivot[k]);
                diagonal -= factor.power() / inverse_pivot[k];
            }
            inverse_pivot[j] = f32x4::ONE / diagonal.fast_max(regularisation);
            for row in lower.iter_mut().skip(j + 1) {
                let mut left = row[j];
                for k in 0..j {
                    left = left.minus(row[k].times(scaled_row[k]));
                }
                row[j] = left.scaled(inverse_pivot[j]);
            }
        }
        let mut x = self.rhs;
        for i in 0..TAPS {
            for k in 0..i {
                x[i] = x[i].minus(lower[i][k].times(x[k]));
            }
        }
        for i in (0..TAPS).rev() {
            x[i] = x[i].scaled(inverse_pivot[i]);
            for k in i + 1..TAPS {
                x[i] = x[i].minus(lower[k][i].conjugate().times(x[k]));
            }
        }
        self.coefs = x;
    }
}

/// Averaging of the prediction correlation.
#[derive(Clone, Copy, Debug, PartialEq)]
enum CorrelationAverage {
    /// Exponential average over the last seconds, during playback.
    Running,
    /// Sum over the whole analysis ahead of playback.
    Cumulative,
    /// Fixed result of the analysis ahead.
    Frozen,
}

blank!(CorrelationAverage = Self::Running);

/// Weighted correlation of predictions with observations: product and both powers. The observed power is scaled by the
/// square of the share that can be predicted after the learning time so far.
#[derive(Clone, Copy, Debug)]
struct PredictionCorrelation<T = f32x4> {
    product: T,
    predicted: T,
    observed: T,
}

blank! { [T: Blank] PredictionCorrelation<T> { product, predicted, observed } }

impl PredictionCorrelation {
    fn plus(self, o: Self) -> Self {
        Self {
            product: self.product + o.product,
            predicted: self.predicted + o.predicted,
            observed: self.observed + o.observed,
        }
    }
}

impl PredictionCorrelation<f32> {
    /// Decays by `kept` and adds a new value, of which the share `known` can be predicted so far.
    fn follow(&mut self, kept: f32, new: &PredictionCorrelation, known: f32) {
        self.product = kept * self.product + new.product.reduce_add();
        self.predicted = kept * self.predicted + new.predicted.reduce_add();
        self.observed = kept * self.observed + known * known * new.observed.reduce_add();
    }

    /// Detected degree of reverberation, 0 to 1, from the normalised correlation.
    fn detection(&self) -> f32 {
        let correlation = (self.product + PRIOR_CORRELATION * PRIOR_WEIGHT) / (self.weight() + PRIOR_WEIGHT);
        ((correlation - DRY_CORRELATION) / (REVERBERANT_CORRELATION - DRY_CORRELATION)).clamp(0.0, 1.0)
    }

    /// Weight of the evidence: geometric mean of predicted and observed power.
    fn weight(&self) -> f32 {
        libm::sqrtf(self.predicted * self.observed)
    }
}

/// Late reverberation and noise of a hop, from the suppressor, before its prediction is subtracted.
#[derive(Clone, Copy, Debug)]
pub(super) struct Interference<'a> {
    /// Late reverberation of every band without the factor `decay_until_late`: upper halves of `f32`.
    pub(super) late: &'a [u16; BANDS],
    /// Noise floor of every group of four bands.
    pub(super) noise: &'a [f32; FLOORS],
}

/// Limits of the subtraction.
#[derive(Clone, Copy, Debug)]
struct SubtractionLimits {
    /// Factor from `Interference::late` to the late reverberation.
    late_share: f32,
    /// Share of the limited prediction that is subtracted.
    strength: f32,
    /// Maximum power removed from a band, as a multiple of its late reverberation.
    max_late_ratio: f32,
}

/// Start of each tap's hop in the history.
type Slots = [usize; TAPS];

/// Predicts late reverberation.
///
/// Delayed linear prediction, normalised by the observed power: T. Nakatani, T. Yoshioka, K. Kinoshita, M. Miyoshi,
/// B.-H. Juang, "Speech Dereverberation Based on Variance-Normalized Delayed Linear Prediction", IEEE Trans. Audio,
/// Speech, Language Processing 18(7):1717-1731, 2010. Beyond the delay, speech does not follow from its past, but
/// reverberation does. The coefficients of every band solve normal equations with a time constant of half a minute.
/// Both channels share the coefficients, which are learnt from the louder one.
#[derive(Clone, Debug)]
pub(super) struct Predictor<const C: usize> {
    bands: [BandGroup; MAX_BAND_GROUPS],
    /// Spectra of the latest hops: upper halves of real and imaginary parts.
    past: [[u32; PAST]; C],
    /// Write position of the current hop, in hops.
    at: usize,
    /// Counter that selects the groups to be updated and solved in this hop.
    turn: usize,
    /// Seconds of sound in the normal equations.
    known_s: f32,
    correlation: PredictionCorrelation<f32>,
    average: CorrelationAverage,
    /// Prediction of the current hop.
    predicted: [[Complex4; MAX_BAND_GROUPS]; C],
}

blank! { [const C: usize] Predictor<C> { bands, past, at, turn, known_s, correlation, average, predicted } }

/// Powers of the predicted bands before and after the subtraction.
#[derive(Clone, Copy, Debug)]
pub(super) struct PredictionPowers {
    pub(super) before: f32,
    pub(super) after: f32,
    /// Upper bound of the power of the difference.
    pub(super) between: f32,
    /// Detected degree of reverberation, 0 to 1; 1 where detection is not required.
    pub(super) detected: f32,
}

impl<const C: usize> Predictor<C> {
    /// Resets to the blank value, in place.
    pub(super) fn clear(&mut self) {
        self.bands.fill(BandGroup::BLANK);
        self.past.iter_mut().for_each(|past| past.fill(0));
        (self.at, self.turn, self.known_s, self.correlation, self.average) =
            (0, 0, 0.0, PredictionCorrelation::BLANK, CorrelationAverage::Running);
    }

    /// Starts an analysis ahead of playback: from here on all predictions count towards detection.
    pub(super) fn begin_analysis(&mut self) {
        (self.correlation, self.average) = (PredictionCorrelation::BLANK, CorrelationAverage::Cumulative);
    }

    /// Clears the signal history and keeps coefficients. Freezes the detection if its weight suffices.
    pub(super) fn end_analysis(&mut self) {
        self.past.iter_mut().for_each(|past| past.fill(0));
        for band in &mut self.bands {
            (band.power, band.residual) = (f32x4::ZERO, f32x4::ZERO);
        }
        (self.at, self.turn) = (0, 0);
        self.average = if self.correlation.weight() < MIN_WEIGHT {
            CorrelationAverage::Running
        } else {
            CorrelationAverage::Frozen
        };
    }

    /// Updates the prediction with a hop and subtracts it from the spectra. The subtracted power of each band is
    /// limited by the modelled late reverberation, and scaled by the strength and, for short decay times, by the
    /// detected degree of reverberation.
    pub(super) fn hop(
        &mut self,
        stft: &Stft,
        parameters: &Parameters,
        spectra: &mut [SplitComplex<HALF>; C],
        interference: Interference<'_>,
    ) -> PredictionPowers {
        let prediction = &stft.prediction;
        let n = prediction.band_groups.min(MAX_BAND_GROUPS);
        let slots = prediction.slots();
        let (before, louder) = self.store(prediction, n, stft.full_scale, spectra);
        let slots_of: Slots = core::array::from_fn(|k| {
            4 * n * ((self.at + 2 * slots - prediction.delay - prediction.stride * k) % slots)
        });
        self.predict(prediction, n, &slots_of, spectra);
        let correlation = self.learn(prediction, n, &slots_of, louder, &spectra[louder], interference.noise);
        let detected = self.correlation.detection();
        self.follow(stft, n, &correlation);
        self.bands[self.turn % n.max(1)].solve();
        self.turn += 1;
        if self.turn == n * prediction.stride {
            self.turn = 0;
        }
        self.at = (self.at + 1) % slots;
        let detected = parameters.detection_weight * detected + 1.0 - parameters.detection_weight;
        let limits = SubtractionLimits {
            late_share: parameters.decay_until_late,
            strength: parameters.strength * (1.0 - parameters.floor * parameters.floor) * detected,
            max_late_ratio: MAX_LATE_RATIO * (1.0 + parameters.detection_weight * (DETECTED_LATE_FACTOR - 1.0)),
        };
        self.subtract(
            n,
            spectra,
            interference.late,
            &limits,
            PredictionPowers { before, after: before, between: 0.0, detected },
        )
    }

    /// Predicts the current hop of every channel and smooths the power of the residual.
    fn predict(&mut self, prediction: &Prediction, n: usize, slots_of: &Slots, spectra: &[SplitComplex<HALF>; C]) {
        let mut new = [f32x4::ZERO; MAX_BAND_GROUPS];
        for ((past, predicted), [re, im]) in self.past.iter().zip(&mut self.predicted).zip(spectra) {
            let taps = slots_of.map(|slot| past[slot..slot + 4 * n].as_chunks::<4>().0);
            let (re, im) = (re.as_chunks::<4>().0, im.as_chunks::<4>().0);
            for (k, ((predicted, band), new)) in
                predicted[..n].iter_mut().zip(&self.bands[..n]).zip(&mut new).enumerate()
            {
                let mut sum = Complex4::ZERO;
                for (tap, coef) in taps.iter().zip(&band.coefs) {
                    sum = sum.plus(unpack(&tap[k]).times(*coef));
                }
                *predicted = sum;
                *new += Complex4::load(re, im, k).minus(sum).power() * (1.0 / C as f32);
            }
            // The first bin holds two real values: DC and Nyquist.
            predicted[0] = predicted[0].zero_first_lane();
        }
        let (kept, nothing) = (f32x4::splat(prediction.power_smoothing), f32x4::splat(MIN_POWER));
        for (band, new) in self.bands[..n].iter_mut().zip(new) {
            let new = new.fast_max(nothing);
            band.residual = new + kept * (band.residual - new);
        }
    }

    /// Updates the groups whose turn it is from the louder channel. Returns the correlation of their predictions.
    fn learn(
        &mut self,
        prediction: &Prediction,
        n: usize,
        slots_of: &Slots,
        louder: usize,
        [re, im]: &SplitComplex<HALF>,
        noise: &[f32; FLOORS],
    ) -> PredictionCorrelation {
        let taps = slots_of.map(|slot| self.past[louder][slot..slot + 4 * n].as_chunks::<4>().0);
        let (re, im) = (re.as_chunks::<4>().0, im.as_chunks::<4>().0);
        let mut correlation = PredictionCorrelation::BLANK;
        for k in (self.turn % prediction.stride..n).step_by(prediction.stride) {
            let (taps, predicted) = (taps.map(|tap| unpack(&tap[k])), self.predicted[louder][k]);
            correlation = correlation.plus(self.bands[k].learn(
                &taps,
                Complex4::load(re, im, k),
                predicted,
                noise[k],
                prediction.kept,
            ));
        }
        correlation
    }

    /// Updates the learnt time and the prediction correlation.
    fn follow(&mut self, stft: &Stft, n: usize, correlation: &PredictionCorrelation) {
        let prediction = &stft.prediction;
        let bands = 4 * n.saturating_sub(self.turn % prediction.stride).div_ceil(prediction.stride).max(1);
        // Share of the updated bands that contain sound.
        let sound = (correlation.observed.reduce_add() / bands as f32).min(1.0);
        self.known_s = prediction.known_decay * self.known_s + stft.hop_s as f32 * sound;
        let known = self.known_s / (self.known_s + LEARNING_S);
        match self.average {
            // A detection is kept in silence.
            CorrelationAverage::Running => {
                self.correlation.follow(1.0 - (1.0 - prediction.correlation_smoothing) * sound, correlation, known)
            }
            CorrelationAverage::Cumulative => self.correlation.follow(1.0, correlation, known),
            // Playback of analysed sound is no new evidence.
            CorrelationAverage::Frozen => {}
        }
    }

    /// Writes a hop to the history and updates peak powers. Returns the power of all bands and the index of the louder
    /// channel.
    fn store(
        &mut self,
        prediction: &Prediction,
        n: usize,
        full_scale: f32,
        spectra: &[SplitComplex<HALF>; C],
    ) -> (f32, usize) {
        let mut sums = [f32x4::ZERO; C];
        let mut powers = [f32x4::ZERO; MAX_BAND_GROUPS];
        for ((c, [re, im]), past) in spectra.iter().enumerate().zip(&mut self.past) {
            let (re, im) = (re.as_chunks::<4>().0, im.as_chunks::<4>().0);
            let slot = past[4 * n * self.at..][..4 * n].as_chunks_mut::<4>().0;
            for (k, (slot, power)) in slot.iter_mut().zip(&mut powers).enumerate() {
                let x = Complex4::load(re, im, k);
                *slot = pack(x);
                let own = x.power() * (1.0 / C as f32);
                sums[c] += own;
                *power += own;
            }
        }
        let nothing = f32x4::splat(MIN_POWER);
        let (full_scale, peak_decay) = (f32x4::splat(full_scale), f32x4::splat(prediction.peak_decay));
        let kept = f32x4::splat(prediction.power_smoothing);
        for (band, power) in self.bands[..n].iter_mut().zip(powers) {
            let power = power.fast_max(nothing);
            band.power = power + kept * (band.power - power);
            band.peak = (band.peak * peak_decay).fast_max(power.fast_min(full_scale));
        }
        let sums = sums.map(f32x4::reduce_add);
        let louder = (1..C).fold(0, |best, c| if sums[c] > sums[best] { c } else { best });
        (sums.iter().sum(), louder)
    }

    /// Subtracts the prediction within the limits; `late` holds the upper halves of the modelled late reverberation.
    /// Returns `powers` with the values after the subtraction. Nothing is subtracted from a band without sound: the
    /// prediction would sound in a channel that has fallen silent.
    fn subtract(
        &self,
        n: usize,
        spectra: &mut [SplitComplex<HALF>; C],
        late: &[u16; BANDS],
        limits: &SubtractionLimits,
        powers: PredictionPowers,
    ) -> PredictionPowers {
        let &SubtractionLimits { late_share, strength, max_late_ratio } = limits;
        if strength == 0.0 {
            return powers;
        }
        let [mut after, mut between] = [f32x4::ZERO; 2];
        let nothing = f32x4::splat(MIN_POWER);
        let late = late.as_chunks::<4>().0;
        for (k, late) in late[..n].iter().enumerate() {
            let late = f32x4::from(late.map(|late| f32::from_bits(u32::from(late) << 16))) * late_share;
            let mut power = nothing;
            for predicted in &self.predicted {
                power += predicted[k].power() * (1.0 / C as f32);
            }
            let share = (late / power).fast_min(f32x4::ONE).sqrt() * strength;
            between += share * share * power;
            let (mut was, mut is) = (f32x4::ZERO, nothing);
            for (predicted, [re, im]) in self.predicted.iter().zip(spectra.iter_mut()) {
                let (re, im) = (&mut re.as_chunks_mut::<4>().0[k], &mut im.as_chunks_mut::<4>().0[k]);
                let observed = Complex4 { re: f32x4::from(*re), im: f32x4::from(*im) };
                let observed_power = observed.power();
                let share = share & observed_power.simd_ge(nothing);
                let left = observed.minus(predicted[k].scaled(share));
                (*re, *im) = (left.re.to_array(), left.im.to_array());
                was += observed_power * (1.0 / C as f32);
                is += left.power() * (1.0 / C as f32);
            }
            // Restores power where more would be removed than the limit: a held note may be in phase with its
            // reverberation.
            let raised = ((was - late * max_late_ratio).fast_max(is) / is).sqrt();
            for [re, im] in spectra.iter_mut() {
                for part in [re, im] {
                    let part = &mut part.as_chunks_mut::<4>().0[k];
                    *part = (f32x4::from(*part) * raised).to_array();
                }
            }
            after += is * raised * raised;
        }
        PredictionPowers { after: after.reduce_add(), between: between.reduce_add(), ..powers }
    }
}

/// Packs four complex values into the upper halves of their parts.
#[inline(always)]
fn pack(x: Complex4) -> [u32; 4] {
    let (re, im) = (x.re.to_array(), x.im.to_array());
    core::array::from_fn(|k| {
        let half = |x: f32| x.to_bits().wrapping_add(0x8000);
        half(re[k]) & 0xffff_0000 | half(im[k]) >> 16
    })
}

/// Unpacks four complex values.
#[inline(always)]
fn unpack(x: &[u32; 4]) -> Complex4 {
    Complex4 {
        re: f32x4::from(x.map(|x| f32::from_bits(x & 0xffff_0000))),
        im: f32x4::from(x.map(|x| f32::from_bits(x << 16))),
    }
}
