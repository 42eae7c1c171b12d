//! The voice strip in any CLAP or VST3 host.
//!
//! There is no signal processing here: [`VoicePlugin`] drives [`voicechain_core::Strip`], and what a host gets is what the
//! strip gives for the same settings at the same samples, bit for bit. [`parameters`] derives the host's parameters from
//! the core's table of settings, each a [`parameter`]; [`processor`] follows them on the audio thread, [`state`] saves and
//! loads them as the text of a settings file, with the [`preferences`] for the editor. [`commands`] is what a person does to
//! all settings at once, moved as [`gestures`]; [`sample_ring`] takes the sound to the [`voice_meter`] that measures it,
//! [`meters`] the readings of the strip's meters to an editor, which [`redraw`] tells to draw. The editor finds them in its
//! [`Instance`] and draws itself with `voicechain-editor`, in a [`window`].

mod clipboard;
pub mod commands;
mod editor;
mod editor_controller;
mod files;
pub mod gestures;
pub mod instance;
pub mod meters;
pub mod parameter;
pub mod parameters;
mod plugin;
pub mod preferences;
pub mod processor;
pub mod redraw;
pub mod sample_ring;
mod scale;
mod settings_file;
pub mod state;
mod threads;
mod undo;
mod user_actions;
pub mod voice_meter;
pub mod window;

pub use instance::Instance;
pub use parameters::Parameters;
pub use plugin::VoicePlugin;

nice_plug::nice_export_clap!(VoicePlugin);
nice_plug::nice_export_vst3!(VoicePlugin);
