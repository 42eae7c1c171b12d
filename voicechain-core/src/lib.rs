//! The voice strip and everything it is made of, without allocation.
#![no_std]
#![forbid(unsafe_code)]
#![deny(missing_docs)]

pub mod detectors;
pub mod error;
pub mod filters;
pub mod frame;
pub mod gain;
pub mod math;
pub mod meters;
pub mod settings;
pub mod speech;
pub mod stages;
pub mod strip;
pub mod units;

pub use error::SettingError;
pub use settings::StripSettings;
pub use strip::{Strip, StripCoefs};
pub use units::SampleRate;
