//! A running stage: coefficients change and the stage switches on and off without clicks.

use super::input_sanitiser::{InputSanitiser, flush_denormals};
use super::stage::{Stage, StageContext};
use crate::blank::Blank;
use crate::error::SettingError;
use crate::filters::{Ramp, Response, Section};
use crate::frame::{CHUNK, Frame};
use crate::math::smooth_step;
use crate::units::SampleRate;

/// Duration of every transition of settings and switches, ms.
pub const TRANSITION_MS: f64 = 10.0;

/// Steps of a transition. Coefficients are interpolated at the end of each; within a step the signal's gains and
/// filters move in straight lines.
const STEPS: u32 = 32;

/// Coefficients of a stage with its switch and the sample rate of the design.
#[derive(Debug)]
pub struct StageCoefs<S: Stage<C>, const C: usize> {
    coefs: S::Coefs,
    on: bool,
    rate: SampleRate,
}

impl<S: Stage<C>, const C: usize> Clone for StageCoefs<S, C> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<S: Stage<C>, const C: usize> Copy for StageCoefs<S, C> {}

impl<S: Stage<C>, const C: usize> Blank for StageCoefs<S, C> {
    const BLANK: Self = Self { coefs: S::Coefs::BLANK, on: false, rate: SampleRate::BLANK };
}

impl<S: Stage<C>, const C: usize> StageCoefs<S, C> {
    /// Designs the coefficients of a stage that is on or off.
    ///
    /// # Errors
    /// Returns a setting outside its range, with its value and the accepted values.
    pub fn design(settings: &S::Settings, on: bool, rate: SampleRate) -> Result<Self, SettingError> {
        Ok(Self { coefs: S::design(settings, rate)?, on, rate })
    }

    /// The coefficients.
    #[must_use]
    pub fn coefs(&self) -> &S::Coefs {
        &self.coefs
    }

    /// True when the stage is on.
    #[must_use]
    pub fn on(&self) -> bool {
        self.on
    }

    /// Delay of the output relative to the input, in samples.
    #[must_use]
    pub fn latency(&self) -> u32 {
        S::latency(&self.coefs)
    }

    /// Bound on the number of samples after which the impulse response of this stage alone stays at least 120 dB below
    /// its peak, latency included. A stage that is off has only its latency.
    #[must_use]
    pub fn tail(&self) -> u32 {
        crate::filters::tail::samples(self.sections().iter()) + self.tail_without_sections()
    }

    /// The tail without the ringing of [`sections`](Self::sections), which the strip evaluates as one cascade.
    pub(crate) fn tail_without_sections(&self) -> u32 {
        if self.on { S::tail(&self.coefs) } else { S::latency(&self.coefs) }
    }

    /// Second-order sections in the signal path; empty when the stage is off.
    #[must_use]
    pub fn sections(&self) -> &[Section] {
        if self.on { S::sections(&self.coefs) } else { &[] }
    }

    /// Response to a steady tone at `frequency_hz`; unity when the stage is off or nonlinear.
    #[must_use]
    pub fn response(&self, frequency_hz: f64) -> Response {
        if self.on { S::response(&self.coefs, frequency_hz) } else { Response::ONE }
    }

    /// Static gain in dB at a steady detector level in dB; 0 when the stage is off or has no detector.
    #[must_use]
    pub fn gain_db(&self, level_db: f64) -> f64 {
        if self.on { S::gain_db(&self.coefs, level_db) } else { 0.0 }
    }

    /// True when all coefficients are finite and every pole lies inside the unit circle.
    #[must_use]
    pub fn is_stable(&self) -> bool {
        S::is_stable(&self.coefs)
    }
}

