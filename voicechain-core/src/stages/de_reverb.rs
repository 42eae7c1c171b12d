//! The de-reverb: takes the late sound of a room out of a voice, in short-time spectra.

use super::{Stage, StageContext};
use crate::dsp::fft::{self, RealFft, SplitComplex};
use crate::error::SettingError;
use crate::frame::{CHUNK, Frame};
use crate::math::{from_db, power_to_db, smooth_step, smoothing};
use crate::reverberation::{DRY_DECAY_MS, LONG_DECAY_MS, SHORT_DECAY_MS};
use crate::settings::{DeReverbSettings, SpectralLatency, StripSettings};
use crate::units::SampleRate;

mod parameters;
mod predictor;
mod stft;
mod suppressor;
#[cfg(test)]
mod tests;

use parameters::Parameters;
use predictor::Predictor;
use stft::{HALF, MAX_FRAME, MAX_SYNTHESIS, Stft};
use suppressor::Suppressor;

/// Decay time at which it acts in full, ms; it begins to act at [`DRY_DECAY_MS`].
const REVERBERANT_MS: f64 = 180.0;
/// Between these decay times it begins to take the noise of a recording, too, whether a room proves true or not: of the six
/// voices without any room that read more than that, five have noise of their own (0.18, 0.18, 0.18, 0.20 and 0.25 s), and
/// what they lose is their noise.
const NOISE_REMOVED_MS: [f64; 2] = [183.0, 203.0];
/// The late sound of a band is taken to fall so much slower than the room's decay time says: of 1, 1.2 and 1.3 with feeds of
/// 0.15 to 0.25 the best of pauses and ESTOI together, on the half that chooses; and of the shortest, which are read too short
/// (0.24 s where it is 0.27 s), so much slower: of 1.2 to 1.4 what lowers pauses most, on both halves; and of the longest
/// (1.03 s where it is 1.28 s): of 1.2, 1.4 and 1.6 the best there without noise, on both halves (ESTOI within .0002 of 1.4's),
/// to which it grows between the ends of [`LONG_DECAY_MS`].
const DECAY_STRETCH: f64 = 1.2;
const DECAY_STRETCH_IF_SHORT: f64 = 1.4;
const DECAY_STRETCH_IF_LONG: f64 = 1.6;
/// Smoothing of what feeds the late sound, as a share of the decay time, and within which bounds, ms: what is late blurs the
/// more, the longer the room rings. Of 0.03, 0.04 and 0.05 the best ESTOI on the half that chooses; of lower bounds of 8 to
/// 24 ms the one that gains PESQ (.01) in rooms of 0.27 s and, with `LATE_SHARE_BESIDE_DIRECT`, loses no ESTOI.
const SMOOTH_SHARE: f64 = 0.04;
const SMOOTH_MS: [f64; 2] = [18.0, 45.0];
/// The suppressor's ratio forgets so many times as fast in the shortest decay times: of 1, 1.25, 1.4 and 1.6 what gains
/// ESTOI (.0005 to .001) there for .001 of PESQ and .03 of PESQ in noise, on both halves.
const FORGETTING_IF_SHORT: f64 = 1.4;
/// Hop that the numbers of each latency belong to, s.
const HIGH_HOP_S: f64 = 256.0 / 48_000.0;
const LOW_HOP_S: f64 = 128.0 / 48_000.0;
/// Fade-in after a change of latency without a past, ms.
const FADE_IN_MS: f64 = 10.0;

