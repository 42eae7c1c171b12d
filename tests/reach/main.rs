//! How well a voice is measured: one table, over recorded voices, with known truth made from them.
//!
//!     cargo run --release -p voicechain-tests --bin reach            the whole table, in Markdown
//!     cargo run --release -p voicechain-tests --bin reach -- room    only the rows whose name contains "room"
//!
//! Half of the speakers choose the thresholds, the other half score them; both are printed. The recordings are fetched by
//! `tests/recordings`.

mod bandwidth;
mod colour;
mod half;
mod hum;
mod levels;
mod room;
mod sibilance;
mod speakers;

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
    ("room", room::rows),
    ("sibilance", sibilance::rows),
    ("speakers", speakers::rows),
];

fn main() {
    let wanted: Vec<String> = std::env::args().skip(1).collect();
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
