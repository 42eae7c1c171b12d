//! Tests of the plugin in hosts, against the core.
//!
//! Every test loads the plugin as a host does. The expected output comes from [`voicechain_core::Strip`] with the same
//! settings at the same frames, and must be equal bit for bit.

mod bit_exact;
mod conformance;
mod endurance;
mod formats;
mod listing;
mod measure_and_propose;
mod sample_rates;
mod sleep;
mod states;
