//! The voice strip in any CLAP or VST3 host.
//!
//! There is no signal processing here: [`VoicePlugin`] drives [`voicechain_core::Strip`], and what a host gets is what the
//! strip gives for the same settings at the same samples, bit for bit. [`parameters`] derives the host's parameters from
//! the core's table of settings, [`channels`] follows them on the audio thread, [`state`] saves and loads them as the
//! text of a settings file. [`desk`] is what a person does to all settings at once, [`ear`] the way of the sound to whoever
//! measures it, [`hearing`] who measures the voice there, [`meters`] the way of the meters; all are for the buttons
//! of the [`editor`], which finds them in [`Handles`] and draws itself with `voicechain-editor`.

mod answers;
pub mod channels;
mod clipboard;
mod connection;
pub mod desk;
pub mod ear;
pub mod editor;
mod files;
pub mod gestures;
pub mod handles;
pub mod hearing;
pub mod meters;
pub mod parameter;
pub mod parameters;
mod plugin;
pub mod preferences;
mod settings_file;
pub mod state;
mod threads;
mod undo;
pub mod window;

pub use handles::Handles;
pub use parameters::Parameters;
pub use plugin::VoicePlugin;

nice_plug::nice_export_clap!(VoicePlugin);
nice_plug::nice_export_vst3!(VoicePlugin);