/// Suppresses late reverberation, and the noise of the recording with it.
///
/// Up to 3 kHz late sound is predicted from the band's own past by what is learnt of the room, and subtracted: of a
/// prediction no more than the decay time allows, and all but the square of the range's gain. What the decay time says is
/// late in the rest is taken away by a Wiener gain with a floor, the range, of which 0.55 (in dB; where noise is heard
/// 0.8) holds while direct sound is heard. Decay times that dry voices are read with, too, count as far as predictions
/// come true (from 0.28 s on less, from 0.4 s on nothing has to), and noise is left alone up to 0.18 s where they do not; of
/// the late sound of such a room half counts beside direct sound. What it learns of room and noise takes some seconds as it
/// plays; for files it can be learnt before the first sample ([`Strip::analyse_ahead`](crate::Strip::analyse_ahead)). Predictor and
/// suppressor, its private modules, name their sources. Long analysis frames (43 ms) with short synthesis windows (21 ms:
/// high latency, 11 ms: low) give the resolution of the one at the delay of the other. Both channels get one gain and one
/// prediction's coefficients per band. Latency: 1 024 or 512 samples at 48 kHz, scaled by powers of two with the rate
/// (frames stop growing at 135 kHz, where memory would: 4 096 samples). Without latency it is bypassed and returns its input.
/// Where a hop would lose less than -70 dB of its power the output fades to the delayed input, bit for bit.
///
/// Memory: 323 KiB in stereo. Cost at 48 kHz in stereo: see `stage_latency`; most of it is the transform (`ratios` in
/// benches). Tested by its module and `de_reverb` in `properties`; scored by `tests/standards/de_reverb.py`.
#[derive(Clone, Copy, Debug)]
pub struct DeReverb;

/// What a [`DeReverb`] is designed from: its settings, and the latency that all spectral stages share.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DeReverbDesign {
    /// The settings of the stage.
    pub settings: DeReverbSettings,
    /// The latency of the spectral stages.
    pub latency: SpectralLatency,
}

impl From<&StripSettings> for DeReverbDesign {
    fn from(strip: &StripSettings) -> Self {
        Self { settings: strip.de_reverb, latency: strip.spectral.latency }
    }
}

/// Coefficients of the [`DeReverb`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DeReverbCoefs {
    stft: Stft,
    parameters: Parameters,
    /// Decay time of the room, s.
    decay_s: f64,
    fade_in: u32,
}

/// What is taken for the late sound of a room, and how much of it is taken at most.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LateReverberation {
    /// From a sound to its late part, s.
    pub onset_s: f64,
    /// Time in which the room falls by 60 dB, s.
    pub decay_s: f64,
    /// The most that is taken from any band, with the share of the suppression and for so dry a room, dB.
    pub max_attenuation_db: f64,
}

impl DeReverbCoefs {
    /// What it takes for late, and how much of that; `None` without latency. Tested by `the_late_reverberation_follows_the_settings`.
    #[must_use]
    pub fn late_reverberation(&self) -> Option<LateReverberation> {
        let (stft, parameters) = (&self.stft, &self.parameters);
        let lowest = f64::from(1.0 + parameters.strength * (parameters.floor - 1.0));
        (!self.is_bypassed()).then(|| LateReverberation {
            onset_s: stft.hop_s * stft.late_hops as f64,
            decay_s: self.decay_s,
            max_attenuation_db: -power_to_db(lowest * lowest),
        })
    }

    /// True when everything is finite.
    #[must_use]
    pub fn is_stable(&self) -> bool {
        let r = &self.parameters;
        [r.decay_per_hop, r.decay_until_late, r.feed_smoothing, r.decision_directed_weight]
            .iter()
            .all(|x| (0.0..1.0).contains(x))
            && [r.reverberant_share, r.floor, r.strength, r.noise_only_strength, r.detection_weight]
                .iter()
                .all(|x| (0.0..=1.0).contains(x))
    }

    /// True without latency: the stage is bypassed.
    #[must_use]
    pub fn is_bypassed(&self) -> bool {
        self.stft.is_bypassed()
    }
}

