//! How well a voice is measured: one table, over recorded voices, with known truth made from them.
//!
//!     cargo run --release -p voicechain-tests --bin reach            the whole table, in Markdown
//!     cargo run --release -p voicechain-tests --bin reach -- room    only the rows whose name contains "room"
//!     cargo run --release -p voicechain-tests --bin reach -- --write DIR
//!                                                 writes the speakers as WAV files, for other programs to measure
//!
//! Half of the speakers choose the thresholds, the other half score them; both are printed. The recordings are fetched by
//! `tests/recordings`.

mod bandwidth;
mod colour;
mod half;
mod hum;
mod levels;
mod mending;
mod pitch;
mod proposal;
mod resonance;
mod room;
mod sibilance;
mod speakers;
mod subject;

use hound::{SampleFormat, WavSpec, WavWriter};
use std::path::Path;
use voicechain_tests::recordings::{RATE_HZ, speakers};

/// One row of the table.
struct Row {
    /// What is measured, with the condition.
    quantity: String,
    /// What it must reach, and what it aims for, as words.
    reach: &'static str,
    /// On the speakers that choose thresholds.
    chosen: String,
    /// On the speakers that score them.
    scored: String,
}

/// What makes rows: its name, and how. A group is only computed when it is asked for.
type Group = (&'static str, fn() -> Vec<Row>);

const GROUPS: &[Group] = &[
    ("bandwidth", bandwidth::rows),
    ("colour", colour::rows),
    ("hum", hum::rows),
    ("levels", levels::rows),
    ("mending", mending::rows),
    ("no-harm", resonance::no_harm),
    ("pitch", pitch::rows),
    ("proposal", proposal::rows),
    ("resonance", resonance::rows),
    ("room", room::rows),
    ("sibilance", sibilance::rows),
    ("speakers", speakers::rows),
    ("subject", subject::rows),
];

fn main() {
    let wanted: Vec<String> = std::env::args().skip(1).collect();
    if let [option, folder] = wanted.as_slice()
        && option == "--write"
    {
        write(Path::new(folder));
        return;
    }
    println!("| quantity | reach, aim | on the choosing half | on the scoring half |");
    println!("| --- | --- | --- | --- |");
    for (_, rows) in
        GROUPS.iter().filter(|(name, _)| wanted.is_empty() || wanted.iter().any(|w| name.contains(w.as_str())))
    {
        for Row { quantity, reach, chosen, scored } in rows() {
            println!("| {quantity} | {reach} | {chosen} | {scored} |");
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
