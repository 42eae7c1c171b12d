//! A voice strip for recorded speech and singing, with its processors, meters and measurements. `no_std`.
//!
//! ```
//! use voicechain_core::strip::StartingPoint;
//! use voicechain_core::{SampleRate, Strip, StripCoefs};
//!
//! let settings = StartingPoint::SpokenClose.settings();
//! let coefs = StripCoefs::<2>::design(&settings, SampleRate::new(48_000.0)?)?; // the only fallible step
//! let mut strip = Strip::new(&coefs);
//! let mut frames = [[0.0_f32; 2]; 512]; // processed in place, any number of frames
//! strip.run(&mut frames);
//! assert_eq!(strip.latency(), coefs.latency());
//! # Ok::<(), voicechain_core::SettingError>(())
//! ```
//!
//! # Layers
//!
//! Each layer depends only on layers before it: [`error`] and [`units`], [`mod@format`], [`math`], [`frame`], [`dsp`], the table of
//! [`settings`], [`levels`] and reverberation, [`filters`], [`detectors`], [`gain`], [`speech`], [`meters`]. Two
//! independent branches build on them: [`stages`] with the [`strip`], and [`measure`] with [`propose`].
//!
//! # Guarantees
//!
//! - No allocation, lock, system call, panic or `unsafe`.
//! - The output does not depend on the block size, bit for bit.
//! - A design that returns `Ok` is finite and stable at every sample rate from 8 to 192 kHz.
//! - Any input is safe, non-finite samples included.
//! - Latency and tail are exact.
//! - Changes of settings and switches do not click.
//! - A stage that removes nothing returns its input bit for bit.
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
