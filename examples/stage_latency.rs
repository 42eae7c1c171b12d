//! Program that measures latency and compute time per block of every stage and of the whole strip.
//!
//!     cargo run --release --example stage_latency [-- --quick] [-- --csv] [-- --rate HZ]
//!
//! Every block is timed on its own, as an audio callback would call it. Median, 99th percentile and worst case are
//! taken over all blocks; the real-time budget is given for the 99th percentile. The worst case includes interruptions
//! by other processes. `--quick` times 2 000 blocks per row instead of 100 000, `--csv` writes comma-separated values.

use std::io::{self, Write};
use std::process::ExitCode;
use std::time::Instant;
use voicechain_core::frame::Frame;
use voicechain_core::settings::{SpectralLatency, StageId};
use voicechain_core::{SampleRate, SettingError, StripSettings};
use voicechain_examples::timing::block_processor::{BLOCK_SIZES, BlockProcessor};
use voicechain_examples::timing::{block_processor, machine, test_signal};

const DEFAULT_BLOCKS: usize = 100_000;
const QUICK_BLOCKS: usize = 2_000;
const WARM_UP: usize = 100;
/// Length of the repeated signal, frames: a multiple of the longest block.
const FRAMES: usize = 240 * 2_048;

struct Options {
    blocks: usize,
    csv: bool,
    rate: SampleRate,
}

fn options(mut arguments: impl Iterator<Item = String>) -> Result<Options, String> {
    let mut rate_hz = 48_000.0;
    let (mut blocks, mut csv) = (DEFAULT_BLOCKS, false);
    while let Some(argument) = arguments.next() {
        match argument.as_str() {
            "--quick" => blocks = QUICK_BLOCKS,
            "--csv" => csv = true,
            "--rate" => {
                let text = arguments.next().ok_or("--rate needs a rate in Hz")?;
                rate_hz = text.parse().map_err(|_| format!("--rate {text}: not a number; give a rate in Hz"))?;
            }
            other => return Err(format!("unknown argument {other}; use --quick, --csv or --rate HZ")),
        }
    }
    let rate = SampleRate::new(rate_hz).map_err(|error| format!("--rate: {error}"))?;
    Ok(Options { blocks, csv, rate })
}

/// Times per block, ns.
struct Times {
    median: u64,
    p99: u64,
    worst: u64,
}

impl Times {
    fn of(mut all: Vec<u64>) -> Self {
        all.sort_unstable();
        let last = all.len() - 1;
        Self { median: all[last / 2], p99: all[last * 99 / 100], worst: all[last] }
    }
}

/// Cost of reading the clock twice, ns.
fn clock_ns() -> u64 {
    let times = (0..10_000).map(|_| {
        let start = Instant::now();
        start.elapsed().as_nanos() as u64
    });
    Times::of(times.collect()).median
}

fn measure<const C: usize>(work: &mut BlockProcessor<C>, signal: &[[f32; C]], length: usize, blocks: usize) -> Times {
    let mut block = vec![[0.0; C]; length];
    let mut times = Vec::with_capacity(blocks);
    for (n, piece) in signal.chunks_exact(length).cycle().take(WARM_UP + blocks).enumerate() {
        block.copy_from_slice(piece);
        let start = Instant::now();
        work.run(&mut block);
        let ns = start.elapsed().as_nanos() as u64;
        if n >= WARM_UP {
            times.push(ns);
        }
    }
    Times::of(times)
}

/// Row of the table: id, name and processor.
type Row<const C: usize> = (&'static str, &'static str, Result<BlockProcessor<C>, SettingError>);

/// Every stage with nothing bypassed, then the strip.
fn rows<const C: usize>(rate: SampleRate) -> impl Iterator<Item = Row<C>>
where
    [f32; C]: Frame,
{
    let active = block_processor::all_stages_active();
    let stages = StageId::ALL.iter().map(move |&id| (id.id(), id.name(), block_processor::stage(id, &active, rate)));
    let mut low_latency = active;
    low_latency.spectral.latency = SpectralLatency::Low;
    let low_latency = block_processor::stage(StageId::DeReverb, &low_latency, rate);
    let default = block_processor::strip(&StripSettings::default(), rate);
    let everything = block_processor::strip(&active, rate);
    stages.chain([
        ("de_reverb_low", "De-reverb, low latency", low_latency),
        ("strip_default", "Strip, default", default),
        ("strip_all_active", "Strip, all active", everything),
    ])
}

fn table<const C: usize>(options: &Options, signal: &[[f32; C]], out: &mut impl Write) -> io::Result<()>
where
    [f32; C]: Frame,
{
    let channels = if C == 1 { "mono" } else { "stereo" };
    for (id, name, work) in rows::<C>(options.rate) {
        let mut work = work.map_err(|error| io::Error::other(error.to_string()))?;
        let (samples, ms) = (work.latency, f64::from(work.latency) * 1e3 / options.rate.hz());
        if !options.csv {
            writeln!(out, "\n{name}, {channels}: latency {samples} samples ({ms:.2} ms)")?;
            writeln!(
                out,
                "{:>8}{:>12}{:>12}{:>12}{:>12}{:>10}",
                "frames", "median us", "99 % us", "worst us", "ns/frame", "budget"
            )?;
        }
        for length in BLOCK_SIZES {
            let t = measure(&mut work, signal, length, options.blocks);
            let [median, p99, worst] = [t.median, t.p99, t.worst].map(|ns| ns as f64 * 1e-3);
            let ns_per_frame = t.median as f64 / length as f64;
            let budget = 100.0 * p99 * 1e-6 * options.rate.hz() / length as f64;
            if options.csv {
                writeln!(
                    out,
                    "{id},{channels},{samples},{ms:.3},{length},{median:.3},{p99:.3},{worst:.3},{budget:.4}"
                )?;
            } else {
                writeln!(out, "{length:>8}{median:>12.2}{p99:>12.2}{worst:>12.2}{ns_per_frame:>12.2}{budget:>8.3} %")?;
            }
        }
    }
    Ok(())
}

fn run(options: &Options, out: &mut impl Write) -> io::Result<()> {
    let Options { blocks, csv, rate } = options;
    // Comments in CSV begin with a number sign.
    let mark = if *csv { "# " } else { "" };
    writeln!(out, "{mark}{}", machine::processor())?;
    writeln!(out, "{mark}{}", machine::build())?;
    writeln!(
        out,
        "{mark}{} Hz, {blocks} blocks per row, each timed on its own; reading the clock adds {} ns to every time",
        rate.hz(),
        clock_ns()
    )?;
    if *csv {
        let times = "median_us,p99_us,worst_us,p99_budget_percent";
        writeln!(out, "stage,channels,latency_samples,latency_ms,block_frames,{times}")?;
    }
    let stereo = test_signal::speech_like(FRAMES, *rate);
    table(options, &test_signal::left_channel(&stereo), out)?;
    table(options, &stereo, out)
}

fn main() -> ExitCode {
    let result = options(std::env::args().skip(1)).and_then(|options| {
        match run(&options, &mut io::stdout().lock()) {
            // A closed pipe is not an error.
            Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
            other => other.map_err(|error| error.to_string()),
        }
    });
    match result {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("stage_latency: {why}");
            ExitCode::from(2)
        }
    }
}
