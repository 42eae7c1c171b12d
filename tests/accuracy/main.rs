//! How well a voice is measured: one table, over recorded voices, with known truth made from them.
//!
//!     cargo run --release -p voicechain-tests --bin accuracy            the whole table, in Markdown
//!     cargo run --release -p voicechain-tests --bin accuracy -- reverberation    only the rows whose name contains "reverberation"
//!     cargo run --release -p voicechain-tests --bin accuracy -- --write DIR
//!                                                 writes the speakers as WAV files, for other programs to measure
//!
//! Thresholds are chosen on the development set of the speakers and scored on the evaluation set; both are printed. The recordings are fetched by
//! `tests/recordings`.

mod bandwidth;
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
use std::path::Path;
use voicechain_tests::recordings::{RATE_HZ, speakers};

/// One row of the table.
struct Row {
    /// What is measured, with the condition.
    quantity: String,
    /// What it must required, and what it aims for, as words.
    required: &'static str,
    /// On the speakers that choose thresholds.
    development: String,
    /// On the speakers that score them.
    evaluation: String,
}

/// What makes rows: its name, and how. A group is only computed when it is asked for.
type Group = (&'static str, fn() -> Vec<Row>);

const GROUPS: &[Group] = &[
    ("bandwidth", bandwidth::rows),
    ("tonal_balance", tonal_balance::rows),
    ("hum", hum::rows),
    ("levels", levels::rows),
    ("restoration", restoration::rows),
    ("no-harm", resonance::no_harm),
    ("pitch", pitch::rows),
    ("proposal", proposal::rows),
    ("resonance", resonance::rows),
    ("reverberation", reverberation::rows),
    ("sibilance", sibilance::rows),
    ("speakers", speakers::rows),
    ("signal_class", signal_class::rows),
];

fn main() {
    let wanted: Vec<String> = std::env::args().skip(1).collect();
    if let [option, folder] = wanted.as_slice()
        && option == "--write"
    {
        write(Path::new(folder));
        return;
    }
    println!("| quantity | required, aim | on the development set | on the evaluation set |");
    println!("| --- | --- | --- | --- |");
    for (_, rows) in
        GROUPS.iter().filter(|(name, _)| wanted.is_empty() || wanted.iter().any(|w| name.contains(w.as_str())))
    {
        for Row { quantity, required, development, evaluation } in rows() {
            println!("| {quantity} | {required} | {development} | {evaluation} |");
        }
    }
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
