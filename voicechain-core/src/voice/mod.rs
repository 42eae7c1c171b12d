//! Measuring a voice, proposing settings with the evidence for each, and carrying one voice's settings over to the next.
//!
//! A meter hears a recording block by block and gives a [`Profile`]; [`propose`] turns the profile into settings with
//! their evidence; [`carry_over`] adapts what a person set on one voice to another. Nothing allocates, and every result
//! is the same however the recording was split into blocks.

mod bandwidth;
mod carry_over;
mod colour;
pub mod evidence;
mod fricatives;
mod halving;
mod histogram;
mod pitch;
pub mod profile;
pub mod proposal;
mod spectra;
mod strata;

pub use carry_over::carry_over;
pub use evidence::{Evidence, Warning};
pub use profile::Profile;
pub use proposal::{Context, Delivery, Proposal, Role, propose};
