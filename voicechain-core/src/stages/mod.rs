//! The stages of the strip, one file each. `stage`, `processor` and `filter_stage` hold their shared parts.
//!
//! Each stage separates three kinds of data: settings (plain data in user units), coefficients (designed once, the
//! only fallible step) and state (everything that audio changes). A [`Processor`] pairs a state with its
//! coefficients; a stage runs only through it.

/// Tests that `is_stable` accepts the default coefficients of a stage, and rejects them with any one of these values.
#[cfg(test)]
macro_rules! every_number_is_checked {
    ($stage:ty, $settings:expr, $($($field:ident).+ = $value:expr,)+) => {
        #[test]
        fn every_number_is_checked() {
            let rate = crate::units::SampleRate::new(48_000.0).unwrap();
            let coefs = <$stage as crate::stages::Stage<1>>::design(&$settings, rate).unwrap();
            assert!(coefs.is_stable());
            $(
                let mut wrong = coefs;
                wrong.$($field).+ = $value;
                assert!(!wrong.is_stable(), stringify!($($field).+));
            )+
        }
    };
}

pub mod compressor;
pub mod corrective_eq;
pub mod de_esser;
pub mod de_reverb;
pub mod expander;
pub mod filter_stage;
pub mod high_pass;
pub mod hum;
pub(crate) mod input_sanitiser;
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
pub use input_sanitiser::SanitisedSamples;
pub use leveller::Leveller;
pub use limiter::Limiter;
pub use processor::{Processor, StageCoefs};
pub use stage::{Stage, StageContext};
pub use tone_eq::ToneEq;
pub use trim::{OutputTrim, Trim};
