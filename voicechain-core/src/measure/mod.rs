//! Measuring a voice: [`ProfileMeter`] hears a recording block by block and gives a [`Profile`].
//!
//! Nothing allocates, and every result is the same however the recording was split into blocks. Nothing here knows a stage or
//! the strip.

pub mod active_level;
mod bandwidth;
mod base_rate;
mod contour;
mod decay;
mod fricatives;
pub mod ground;
pub mod hum;
mod level_bins;
pub mod levels;
mod measured;
mod meter;
mod offset;
pub mod peaks;
mod periods;
pub mod phrases;
mod pitch;
pub mod profile;
mod resonance;
#[cfg(feature = "serde")]
mod serialisation;
mod spectra;
pub mod speech_spectrum;
mod subject;
mod tonal_balance;

pub use meter::ProfileMeter;
pub use profile::Profile;
pub use speech_spectrum::SpeechSpectrum;
