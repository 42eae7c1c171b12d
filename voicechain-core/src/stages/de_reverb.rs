//! The de-reverb: takes the late sound of a room out of a voice, in short-time spectra.

use super::{Core, Stage};
use crate::dsp::fft::{self, Complexes, RealFft};
use crate::error::SettingError;
use crate::frame::{CHUNK, Frame};
use crate::math::{from_db, power_to_db, smooth_step, smoothing};
use crate::reverberation::{DRY_MS, LONG_MS, SHORT_MS};
use crate::settings::{DeReverbSettings, SpectralLatency, StripSettings};
use crate::units::SampleRate;

mod plan;
mod predictor;
mod rules;
mod suppressor;
#[cfg(test)]
mod tests;

use plan::{HALF, LONGEST, LONGEST_SYNTHESIS, Plan};
use predictor::Predictor;
use rules::Rules;
use suppressor::Suppressor;

/// Decay time at which it acts in full, ms; it begins to act at [`DRY_MS`].
const ROOMY_MS: f64 = 180.0;
/// Between these decay times it begins to take the noise of a recording, too, whether a room proves true or not: of the six
/// voices without any room that read more than that, five have noise of their own (0.18, 0.18, 0.18, 0.20 and 0.25 s), and
/// what they lose is their noise.
const NOISE_TAKEN_MS: [f64; 2] = [183.0, 203.0];
/// The late sound of a band is taken to fall so much slower than the room's decay time says: of 1, 1.2 and 1.3 with feeds of
/// 0.15 to 0.25 the best of pauses and ESTOI together, on the half that chooses; and of the shortest, which are read too short
/// (0.24 s where it is 0.27 s), so much slower: of 1.2 to 1.4 what lowers pauses most, on both halves; and of the longest
/// (1.03 s where it is 1.28 s): of 1.2, 1.4 and 1.6 the best there without noise, on both halves (ESTOI within .0002 of 1.4's),
/// to which it grows between the ends of [`LONG_MS`].
const SLOWER: f64 = 1.2;
const SLOWER_IF_SHORT: f64 = 1.4;
const SLOWER_IF_LONG: f64 = 1.6;
/// Smoothing of what feeds the late sound, as a share of the decay time, and within which bounds, ms: what is late blurs the
/// more, the longer the room rings. Of 0.03, 0.04 and 0.05 the best ESTOI on the half that chooses; of lower bounds of 8 to
/// 24 ms the one that gains PESQ (.01) in rooms of 0.27 s and, with `LATE_BESIDE_DIRECT`, loses no ESTOI.
const SMOOTH_SHARE: f64 = 0.04;
const SMOOTH_MS: [f64; 2] = [18.0, 45.0];
/// The suppressor's ratio forgets so many times as fast in the shortest decay times: of 1, 1.25, 1.4 and 1.6 what gains
/// ESTOI (.0005 to .001) there for .001 of PESQ and .03 of PESQ in noise, on both halves.
const FORGETS_IF_SHORT: f64 = 1.4;
/// Hop that the numbers of each latency belong to, s.
const HIGH_HOP_S: f64 = 256.0 / 48_000.0;
const LOW_HOP_S: f64 = 128.0 / 48_000.0;
/// Fade-in after a change of latency without a past, ms.
const SOFT_MS: f64 = 10.0;

/// Suppresses late reverberation, and the noise of the recording with it.
///
/// Up to 3 kHz late sound is predicted from the band's own past by what is learnt of the room, and subtracted: of a
/// prediction no more than the decay time allows, and all but the square of the range's gain. What the decay time says is
/// late in the rest is taken away by a Wiener gain with a floor, the range, of which 0.55 (in dB; where noise is heard
/// 0.8) holds while direct sound is heard. Decay times that dry voices are read with, too, count as far as predictions
/// come true (from 0.28 s on less, from 0.4 s on nothing has to), and noise is left alone up to 0.18 s where they do not; of
/// the late sound of such a room half counts beside direct sound. What it learns of room and noise takes some seconds as it
/// plays; for files it can be learnt before the first sample ([`Strip::learn`](crate::Strip::learn)). Predictor and
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
    plan: Plan,
    rules: Rules,
    /// Decay time of the room, s.
    decay_s: f64,
    soft: u32,
}

