//! De-reverb: attenuates late reverberation of a voice in short-time spectra.

use super::{Stage, StageContext};
use crate::blank::blank;
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
mod windows;

use parameters::Parameters;
use predictor::Predictor;
use stft::{HALF, MAX_FRAME, MAX_SYNTHESIS, Stft};
use suppressor::Suppressor;
use windows::windows;

/// Decay time from which the stage acts fully, ms. It starts to act at [`DRY_DECAY_MS`].
const REVERBERANT_MS: f64 = 180.0;
/// Decay times between which noise reduction without detected reverberation fades in, ms. Chosen on the development
/// recordings (see tests/standards/DE_REVERB.md).
const NOISE_REMOVED_MS: [f64; 2] = [183.0, 203.0];
/// Late reverberation is modelled with this multiple of the set decay time (see tests/standards/DE_REVERB.md).
const DECAY_STRETCH: f64 = 1.2;
/// Multiple for short decay times, which are measured too short. Fades to [`DECAY_STRETCH`] over [`SHORT_DECAY_MS`].
const DECAY_STRETCH_IF_SHORT: f64 = 1.4;
/// Multiple for long decay times. Fades in over [`LONG_DECAY_MS`].
const DECAY_STRETCH_IF_LONG: f64 = 1.6;
/// Time constant of the power that feeds the late reverberation, as a share of the decay time. Long reverberation is
/// smeared more. Chosen on the development recordings (see tests/standards/DE_REVERB.md).
const SMOOTH_SHARE: f64 = 0.04;
/// Limits of that time constant, ms.
const SMOOTH_MS: [f64; 2] = [18.0, 45.0];
/// For short decay times the decision-directed ratio forgets this many times as fast (see
/// tests/standards/DE_REVERB.md).
const FORGETTING_IF_SHORT: f64 = 1.4;
/// Hop for which the constants of high latency were chosen, s.
const HIGH_HOP_S: f64 = 256.0 / 48_000.0;
/// Hop for which the constants of low latency were chosen, s.
const LOW_HOP_S: f64 = 128.0 / 48_000.0;
/// Fade-in after a latency change without history, ms.
const FADE_IN_MS: f64 = 10.0;

/// De-reverb: attenuates late reverberation and the background noise of the recording.
///
/// Works in short-time spectra, band by band. Both channels share one gain and one set of prediction coefficients per
/// band.
///
/// - Linear prediction, up to 3 kHz: late reverberation is predicted from the band's own past and subtracted. The
///   subtracted power is limited to what the decay time allows. The subtracted share is `1 - g^2`, where `g` is the
///   linear gain of the range.
/// - Wiener gain, all bands: attenuates the remaining late reverberation that the decay time predicts. The range is its
///   floor. During direct sound the floor is 0.55 of the range in dB, or 0.8 of it in audible noise.
/// - Detection: dry voices also measure short decay times. Up to 0.28 s the stage therefore acts only as far as its
///   predictions prove correct; from 0.4 s on it needs no proof. Up to 0.18 s it leaves noise untouched unless
///   reverberation is detected. Where detection is required, half of the late reverberation counts during direct sound.
///
/// The stage learns reverberation and noise within some seconds of playback. For files,
/// [`Strip::analyse_ahead`](crate::Strip::analyse_ahead) learns them before the first sample. The private modules
/// `predictor` and `suppressor` cite their sources.
///
/// Analysis frames are long (43 ms) and synthesis windows short (21 ms at high latency, 11 ms at low latency). This
/// combines the frequency resolution of the former with the delay of the latter. When a hop would lose less than -70 dB
/// of its power, the output fades to the delayed input and is then bit-exact.
///
/// Latency: 1 024 samples (high) or 512 (low) at 48 kHz. Lengths scale with the sample rate by powers of two, up to
/// frames of 4 096 samples, which are reached at 135 kHz. With `SpectralLatency::None` the stage is bypassed.
///
/// Memory: 323 KiB in stereo. Cost: mostly the transform; measured by `stages` and `ratios` in benches. Tested by its
/// own tests and by `restoration` in `properties`; scored by `tests/standards/de_reverb.py`.
#[derive(Clone, Copy, Debug)]
pub struct DeReverb;

/// Inputs to the design of a [`DeReverb`]: its settings and the latency that all spectral stages share.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DeReverbDesign {
    /// Settings of the stage.
    pub settings: DeReverbSettings,
    /// Latency of the spectral stages.
    pub latency: SpectralLatency,
}

impl From<&StripSettings> for DeReverbDesign {
    fn from(strip: &StripSettings) -> Self {
        Self { settings: strip.de_reverb, latency: strip.spectral.latency }
    }
}