/// What the sound has left in a [`DeReverb`].
#[derive(Clone, Debug)]
pub struct DeReverbState<const C: usize> {
    stft: Option<Stft>,
    fft: RealFft<HALF>,
    scratch: SplitComplex<HALF>,
    analysis: [f32; MAX_FRAME],
    synthesis: [f32; MAX_SYNTHESIS],
    /// The lengths that the windows are made for.
    window_lengths: [usize; 2],
    /// The last input, a ring.
    past: [[f32; MAX_FRAME]; C],
    at: usize,
    /// Frames of the running hop that have gone by.
    filled: usize,
    spectra: [SplitComplex<HALF>; C],
    /// What is to come out, a ring of a synthesis window.
    overlap: [[f32; MAX_SYNTHESIS]; C],
    out: usize,
    predictor: Predictor<C>,
    suppressor: Suppressor,
    /// Share of the suppressed signal at the beginning and at the end of the running hop.
    wet: [f32; 2],
    /// Hops since frames began to overlap without a gap.
    hops: usize,
    /// Frames that are still silent, and then still fade in, after a change of latency.
    silent: u32,
    fade_in: u32,
    fade_in_length: u32,
    max_reduction_db: f64,
}

impl<const C: usize> DeReverbState<C> {
    /// A state that has heard nothing: a constant, so that it is copied to its place at once.
    const NEW: Self = Self {
        stft: None,
        fft: RealFft::new(MAX_FRAME),
        scratch: [[0.0; HALF]; 2],
        analysis: [0.0; MAX_FRAME],
        synthesis: [0.0; MAX_SYNTHESIS],
        window_lengths: [0; 2],
        past: [[0.0; MAX_FRAME]; C],
        at: 0,
        filled: 0,
        spectra: [[[0.0; HALF]; 2]; C],
        overlap: [[0.0; MAX_SYNTHESIS]; C],
        out: 0,
        predictor: Predictor::NEW,
        suppressor: Suppressor::NEW,
        wet: [0.0; 2],
        hops: 0,
        silent: 0,
        fade_in: 0,
        fade_in_length: 1,
        max_reduction_db: 0.0,
    };

    /// Forgets everything, in place: the state is too large to be made again on any stack.
    pub fn clear(&mut self) {
        self.stft = None;
        self.past = [[0.0; MAX_FRAME]; C];
        (self.at, self.silent, self.fade_in, self.max_reduction_db) = (0, 0, 0, 0.0);
    }

    /// Is told that the latency has changed while sound plays. What it has heard stays, if it was there to hear it;
    /// otherwise it fades in when its first frames have gone through.
    pub(crate) fn change_latency(&mut self, coefs: &DeReverbCoefs) {
        if self.stft.is_none_or(|stft| stft.is_bypassed()) {
            self.clear();
            (self.silent, self.fade_in, self.fade_in_length) =
                (coefs.stft.synthesis as u32, coefs.fade_in, coefs.fade_in);
        }
        self.begin(&coefs.stft);
    }

    /// Begins with these lengths; the past stays.
    fn begin(&mut self, stft: &Stft) {
        self.stft = Some(*stft);
        if stft.is_bypassed() {
            return;
        }
        if self.window_lengths != [stft.analysis, stft.synthesis] {
            self.window_lengths = [stft.analysis, stft.synthesis];
            self.fft = RealFft::new(stft.analysis);
            stft.windows(&mut self.analysis, &mut self.synthesis, 2.0 / stft.analysis as f64);
        }
        self.restart();
    }

    /// What comes is heard to learn from, before it is played: everything of it counts.
    pub(crate) fn begin_analysis(&mut self, coefs: &DeReverbCoefs) {
        self.begin(&coefs.stft);
        self.predictor.begin_analysis();
    }

    /// Forgets the sound that it has gathered from, as if none had gone by, and keeps what it has learnt of room and noise.
    pub(crate) fn end_analysis(&mut self) {
        self.past = [[0.0; MAX_FRAME]; C];
        self.overlap.iter_mut().for_each(|values| values.fill(0.0));
        self.predictor.end_analysis();
        self.suppressor.end_analysis();
        (self.at, self.out, self.filled, self.wet, self.hops) = (0, 0, 0, [0.0; 2], 0);
        (self.silent, self.fade_in, self.max_reduction_db) = (0, 0, 0.0);
    }

