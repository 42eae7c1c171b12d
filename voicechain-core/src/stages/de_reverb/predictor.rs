//! What of every band is late sound, predicted from the band's own past and learnt from it.

use super::parameters::Parameters;
use super::stft::{BANDS, FLOORS, HALF, MAX_BAND_GROUPS, PAST, Prediction, Stft, TAPS};
use crate::dsp::Complex4;
use crate::dsp::fft::SplitComplex;
use wide::f32x4;

#[cfg(test)]
mod tests;

/// Pairs of different taps.
const PAIRS: usize = TAPS * (TAPS - 1) / 2;
/// What holds the prediction back: so many values that are not predictable, each as strong as what is heard. Of 8, 25, 75
/// and 250 the best where the room rings for 0.5 s, on the half that chooses.
const REGULARISATION: f32 = 25.0;
/// A value counts by the inverse of its power; not more than that of this share of the loudest of the last seconds in its
/// band, nor of this share of the power of all its taps.
const LOUD_SHARE: f32 = 1e-2;
const TAPS_SHARE: f32 = 3e-3;
/// In a room what is predicted correlates with what is heard the more, the more was learnt: the median voice, of both halves,
/// by 0.23 to 0.29 times the share `t / (t + LEARNING_S)` of what can be known after `t` seconds of sound, from the second second
/// to the thirty-fifth, in rooms of 0.27 s (of 0.8, 1.33 and 1.87 s the one by which it changes least).
const LEARNING_S: f32 = 1.33;
/// A voice is dry where it correlates by so much times that share, and in a room where by so much: of some twenty pairs the one that
/// leaves most of such rooms among those that leave dry voices a PESQ of 4.2 at least, also in the last of 36 s as it plays, on
/// both halves (0.19 and 0.24, which the half that chooses allows, take too much of one voice of the other). Of the dry voices
/// the median correlates by .06, three quarters by less than .2.
const DRY_CORRELATION: f32 = 0.2;
const REVERBERANT_CORRELATION: f32 = 0.25;
/// What is believed before anything was heard, and with what weight (some three seconds of speech).
const PRIOR_CORRELATION: f32 = 0.19;
const PRIOR_WEIGHT: f32 = 1_000.0;
/// What counts as proof stands so far out of the noise, as a power ratio: noise follows from nothing, and a room that was proved
/// would be lost while somebody else talks. Of 2, 4 and 8, which differ little, 4; without it rooms of 0.27 s gain ESTOI .014
/// in noise where they gain .024, on the half that chooses.
const OUT_OF_NOISE: f32 = 4.0;
/// A recording's beginning proves something from this weight on: of 500 and 1 000 what leaves most of dry files of 4 s.
const MIN_WEIGHT: f32 = 500.0;
/// So many times the power of the late sound may go from a band at most: of 1, 2 and 4 the one that costs no more than .002
/// ESTOI, on the half that chooses. Where the room has to prove true so many times of that, because little of it is late: of 2, 4
/// and 8 what gains ESTOI and PESQ in rooms of 0.27 s (.001 and .01) and costs dry voices less than .0002.
const MAX_LATE_RATIO: f32 = 2.0;
const WHERE_PROVED: f32 = 4.0;
/// Powers below this are nothing.
const MIN_POWER: f32 = 1e-20;

/// Four neighbouring bands.
#[derive(Clone, Copy, Debug)]
struct BandGroup {
    /// The normal equations: powers of the taps, what each has in common with every later one, and with what is heard.
    own: [f32x4; TAPS],
    common: [Complex4; PAIRS],
    heard: [Complex4; TAPS],
    /// What the taps are multiplied by.
    coefs: [Complex4; TAPS],
    /// Smoothed powers of what is heard and of what of it was not predicted, and the loudest of the last seconds.
    power: f32x4,
    new: f32x4,
    loud: f32x4,
}

