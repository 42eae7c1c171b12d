//! Measurement of a voice recording: [`ProfileMeter`] processes it block by block and returns a [`Profile`].
//!
//! Nothing allocates. Results do not depend on the block size. This module does not depend on the stages or the strip.

pub mod active_level;
pub mod background_noise;
mod bandwidth;
pub mod clipping;
mod dc_blocker;
mod decay;
mod downsampler;
mod held_notes;
pub mod hum;
mod level_bins;
pub mod level_consistency;
pub mod levels;
mod measured;
mod meter;
pub mod peaks;
mod periods;
mod pitch;
mod pitch_contour;
pub(crate) mod pitch_distribution;
pub mod profile;
mod resonance;
#[cfg(feature = "serde")]
mod serialisation;
mod sibilance;
mod signal_class;
mod spectra;
pub mod speech_spectrum;
mod tonal_balance;

pub use meter::ProfileMeter;
pub use profile::Profile;
pub use speech_spectrum::SpeechSpectrum;