    /// Forgets spectra and levels; the past stays.
    fn restart(&mut self) {
        self.overlap.iter_mut().for_each(|values| values.fill(0.0));
        self.predictor.clear();
        self.suppressor.clear();
        (self.out, self.filled, self.wet, self.hops) = (0, 0, [0.0; 2], 0);
    }
}

impl<const C: usize> Stage<C> for DeReverb
where
    [f32; C]: Frame,
{
    type Settings = DeReverbDesign;
    type Coefs = DeReverbCoefs;
    type State = DeReverbState<C>;

    fn design(design: &DeReverbDesign, rate: SampleRate) -> Result<DeReverbCoefs, SettingError> {
        let DeReverbDesign { settings: s, latency } = design;
        s.check()?;
        let stft = Stft::new(*latency, rate);
        // Chosen on voices of the half that chooses in four rooms, for hops of their own length.
        let (reverberant_share, memory, hop_s) = match latency {
            SpectralLatency::Low => (0.08, 0.90, LOW_HOP_S),
            _ => (0.15, 0.87, HIGH_HOP_S),
        };
        let hops = stft.hop_s / hop_s;
        let decay_s = 1e-3 * s.decay_ms;
        let detection_weight =
            ((SHORT_DECAY_MS[1] - s.decay_ms) / (SHORT_DECAY_MS[1] - SHORT_DECAY_MS[0])).clamp(0.0, 1.0);
        let long = ((s.decay_ms - LONG_DECAY_MS[0]) / (LONG_DECAY_MS[1] - LONG_DECAY_MS[0])).clamp(0.0, 1.0);
        let slower = DECAY_STRETCH
            + detection_weight * (DECAY_STRETCH_IF_SHORT - DECAY_STRETCH)
            + long * (DECAY_STRETCH_IF_LONG - DECAY_STRETCH);
        let kept = |seconds: f64| libm::exp10(-6.0 * seconds / (slower * decay_s));
        let smooth_ms = (SMOOTH_SHARE * s.decay_ms).clamp(SMOOTH_MS[0], SMOOTH_MS[1]);
        let amount = 0.01 * s.amount_percent;
        let share = |from: f64, to: f64| amount * ((s.decay_ms - from) / (to - from)).clamp(0.0, 1.0);
        Ok(DeReverbCoefs {
            stft,
            parameters: Parameters {
                decay_per_hop: kept(stft.hop_s) as f32,
                decay_until_late: kept(stft.hop_s * (stft.late_hops - 1) as f64) as f32,
                reverberant_share: (1.0 - libm::pow(1.0 - reverberant_share, hops)) as f32,
                feed_smoothing: smoothing(smooth_ms, 1.0 / stft.hop_s, 1.0) as f32,
                decision_directed_weight: libm::pow(
                    memory,
                    hops * (1.0 + detection_weight * (FORGETTING_IF_SHORT - 1.0)),
                ) as f32,
                floor: from_db(-s.range_db) as f32,
                strength: share(DRY_DECAY_MS, REVERBERANT_MS) as f32,
                noise_only_strength: share(NOISE_REMOVED_MS[0], NOISE_REMOVED_MS[1]) as f32,
                detection_weight: detection_weight as f32,
            },
            decay_s,
            fade_in: rate.samples(FADE_IN_MS).max(1),
        })
    }

    fn state(_rate: SampleRate) -> DeReverbState<C> {
        DeReverbState::NEW
    }

    const MAX_LATENCY: usize = MAX_SYNTHESIS;
    const BYPASS_KEEPS_STATE: bool = true;
    const HAS_GAIN_REDUCTION: bool = true;

    /// In place: the state is too large to be made on an audio thread's stack.
    fn clear(state: &mut DeReverbState<C>, _rate: SampleRate) {
        state.clear();
    }

    fn run(context: StageContext<'_, Self, C>, frames: &mut [[f32; C]]) {
        Self::run_with_bypass(context, frames, &mut []);
    }

    fn run_with_bypass(context: StageContext<'_, Self, C>, frames: &mut [[f32; C]], bypassed: &mut [[f32; C]]) {
        let StageContext { coefs, state } = context;
        if coefs.is_bypassed() {
            bypassed.iter_mut().zip(frames.iter()).for_each(|(to, from)| *to = *from);
            return;
        }
        if state.stft != Some(coefs.stft) {
            state.begin(&coefs.stft);
        }
        if state.hops == 0 && state.filled == 0 {
            // Two samples are taken at a time: the first hop is a sample shorter where it begins at an odd place of the ring.
            (state.out, state.filled) = (state.at % 2, state.at % 2);
        }
        let (mut rest, mut bypassed) = (frames, bypassed);
        while !rest.is_empty() {
            let n = rest.len().min(coefs.stft.hop - state.filled);
            let (now, later) = rest.split_at_mut(n);
            let (copy, copies) = bypassed.split_at_mut(n.min(bypassed.len()));
            run_segment(&coefs.stft, state, now, copy);
            if state.filled == coefs.stft.hop {
                end_hop(coefs, state);
            }
            (rest, bypassed) = (later, copies);
        }
    }

    /// Only the delay goes on; when it is switched on again it learns afresh, and fades in when its frames overlap.
    fn run_bypassed(context: StageContext<'_, Self, C>, frames: &mut [[f32; C]]) {
        let StageContext { coefs, state } = context;
        if coefs.is_bypassed() {
            return;
        }
        if state.stft != Some(coefs.stft) {
            state.begin(&coefs.stft);
        } else if state.hops > 0 || state.filled > 0 {
            state.restart();
        }
        let delay = coefs.stft.synthesis;
        for frame in frames {
            take(state, delay, frame);
            apply_fade_in(state, frame);
        }
    }

    fn interpolated(from: &DeReverbCoefs, to: &DeReverbCoefs, t: f64) -> DeReverbCoefs {
        let mix = |a: f32, b: f32| a + (b - a) * t as f32;
        let (a, b) = (&from.parameters, &to.parameters);
        DeReverbCoefs {
            decay_s: from.decay_s + (to.decay_s - from.decay_s) * t,
            parameters: Parameters {
                decay_per_hop: mix(a.decay_per_hop, b.decay_per_hop),
                decay_until_late: mix(a.decay_until_late, b.decay_until_late),
                feed_smoothing: mix(a.feed_smoothing, b.feed_smoothing),
                floor: mix(a.floor, b.floor),
                strength: mix(a.strength, b.strength),
                detection_weight: mix(a.detection_weight, b.detection_weight),
                ..*b
            },
            ..*to
        }
    }

    fn is_idle(coefs: &DeReverbCoefs) -> bool {
        coefs.is_bypassed()
    }

    /// A synthesis window; the same whether on or off.
    fn latency(coefs: &DeReverbCoefs) -> u32 {
        coefs.stft.synthesis as u32
    }

    /// A gain that differs from band to band rings within its frame, no further.
    fn tail(coefs: &DeReverbCoefs) -> u32 {
        (coefs.stft.synthesis + coefs.stft.analysis) as u32
    }

    fn is_stable(coefs: &DeReverbCoefs) -> bool {
        coefs.is_stable()
    }

    fn take_reduction_db(state: &mut DeReverbState<C>) -> f64 {
        core::mem::take(&mut state.max_reduction_db)
    }
}