impl BandGroup {
    const NEW: Self = Self {
        own: [f32x4::ZERO; TAPS],
        common: [Complex4::ZERO; PAIRS],
        heard: [Complex4::ZERO; TAPS],
        coefs: [Complex4::ZERO; TAPS],
        power: f32x4::ZERO,
        new: f32x4::ZERO,
        loud: f32x4::ZERO,
    };

    /// Learns from what is heard now and what its taps hold, and says how right the prediction was that it had before.
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
            // Silence says nothing of a room, and what is known of it stays.
            return PredictionCorrelation::ZERO;
        }
        let least = (self.loud * LOUD_SHARE).fast_max(all * TAPS_SHARE);
        let weight = f32x4::ONE / self.new.fast_max(least);
        let mut pair = 0;
        for (i, tap) in taps.iter().enumerate() {
            let weighted = Complex4 { re: tap.re * weight, im: -tap.im * weight };
            self.own[i] = self.own[i] * kept + (weighted.re * tap.re - weighted.im * tap.im);
            self.heard[i] = self.heard[i].scaled(kept).plus(weighted.times(now));
            for later in &taps[i + 1..] {
                self.common[pair] = self.common[pair].scaled(kept).plus(weighted.times(*later));
                pair += 1;
            }
        }
        let counts = now.power().simd_ge(f32x4::splat(noise * OUT_OF_NOISE));
        let weight = counts & (f32x4::ONE / self.power.fast_max(least));
        PredictionCorrelation {
            common: (predicted.re * now.re + predicted.im * now.im) * weight,
            predicted: predicted.power() * weight,
            heard: (now.power() - noise) * weight,
        }
    }

    /// Solves the normal equations, held back, by Cholesky's method without roots.
    #[inline(never)]
    fn solve(&mut self) {
        let restraint = f32x4::splat(REGULARISATION);
        let mut per = [f32x4::ZERO; TAPS];
        let mut lower = [[Complex4::ZERO; TAPS]; TAPS];
        let mut pair = 0;
        // Rows `i` of the lower triangle come from the upper one, in the order in which its pairs are stored.
        for j in 0..TAPS {
            for row in lower.iter_mut().skip(j + 1) {
                row[j] = self.common[pair].conjugate();
                pair += 1;
            }
        }
        for j in 0..TAPS {
            // What is left of column `j`; `turned` are its row's factors times what they are divided by.
            let mut diagonal = self.own[j] + restraint;
            let mut turned = [Complex4::ZERO; TAPS];
            for k in 0..j {
                let factor = lower[j][k];
                turned[k] = factor.conjugate().scaled(f32x4::ONE / per[k]);
                diagonal -= factor.power() / per[k];
            }
            per[j] = f32x4::ONE / diagonal.fast_max(restraint);
            for row in lower.iter_mut().skip(j + 1) {
                let mut left = row[j];
                for k in 0..j {
                    left = left.minus(row[k].times(turned[k]));
                }
                row[j] = left.scaled(per[j]);
            }
        }
        let mut x = self.heard;
        for i in 0..TAPS {
            for k in 0..i {
                x[i] = x[i].minus(lower[i][k].times(x[k]));
            }
        }
        for i in (0..TAPS).rev() {
            x[i] = x[i].scaled(per[i]);
            for k in i + 1..TAPS {
                x[i] = x[i].minus(lower[k][i].conjugate().times(x[k]));
            }
        }
        self.coefs = x;
    }
}

/// What of the predictions counts for how right they are.
#[derive(Clone, Copy, Debug, PartialEq)]
enum CorrelationAverage {
    /// The last seconds, as it plays.
    Running,
    /// Everything that is heard, to be learnt from.
    Cumulative,
    /// What was gathered, whatever comes.
    Frozen,
}

/// How right predictions were: what they had in common with what was heard, and the powers of both, weighted. What was heard
/// counts by the square of the share of it that could be known.
#[derive(Clone, Copy, Debug)]
struct PredictionCorrelation<T = f32x4> {
    common: T,
    predicted: T,
    heard: T,
}

impl PredictionCorrelation {
    const ZERO: Self = Self { common: f32x4::ZERO, predicted: f32x4::ZERO, heard: f32x4::ZERO };

