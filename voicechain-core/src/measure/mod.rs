//! Measuring a voice: [`ProfileMeter`] hears a recording block by block and gives a [`Profile`].
//!
//! Nothing allocates, and every result is the same however the recording was split into blocks. Nothing here knows a stage or
//! the strip.

pub mod active_level;
mod bandwidth;
mod colour;
mod contour;
mod decay;
mod fricatives;
pub mod ground;
mod halving;
mod histogram;
pub mod hum;
pub mod levels;
mod lowering;
mod meter;
mod offset;
pub mod peaks;
mod periods;
pub mod phrases;
mod pitch;
pub mod profile;
mod resonance;
mod spectra;
mod strata;
mod subject;
mod ticks;
#[cfg(feature = "serde")]
mod told;

pub use meter::ProfileMeter;
pub use profile::Profile;
