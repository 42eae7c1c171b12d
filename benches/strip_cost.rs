//! Program that measures the cost per frame of the whole stereo strip with meters and ledger, on the test signal.
//!
//!     cargo run --release -p voicechain-benches --bin strip_cost -- [--settings default|live-room|everything]
//!         [--frames N] [--block N] [--passes N] [--export FILE]
//!
//! Prints one line that begins with the cost in nanoseconds per frame, the median over the passes. With many passes, a
//! profile contains little of the signal generation. `--export` only writes the signal as raw, interleaved 32-bit
//! floats in the machine's byte order, without measuring.

use std::fs;
use std::process::ExitCode;
use std::time::Instant;
use voicechain_benches::{RATE_HZ, pass};
use voicechain_core::strip::StartingPoint;
use voicechain_core::{SampleRate, StripSettings};
use voicechain_examples::timing::{block_processor, test_signal};

struct Options {
    name: String,
    settings: StripSettings,
    frames: usize,
    block: usize,
    passes: usize,
    export: Option<String>,
}

fn options() -> Result<Options, String> {
    let mut options = Options {
        name: "default".into(),
        settings: StripSettings::default(),
        frames: 480_000,
        block: 512,
        passes: 1,
        export: None,
    };
    let mut arguments = std::env::args().skip(1);
    while let Some(argument) = arguments.next() {
        let mut value = || arguments.next().ok_or(format!("{argument} needs a value"));
        let number = |text: String, least: usize| {
            let number = text.parse().ok().filter(|&n: &usize| (least..=100_000_000).contains(&n));
            number.ok_or(format!("{argument} {text}: use a whole number from {least} to 100000000"))
        };
        match argument.as_str() {
            "--settings" => {
                options.name = value()?;
                options.settings = match options.name.as_str() {
                    "default" => StripSettings::default(),
                    "live-room" => StartingPoint::SpokenLiveRoom.settings(),
                    "everything" => block_processor::all_stages_active(),
                    other => return Err(format!("--settings {other}: use default, live-room or everything")),
                };
            }
            "--frames" => options.frames = number(value()?, 1)?,
            "--block" => options.block = number(value()?, 1)?,
            "--passes" => options.passes = number(value()?, 1)?,
            "--export" => options.export = Some(value()?),
            _ => {
                return Err(format!(
                    "unknown argument {argument}; use --settings, --frames, --block, --passes or --export"
                ));
            }
        }
    }
    if options.block > options.frames {
        return Err("--block is longer than --frames; use a shorter block or more frames".into());
    }
    Ok(options)
}

fn run(options: &Options) -> Result<(), String> {
    let rate = SampleRate::new(RATE_HZ).map_err(|e| e.to_string())?;
    let signal = test_signal::speech_like(options.frames, rate);
    if let Some(path) = &options.export {
        let bytes: Vec<u8> = signal.iter().flatten().flat_map(|sample| sample.to_ne_bytes()).collect();
        return fs::write(path, bytes).map_err(|e| format!("{path}: {e}"));
    }
    let mut strip = block_processor::strip::<2>(&options.settings, rate).map_err(|e| e.to_string())?;
    let mut block = vec![[0.0; 2]; options.block];
    pass(&signal, &mut block, |frames| strip.run(frames));
    let frames = options.frames / options.block * options.block;
    let mut times: Vec<f64> = (0..options.passes)
        .map(|_| {
            let start = Instant::now();
            pass(&signal, &mut block, |frames| strip.run(frames));
            start.elapsed().as_nanos() as f64 / frames as f64
        })
        .collect();
    times.sort_by(f64::total_cmp);
    let ns = times[times.len() / 2];
    println!("{ns:.3} ns per stereo frame, settings {}, blocks of {}, {frames} frames", options.name, options.block);
    Ok(())
}

fn main() -> ExitCode {
    match options().and_then(|options| run(&options)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("strip_cost: {why}");
            ExitCode::from(2)
        }
    }
}
