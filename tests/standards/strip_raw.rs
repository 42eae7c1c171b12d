//! Runs a strip on raw samples, for scripts that score its output with libraries of other languages.
//!
//!     cargo run --release -p voicechain-tests --bin strip_raw -- SETTINGS.toml RATE < in.f32 > out.f32
//!     cargo run --release -p voicechain-tests --bin strip_raw -- --de-reverb LATENCY < in.f32 > out.f32
//!     cargo run --release -p voicechain-tests --bin strip_raw -- --voices FOLDER
//!
//! Samples are one channel in single precision, little-endian; the latency is removed. The first form runs a settings
//! file. The second form measures the recording at 48 kHz, proposes settings and runs their de-reverb alone, at the
//! latency `high` or `low`; it prints the proposed decay time in ms on the error output, or 0 without one. The third
//! form writes the recorded speakers of `voicechain_tests::recordings` without audible reverberation at 48 kHz, as
//! `SUBSET-NAME-RATE.f32`. With `--file` among the arguments the strip analyses the recording ahead, as in a program
//! for files.

use std::error::Error;
use std::io::{Read, Write};
use voicechain_core::measure::ProfileMeter;
use voicechain_core::propose::{Context, propose};
use voicechain_core::settings::SpectralLatency;
use voicechain_core::{SampleRate, Strip, StripCoefs, StripSettings};
use voicechain_tests::recordings::{RATE_HZ, speakers};
use voicechain_tests::strips::all_off;

fn voices(folder: &str) -> Result<(), Box<dyn Error>> {
    for speaker in speakers().iter().filter(|speaker| !speaker.reverberant) {
        let name: String = speaker.name.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '_' }).collect();
        let bytes: Vec<u8> = speaker.samples.iter().flat_map(|x| x.to_le_bytes()).collect();
        std::fs::write(format!("{folder}/{:?}-{name}-{}.f32", speaker.subset, speaker.native_rate_hz), bytes)?;
    }
    Ok(())
}

fn raw() -> Result<Vec<[f32; 1]>, Box<dyn Error>> {
    let mut bytes = Vec::new();
    std::io::stdin().read_to_end(&mut bytes)?;
    Ok(bytes.as_chunks::<4>().0.iter().map(|b| [f32::from_le_bytes(*b)]).collect())
}

/// The settings proposed for a recording, with the de-reverb alone.
fn proposed(latency: &str, frames: &[[f32; 1]], rate: SampleRate) -> Result<StripSettings, Box<dyn Error>> {
    let latency = match latency {
        "high" => SpectralLatency::High,
        "low" => SpectralLatency::Low,
        other => return Err(format!("unknown latency {other}: use high or low").into()),
    };
    let mut meter = Box::new(ProfileMeter::<1>::new(rate));
    meter.push(frames);
    let proposal = propose(&meter.profile(), Context::default());
    let mut settings = StripSettings { de_reverb: proposal.settings.de_reverb, ..all_off() };
    let acts = settings.de_reverb.on;
    if acts {
        settings.spectral.latency = latency;
    }
    eprintln!("{}", if acts { settings.de_reverb.decay_ms } else { 0.0 });
    Ok(settings)
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments: Vec<String> = std::env::args().skip(1).collect();
    let file = arguments.iter().any(|argument| argument == "--file");
    arguments.retain(|argument| argument != "--file");
    let [first, second] = arguments.as_slice() else {
        return Err("two arguments are needed: see the head of strip_raw.rs".into());
    };
    if first == "--voices" {
        return voices(second);
    }
    let mut frames = raw()?;
    let (settings, rate) = if first == "--de-reverb" {
        let rate = SampleRate::new(f64::from(RATE_HZ))?;
        (proposed(second, &frames, rate)?, rate)
    } else {
        (toml::from_str(&std::fs::read_to_string(first)?)?, SampleRate::new(second.parse()?)?)
    };
    let coefs = StripCoefs::<1>::design(&settings, rate)?;
    let mut strip = Box::new(Strip::new(&coefs));
    if file {
        strip.analyse_ahead(&frames);
    }
    let latency = coefs.latency() as usize;
    frames.resize(frames.len() + latency, [0.0]);
    strip.run(&mut frames);
    let out: Vec<u8> = frames[latency..].iter().flat_map(|frame| frame[0].to_le_bytes()).collect();
    std::io::stdout().write_all(&out)?;
    Ok(())
}