    fn plus(self, o: Self) -> Self {
        Self { common: self.common + o.common, predicted: self.predicted + o.predicted, heard: self.heard + o.heard }
    }
}

impl PredictionCorrelation<f32> {
    const NONE: Self = Self { common: 0.0, predicted: 0.0, heard: 0.0 };

    /// Goes on: what was is kept in part, what is new is added, of which the share `known` could be known.
    fn follow(&mut self, kept: f32, new: &PredictionCorrelation, known: f32) {
        self.common = kept * self.common + new.common.reduce_add();
        self.predicted = kept * self.predicted + new.predicted.reduce_add();
        self.heard = kept * self.heard + known * known * new.heard.reduce_add();
    }

    /// How far it speaks for a room, 0 to 1, by the correlation of what was predicted with what was heard.
    fn room(&self) -> f32 {
        let correlation = (self.common + PRIOR_CORRELATION * PRIOR_WEIGHT) / (self.weight() + PRIOR_WEIGHT);
        ((correlation - DRY_CORRELATION) / (REVERBERANT_CORRELATION - DRY_CORRELATION)).clamp(0.0, 1.0)
    }

    /// How much there was to predict.
    fn weight(&self) -> f32 {
        libm::sqrtf(self.predicted * self.heard)
    }
}

/// What the suppressor knows of a hop before its prediction.
#[derive(Clone, Copy, Debug)]
pub(super) struct Interference<'a> {
    /// The upper halves of what is late in every band, but for the factor `decay_until_late`.
    pub(super) late: &'a [u16; BANDS],
    /// The noise of every four bands.
    pub(super) noise: &'a [f32; FLOORS],
}

/// How much of what was predicted may be taken away.
#[derive(Clone, Copy, Debug)]
struct SubtractionLimits {
    /// Share of what is late when it arrives.
    late_share: f32,
    /// Share of what was predicted and can be late.
    strength: f32,
    /// The most power that may go from a band, as a multiple of the power of the late sound.
    most_late: f32,
}

/// Where in the past the hops of all taps begin.
type Slots = [usize; TAPS];

/// Predicts late sound.
///
/// Delayed linear prediction, normalised by the power of what is heard: T. Nakatani, T. Yoshioka, K. Kinoshita, M. Miyoshi,
/// B.-H. Juang, "Speech Dereverberation Based on Variance-Normalized Delayed Linear Prediction", IEEE Trans. Audio, Speech,
/// Language Processing 18(7):1717-1731, 2010. What a voice says next does not follow from what it said before
/// the delay, but what the room adds does; the coefficients of every band follow from normal equations that forget over half a
/// minute. Both channels are predicted with the same coefficients, learnt from the louder one.
#[derive(Clone, Debug)]
pub(super) struct Predictor<const C: usize> {
    bands: [BandGroup; MAX_BAND_GROUPS],
    /// The last hops' spectra: upper halves of real and imaginary parts.
    past: [[u32; PAST]; C],
    /// Where the running hop is written.
    at: usize,
    /// Whose turn it is to learn and to be solved.
    turn: usize,
    /// Seconds of sound that the equations know.
    known_s: f32,
    correlation: PredictionCorrelation<f32>,
    average: CorrelationAverage,
    /// What was predicted of the running hop.
    predicted: [[Complex4; MAX_BAND_GROUPS]; C],
}

/// Powers of a hop before and after its prediction was taken away, in the bands that are predicted.
#[derive(Clone, Copy, Debug)]
pub(super) struct PredictionPowers {
    pub(super) before: f32,
    pub(super) after: f32,
    /// Power of the difference, at most.
    pub(super) between: f32,
    /// Share of the late sound that there is: less than 1 where the voice proves dry.
    pub(super) room: f32,
}

