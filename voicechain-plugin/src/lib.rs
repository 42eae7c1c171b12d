//! CLAP and VST3 plugin of the voice strip.
//!
//! The plugin does no signal processing of its own: [`VoicePlugin`] drives [`voicechain_core::Strip`]. Its output
//! equals that of the strip bit for bit, for the same settings at the same samples.
//!
//! - [`parameters`] derives the host's parameters from the core's table of settings, one [`parameter`] per row.
//! - [`processor`] follows the parameters on the audio thread.
//! - [`state`] saves and loads them as the text of a settings file, together with the editor's [`preferences`].
//! - [`commands`] changes all settings at once, through host [`gestures`].
//! - [`sample_ring`] carries the input to the [`voice_meter`] that measures it.
//! - [`meters`] carries the strip's meter readings to the editor; [`redraw`] tells the editor to draw.
//! - [`formats`] is the plugin's entry for CLAP and VST3 hosts. [`activation`] tells it the tail; at sample rates that
//!   the strip cannot process, the sound [passes through](pass_through).
//! - The editor reaches all of these through its [`Instance`] and draws with `voicechain-editor`, in a [`window`].

pub mod activation;
mod clipboard;
pub mod commands;
mod editor;
mod editor_controller;
mod files;
pub mod formats;
pub mod gestures;
pub mod instance;
pub mod meters;
pub mod parameter;
pub mod parameters;
pub mod pass_through;
mod plugin;
pub mod preferences;
pub mod processor;
pub mod redraw;
pub mod sample_ring;
mod scale;
mod settings_file;
pub mod state;
mod undo;
mod user_actions;
pub mod voice_meter;
pub mod window;

pub use instance::Instance;
pub use parameters::Parameters;
pub use plugin::VoicePlugin;
