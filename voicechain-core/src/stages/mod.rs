//! The processors of the strip, one file each.
//!
//! A stage is three separate things: settings (the user's units, plain data), coefficients (designed once, the only
//! step that can fail) and state (everything that audio changes).

pub mod limiter;

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
    type Coefs: Copy;
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

    /// Delay of the output against the input, in samples.
    fn latency(coefs: &Self::Coefs) -> u32;

    /// How long the stage rings.
    fn tail(coefs: &Self::Coefs) -> Tail;
}
