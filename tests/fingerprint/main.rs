//! The fingerprint: shows whether a change of the code changes any output bit, measurement or proposal.
//!
//!     cargo run --profile optimised -p voicechain-tests --bin fingerprint -- [PART...] [--write FILE]
//!
//! Without arguments it compares all parts with `tests/fingerprint/figures.txt`; PART (`strip`, `profile`, `demo`) selects
//! parts. `--write FILE` writes the current figures instead.
//!
//! A commit that changes the sound, a measurement or a proposal renews the figures and says why. The settings are those
//! of commit b1805f7; figures identify settings, stages and choices by their position in the settings table, so they
//! survive renaming.
//!
//! - `strip`: hashes of all output bits and meter readings, over settings, sample rates from 8 to 192 kHz, mono and
//!   stereo, block sizes, monitoring, stage order, transitions and analysis ahead.
//! - `profile`: measurements of the recorded speakers and proposals for them (`tests/recordings` fetches the
//!   recordings). Decisions and proposed values are exact; measured numbers may differ by 1e-3, or by 2e-5 of their
//!   value, because transforms round differently (the largest relative difference is 1.03e-5, of one resonance's
//!   frequency).
//! - `demo`: the audio of the demo interview, mixed with the settings that b1805f7 proposes.

mod demo;
mod figures;
mod profile;
mod signal;
mod strip;

use figures::{Figure, Figures};
use std::process::ExitCode;

const PARTS: [&str; 3] = ["strip", "profile", "demo"];

fn run() -> Result<usize, String> {
    let mut parts: Vec<String> = Vec::new();
    let mut write = None;
    let mut arguments = std::env::args().skip(1);
    while let Some(argument) = arguments.next() {
        match argument.as_str() {
            "--write" => write = Some(arguments.next().ok_or("--write needs a file")?),
            part if PARTS.contains(&part) => parts.push(argument),
            other => return Err(format!("unknown argument {other}; see the head of tests/fingerprint/main.rs")),
        }
    }
    let wanted = |part: &str| parts.is_empty() || parts.iter().any(|p| p == part);
    let stored = Figures::stored()?;
    let mut found: Vec<Figure> = Vec::new();
    if wanted("strip") {
        found.extend(strip::figures(&stored.cases)?);
    }
    if wanted("profile") {
        found.extend(profile::figures());
    }
    if wanted("demo") {
        found.extend(demo::figures(&stored.cases)?);
    }
    if let Some(path) = write {
        std::fs::write(&path, stored.written(&found)).map_err(|e| format!("{path}: {e}"))?;
        println!("{} figures written to {path}", found.len());
        return Ok(0);
    }
    let differences = stored.differences(&found, &wanted);
    differences.iter().for_each(|difference| println!("{difference}"));
    println!("fingerprint: {} of {} figures differ", differences.len(), found.len());
    Ok(differences.len())
}

fn main() -> ExitCode {
    match run() {
        Ok(0) => ExitCode::SUCCESS,
        Ok(_) => ExitCode::FAILURE,
        Err(why) => {
            eprintln!("fingerprint: {why}");
            ExitCode::from(2)
        }
    }
}