/// A running stage: state, coefficients, transition and switch.
///
/// Coefficients change only through [`set`](Self::set), with a glide of [`TRANSITION_MS`] that can start during another
/// one. A glide has 32 steps, counted from the frame of the change. The output does not depend on how frames are split
/// into calls of [`run`](Self::run), bit for bit.
///
/// ```
/// use voicechain_core::SampleRate;
/// use voicechain_core::settings::LimiterSettings;
/// use voicechain_core::stages::{Limiter, Processor};
///
/// let settings = LimiterSettings { ceiling_dbtp: -6.0, ..LimiterSettings::default() };
/// let mut limiter = Processor::<Limiter, 1>::design(&settings, SampleRate::new(48_000.0)?)?;
/// let mut frames = [[1.0]; 960];
/// limiter.run(&mut frames);
/// assert!(frames.iter().all(|frame| frame[0] < 0.502)); // -6 dB is a factor of 0.501
/// # Ok::<(), voicechain_core::SettingError>(())
/// ```
pub struct Processor<S: Stage<C>, const C: usize> {
    state: S::State,
    /// Coefficients at the start and at the end of the current step.
    from: S::Coefs,
    next: S::Coefs,
    /// Target coefficients.
    to: S::Coefs,
    /// Elapsed frames of the transition; `None` with steady coefficients.
    transition: Option<u32>,
    on: bool,
    /// Position of the on/off fade, 0 (off) to `length` (on). Moves by one per frame.
    fade: u32,
    length: u32,
    rate: SampleRate,
}

impl<S: Stage<C>, const C: usize> Blank for Processor<S, C> {
    const BLANK: Self = Self {
        state: S::State::BLANK,
        from: S::Coefs::BLANK,
        next: S::Coefs::BLANK,
        to: S::Coefs::BLANK,
        transition: None,
        on: false,
        fade: 0,
        length: 0,
        rate: SampleRate::BLANK,
    };
}

impl<S: Stage<C>, const C: usize> Clone for Processor<S, C>
where
    S::State: Clone,
{
    fn clone(&self) -> Self {
        Self { state: self.state.clone(), ..*self }
    }
}