/// Takes a frame into the past and gives the one that is as old as the latency.
#[inline(always)]
fn take<const C: usize>(state: &mut DeReverbState<C>, delay: usize, frame: &mut [f32; C]) {
    let at = state.at % MAX_FRAME;
    let old = (state.at + MAX_FRAME - delay) % MAX_FRAME;
    for (past, sample) in state.past.iter_mut().zip(frame) {
        past[at] = *sample;
        *sample = past[old];
    }
    state.at = (at + 1) % MAX_FRAME;
}

/// Silence, then a fade, after a change of latency without a past.
#[inline(always)]
fn apply_fade_in<const C: usize>(state: &mut DeReverbState<C>, frame: &mut [f32; C]) {
    if state.fade_in == 0 {
        return;
    }
    if state.silent > 0 {
        state.silent -= 1;
        *frame = [0.0; C];
        return;
    }
    state.fade_in -= 1;
    let t = 1.0 - state.fade_in as f32 / state.fade_in_length as f32;
    let gain = smooth_step(t);
    frame.iter_mut().for_each(|sample| *sample *= gain);
}

/// Runs frames of one hop.
fn run_segment<const C: usize>(
    stft: &Stft,
    state: &mut DeReverbState<C>,
    frames: &mut [[f32; C]],
    bypassed: &mut [[f32; C]],
) {
    let (mut rest, mut copies) = (frames, bypassed);
    while !rest.is_empty() {
        // As far as no ring ends.
        let old = (state.at + MAX_FRAME - stft.synthesis) % MAX_FRAME;
        let n = rest.len().min(MAX_FRAME - state.at).min(MAX_FRAME - old).min(stft.synthesis - state.out);
        let (now, later) = rest.split_at_mut(n);
        let (copy, later_copies) = copies.split_at_mut(n.min(copies.len()));
        run_contiguous(stft, state, old, now, copy);
        (rest, copies) = (later, later_copies);
    }
}

