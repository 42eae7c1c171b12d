//! A voice strip for recorded speech and singing, with its processors, meters and measurements. `no_std`.
//!
//! ```
//! use voicechain_core::strip::StartingPoint;
//! use voicechain_core::{SampleRate, Strip, StripCoefs};
//!
//! let settings = StartingPoint::SpokenClose.settings();
//! let rate = SampleRate::new(48_000.0)?;
//! let coefs = StripCoefs::<2>::design(&settings, rate)?; // fails only if a setting is outside its range
//! let mut strip = Box::new(Strip::NEW); // large: keep it on the heap
//! strip.set(&coefs);
//! let mut frames = [[0.0_f32; 2]; 512]; // processed in place, any number of frames
//! strip.run(&mut frames);
//! assert_eq!(strip.latency(), coefs.latency());
//! # Ok::<(), voicechain_core::SettingError>(())
//! ```
//!
//! [`StripSettings`] are the settings in the user's units, [`StripCoefs`] the designed strip, [`Strip`] its state. Frames
//! are `[f32; C]` with one or two channels, interleaved; [`Strip::run_planar`] takes planar channels.
//!
//! Each layer depends only on layers before it: blank values, [`error`] and [`units`], [`mod@format`], [`math`], [`frame`], [`dsp`], the
//! table of [`settings`], [`levels`] and reverberation, [`filters`], [`detectors`], [`gain`], [`speech`], [`meters`]. Two
//! independent branches build on them: [`stages`] with the [`strip`], and [`measure`] with [`propose`].
//!
//! A stage run alone by its [`Processor`](stages::Processor) keeps the promises of the strip: any input is survived, and
//! no setting clicks.
//!
//! The promises of the crate (block size, stability, latency, clicks, panics, …), the tests that prove them and the known
//! faults are in `DEVELOPERS.md`, section "Promises".
#![no_std]
#![forbid(unsafe_code)]
#![deny(missing_docs)]

mod blank;
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

/// The Rust of README.md, compiled as documentation.
#[cfg(doctest)]
#[doc(hidden)]
#[doc = include_str!("../../README.md")]
pub struct ReadmeExamples;