impl<S: Stage<C>, const C: usize> Processor<S, C>
where
    [f32; C]: Frame,
{
    /// Creates a stage with clear state and steady coefficients.
    #[must_use]
    pub fn new(coefs: &StageCoefs<S, C>) -> Self {
        let mut processor = Self::BLANK;
        processor.restart(coefs);
        processor
    }

    /// Designs a stage with these settings, switched on.
    ///
    /// # Errors
    /// Returns a setting outside its range, with its value and the accepted values.
    pub fn design(settings: &S::Settings, rate: SampleRate) -> Result<Self, SettingError> {
        Ok(Self::new(&StageCoefs::design(settings, true, rate)?))
    }

    /// Starts a transition to new coefficients from the current position. Coefficients of another sample rate restart
    /// the stage with clear state.
    pub fn set(&mut self, new: &StageCoefs<S, C>) {
        if new.rate != self.rate {
            return self.restart(new);
        }
        if new.on && !self.on && self.fade == 0 && !S::BYPASS_KEEPS_STATE {
            // The stage is inaudible: it starts with clear state and the new coefficients.
            S::clear(&mut self.state, self.rate);
            self.assign(new.coefs);
        }
        self.on = new.on;
        if new.coefs == self.to {
            return;
        }
        if !self.on && self.fade == 0 {
            return self.assign(new.coefs);
        }
        match self.transition {
            Some(position) => {
                let ramp = self.step_at(position);
                if ramp.at > 0 {
                    self.from = S::interpolated(&self.from, &self.next, f64::from(ramp.at) / f64::from(ramp.length));
                }
            }
            None => {
                S::enter_transition(StageContext::new(&self.to, &mut self.state));
                self.from = self.to;
            }
        }
        self.to = new.coefs;
        self.transition = Some(0);
        self.begin_step(0);
    }

    /// The step at a position of the transition. The last step may be shorter.
    fn step_at(&self, position: u32) -> Ramp {
        let step = self.length.div_ceil(STEPS);
        let at = position % step;
        Ramp { at, length: step.min(self.length - (position - at)) }
    }

    /// Sets the coefficients at the end of the step that begins at `position`.
    fn begin_step(&mut self, position: u32) {
        let end = position + self.step_at(position).length;
        self.next = if end == self.length {
            self.to
        } else {
            let (from, until) = (self.progress(position), self.progress(end));
            S::interpolated(&self.from, &self.to, (until - from) / (1.0 - from))
        };
    }

    /// Clears the state. Transitions in progress complete at once.
    pub fn reset(&mut self) {
        self.restart(&self.target());
    }

    /// Clears the state in place and applies the coefficients at once, which may be of another sample rate.
    pub(crate) fn restart(&mut self, coefs: &StageCoefs<S, C>) {
        (self.rate, self.length) = (coefs.rate, coefs.rate.samples(TRANSITION_MS));
        S::clear(&mut self.state, self.rate);
        self.set_at_once(coefs);
    }

    /// Applies new coefficients at once and keeps the state.
    pub(crate) fn set_at_once(&mut self, new: &StageCoefs<S, C>) {
        self.assign(new.coefs);
        (self.on, self.fade) = (new.on, if new.on { self.length } else { 0 });
    }

    fn assign(&mut self, coefs: S::Coefs) {
        (self.from, self.next, self.to, self.transition) = (coefs, coefs, coefs, None);
    }

    /// State of the stage.
    #[must_use]
    pub fn state(&self) -> &S::State {
        &self.state
    }

    /// Mutable state, for control outside the settings.
    pub(crate) fn state_mut(&mut self) -> &mut S::State {
        &mut self.state
    }

    /// Target coefficients with their switch.
    #[must_use]
    pub fn target(&self) -> StageCoefs<S, C> {
        StageCoefs { coefs: self.to, on: self.on, rate: self.rate }
    }

    /// Largest gain reduction in dB since the last call.
    pub fn take_reduction_db(&mut self) -> f64 {
        S::take_reduction_db(&mut self.state)
    }

    /// True when the output is the input bit for bit until the next [`set`](Self::set), and no fade is in progress.
    ///
    /// A fade always runs to its end, even between idle coefficients. Otherwise its end would depend on the block
    /// size.
    #[must_use]
    pub fn is_idle(&self) -> bool {
        let fades = self.fade != if self.on { self.length } else { 0 };
        !fades && ((!self.on && !S::BYPASS_KEEPS_STATE) || (self.transition.is_none() && S::is_idle(&self.to)))
    }

    /// Latency at the target coefficients.
    #[must_use]
    pub fn latency(&self) -> u32 {
        S::latency(&self.to)
    }

    /// Progress of a transition, 0 to 1.
    fn progress(&self, position: u32) -> f64 {
        smooth_step(f64::from(position) / f64::from(self.length))
    }

    /// Processes any number of frames in place. Cannot fail.
    ///
    /// Any input gives finite output, as in the strip: non-finite samples become silence, and samples beyond +36 dBFS
    /// are clamped. Tested by `a_stage_alone_survives_any_input`.
    pub fn run(&mut self, frames: &mut [[f32; C]]) {
        for chunk in frames.chunks_mut(CHUNK) {
            InputSanitiser::default().sanitise(chunk);
            self.run_sanitised(chunk);
            flush_denormals(chunk);
        }
    }

    /// Processes frames that are finite and within +36 dBFS, in place.
    pub(crate) fn run_sanitised(&mut self, frames: &mut [[f32; C]]) {
        let mut rest = frames;
        while !rest.is_empty() {
            if self.on && self.fade == self.length {
                return self.run_on(rest, None);
            }
            if !self.on && self.fade == 0 {
                self.transition = None;
                return S::run_bypassed(StageContext::new(&self.to, &mut self.state), rest);
            }
            // The fade ends at the same frame for every block size.
            let left = if self.on { self.length - self.fade } else { self.fade };
            let (now, later) = rest.split_at_mut(rest.len().min(left as usize).min(CHUNK));
            self.run_fading(now);
            rest = later;
        }
    }

    /// Processes at most one chunk during a fade.
    fn run_fading(&mut self, frames: &mut [[f32; C]]) {
        let mut bypassed = [[0.0; C]; CHUNK];
        self.run_on(frames, Some(&mut bypassed[..frames.len()]));
        for (frame, bypassed) in frames.iter_mut().zip(&bypassed) {
            self.fade = if self.on { self.fade + 1 } else { self.fade - 1 };
            let share = self.progress(self.fade) as f32;
            for (wet, &dry) in frame.iter_mut().zip(bypassed) {
                *wet = dry + share * (*wet - dry);
            }
        }
    }

    fn run_on(&mut self, frames: &mut [[f32; C]], bypassed: Option<&mut [[f32; C]]>) {
        let (mut rest, mut bypassed) = (frames, bypassed);
        while let Some(position) = self.transition {
            if rest.is_empty() {
                return;
            }
            let ramp = self.step_at(position);
            let n = rest.len().min((ramp.length - ramp.at) as usize);
            let (now, later) = rest.split_at_mut(n);
            let context = StageContext::in_step(&self.from, &self.next, &mut self.state, ramp);
            bypassed = match bypassed {
                Some(bypassed) => {
                    let (now_bypassed, later) = bypassed.split_at_mut(n);
                    S::run_with_bypass(context, now, now_bypassed);
                    Some(later)
                }
                None => {
                    S::run(context, now);
                    None
                }
            };
            rest = later;
            let position = position + n as u32;
            self.transition = Some(position);
            if position == self.length {
                S::leave_transition(StageContext::new(&self.to, &mut self.state));
                (self.from, self.transition) = (self.to, None);
            } else if ramp.at + n as u32 == ramp.length {
                self.from = self.next;
                self.begin_step(position);
            }
        }
        let context = StageContext::new(&self.to, &mut self.state);
        match bypassed {
            Some(bypassed) => S::run_with_bypass(context, rest, bypassed),
            None => S::run(context, rest),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::{CompressorSettings, ToneEqSettings};
    use crate::stages::{Compressor, ToneEq};
    extern crate std;
    use std::vec::Vec;

    fn rate() -> SampleRate {
        SampleRate::new(48_000.0).unwrap()
    }

    fn signal() -> Vec<[f32; 2]> {
        let mut seed = 3u32;
        let mut next = || {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (f64::from(seed >> 8) / 8_388_608.0 - 1.0) as f32
        };
        (0..12_000).map(|_| [0.4 * next(), 0.1 * next()]).collect()
    }

    /// A single stage has the strip's guarantee: changes at the same frames return the same bits for any block size.
    #[test]
    fn the_output_of_a_stage_is_independent_of_block_size() {
        let coefs = |threshold_db, on| {
            let settings = CompressorSettings { threshold_db, ..CompressorSettings::default() };
            StageCoefs::<Compressor, 2>::design(&settings, on, rate()).unwrap()
        };
        // Frame and new settings: an interrupted glide, then off and on again.
        let changes = [(1_000, -40.0, true), (1_200, -10.0, true), (5_000, -10.0, false), (5_100, -30.0, true)];
        let through = |max_frames: usize| {
            let (mut out, mut stage) = (signal(), Processor::new(&coefs(-20.0, true)));
            let (mut at, mut changes) = (0, changes.iter().peekable());
            while at < out.len() {
                if let Some(&(_, threshold_db, on)) = changes.next_if(|change| change.0 == at) {
                    stage.set(&coefs(threshold_db, on));
                }
                let next = changes.peek().map_or(out.len(), |change| change.0);
                let until = next.min(at + max_frames);
                stage.run(&mut out[at..until]);
                at = until;
            }
            out.iter().flatten().map(|x| x.to_bits()).collect::<Vec<u32>>()
        };
        let whole = through(usize::MAX / 2);
        for max_frames in [1, 13, 64, 500] {
            assert!(through(max_frames) == whole, "blocks of {max_frames}");
        }
    }

    #[test]
    fn a_reset_stage_equals_a_new_one() {
        let settings = ToneEqSettings { bell_gain_db: 6.0, ..ToneEqSettings::default() };
        let mut stage = Processor::<ToneEq, 2>::design(&settings, rate()).unwrap();
        let first = |stage: &mut Processor<ToneEq, 2>| {
            let mut out = signal();
            stage.run(&mut out);
            out
        };
        let fresh = first(&mut stage);
        assert_ne!(first(&mut stage), fresh, "the filters have state");
        stage.reset();
        assert_eq!(first(&mut stage), fresh);
    }
}