/// Runs frames that lie in one piece in every ring.
fn run_contiguous<const C: usize>(
    stft: &Stft,
    state: &mut DeReverbState<C>,
    old: usize,
    frames: &mut [[f32; C]],
    bypassed: &mut [[f32; C]],
) {
    let n = frames.len();
    let [from, to] = state.wet;
    let slope = (to - from) / stft.hop as f32;
    let dry = from == 0.0 && to == 0.0;
    let steady = from == to;
    let filled = state.filled;
    let mut wet = [[0.0; C]; CHUNK];
    let mut done = 0;
    while done < n {
        let m = (n - done).min(CHUNK);
        let frames = &mut frames[done..done + m];
        for c in 0..C {
            let past = &mut state.past[c];
            for (to, frame) in past[state.at + done..][..m].iter_mut().zip(frames.iter()) {
                *to = frame[c];
            }
            let overlap = &mut state.overlap[c][state.out + done..][..m];
            for (wet, overlap) in wet.iter_mut().zip(overlap.iter()) {
                wet[c] = *overlap;
            }
            overlap.fill(0.0);
            for (frame, old) in frames.iter_mut().zip(&past[old + done..][..m]) {
                frame[c] = *old;
            }
        }
        let wet = &mut wet[..m];
        for (k, (wet, frame)) in wet.iter_mut().zip(frames.iter()).enumerate() {
            let share = if steady { to } else { from + slope * (filled + done + k + 1) as f32 };
            for (wet, sample) in wet.iter_mut().zip(frame) {
                *wet = if dry { *sample } else { *sample + share * (*wet - *sample) };
            }
        }
        if state.fade_in > 0 {
            let (silent, fade_in) = (state.silent, state.fade_in);
            frames.iter_mut().for_each(|frame| apply_fade_in(state, frame));
            (state.silent, state.fade_in) = (silent, fade_in);
            wet.iter_mut().for_each(|frame| apply_fade_in(state, frame));
        }
        for (to, from) in bypassed.iter_mut().skip(done).zip(frames.iter()) {
            *to = *from;
        }
        frames.copy_from_slice(wet);
        done += m;
    }
    state.at = (state.at + n) % MAX_FRAME;
    state.out = (state.out + n) % stft.synthesis;
    state.filled += n;
}

