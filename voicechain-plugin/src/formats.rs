//! Entry points for CLAP and VST3 hosts.
//!
//! Each format has an object of its own in front of the framework's. It passes every call on and adds what the
//! framework leaves out:
//!
//! - A refused state is reported to the host as refused.
//! - The tail is known from the activation on; a CLAP host is told when it changes.
//! - Events behind the end of a CLAP block are moved to its last frame (for VST3 the framework does it).
//! - A CLAP host may let a silent plugin sleep; silent output is marked as silent.
//! - Choices are marked as lists.
//! - A VST3 host reads back what it sets while the plugin processes.
//! - A sample rate that is no positive number is refused, and an inactive plugin does not process.

pub mod clap;
mod clap_events;
mod silence;
pub mod vst3;
mod vst3_object;

use crate::instance::Instance;
use crate::state::NOT_A_STATE;
use nice_plug::params::Params;
use std::collections::BTreeSet;

/// Whether a state was accepted, by what the framework says of its envelope and this plugin of its settings.
fn state_accepted(instance: &Instance, envelope_is_valid: bool) -> bool {
    if !envelope_is_valid {
        instance.parameters.note_refusal(Some(NOT_A_STATE.to_string()));
        instance.meters.redraw().request();
    }
    instance.parameters.refused().is_none()
}

/// Indices of the parameters that are choices, in the order in which a host lists parameters.
fn choices(instance: &Instance) -> BTreeSet<usize> {
    let map = instance.parameters.param_map();
    let is_choice = |pointer| instance.parameters.table().any(|(_, _, parameter)| parameter.is_choice(pointer));
    map.iter().enumerate().filter(|(_, (_, pointer, _))| is_choice(*pointer)).map(|(index, _)| index).collect()
}