/// Coefficients of a [`DeReverb`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DeReverbCoefs {
    stft: Stft,
    parameters: Parameters,
    /// Length of the fade-in after a latency change, samples.
    fade_in: u32,
}

blank! { DeReverbCoefs { stft, parameters, fade_in } }

/// Model of the late reverberation, and the maximum attenuation applied to it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LateReverberation {
    /// Delay from the direct sound to the start of the late reverberation, s.
    pub onset_s: f64,
    /// Time in which the reverberation of the model decays by 60 dB, s: 1.2 to 1.6 times the set decay time.
    pub decay_s: f64,
    /// Maximum attenuation of the Wiener gain in any band, dB. Includes the amount and the reduction for dry decay
    /// times.
    pub max_attenuation_db: f64,
}

impl DeReverbCoefs {
    /// Model of the late reverberation; `None` if the stage is bypassed. Tested by
    /// `the_late_reverberation_follows_the_settings`.
    #[must_use]
    pub fn late_reverberation(&self) -> Option<LateReverberation> {
        let (stft, parameters) = (&self.stft, &self.parameters);
        let lowest = f64::from(1.0 + parameters.strength * (parameters.floor - 1.0));
        (!self.is_bypassed()).then(|| LateReverberation {
            onset_s: stft.hop_s * stft.late_hops as f64,
            decay_s: -6.0 * stft.hop_s / libm::log10(f64::from(parameters.decay_per_hop)),
            max_attenuation_db: -power_to_db(lowest * lowest),
        })
    }

    /// True if all coefficients are finite and within their ranges.
    #[must_use]
    pub fn is_stable(&self) -> bool {
        let Self { stft, parameters, fade_in: _ } = self;
        stft.is_stable() && parameters.is_stable()
    }

    /// True with `SpectralLatency::None`: the stage is bypassed.
    #[must_use]
    pub fn is_bypassed(&self) -> bool {
        self.stft.is_bypassed()
    }
}

/// State of a [`DeReverb`].
#[derive(Clone, Debug)]
pub struct DeReverbState<const C: usize> {
    stft: Option<Stft>,
    fft: RealFft<HALF>,
    scratch: SplitComplex<HALF>,
    /// Latest input samples, a ring buffer.
    past: [[f32; MAX_FRAME]; C],
    /// Write position in `past`.
    at: usize,
    /// Samples of the current hop that have been processed.
    filled: usize,
    spectra: [SplitComplex<HALF>; C],
    /// Overlap-add output, a ring buffer as long as the synthesis window.
    overlap: [[f32; MAX_SYNTHESIS]; C],
    /// Read position in `overlap`.
    out: usize,
    predictor: Predictor<C>,
    suppressor: Suppressor,
    /// Share of the processed signal at the start and at the end of the current hop.
    wet: [f32; 2],
    /// Hops since the start.
    hops: usize,
    /// Samples that remain silent after a latency change without history.
    silent: u32,
    /// Samples that remain of the fade-in that follows, and its whole length.
    fade_in: u32,
    fade_in_length: u32,
    max_reduction_db: f64,
}

blank! {
    [const C: usize] DeReverbState<C> {
        stft, fft, scratch, past, at, filled, spectra, overlap, out, predictor, suppressor, wet, hops, silent,
        fade_in, fade_in_length, max_reduction_db,
    }
}

impl<const C: usize> DeReverbState<C> {
    /// Clears the state in place; it is too large to be rebuilt on a stack.
    pub fn clear(&mut self) {
        self.stft = None;
        self.past = [[0.0; MAX_FRAME]; C];
        (self.at, self.silent, self.fade_in, self.max_reduction_db) = (0, 0, 0, 0.0);
    }

    /// Applies a latency change during playback. History is kept if the stage was running; otherwise the output fades
    /// in once the first frames are complete.
    pub(crate) fn change_latency(&mut self, coefs: &DeReverbCoefs) {
        if self.stft.is_none_or(|stft| stft.is_bypassed()) {
            self.clear();
            (self.silent, self.fade_in, self.fade_in_length) =
                (coefs.stft.synthesis as u32, coefs.fade_in, coefs.fade_in);
        }
        self.begin(&coefs.stft);
    }

    /// Starts with new lengths; `past` is kept.
    fn begin(&mut self, stft: &Stft) {
        self.stft = Some(*stft);
        if stft.is_bypassed() {
            return;
        }
        self.fft = RealFft::new(stft.analysis);
        self.restart();
    }

    /// Starts an analysis ahead of playback: all predictions count towards the detection of reverberation.
    pub(crate) fn begin_analysis(&mut self, coefs: &DeReverbCoefs) {
        self.begin(&coefs.stft);
        self.predictor.begin_analysis();
    }