/// Ends a hop: the frame that is complete is suppressed and added to what is to come out.
fn end_hop<const C: usize>(coefs: &DeReverbCoefs, state: &mut DeReverbState<C>) {
    let stft = &coefs.stft;
    state.filled = 0;
    state.wet[0] = state.wet[1];
    // From the oldest sample of the frame, two at a time; the ring's length is even, and so is every place.
    let start = (state.at + MAX_FRAME - stft.analysis) % MAX_FRAME;
    let first = (MAX_FRAME - start).min(stft.analysis);
    for (past, spectrum) in state.past.iter().zip(&mut state.spectra) {
        let [re, im] = spectrum;
        let pieces = [(&past[start..start + first], 0), (&past[..stft.analysis - first], first)];
        for (piece, at) in pieces {
            let (window, half) = (&state.analysis[at..at + piece.len()], at / 2);
            let end = half + piece.len() / 2;
            fft::pack_windowed(piece, window, &mut re[half..end], &mut im[half..end]);
        }
        state.fft.forward(spectrum, &mut state.scratch);
    }
    state.suppressor.begin(stft, &coefs.parameters);
    let taken = state.predictor.hop(stft, &coefs.parameters, &mut state.spectra, state.suppressor.interference());
    // The mean power of the channels.
    let bands = stft.bands;
    let powers = &mut state.suppressor.powers[..bands];
    for (c, [re, im]) in state.spectra.iter().enumerate() {
        for ((power, re), im) in powers.iter_mut().zip(re).zip(im) {
            let own = (re * re + im * im) * (1.0 / C as f32);
            *power = if c == 0 { own } else { *power + own };
        }
    }
    let found = state.suppressor.hop(stft, &coefs.parameters, &taken, state.hops >= stft.analysis / stft.hop);
    state.hops = (state.hops + 1).min(2 * stft.synthesis);
    // Frames have to overlap without a gap before any of it can be heard.
    let whole = state.hops >= stft.synthesis / stft.hop;
    state.wet[1] = if whole && found.acts { 1.0 } else { 0.0 };
    if whole && found.acts {
        state.max_reduction_db = state.max_reduction_db.max(-power_to_db(f64::from(found.left)));
    }
    let gains = &state.suppressor.gains[..bands];
    for (spectrum, overlap) in state.spectra.iter_mut().zip(&mut state.overlap) {
        let [re, im] = spectrum;
        // Half the rate shares the first place.
        let nyquist = im[0] * found.above;
        for ((re, im), gain) in re.iter_mut().zip(im.iter_mut()).zip(gains) {
            (*re, *im) = (*re * gain, *im * gain);
        }
        im[0] = nyquist;
        let above = bands..stft.analysis / 2;
        re[above.clone()].iter_mut().chain(&mut im[above]).for_each(|x| *x *= found.above);
        state.fft.inverse(spectrum, &mut state.scratch);
        // Only the end of the frame is heard.
        let begin = (stft.analysis - stft.synthesis) / 2;
        let [re, im] = spectrum;
        let (re, im) = (&re[begin..stft.analysis / 2], &im[begin..stft.analysis / 2]);
        // The oldest place of the ring comes out next.
        let (later, sooner) = overlap[..stft.synthesis].split_at_mut(state.out);
        let (first, then) = state.synthesis[..stft.synthesis].split_at(sooner.len());
        let half = sooner.len() / 2;
        add_windowed(sooner, &re[..half], &im[..half], first);
        add_windowed(later, &re[half..], &im[half..], then);
    }
}

/// Adds windowed samples to their places, the even ones of `re` and the odd ones of `im`, eight at a time as far as they go.
#[inline(always)]
fn add_windowed(places: &mut [f32], re: &[f32], im: &[f32], windows: &[f32]) {
    let (eights, rest) = places.as_chunks_mut::<8>();
    let (windows, windows_of_rest) = windows.as_chunks::<8>();
    let ((re, re_of_rest), (im, im_of_rest)) = (re.as_chunks::<4>(), im.as_chunks::<4>());
    for (((place, re), im), w) in eights.iter_mut().zip(re).zip(im).zip(windows) {
        let samples = [re[0], im[0], re[1], im[1], re[2], im[2], re[3], im[3]];
        for ((place, sample), w) in place.iter_mut().zip(samples).zip(w) {
            *place += sample * w;
        }
    }
    let windows = windows_of_rest.as_chunks::<2>().0;
    for (((place, re), im), w) in rest.as_chunks_mut::<2>().0.iter_mut().zip(re_of_rest).zip(im_of_rest).zip(windows) {
        place[0] += re * w[0];
        place[1] += im * w[1];
    }
}
