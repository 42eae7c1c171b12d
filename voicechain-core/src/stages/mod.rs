//! The processors of the strip, one file each.
//!
//! A stage is three separate things: settings (the user's units, plain data), coefficients (designed once, the only
//! step that can fail) and state (everything that audio changes).

pub mod compressor;
pub mod corrective_eq;
pub mod de_esser;
pub mod de_reverb;
pub mod equalizer;
pub mod expander;
pub mod high_pass;
pub mod hum;
pub mod leveller;
pub mod limiter;
pub mod tone_eq;
pub mod trim;

pub use compressor::Compressor;
pub use corrective_eq::CorrectiveEq;
pub use de_esser::DeEsser;
pub use de_reverb::{DeReverb, LateSound};
pub use expander::Expander;
pub use high_pass::HighPass;
pub use hum::Hum;
pub use leveller::Leveller;
pub use limiter::Limiter;
pub use tone_eq::ToneEq;
pub use trim::{OutputTrim, Trim};

use crate::error::SettingError;
use crate::units::SampleRate;

/// How long a stage rings after its input has become silent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tail {
    /// The impulse response stays under -120 dB of its peak after so many samples.
    Samples(u32),
}

/// One processor of the strip for `C` channels.
pub trait Stage<const C: usize> {
    /// What a person sets, in the user's units.
    type Settings: Copy + PartialEq;
    /// What `run` needs of the settings; designed once.
    type Coefs: Copy + PartialEq;
    /// Everything that audio changes.
    type State;

    /// Designs the coefficients.
    ///
    /// # Errors
    /// A setting outside its range, named with its value and what is allowed.
    fn design(settings: &Self::Settings, rate: SampleRate) -> Result<Self::Coefs, SettingError>;

    /// A state that has heard nothing; equal to a state after reset.
    fn fresh(rate: SampleRate) -> Self::State;

    /// Processes frames in place. Cannot fail; any split of the same frames into calls gives the same bits.
    fn run(coefs: &Self::Coefs, state: &mut Self::State, frames: &mut [[f32; C]]);

    /// Coefficients on the way from `from` (`t = 0`) to `to` (`t = 1`), as a setting moves. They are used for one frame
    /// each, between [`loosen`](Stage::loosen) and [`settle`](Stage::settle).
    fn between(from: &Self::Coefs, to: &Self::Coefs, t: f64) -> Self::Coefs;

    /// Makes the state ready for moving coefficients; `coefs` are those that it was run with.
    fn loosen(_coefs: &Self::Coefs, _state: &mut Self::State) {}

    /// Makes the state ready for coefficients at rest; `coefs` are those that it will be run with.
    fn settle(_coefs: &Self::Coefs, _state: &mut Self::State) {}

    /// What the stage does while it is switched off: nothing but the delay of its latency.
    fn pass(_coefs: &Self::Coefs, _state: &mut Self::State, _frames: &mut [[f32; C]]) {}

    /// True when [`pass`](Stage::pass) keeps the state warm; a stage of which it does not starts afresh when switched on.
    const PASS_KEEPS_STATE: bool = false;

    /// Runs, and writes what [`pass`](Stage::pass) would have given to `passed` (as long as `frames`): both sides of a
    /// cross-fade.
    fn run_beside(coefs: &Self::Coefs, state: &mut Self::State, frames: &mut [[f32; C]], passed: &mut [[f32; C]]) {
        for (to, from) in passed.iter_mut().zip(frames.iter()) {
            *to = *from;
        }
        Self::run(coefs, state, frames);
    }

    /// True when [`run`](Stage::run) returns its input bit for bit with these coefficients and leaves the state alone, whatever
    /// the input and whatever the state. A stage whose gain moves in its own time never rests: it may still be on its way when
    /// the coefficients have arrived.
    fn rests(_coefs: &Self::Coefs) -> bool {
        false
    }

    /// Delay of the output against the input, in samples.
    fn latency(coefs: &Self::Coefs) -> u32;

    /// How long the stage rings.
    fn tail(coefs: &Self::Coefs) -> Tail;
}

/// A linear stage answers what it does to a steady tone.
pub trait Linear {
    /// The response at `frequency_hz`, read from the coefficients.
    fn response(&self, frequency_hz: f64) -> crate::filters::Response;
}

/// A dynamics stage answers what it does to a steady level.
pub trait Dynamic {
    /// The gain in dB at a steady level in dB of the quantity that drives it.
    fn gain_db(&self, level_db: f64) -> f64;
}
