//! The strip as a program of its own, between a microphone and a loudspeaker: `--help` lists the audio systems.

fn main() {
    nice_plug::prelude::nice_export_standalone::<voicechain_plugin::VoicePlugin>();
}
