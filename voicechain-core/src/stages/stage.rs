//! What every stage has: settings, coefficients, a state, and what it does with them.

use crate::error::SettingError;
use crate::filters::{Response, Section};
use crate::settings::StripSettings;
use crate::units::SampleRate;

/// A state with the coefficients that it runs with. Outside of this module only a [`Processor`](super::Processor) makes one.
#[derive(Debug)]
pub struct StageContext<'a, S: Stage<C>, const C: usize> {
    pub(in crate::stages) coefs: &'a S::Coefs,
    pub(in crate::stages) state: &'a mut S::State,
}

impl<'a, S: Stage<C>, const C: usize> StageContext<'a, S, C> {
    pub(in crate::stages) fn new(coefs: &'a S::Coefs, state: &'a mut S::State) -> Self {
        Self { coefs, state }
    }
}

/// One processor of the strip for `C` channels: its settings, coefficients and state, and what it does with them.
///
/// Whatever runs takes a [`StageContext`], so a state never meets coefficients that it was not prepared for.
pub trait Stage<const C: usize>: Sized {
    /// What a person sets, in the user's units: a part of the strip's settings.
    type Settings: Copy + PartialEq + for<'a> From<&'a StripSettings>;
    /// What `run` needs of the settings; designed once.
    type Coefs: Copy + PartialEq;
    /// Everything that audio changes.
    type State;

    /// The longest latency at any setting and rate, in samples: as much of the unprocessed signal is kept.
    const MAX_LATENCY: usize = 0;

    /// True when [`run_bypassed`](Stage::run_bypassed) keeps the state warm; otherwise a stage starts afresh when it is switched on.
    const BYPASS_KEEPS_STATE: bool = false;

    /// True when the stage moves the level and reports by how much: it gets a meter of gain reduction.
    const HAS_GAIN_REDUCTION: bool = false;

    /// Designs the coefficients.
    ///
    /// # Errors
    /// A setting outside its range, named with its value and what is allowed.
    fn design(settings: &Self::Settings, rate: SampleRate) -> Result<Self::Coefs, SettingError>;

    /// A state that has heard nothing.
    fn state(rate: SampleRate) -> Self::State;

    /// Resets a state in place to one that has heard nothing.
    fn clear(state: &mut Self::State, rate: SampleRate) {
        *state = Self::state(rate);
    }

    /// Processes frames in place. Cannot fail; any split of the same frames into calls gives the same bits.
    fn run(context: StageContext<'_, Self, C>, frames: &mut [[f32; C]]);

    /// Coefficients on the way from `from` (`t = 0`) to `to` (`t = 1`), as a setting moves. They are used for one frame
    /// each, between [`enter_transition`](Stage::enter_transition) and [`leave_transition`](Stage::leave_transition).
    fn interpolated(from: &Self::Coefs, to: &Self::Coefs, t: f64) -> Self::Coefs;

    /// Makes the state ready for moving coefficients, from those that it was run with.
    fn enter_transition(_context: StageContext<'_, Self, C>) {}

    /// Makes the state ready for coefficients at rest.
    fn leave_transition(_context: StageContext<'_, Self, C>) {}

    /// What the stage does while it is switched off: nothing but the delay of its latency.
    fn run_bypassed(_context: StageContext<'_, Self, C>, _frames: &mut [[f32; C]]) {}

    /// Runs, and writes what [`run_bypassed`](Stage::run_bypassed) would have given to `bypassed` (as long as `frames`): both sides of a
    /// cross-fade.
    fn run_with_bypass(context: StageContext<'_, Self, C>, frames: &mut [[f32; C]], bypassed: &mut [[f32; C]]) {
        for (to, from) in bypassed.iter_mut().zip(frames.iter()) {
            *to = *from;
        }
        Self::run(context, frames);
    }

    /// True when [`run`](Stage::run) returns its input bit for bit with these coefficients and leaves the state alone, whatever
    /// the input and whatever the state. A stage whose gain moves in its own time never rests: it may still be on its way when
    /// the coefficients have arrived.
    fn is_idle(_coefs: &Self::Coefs) -> bool {
        false
    }

    /// True when everything is finite and every pole lies inside the unit circle.
    fn is_stable(coefs: &Self::Coefs) -> bool;

    /// Delay of the output against the input, in samples; the same whether the stage is on or off.
    fn latency(_coefs: &Self::Coefs) -> u32 {
        0
    }

    /// Samples until the impulse response stays under -120 dB of its peak, the latency included. What
    /// [`sections`](Stage::sections) ring is not in it.
    fn tail(coefs: &Self::Coefs) -> u32 {
        Self::latency(coefs)
    }

    /// The filters that the sound runs through: those of all stages ring as one chain.
    fn sections(_coefs: &Self::Coefs) -> &[Section] {
        &[]
    }

    /// What the stage does to a steady tone at `frequency_hz`, read from the coefficients; 1 for a stage that is not linear.
    fn response(_coefs: &Self::Coefs, _frequency_hz: f64) -> Response {
        Response::ONE
    }

    /// The gain in dB at a steady level in dB of what drives the stage; 0 for a stage that nothing drives.
    fn gain_db(_coefs: &Self::Coefs, _level_db: f64) -> f64 {
        0.0
    }

    /// A gain that the stage adds to keep the loudness, in dB: level compensation or make-up.
    fn compensation_db(_coefs: &Self::Coefs) -> f64 {
        0.0
    }

    /// The largest reduction in dB since the last call; 0 for a stage that does not [reduce](Stage::HAS_GAIN_REDUCTION).
    fn take_reduction_db(_state: &mut Self::State) -> f64 {
        0.0
    }
}