impl<const C: usize> Predictor<C> {
    pub(super) const NEW: Self = Self {
        bands: [BandGroup::NEW; MAX_BAND_GROUPS],
        past: [[0; PAST]; C],
        at: 0,
        turn: 0,
        known_s: 0.0,
        correlation: PredictionCorrelation::NONE,
        average: CorrelationAverage::Running,
        predicted: [[Complex4::ZERO; MAX_BAND_GROUPS]; C],
    };

    /// Becomes [`NEW`](Self::NEW), in place.
    pub(super) fn clear(&mut self) {
        self.bands.fill(BandGroup::NEW);
        self.past.iter_mut().for_each(|past| past.fill(0));
        (self.at, self.turn, self.known_s, self.correlation, self.average) =
            (0, 0, 0.0, PredictionCorrelation::NONE, CorrelationAverage::Running);
    }

    /// From here on all predictions count for how right they are.
    pub(super) fn begin_analysis(&mut self) {
        (self.correlation, self.average) = (PredictionCorrelation::NONE, CorrelationAverage::Cumulative);
    }

    /// Forgets the sound and keeps what is known of the room, and how right that was, if enough was heard to say so.
    pub(super) fn end_analysis(&mut self) {
        self.past.iter_mut().for_each(|past| past.fill(0));
        for band in &mut self.bands {
            (band.power, band.new) = (f32x4::ZERO, f32x4::ZERO);
        }
        (self.at, self.turn) = (0, 0);
        self.average = if self.correlation.weight() < MIN_WEIGHT {
            CorrelationAverage::Running
        } else {
            CorrelationAverage::Frozen
        };
    }