/// What is taken for the late sound of a room, and how much of it is taken at most.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LateSound {
    /// From a sound to its late part, s.
    pub begins_s: f64,
    /// Time in which the room falls by 60 dB, s.
    pub decay_s: f64,
    /// The most that is taken from any band, with the share of the suppression and for so dry a room, dB.
    pub most_taken_db: f64,
}

impl DeReverbCoefs {
    /// What it takes for late, and how much of that; `None` without latency. Tested by `the_late_sound_is_that_of_the_settings`.
    #[must_use]
    pub fn late_sound(&self) -> Option<LateSound> {
        let (plan, rules) = (&self.plan, &self.rules);
        let lowest = f64::from(1.0 + rules.strength * (rules.floor - 1.0));
        (!self.is_bypassed()).then(|| LateSound {
            begins_s: plan.hop_s * plan.late_hops as f64,
            decay_s: self.decay_s,
            most_taken_db: -power_to_db(lowest * lowest),
        })
    }

    /// True when everything is finite.
    #[must_use]
    pub fn is_stable(&self) -> bool {
        let r = &self.rules;
        [r.kept_per_hop, r.kept_until_late, r.smooth_kept, r.memory].iter().all(|x| (0.0..1.0).contains(x))
            && [r.feed, r.floor, r.strength, r.unproved, r.doubt].iter().all(|x| (0.0..=1.0).contains(x))
    }

    /// True without latency: the stage is bypassed.
    #[must_use]
    pub fn is_bypassed(&self) -> bool {
        self.plan.is_bypassed()
    }
}

/// What the sound has left in a [`DeReverb`].
#[derive(Clone, Debug)]
pub struct DeReverbState<const C: usize> {
    plan: Option<Plan>,
    fft: RealFft<HALF>,
    scratch: Complexes<HALF>,
    analysis: [f32; LONGEST],
    synthesis: [f32; LONGEST_SYNTHESIS],
    /// The lengths that the windows are made for.
    windows_of: [usize; 2],
    /// The last input, a ring.
    past: [[f32; LONGEST]; C],
    at: usize,
    /// Frames of the running hop that have gone by.
    filled: usize,
    spectra: [Complexes<HALF>; C],
    /// What is to come out, a ring of a synthesis window.
    overlap: [[f32; LONGEST_SYNTHESIS]; C],
    out: usize,
    predictor: Predictor<C>,
    suppressor: Suppressor,
    /// Share of the suppressed signal at the beginning and at the end of the running hop.
    wet: [f32; 2],
    /// Hops since frames began to overlap without a gap.
    hops: usize,
    /// Frames that are still silent, and then still fade in, after a change of latency.
    silent: u32,
    soft: u32,
    soft_length: u32,
    largest_db: f64,
}

impl<const C: usize> DeReverbState<C> {
    /// A state that has heard nothing: a constant, so that it is copied to its place at once.
    const NEW: Self = Self {
        plan: None,
        fft: RealFft::new(LONGEST),
        scratch: [[0.0; HALF]; 2],
        analysis: [0.0; LONGEST],
        synthesis: [0.0; LONGEST_SYNTHESIS],
        windows_of: [0; 2],
        past: [[0.0; LONGEST]; C],
        at: 0,
        filled: 0,
        spectra: [[[0.0; HALF]; 2]; C],
        overlap: [[0.0; LONGEST_SYNTHESIS]; C],
        out: 0,
        predictor: Predictor::NEW,
        suppressor: Suppressor::NEW,
        wet: [0.0; 2],
        hops: 0,
        silent: 0,
        soft: 0,
        soft_length: 1,
        largest_db: 0.0,
    };

    /// Forgets everything, in place: the state is too large to be made again on any stack.
    pub fn clear(&mut self) {
        self.plan = None;
        self.past = [[0.0; LONGEST]; C];
        (self.at, self.silent, self.soft, self.largest_db) = (0, 0, 0, 0.0);
    }

    /// Is told that the latency has changed while sound plays. What it has heard stays, if it was there to hear it;
    /// otherwise it fades in when its first frames have gone through.
    pub(crate) fn enter(&mut self, coefs: &DeReverbCoefs) {
        if self.plan.is_none_or(|plan| plan.is_bypassed()) {
            self.clear();
            (self.silent, self.soft, self.soft_length) = (coefs.plan.synthesis as u32, coefs.soft, coefs.soft);
        }
        self.begin(&coefs.plan);
    }