    /// Ends the analysis ahead: clears the signal history and keeps what was learnt about reverberation and noise.
    pub(crate) fn end_analysis(&mut self) {
        self.past = [[0.0; MAX_FRAME]; C];
        self.overlap.iter_mut().for_each(|values| values.fill(0.0));
        self.predictor.end_analysis();
        self.suppressor.end_analysis();
        (self.at, self.out, self.filled, self.wet, self.hops) = (0, 0, 0, [0.0; 2], 0);
        (self.silent, self.fade_in, self.max_reduction_db) = (0, 0, 0.0);
    }

    /// Clears spectra and levels; `past` is kept.
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
        // Chosen on the development recordings in four rooms, for the hops given here (see
        // tests/standards/DE_REVERB.md).
        let (reverberant_share, memory, hop_s) = match latency {
            SpectralLatency::Low => (0.08, 0.90, LOW_HOP_S),
            _ => (0.15, 0.87, HIGH_HOP_S),
        };
        let hops = stft.hop_s / hop_s;
        let decay_s = 1e-3 * s.decay_ms;
        let detection_weight =
            ((SHORT_DECAY_MS[1] - s.decay_ms) / (SHORT_DECAY_MS[1] - SHORT_DECAY_MS[0])).clamp(0.0, 1.0);
        let long = ((s.decay_ms - LONG_DECAY_MS[0]) / (LONG_DECAY_MS[1] - LONG_DECAY_MS[0])).clamp(0.0, 1.0);
        let stretch = DECAY_STRETCH
            + detection_weight * (DECAY_STRETCH_IF_SHORT - DECAY_STRETCH)
            + long * (DECAY_STRETCH_IF_LONG - DECAY_STRETCH);
        let kept = |seconds: f64| libm::exp10(-6.0 * seconds / (stretch * decay_s));
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
            fade_in: rate.samples(FADE_IN_MS).max(1),
        })
    }

    const MAX_LATENCY: usize = MAX_SYNTHESIS;
    const BYPASS_KEEPS_STATE: bool = true;
    const HAS_GAIN_REDUCTION: bool = true;

    /// In place: the state is too large for the stack of an audio thread.
    fn clear(state: &mut DeReverbState<C>, _rate: SampleRate) {
        state.clear();
    }

    fn run(context: StageContext<'_, Self, C>, frames: &mut [[f32; C]]) {
        Self::run_with_bypass(context, frames, &mut []);
    }

    fn run_with_bypass(context: StageContext<'_, Self, C>, frames: &mut [[f32; C]], bypassed: &mut [[f32; C]]) {
        let StageContext { coefs, state, .. } = context;
        if coefs.is_bypassed() {
            bypassed.iter_mut().zip(frames.iter()).for_each(|(to, from)| *to = *from);
            return;
        }
        if state.stft != Some(coefs.stft) {
            state.begin(&coefs.stft);
        }
        if state.hops == 0 && state.filled == 0 {
            // Samples are processed in pairs: the first hop is one sample shorter if it starts at an odd ring position.
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

    /// Runs only the delay. When the stage is switched on again, it learns afresh and fades in once its frames overlap.
    fn run_bypassed(context: StageContext<'_, Self, C>, frames: &mut [[f32; C]]) {
        let StageContext { coefs, state, .. } = context;
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
            delay_frame(state, delay, frame);
            apply_fade_in(state, frame);
        }
    }

    fn interpolated(from: &DeReverbCoefs, to: &DeReverbCoefs, t: f64) -> DeReverbCoefs {
        DeReverbCoefs { parameters: from.parameters.interpolated(&to.parameters, t as f32), ..*to }
    }

    fn is_idle(coefs: &DeReverbCoefs) -> bool {
        coefs.is_bypassed()
    }

    /// One synthesis window, whether the stage is on or off.
    fn latency(coefs: &DeReverbCoefs) -> u32 {
        coefs.stft.synthesis as u32
    }

    /// A gain that differs between bands rings within its frame only.
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

/// Writes a frame to the ring buffer and replaces it by the one delayed by the latency.
#[inline(always)]
fn delay_frame<const C: usize>(state: &mut DeReverbState<C>, delay: usize, frame: &mut [f32; C]) {
    let at = state.at % MAX_FRAME;
    let old = (state.at + MAX_FRAME - delay) % MAX_FRAME;
    for (past, sample) in state.past.iter_mut().zip(frame) {
        past[at] = *sample;
        *sample = past[old];
    }
    state.at = (at + 1) % MAX_FRAME;
}

/// Silence, then a fade-in, after a latency change without history.
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

/// Processes frames within one hop.
fn run_segment<const C: usize>(
    stft: &Stft,
    state: &mut DeReverbState<C>,
    frames: &mut [[f32; C]],
    bypassed: &mut [[f32; C]],
) {
    let (mut rest, mut copies) = (frames, bypassed);
    while !rest.is_empty() {
        // Up to the next ring boundary.
        let old = (state.at + MAX_FRAME - stft.synthesis) % MAX_FRAME;
        let n = rest.len().min(MAX_FRAME - state.at).min(MAX_FRAME - old).min(stft.synthesis - state.out);
        let (now, later) = rest.split_at_mut(n);
        let (copy, later_copies) = copies.split_at_mut(n.min(copies.len()));
        run_contiguous(stft, state, old, now, copy);
        (rest, copies) = (later, later_copies);
    }
}

/// Processes frames that are contiguous in every ring buffer.
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

/// Completes a hop: processes the current analysis frame and adds it to the output.
fn end_hop<const C: usize>(coefs: &DeReverbCoefs, state: &mut DeReverbState<C>) {
    let stft = &coefs.stft;
    let windows = windows(stft.analysis, stft.synthesis);
    state.filled = 0;
    state.wet[0] = state.wet[1];
    // Starts at the oldest sample of the frame, two samples at a time. Ring length and positions are even.
    let start = (state.at + MAX_FRAME - stft.analysis) % MAX_FRAME;
    let first = (MAX_FRAME - start).min(stft.analysis);
    for (past, spectrum) in state.past.iter().zip(&mut state.spectra) {
        let [re, im] = spectrum;
        let pieces = [(&past[start..start + first], 0), (&past[..stft.analysis - first], first)];
        for (piece, at) in pieces {
            let (window, half) = (&windows.analysis[at..at + piece.len()], at / 2);
            let end = half + piece.len() / 2;
            fft::pack_windowed(piece, window, &mut re[half..end], &mut im[half..end]);
        }
        state.fft.forward(spectrum, &mut state.scratch);
    }
    state.suppressor.begin(stft, &coefs.parameters);
    let prediction = state.predictor.hop(stft, &coefs.parameters, &mut state.spectra, state.suppressor.interference());
    // Mean power of the channels.
    let bands = stft.bands;
    let powers = &mut state.suppressor.powers[..bands];
    for (c, [re, im]) in state.spectra.iter().enumerate() {
        for ((power, re), im) in powers.iter_mut().zip(re).zip(im) {
            let own = (re * re + im * im) * (1.0 / C as f32);
            *power = if c == 0 { own } else { *power + own };
        }
    }
    let summary = state.suppressor.hop(stft, &coefs.parameters, &prediction, state.hops >= stft.analysis / stft.hop);
    state.hops = (state.hops + 1).min(2 * stft.synthesis);
    // The output is used once frames overlap without a gap.
    let whole = state.hops >= stft.synthesis / stft.hop;
    state.wet[1] = if whole && summary.acts { 1.0 } else { 0.0 };
    if whole && summary.acts {
        state.max_reduction_db = state.max_reduction_db.max(-power_to_db(f64::from(summary.left)));
    }
    let gains = &state.suppressor.gains[..bands];
    for (spectrum, overlap) in state.spectra.iter_mut().zip(&mut state.overlap) {
        let [re, im] = spectrum;
        // The Nyquist value shares the first bin.
        let nyquist = im[0] * summary.above;
        for ((re, im), gain) in re.iter_mut().zip(im.iter_mut()).zip(gains) {
            (*re, *im) = (*re * gain, *im * gain);
        }
        im[0] = nyquist;
        let above = bands..stft.analysis / 2;
        re[above.clone()].iter_mut().chain(&mut im[above]).for_each(|x| *x *= summary.above);
        state.fft.inverse(spectrum, &mut state.scratch);
        // Only the end of the frame is synthesised.
        let begin = (stft.analysis - stft.synthesis) / 2;
        let [re, im] = spectrum;
        let (re, im) = (&re[begin..stft.analysis / 2], &im[begin..stft.analysis / 2]);
        // The oldest ring position is output next.
        let (later, sooner) = overlap[..stft.synthesis].split_at_mut(state.out);
        let (first, then) = windows.synthesis.split_at(sooner.len());
        let half = sooner.len() / 2;
        add_windowed(sooner, &re[..half], &im[..half], first);
        add_windowed(later, &re[half..], &im[half..], then);
    }
}

/// Adds windowed samples to `places`: even samples come from `re`, odd ones from `im`. Runs eight samples at a time.
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
