//! Properties that hold for every signal, setting and sample rate, tested from outside the core.

mod audition;
mod block_size;
mod clicks;
mod compressor;
mod de_esser;
mod equalizer;
mod events;
mod evidence;
mod idle;
mod ledger;
mod loudness_match;
mod profile;
mod proposal;
mod restoration;
mod robustness;
mod settings_space;
mod settings_table;
mod size;
mod symmetry;
mod test_references;
mod timing;
mod voice_activity;

use voicechain_core::SampleRate;

/// A rate that is known to be allowed.
fn rate(hz: f64) -> SampleRate {
    SampleRate::new(hz).expect("a rate from 8 to 192 kHz")
}
