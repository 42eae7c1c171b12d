//! Standalone program: the strip between a microphone and a loudspeaker. `--help` lists the audio back ends.

fn main() {
    nice_plug::prelude::nice_export_standalone::<voicechain_plugin::VoicePlugin>();
}
