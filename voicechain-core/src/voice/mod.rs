//! Measuring a voice, proposing settings with the evidence for each, and carrying one voice's settings over to the next.
//!
//! [`ProfileMeter`] hears a recording block by block and gives a [`Profile`]; [`propose`] turns the profile into settings with
//! their evidence; [`carry_over`] adapts what a person set on one voice to another. Nothing allocates, and every result
//! is the same however the recording was split into blocks.

pub mod active_level;
mod bandwidth;
mod carry_over;
mod colour;
mod contour;
mod decay;
pub mod evidence;
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
pub mod proposal;
pub mod reasons;
mod resonance;
mod spectra;
mod strata;
mod subject;
mod ticks;
#[cfg(feature = "serde")]
mod told;

pub use carry_over::carry_over;
pub use evidence::{Evidence, Warning};
pub use meter::ProfileMeter;
pub use profile::Profile;
pub use proposal::{Context, Delivery, Proposal, Role, propose};
pub use reasons::Reason;
