//! The plugin in hosts, against the core.
//!
//! Every test loads the plugin as a host does. Expected sound comes from [`voicechain_core::Strip`], given the same
//! settings at the same frames, and has to be equal to the last bit.

mod bit_exact;
mod conformance;
mod endurance;
mod listing;
mod measure_and_propose;
mod states;
