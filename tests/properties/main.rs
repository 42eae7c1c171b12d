//! What holds for every signal, setting and rate, checked from outside the core.

mod activity;
mod audition;
mod clicks;
mod compressor;
mod de_esser;
mod equalizer;
mod idle;
mod ledger;
mod matching;
mod mending;
mod profile;
mod proposal;
mod recovery;
mod size;
mod space;
mod splits;
mod symmetry;
mod table;
mod timing;

use voicechain_core::SampleRate;

/// A rate that is known to be allowed.
fn rate(hz: f64) -> SampleRate {
    SampleRate::new(hz).expect("a rate from 8 to 192 kHz")
}
