//! The stages of the strip, one file each; `stage`, `processor` and `filter_stage` are what they share.
//!
//! A stage is three separate things: settings (the user's units, plain data), coefficients (designed once, the only
//! step that can fail) and state (everything that audio changes). A [`Processor`] holds a state together with the
//! coefficients that it runs with, and is the only way to run one.

pub mod compressor;
pub mod corrective_eq;
pub mod de_esser;
pub mod de_reverb;
pub mod expander;
pub mod filter_stage;
pub mod high_pass;
pub mod hum;
pub mod leveller;
pub mod limiter;
pub mod processor;
mod stage;
pub mod tone_eq;
pub mod trim;

pub use compressor::Compressor;
pub use corrective_eq::CorrectiveEq;
pub use de_esser::DeEsser;
pub use de_reverb::{DeReverb, DeReverbDesign, LateReverberation};
pub use expander::Expander;
pub use high_pass::HighPass;
pub use hum::Hum;
pub use leveller::Leveller;
pub use limiter::Limiter;
pub use processor::{Processor, StageCoefs};
pub use stage::{Stage, StageContext};
pub use tone_eq::ToneEq;
pub use trim::{OutputTrim, Trim};
