//! Accuracy of the measurements of a voice: one table over recorded voices, with known truth made from them.
//!
//!     cargo run --profile optimised -p voicechain-tests --bin accuracy -- [ARGUMENTS]
//!
//! - no argument: prints the table, in Markdown;
//! - `reverberation pitch`: prints the groups whose names contain one of these words;
//! - `--write-table`: prints the table and writes it into `tests/accuracy/RESULTS.md` (with `python3 .ci/tables`, which
//!   also tells whether the written table is up to date);
//! - `--write DIR`: writes the speakers as WAV files, for other programs to measure.
//!
//! Thresholds are chosen on the development recordings and scored on the evaluation recordings. The table shows both.
//! `tests/recordings` fetches the recordings.

mod bandwidth;
mod good_voices;
mod hum;
mod levels;
mod pitch;
mod proposal;
mod resonance;
mod restoration;
mod reverberation;
mod sibilance;
mod signal_class;
mod speakers;
mod subset;
mod tonal_balance;

use hound::{SampleFormat, WavSpec, WavWriter};
use std::fmt::Write as _;
use std::io::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};
use voicechain_tests::recordings::{RATE_HZ, speakers};

/// One row of the table.
struct Row {
    /// Measured quantity and condition.
    quantity: String,
    /// Required value and aim, as words.
    required: &'static str,
    /// Result on the development recordings.
    development: String,
    /// Result on the evaluation recordings.
    evaluation: String,
}

/// Group of rows: its name and the function that measures it.
type Group = (&'static str, fn() -> Vec<Row>);

const GROUPS: &[Group] = &[
    ("bandwidth", bandwidth::rows),
    ("tonal_balance", tonal_balance::rows),
    ("good_voices", good_voices::rows),
    ("hum", hum::rows),
    ("levels", levels::rows),
    ("restoration", restoration::rows),
    ("no-harm", resonance::no_harm),
    ("pitch", pitch::rows),
    ("proposal", proposal::rows),
    ("resonance", resonance::rows),
    ("sung", resonance::sung_rows),
    ("reverberation", reverberation::rows),
    ("sibilance", sibilance::rows),
    ("speakers", speakers::rows),
    ("signal_class", signal_class::rows),
];

fn main() {
    let wanted: Vec<String> = std::env::args().skip(1).collect();
    match wanted.iter().map(String::as_str).collect::<Vec<_>>().as_slice() {
        ["--write", folder] => write(Path::new(folder)),
        ["--write-table"] => {
            // Before the measurement: a source that changes during it makes the table out of date.
            let head = tables(&["--head", "accuracy"], "");
            let table = table(&[]);
            tables(&["--put", "accuracy"], &format!("{head}\n{table}"));
        }
        groups if groups.iter().any(|group| group.starts_with('-')) => {
            eprintln!("unknown arguments {groups:?}; see the head of tests/accuracy/main.rs");
            std::process::exit(2);
        }
        groups => {
            table(groups);
        }
    }
}

/// The table of the groups whose name contains one of `wanted`, or of all if there are none. Prints each row as it is
/// measured.
fn table(wanted: &[&str]) -> String {
    let mut table = String::new();
    let mut line = |line: String| {
        println!("{line}");
        writeln!(table, "{line}").expect("a string");
    };
    line("| quantity | required, aim | development recordings | evaluation recordings |".into());
    line("| --- | --- | --- | --- |".into());
    for (_, rows) in GROUPS.iter().filter(|(name, _)| wanted.is_empty() || wanted.iter().any(|w| name.contains(w))) {
        for Row { quantity, required, development, evaluation } in rows() {
            line(format!("| {quantity} | {required} | {development} | {evaluation} |"));
        }
    }
    table
}

/// Runs `.ci/tables` with an input and returns its output.
fn tables(arguments: &[&str], input: &str) -> String {
    let program = Path::new(env!("CARGO_MANIFEST_DIR")).join("../.ci/tables");
    let mut child = Command::new("python3")
        .arg(program)
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("python3 runs .ci/tables");
    child.stdin.take().expect("a pipe").write_all(input.as_bytes()).expect(".ci/tables reads the table");
    let output = child.wait_with_output().expect(".ci/tables ends");
    assert!(output.status.success(), ".ci/tables {arguments:?} failed");
    String::from_utf8(output.stdout).expect("text")
}

/// Writes every speaker as `NAME.wav`, one channel of 32-bit floats.
fn write(folder: &Path) {
    std::fs::create_dir_all(folder).expect("a folder");
    let spec = WavSpec { channels: 1, sample_rate: RATE_HZ, bits_per_sample: 32, sample_format: SampleFormat::Float };
    for speaker in speakers() {
        let path = folder.join(speaker.name).with_extension("wav");
        let mut file = WavWriter::create(path, spec).expect("a file");
        speaker.samples.iter().for_each(|&sample| file.write_sample(sample).expect("room for a sample"));
        file.finalize().expect("a whole file");
    }
}
