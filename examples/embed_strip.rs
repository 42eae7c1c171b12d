//! Minimal program that embeds the voice strip, with `voicechain-core` as its only dependency.
//!
//!     cargo run --release --example embed_strip < in.raw > out.raw
//!
//! Input and output: stereo, 48 kHz, 32-bit floats (little-endian), interleaved. Latency and level ledger go to
//! standard error.

use std::io::{self, Read, Write};
use voicechain_core::strip::StartingPoint;
use voicechain_core::{SampleRate, Strip, StripCoefs};

const BLOCK: usize = 512;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut settings = StartingPoint::SpokenClose.settings();
    settings.set("limiter.ceiling_dbtp", -1.5)?;
    let coefs = StripCoefs::<2>::design(&settings, SampleRate::new(48_000.0)?)?;
    let mut strip = Box::new(Strip::new(&coefs));

    let (mut bytes, mut frames) = (Vec::with_capacity(BLOCK * 8), [[0.0_f32; 2]; BLOCK]);
    while io::stdin().lock().take(BLOCK as u64 * 8).read_to_end(&mut bytes)? > 0 {
        let count = bytes.len() / 8;
        for (sample, four) in frames.as_flattened_mut().iter_mut().zip(bytes.as_chunks().0) {
            *sample = f32::from_le_bytes(*four);
        }
        strip.run(&mut frames[..count]);
        bytes.clear();
        bytes.extend(frames[..count].as_flattened().iter().flat_map(|sample| sample.to_le_bytes()));
        io::stdout().write_all(&bytes)?;
        bytes.clear();
    }

    eprintln!("latency {} samples", strip.latency());
    let Some(ledger) = strip.ledger() else { return Ok(()) };
    for entry in ledger.entries {
        eprintln!("{:<14} {:+6.2} LU", entry.stage.name(), entry.lu);
    }
    eprintln!("input {:.1} LUFS, output {:.1} LUFS", ledger.input_lufs, ledger.input_lufs + ledger.total_lu);
    Ok(())
}