    /// Begins with these lengths; the past stays.
    fn begin(&mut self, plan: &Plan) {
        self.plan = Some(*plan);
        if plan.is_bypassed() {
            return;
        }
        if self.windows_of != [plan.analysis, plan.synthesis] {
            self.windows_of = [plan.analysis, plan.synthesis];
            self.fft = RealFft::new(plan.analysis);
            plan.windows(&mut self.analysis, &mut self.synthesis, 2.0 / plan.analysis as f64);
        }
        self.restart();
    }

    /// What comes is heard to learn from, before it is played: everything of it counts.
    pub(crate) fn gather(&mut self, coefs: &DeReverbCoefs) {
        self.begin(&coefs.plan);
        self.predictor.gather();
    }

    /// Forgets the sound that it has gathered from, as if none had gone by, and keeps what it has learnt of room and noise.
    pub(crate) fn turn_back(&mut self) {
        self.past = [[0.0; LONGEST]; C];
        self.overlap.iter_mut().for_each(|values| values.fill(0.0));
        self.predictor.turn_back();
        self.suppressor.turn_back();
        (self.at, self.out, self.filled, self.wet, self.hops) = (0, 0, 0, [0.0; 2], 0);
        (self.silent, self.soft, self.largest_db) = (0, 0, 0.0);
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
        let plan = Plan::new(*latency, rate);
        // Chosen on voices of the half that chooses in four rooms, for hops of their own length.
        let (feed, memory, hop_s) = match latency {
            SpectralLatency::Low => (0.08, 0.90, LOW_HOP_S),
            _ => (0.15, 0.87, HIGH_HOP_S),
        };
        let hops = plan.hop_s / hop_s;
        let decay_s = 1e-3 * s.decay_ms;
        let doubt = ((SHORT_MS[1] - s.decay_ms) / (SHORT_MS[1] - SHORT_MS[0])).clamp(0.0, 1.0);
        let long = ((s.decay_ms - LONG_MS[0]) / (LONG_MS[1] - LONG_MS[0])).clamp(0.0, 1.0);
        let slower = SLOWER + doubt * (SLOWER_IF_SHORT - SLOWER) + long * (SLOWER_IF_LONG - SLOWER);
        let kept = |seconds: f64| libm::exp10(-6.0 * seconds / (slower * decay_s));
        let smooth_ms = (SMOOTH_SHARE * s.decay_ms).clamp(SMOOTH_MS[0], SMOOTH_MS[1]);
        let amount = 0.01 * s.amount_percent;
        let share = |from: f64, to: f64| amount * ((s.decay_ms - from) / (to - from)).clamp(0.0, 1.0);
        Ok(DeReverbCoefs {
            plan,
            rules: Rules {
                kept_per_hop: kept(plan.hop_s) as f32,
                kept_until_late: kept(plan.hop_s * (plan.late_hops - 1) as f64) as f32,
                feed: (1.0 - libm::pow(1.0 - feed, hops)) as f32,
                smooth_kept: smoothing(smooth_ms, 1.0 / plan.hop_s, 1.0) as f32,
                memory: libm::pow(memory, hops * (1.0 + doubt * (FORGETS_IF_SHORT - 1.0))) as f32,
                floor: from_db(-s.range_db) as f32,
                strength: share(DRY_MS, ROOMY_MS) as f32,
                unproved: share(NOISE_TAKEN_MS[0], NOISE_TAKEN_MS[1]) as f32,
                doubt: doubt as f32,
            },
            decay_s,
            soft: rate.samples(SOFT_MS).max(1),
        })
    }

    fn state(_rate: SampleRate) -> DeReverbState<C> {
        DeReverbState::NEW
    }

    const LONGEST_LATENCY: usize = LONGEST_SYNTHESIS;
    const PASS_KEEPS_STATE: bool = true;
    const REDUCES: bool = true;

    /// In place: the state is too large to be made on an audio thread's stack.
    fn clear(state: &mut DeReverbState<C>, _rate: SampleRate) {
        state.clear();
    }

    fn run(core: Core<'_, Self, C>, frames: &mut [[f32; C]]) {
        Self::run_beside(core, frames, &mut []);
    }

