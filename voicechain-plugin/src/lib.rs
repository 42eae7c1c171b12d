//! The voice strip in any CLAP or VST3 host.
//!
//! There is no signal processing here: [`VoicePlugin`] drives [`voicechain_core::Strip`], and what a host gets is what the
//! strip gives for the same settings at the same samples, bit for bit. [`parameters`] derives the host's parameters from
//! the core's table of settings, [`channels`] follows them on the audio thread, [`state`] saves and loads them as the
//! text of a settings file. [`desk`] is what a person does to all settings at once, [`ear`] the way of the sound to whoever
//! measures it, [`meters`] that of the meters; all three are for an editor's buttons.

pub mod channels;
pub mod desk;
pub mod ear;
pub mod meters;
pub mod parameters;
mod plugin;
pub mod state;

pub use parameters::Parameters;
pub use plugin::{Handles, VoicePlugin};

nice_plug::nice_export_clap!(VoicePlugin);
nice_plug::nice_export_vst3!(VoicePlugin);
