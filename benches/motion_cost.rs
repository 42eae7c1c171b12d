//! Program that changes settings of the whole stereo strip between blocks, to be counted by `benches/motion`.
//!
//!     cargo run --release -p voicechain-benches --bin motion_cost -- --settings default|everything --change CHANGE
//!         [--block N] [--repeats N]
//!
//! [`measured_block`] is called for every counted block: the change itself and the block that follows it, then the
//! blocks until all transitions have ended. Between two changes the strip runs uncounted until it is at rest.

use std::hint::black_box;
use std::process::ExitCode;
use voicechain_benches::RATE_HZ;
use voicechain_core::settings::SpectralLatency;
use voicechain_core::{SampleRate, Strip, StripCoefs, StripSettings};
use voicechain_examples::timing::{block_processor, test_signal};

/// What changes between two blocks.
const CHANGES: [&str; 10] =
    ["none", "bell", "compressor", "ceiling", "twelve", "order", "twelve and order", "look-ahead", "spectral", "rate"];

/// Counted blocks after each change: transitions, fades and the mute between them.
const COUNTED_MS: f64 = 45.0;
/// Uncounted time between two changes, s.
const REST_S: f64 = 0.3;

struct Options {
    everything: bool,
    change: String,
    block: usize,
    repeats: usize,
}

fn options() -> Result<Options, String> {
    let mut options = Options { everything: false, change: "none".into(), block: 64, repeats: 8 };
    let mut arguments = std::env::args().skip(1);
    while let Some(argument) = arguments.next() {
        let value = arguments.next().ok_or(format!("{argument} needs a value"))?;
        let number = || value.parse().map_err(|_| format!("{argument} {value}: use a whole number"));
        match argument.as_str() {
            "--settings" if value == "default" => options.everything = false,
            "--settings" if value == "everything" => options.everything = true,
            "--change" if CHANGES.contains(&value.as_str()) => options.change = value,
            "--block" => options.block = number()?,
            "--repeats" => options.repeats = number()?,
            _ => return Err(format!("{argument} {value}: use --settings default|everything, --change {CHANGES:?}")),
        }
    }
    Ok(options)
}

/// The settings after the change.
fn changed(before: &StripSettings, change: &str) -> StripSettings {
    let mut s = *before;
    // Inside the range, and down where it is not already low.
    let ceiling_dbtp = before.limiter.ceiling_dbtp + if before.limiter.ceiling_dbtp < -6.0 { 2.0 } else { -2.0 };
    match change {
        "bell" => s.corrective_eq.bell_2_gain_db -= 3.0,
        "compressor" => s.compressor.threshold_db -= 4.0,
        "ceiling" => s.limiter.ceiling_dbtp = ceiling_dbtp,
        "order" => s.order.reverse(),
        "look-ahead" => s.limiter.look_ahead_ms = 4.0,
        "spectral" => {
            s.spectral.latency = if before.spectral.latency == SpectralLatency::None {
                s.de_reverb.on = true;
                SpectralLatency::High
            } else {
                SpectralLatency::Low
            }
        }
        "twelve" | "twelve and order" => {
            s.trim.gain_db += 2.0;
            s.high_pass.frequency_hz *= 1.5;
            s.expander.range_db += 3.0;
            s.leveller.maximum_boost_db -= 2.0;
            s.corrective_eq.bell_1_gain_db -= 3.0;
            s.corrective_eq.bell_3_gain_db += 2.0;
            s.de_esser.threshold_db -= 2.0;
            s.compressor.threshold_db -= 4.0;
            s.compressor.attack_ms *= 2.0;
            s.tone_eq.bell_gain_db += 2.0;
            s.limiter.ceiling_dbtp = ceiling_dbtp;
            s.output.gain_db -= 1.0;
            if change == "twelve and order" {
                s.order.reverse();
            }
        }
        _ => {}
    }
    s
}

/// One counted block: the change, if there is one, and the frames.
#[inline(never)]
fn measured_block(strip: &mut Strip<2>, coefs: Option<&StripCoefs<2>>, frames: &mut [[f32; 2]]) {
    if let Some(coefs) = coefs {
        strip.set(coefs);
    }
    strip.run(frames);
    black_box(frames);
}

fn run(options: &Options) -> Result<(), String> {
    let rate = |hz: f64| SampleRate::new(hz).map_err(|e| e.to_string());
    let before = if options.everything { block_processor::all_stages_active() } else { StripSettings::default() };
    let after = changed(&before, &options.change);
    let design = |settings: &StripSettings, hz: f64| {
        StripCoefs::<2>::design(settings, rate(hz)?).map(Box::new).map_err(|e| e.to_string())
    };
    let other_hz = if options.change == "rate" { 44_100.0 } else { RATE_HZ };
    let coefs = [design(&before, RATE_HZ)?, design(&after, other_hz)?];
    let signal = test_signal::speech_like((4.0 * RATE_HZ) as usize, rate(RATE_HZ)?);
    let mut blocks = signal.chunks_exact(options.block).cycle();
    let mut frames = vec![[0.0; 2]; options.block];
    let mut strip = Box::new(Strip::<2>::new(&coefs[0]));
    let in_blocks = |seconds: f64| (seconds * RATE_HZ) as usize / options.block + 1;
    let mut next = |frames: &mut [[f32; 2]]| {
        if let Some(block) = blocks.next() {
            frames.copy_from_slice(block);
        }
    };
    for _ in 0..in_blocks(1.0) {
        next(&mut frames);
        strip.run(&mut frames);
    }
    for repeat in 1..=options.repeats {
        for _ in 0..in_blocks(REST_S) {
            next(&mut frames);
            strip.run(&mut frames);
        }
        for n in 0..in_blocks(1e-3 * COUNTED_MS) {
            next(&mut frames);
            let change = (n == 0 && options.change != "none").then(|| &*coefs[repeat % 2]);
            measured_block(&mut strip, change, &mut frames);
        }
    }
    Ok(())
}

fn main() -> ExitCode {
    match options().and_then(|options| run(&options)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("motion_cost: {why}");
            ExitCode::from(2)
        }
    }
}