    fn run_beside(core: Core<'_, Self, C>, frames: &mut [[f32; C]], passed: &mut [[f32; C]]) {
        let Core { coefs, state } = core;
        if coefs.is_bypassed() {
            passed.iter_mut().zip(frames.iter()).for_each(|(to, from)| *to = *from);
            return;
        }
        if state.plan != Some(coefs.plan) {
            state.begin(&coefs.plan);
        }
        if state.hops == 0 && state.filled == 0 {
            // Two samples are taken at a time: the first hop is a sample shorter where it begins at an odd place of the ring.
            (state.out, state.filled) = (state.at % 2, state.at % 2);
        }
        let (mut rest, mut passed) = (frames, passed);
        while !rest.is_empty() {
            let n = rest.len().min(coefs.plan.hop - state.filled);
            let (now, later) = rest.split_at_mut(n);
            let (copy, copies) = passed.split_at_mut(n.min(passed.len()));
            run_piece(&coefs.plan, state, now, copy);
            if state.filled == coefs.plan.hop {
                end_hop(coefs, state);
            }
            (rest, passed) = (later, copies);
        }
    }

    /// Only the delay goes on; when it is switched on again it learns afresh, and fades in when its frames overlap.
    fn pass(core: Core<'_, Self, C>, frames: &mut [[f32; C]]) {
        let Core { coefs, state } = core;
        if coefs.is_bypassed() {
            return;
        }
        if state.plan != Some(coefs.plan) {
            state.begin(&coefs.plan);
        } else if state.hops > 0 || state.filled > 0 {
            state.restart();
        }
        let delay = coefs.plan.synthesis;
        for frame in frames {
            take(state, delay, frame);
            soften(state, frame);
        }
    }

    fn between(from: &DeReverbCoefs, to: &DeReverbCoefs, t: f64) -> DeReverbCoefs {
        let mix = |a: f32, b: f32| a + (b - a) * t as f32;
        let (a, b) = (&from.rules, &to.rules);
        DeReverbCoefs {
            decay_s: from.decay_s + (to.decay_s - from.decay_s) * t,
            rules: Rules {
                kept_per_hop: mix(a.kept_per_hop, b.kept_per_hop),
                kept_until_late: mix(a.kept_until_late, b.kept_until_late),
                smooth_kept: mix(a.smooth_kept, b.smooth_kept),
                floor: mix(a.floor, b.floor),
                strength: mix(a.strength, b.strength),
                doubt: mix(a.doubt, b.doubt),
                ..*b
            },
            ..*to
        }
    }

    fn rests(coefs: &DeReverbCoefs) -> bool {
        coefs.is_bypassed()
    }

    /// A synthesis window; the same whether on or off.
    fn latency(coefs: &DeReverbCoefs) -> u32 {
        coefs.plan.synthesis as u32
    }

    /// A gain that differs from band to band rings within its frame, no further.
    fn tail(coefs: &DeReverbCoefs) -> u32 {
        (coefs.plan.synthesis + coefs.plan.analysis) as u32
    }

    fn is_stable(coefs: &DeReverbCoefs) -> bool {
        coefs.is_stable()
    }

    fn take_reduction_db(state: &mut DeReverbState<C>) -> f64 {
        core::mem::take(&mut state.largest_db)
    }
}

/// Takes a frame into the past and gives the one that is as old as the latency.
#[inline(always)]
fn take<const C: usize>(state: &mut DeReverbState<C>, delay: usize, frame: &mut [f32; C]) {
    let at = state.at % LONGEST;
    let old = (state.at + LONGEST - delay) % LONGEST;
    for (past, sample) in state.past.iter_mut().zip(frame) {
        past[at] = *sample;
        *sample = past[old];
    }
    state.at = (at + 1) % LONGEST;
}

/// Silence, then a fade, after a change of latency without a past.
#[inline(always)]
fn soften<const C: usize>(state: &mut DeReverbState<C>, frame: &mut [f32; C]) {
    if state.soft == 0 {
        return;
    }
    if state.silent > 0 {
        state.silent -= 1;
        *frame = [0.0; C];
        return;
    }
    state.soft -= 1;
    let t = 1.0 - state.soft as f32 / state.soft_length as f32;
    let gain = smooth_step(t);
    frame.iter_mut().for_each(|sample| *sample *= gain);
}

