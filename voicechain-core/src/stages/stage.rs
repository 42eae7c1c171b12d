//! The [`Stage`] trait: settings, coefficients, state and processing of one stage.

use crate::blank::Blank;
use crate::error::SettingError;
use crate::filters::{Ramp, Response, Section};
use crate::settings::StripSettings;
use crate::units::SampleRate;

/// A state paired with its coefficients. Outside this module only a [`Processor`](super::Processor) creates one.
#[derive(Debug)]
pub struct StageContext<'a, S: Stage<C>, const C: usize> {
    /// Steady coefficients, or those at the end of the current step of a transition.
    pub(in crate::stages) coefs: &'a S::Coefs,
    pub(in crate::stages) state: &'a mut S::State,
    /// The current step of a transition; `None` with steady coefficients.
    pub(in crate::stages) step: Option<(&'a S::Coefs, Ramp)>,
}

impl<'a, S: Stage<C>, const C: usize> StageContext<'a, S, C> {
    pub(in crate::stages) fn new(coefs: &'a S::Coefs, state: &'a mut S::State) -> Self {
        Self { coefs, state, step: None }
    }

    /// Frames of a step of a transition from `from` to `coefs`.
    pub(in crate::stages) fn in_step(
        from: &'a S::Coefs,
        coefs: &'a S::Coefs,
        state: &'a mut S::State,
        ramp: Ramp,
    ) -> Self {
        Self { coefs, state, step: Some((from, ramp)) }
    }
}

/// One processor of the strip for `C` channels, with its settings, coefficients and state.
///
/// All processing takes a [`StageContext`], so a state never runs with coefficients that it is not prepared for.
pub trait Stage<const C: usize>: Sized {
    /// Settings in user units: one part of the strip's settings.
    type Settings: Copy + PartialEq + for<'a> From<&'a StripSettings>;
    /// Coefficients for processing, designed once from the settings.
    type Coefs: Copy + PartialEq + Blank;
    /// Everything that audio changes.
    type State: Blank;

    /// Maximum latency over all settings and sample rates, in samples. Sizes the delay line of the unprocessed
    /// signal.
    const MAX_LATENCY: usize = 0;

    /// True when [`run_bypassed`](Stage::run_bypassed) keeps the state up to date. Otherwise a stage starts with
    /// clear state when it is switched on.
    const BYPASS_KEEPS_STATE: bool = false;

    /// True when the stage reports gain reduction and has a meter for it.
    const HAS_GAIN_REDUCTION: bool = false;

    /// Designs the coefficients.
    ///
    /// # Errors
    /// Returns a setting outside its range, with its value and the accepted values.
    fn design(settings: &Self::Settings, rate: SampleRate) -> Result<Self::Coefs, SettingError>;

    /// Clears a state in place, whether it was used, at any sample rate, or is blank.
    fn clear(state: &mut Self::State, rate: SampleRate);

    /// Processes frames in place. Cannot fail. The output does not depend on how frames are split into calls.
    ///
    /// Within a step of a transition the frames lie inside that step. What multiplies the signal moves in a straight
    /// line along the step's ramp; what only feeds a detector or ballistics may use the coefficients of the step's end.
    fn run(context: StageContext<'_, Self, C>, frames: &mut [[f32; C]]);

    /// Coefficients at position `t` between `from` (`t = 0`) and `to` (`t = 1`): those between two steps of a
    /// transition.
    ///
    /// They run between [`enter_transition`](Stage::enter_transition) and
    /// [`leave_transition`](Stage::leave_transition).
    fn interpolated(from: &Self::Coefs, to: &Self::Coefs, t: f64) -> Self::Coefs;

    /// Prepares the state for moving coefficients, from the steady coefficients that it ran with.
    fn enter_transition(_context: StageContext<'_, Self, C>) {}

    /// Prepares the state for steady coefficients.
    fn leave_transition(_context: StageContext<'_, Self, C>) {}

    /// Processes frames while the stage is off: only the latency is applied.
    fn run_bypassed(_context: StageContext<'_, Self, C>, _frames: &mut [[f32; C]]) {}

    /// Processes frames, and writes the output of [`run_bypassed`](Stage::run_bypassed) to `bypassed` (as long as
    /// `frames`). Both are the sides of a cross-fade.
    fn run_with_bypass(context: StageContext<'_, Self, C>, frames: &mut [[f32; C]], bypassed: &mut [[f32; C]]) {
        for (to, from) in bypassed.iter_mut().zip(frames.iter()) {
            *to = *from;
        }
        Self::run(context, frames);
    }

    /// True when [`run`](Stage::run) with these coefficients returns its input bit for bit and does not change the
    /// state, for any input and state.
    ///
    /// A stage with ballistics is never idle: its gain may still move after the coefficients have arrived.
    fn is_idle(_coefs: &Self::Coefs) -> bool {
        false
    }

    /// True when all coefficients are finite and every pole lies inside the unit circle.
    fn is_stable(coefs: &Self::Coefs) -> bool;

    /// Delay of the output relative to the input, in samples. It is the same whether the stage is on or off.
    fn latency(_coefs: &Self::Coefs) -> u32 {
        0
    }

    /// Number of samples after which the impulse response stays at least 120 dB below its peak, latency included.
    /// Excludes the ringing of [`sections`](Stage::sections).
    fn tail(coefs: &Self::Coefs) -> u32 {
        Self::latency(coefs)
    }

    /// Second-order sections in the signal path. The sections of all stages ring as one cascade.
    fn sections(_coefs: &Self::Coefs) -> &[Section] {
        &[]
    }

    /// Response to a steady tone at `frequency_hz`, from the coefficients. Unity for a nonlinear stage.
    fn response(_coefs: &Self::Coefs, _frequency_hz: f64) -> Response {
        Response::ONE
    }

    /// Static gain in dB at a steady detector level in dB; 0 for a stage without detector.
    fn gain_db(_coefs: &Self::Coefs, _level_db: f64) -> f64 {
        0.0
    }

    /// Gain that compensates for loudness, in dB: level compensation or make-up.
    fn compensation_db(_coefs: &Self::Coefs) -> f64 {
        0.0
    }

    /// Largest gain reduction in dB since the last call; 0 for a stage without [gain
    /// reduction](Stage::HAS_GAIN_REDUCTION).
    fn take_reduction_db(_state: &mut Self::State) -> f64 {
        0.0
    }
}