    /// Learns from a hop and takes from its spectra what of it was predicted: of each band no more than what the room can
    /// have left of the sound, and of that the rules' share. Where the room's decay time alone is no proof of a room, a
    /// prediction that comes true has to be.
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
        let (before, louder) = self.keep(prediction, n, stft.full_scale, spectra);
        let slots_of: Slots = core::array::from_fn(|k| {
            4 * n * ((self.at + 2 * slots - prediction.delay - prediction.stride * k) % slots)
        });
        self.predict(prediction, n, &slots_of, spectra);
        let correlation = self.learn(prediction, n, &slots_of, louder, &spectra[louder], interference.noise);
        let room = self.correlation.room();
        self.follow(stft, n, &correlation);
        self.bands[self.turn % n.max(1)].solve();
        self.turn += 1;
        if self.turn == n * prediction.stride {
            self.turn = 0;
        }
        self.at = (self.at + 1) % slots;
        let room = parameters.detection_weight * room + 1.0 - parameters.detection_weight;
        let limits = SubtractionLimits {
            late_share: parameters.decay_until_late,
            strength: parameters.strength * (1.0 - parameters.floor * parameters.floor) * room,
            most_late: MAX_LATE_RATIO * (1.0 + parameters.detection_weight * (WHERE_PROVED - 1.0)),
        };
        self.take(
            n,
            spectra,
            interference.late,
            &limits,
            PredictionPowers { before, after: before, between: 0.0, room },
        )
    }

    /// Predicts the running hop of every channel from its past, and smooths the power of what was not predicted.
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
            // The first place holds two real values, at 0 and at half the rate.
            predicted[0] = predicted[0].zero_first_lane();
        }
        let (kept, nothing) = (f32x4::splat(prediction.power_smoothing), f32x4::splat(MIN_POWER));
        for (band, new) in self.bands[..n].iter_mut().zip(new) {
            let new = new.fast_max(nothing);
            band.new = new + kept * (band.new - new);
        }
    }

    /// Lets the bands whose turn it is learn from the louder channel; says how right their predictions were.
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
        let mut correlation = PredictionCorrelation::ZERO;
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

    /// Brings up to date how much sound is known, and how right the predictions were.
    fn follow(&mut self, stft: &Stft, n: usize, correlation: &PredictionCorrelation) {
        let prediction = &stft.prediction;
        let bands = 4 * n.saturating_sub(self.turn % prediction.stride).div_ceil(prediction.stride).max(1);
        // The share of the bands in which something is heard.
        let sound = (correlation.heard.reduce_add() / bands as f32).min(1.0);
        self.known_s = prediction.known_decay * self.known_s + stft.hop_s as f32 * sound;
        let known = self.known_s / (self.known_s + LEARNING_S);
        match self.average {
            // What was proved stays while nothing is heard.
            CorrelationAverage::Running => {
                self.correlation.follow(1.0 - (1.0 - prediction.correlation_smoothing) * sound, correlation, known)
            }
            CorrelationAverage::Cumulative => self.correlation.follow(1.0, correlation, known),
            // What is played for the second time is no proof of what was learnt from it.
            CorrelationAverage::Frozen => {}
        }
    }

    /// Writes a hop into the past and notes what is loud; gives the power of all bands and the louder channel.
    fn keep(
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
            band.loud = (band.loud * peak_decay).fast_max(power.fast_min(full_scale));
        }
        let sums = sums.map(f32x4::reduce_add);
        let louder = (1..C).fold(0, |best, c| if sums[c] > sums[best] { c } else { best });
        (sums.iter().sum(), louder)
    }

    /// Takes what was predicted away, within the limits; `late` are the upper halves of what the room can have left. Gives
    /// `taken` with the powers after it.
    fn take(
        &self,
        n: usize,
        spectra: &mut [SplitComplex<HALF>; C],
        late: &[u16; BANDS],
        limits: &SubtractionLimits,
        taken: PredictionPowers,
    ) -> PredictionPowers {
        let &SubtractionLimits { late_share, strength, most_late } = limits;
        if strength == 0.0 {
            return taken;
        }
        let [mut after, mut between] = [f32x4::ZERO; 2];
        let late = late.as_chunks::<4>().0;
        for (k, late) in late[..n].iter().enumerate() {
            let late = f32x4::from(late.map(|late| f32::from_bits(u32::from(late) << 16))) * late_share;
            let mut power = f32x4::splat(MIN_POWER);
            for predicted in &self.predicted {
                power += predicted[k].power() * (1.0 / C as f32);
            }
            let share = (late / power).fast_min(f32x4::ONE).sqrt() * strength;
            between += share * share * power;
            let (mut was, mut is) = (f32x4::ZERO, f32x4::splat(MIN_POWER));
            for (predicted, [re, im]) in self.predicted.iter().zip(spectra.iter_mut()) {
                let (re, im) = (&mut re.as_chunks_mut::<4>().0[k], &mut im.as_chunks_mut::<4>().0[k]);
                let heard = Complex4 { re: f32x4::from(*re), im: f32x4::from(*im) };
                let left = heard.minus(predicted[k].scaled(share));
                (*re, *im) = (left.re.to_array(), left.im.to_array());
                was += heard.power() * (1.0 / C as f32);
                is += left.power() * (1.0 / C as f32);
            }
            // Where a held note is in phase with what it leaves, more of its power would go than there is of that.
            let raised = ((was - late * most_late).fast_max(is) / is).sqrt();
            for [re, im] in spectra.iter_mut() {
                for part in [re, im] {
                    let part = &mut part.as_chunks_mut::<4>().0[k];
                    *part = (f32x4::from(*part) * raised).to_array();
                }
            }
            after += is * raised * raised;
        }
        PredictionPowers { after: after.reduce_add(), between: between.reduce_add(), ..taken }
    }
}

/// Four complex values as the upper halves of their parts.
#[inline(always)]
fn pack(x: Complex4) -> [u32; 4] {
    let (re, im) = (x.re.to_array(), x.im.to_array());
    core::array::from_fn(|k| {
        let half = |x: f32| x.to_bits().wrapping_add(0x8000);
        half(re[k]) & 0xffff_0000 | half(im[k]) >> 16
    })
}

#[inline(always)]
fn unpack(x: &[u32; 4]) -> Complex4 {
    Complex4 {
        re: f32x4::from(x.map(|x| f32::from_bits(x & 0xffff_0000))),
        im: f32x4::from(x.map(|x| f32::from_bits(x << 16))),
    }
}