/// Runs frames of one hop.
fn run_piece<const C: usize>(
    plan: &Plan,
    state: &mut DeReverbState<C>,
    frames: &mut [[f32; C]],
    passed: &mut [[f32; C]],
) {
    let (mut rest, mut copies) = (frames, passed);
    while !rest.is_empty() {
        // As far as no ring ends.
        let old = (state.at + LONGEST - plan.synthesis) % LONGEST;
        let n = rest.len().min(LONGEST - state.at).min(LONGEST - old).min(plan.synthesis - state.out);
        let (now, later) = rest.split_at_mut(n);
        let (copy, later_copies) = copies.split_at_mut(n.min(copies.len()));
        run_stretch(plan, state, old, now, copy);
        (rest, copies) = (later, later_copies);
    }
}

/// Runs frames that lie in one piece in every ring.
fn run_stretch<const C: usize>(
    plan: &Plan,
    state: &mut DeReverbState<C>,
    old: usize,
    frames: &mut [[f32; C]],
    passed: &mut [[f32; C]],
) {
    let n = frames.len();
    let [from, to] = state.wet;
    let slope = (to - from) / plan.hop as f32;
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
        if state.soft > 0 {
            let (silent, soft) = (state.silent, state.soft);
            frames.iter_mut().for_each(|frame| soften(state, frame));
            (state.silent, state.soft) = (silent, soft);
            wet.iter_mut().for_each(|frame| soften(state, frame));
        }
        for (to, from) in passed.iter_mut().skip(done).zip(frames.iter()) {
            *to = *from;
        }
        frames.copy_from_slice(wet);
        done += m;
    }
    state.at = (state.at + n) % LONGEST;
    state.out = (state.out + n) % plan.synthesis;
    state.filled += n;
}

/// Ends a hop: the frame that is complete is suppressed and added to what is to come out.
fn end_hop<const C: usize>(coefs: &DeReverbCoefs, state: &mut DeReverbState<C>) {
    let plan = &coefs.plan;
    state.filled = 0;
    state.wet[0] = state.wet[1];
    // From the oldest sample of the frame, two at a time; the ring's length is even, and so is every place.
    let start = (state.at + LONGEST - plan.analysis) % LONGEST;
    let first = (LONGEST - start).min(plan.analysis);
    for (past, spectrum) in state.past.iter().zip(&mut state.spectra) {
        let [re, im] = spectrum;
        let pieces = [(&past[start..start + first], 0), (&past[..plan.analysis - first], first)];
        for (piece, at) in pieces {
            let (window, half) = (&state.analysis[at..at + piece.len()], at / 2);
            let end = half + piece.len() / 2;
            fft::pack_windowed(piece, window, &mut re[half..end], &mut im[half..end]);
        }
        state.fft.forward(spectrum, &mut state.scratch);
    }
    state.suppressor.begin(plan, &coefs.rules);
    let taken = state.predictor.hop(plan, &coefs.rules, &mut state.spectra, state.suppressor.unwanted());
    // The mean power of the channels.
    let bands = plan.bands;
    let powers = &mut state.suppressor.powers[..bands];
    for (c, [re, im]) in state.spectra.iter().enumerate() {
        for ((power, re), im) in powers.iter_mut().zip(re).zip(im) {
            let own = (re * re + im * im) * (1.0 / C as f32);
            *power = if c == 0 { own } else { *power + own };
        }
    }
    let found = state.suppressor.hop(plan, &coefs.rules, &taken, state.hops >= plan.analysis / plan.hop);
    state.hops = (state.hops + 1).min(2 * plan.synthesis);
    // Frames have to overlap without a gap before any of it can be heard.
    let whole = state.hops >= plan.synthesis / plan.hop;
    state.wet[1] = if whole && found.acts { 1.0 } else { 0.0 };
    if whole && found.acts {
        state.largest_db = state.largest_db.max(-power_to_db(f64::from(found.left)));
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
        let above = bands..plan.analysis / 2;
        re[above.clone()].iter_mut().chain(&mut im[above]).for_each(|x| *x *= found.above);
        state.fft.inverse(spectrum, &mut state.scratch);
        // Only the end of the frame is heard.
        let begin = (plan.analysis - plan.synthesis) / 2;
        let [re, im] = spectrum;
        let (re, im) = (&re[begin..plan.analysis / 2], &im[begin..plan.analysis / 2]);
        // The oldest place of the ring comes out next.
        let (later, sooner) = overlap[..plan.synthesis].split_at_mut(state.out);
        let (first, then) = state.synthesis[..plan.synthesis].split_at(sooner.len());
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
