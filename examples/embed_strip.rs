//! Minimal program that embeds the voice strip, with `voicechain-core` as its only dependency.
//!
//!     cargo run --release --example embed_strip [SETTING=NUMBER …] < in.raw > out.raw
//!
//! Input and output: stereo, 48 kHz, 32-bit floats (little-endian), interleaved. The output is as long as the input and
//! aligned with it: the latency is dropped at the start, and silence flushes the strip at the end. A setting is an id
//! of SETTINGS.md with its number, such as `limiter.ceiling_dbtp=-2`. Latency and level ledger go to standard error.

use std::io::{self, Read, Write};
use voicechain_core::strip::StartingPoint;
use voicechain_core::{SampleRate, Strip, StripCoefs};

const BLOCK: usize = 512;

/// Runs the strip over a block and writes its output without the first `drop` frames of the whole stream.
fn process(strip: &mut Strip<2>, frames: &mut [[f32; 2]], drop: &mut usize) -> io::Result<()> {
    strip.run(frames);
    let dropped = frames.len().min(*drop);
    *drop -= dropped;
    let bytes: Vec<u8> = frames[dropped..].as_flattened().iter().flat_map(|sample| sample.to_le_bytes()).collect();
    io::stdout().write_all(&bytes)
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut settings = StartingPoint::SpokenClose.settings();
    settings.set("limiter.ceiling_dbtp", -1.5)?;
    for argument in std::env::args().skip(1) {
        let (id, number) = argument.split_once('=').ok_or("use SETTING=NUMBER, such as limiter.ceiling_dbtp=-2")?;
        settings.set(id, number.parse()?)?;
    }
    let coefs = StripCoefs::<2>::design(&settings, SampleRate::new(48_000.0)?)?;
    let mut strip = Box::new(Strip::NEW);
    strip.set(&coefs);
    let latency = strip.latency() as usize;

    let (mut bytes, mut frames) = (Vec::with_capacity(BLOCK * 8), [[0.0_f32; 2]; BLOCK]);
    let mut drop = latency;
    while io::stdin().lock().take(BLOCK as u64 * 8).read_to_end(&mut bytes)? > 0 {
        let count = bytes.len() / 8;
        for (sample, four) in frames.as_flattened_mut().iter_mut().zip(bytes.as_chunks().0) {
            *sample = f32::from_le_bytes(*four);
        }
        process(&mut strip, &mut frames[..count], &mut drop)?;
        bytes.clear();
    }
    let mut rest = latency;
    while rest > 0 {
        let count = rest.min(BLOCK);
        frames[..count].fill([0.0; 2]);
        process(&mut strip, &mut frames[..count], &mut drop)?;
        rest -= count;
    }

    eprintln!("latency {latency} samples, compensated");
    let Some(ledger) = strip.ledger() else { return Ok(()) };
    for entry in ledger.entries {
        eprintln!("{:<14} {:+6.2} LU", entry.stage.name(), entry.lu);
    }
    eprintln!("input {:.1} LUFS, output {:.1} LUFS", ledger.input_lufs, ledger.input_lufs + ledger.total_lu);
    Ok(())
}
