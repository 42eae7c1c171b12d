//! The voice strip and everything it is made of, without allocation.
//!
//! ```
//! use voicechain_core::strip::StartingPoint;
//! use voicechain_core::{SampleRate, Strip, StripCoefs};
//!
//! let settings = StartingPoint::SpokenClose.settings();
//! let coefs = StripCoefs::<2>::design(&settings, SampleRate::new(48_000.0)?)?; // the only step that can fail
//! let mut strip = Strip::new(&coefs);
//! let mut frames = [[0.0_f32; 2]; 512]; // any number of frames, in place
//! strip.run(&mut frames);
//! assert_eq!(strip.latency(), coefs.latency());
//! # Ok::<(), voicechain_core::SettingError>(())
//! ```
//!
//! Each layer uses only those above it: [`error`] and [`units`], [`mod@format`], [`math`], [`frame`], [`dsp`], the table of [`settings`],
//! [`levels`] and reverberation, [`filters`], [`detectors`], [`gain`], [`speech`], [`meters`]; then, apart from each other,
//! [`stages`] and the [`strip`] that they make, and [`measure`] and [`propose`].
//!
//! What holds everywhere: no allocation, lock, system call, panic or `unsafe`; the same bits whatever the block size; a
//! design that returns `Ok` is finite and stable at every rate from 8 to 192 kHz; any input is survived; latency and
//! tail are exact; no setting and no switch clicks; a stage that takes nothing returns its input bit for bit.
#![no_std]
#![forbid(unsafe_code)]
#![deny(missing_docs)]

pub mod detectors;
pub mod dsp;
pub mod error;
pub mod filters;
pub mod format;
pub mod frame;
pub mod gain;
pub mod levels;
pub mod math;
pub mod measure;
pub mod meters;
pub mod propose;
mod reverberation;
pub mod settings;
pub mod speech;
pub mod stages;
pub mod strip;
pub mod units;

pub use error::SettingError;
pub use settings::StripSettings;
pub use strip::{Strip, StripCoefs};
pub use units::SampleRate;
