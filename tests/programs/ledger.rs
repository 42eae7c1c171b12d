//! The ledger of the report sums to the printed change from input to output, also where levels jump.

use crate::directory::{TestDirectory, speech};
use crate::mix_interview::report;
use serde_json::Value;
use std::fs;

const RATE: u32 = 48_000;

/// A voice that jumps by `jump_db` every 3 s, for 24 s.
fn jumping(jump_db: f64, sides: &[f64]) -> Vec<f64> {
    let low = 10f64.powf(-jump_db / 20.0);
    (0..24 * RATE)
        .flat_map(|n| {
            let seconds = f64::from(n) / f64::from(RATE);
            let gain = if ((seconds / 3.0) as u32).is_multiple_of(2) { 0.7 } else { 0.7 * low };
            let sample = gain * speech(seconds, 140.0);
            sides.iter().map(move |side| side * sample)
        })
        .collect()
}

/// Hundredths of a number with two decimals.
fn hundredths(value: &Value) -> i64 {
    (value.as_f64().expect("a number") * 100.0).round() as i64
}

/// Numbers of a column of the page, in tenths.
fn ledger_column(page: &str) -> Vec<i64> {
    let cells = page.split("class=\"n ledger\">").skip(1).map(|rest| rest.split('<').next().expect("a cell"));
    cells.map(|cell| (cell.replace('−', "-").parse::<f64>().expect("a number") * 10.0).round() as i64).collect()
}

#[test]
fn the_ledger_sums_to_the_change_from_input_to_output() {
    let directory = TestDirectory::new();
    let settings = "format = 1\n[leveller]\non = true\nmaximum_boost_db = 12.0\nmaximum_cut_db = 12.0\n\
                    response_time_ms = 1000.0\n";
    fs::write(directory.path("level.toml"), settings).expect("settings");
    for (jump_db, sides) in [(0.0, &[1.0][..]), (18.0, &[1.0]), (18.0, &[1.0, 0.4])] {
        directory.wav("anna.wav", RATE, sides.len() as u16, &jumping(jump_db, sides));
        directory.run(&["anna.wav", "--settings", "level.toml"]).done();
        let report = report(&directory.path("mixed"));
        let voice = &report["voices"][0];
        let (stages, beside) =
            (voice["ledger"].as_array().expect("stages"), voice["beside_ledger"].as_array().expect("rest"));
        let sum: i64 = stages.iter().chain(beside).map(|entry| hundredths(&entry["lu"])).sum();
        let total = hundredths(&voice["output"]["integrated_lufs"]) - hundredths(&voice["input"]["integrated_lufs"]);
        assert_eq!(sum, total, "{jump_db} dB, {stages:?}, {beside:?}");
        let reasons: Vec<&str> = beside.iter().map(|entry| entry["reason"].as_str().expect("a reason")).collect();
        let expected =
            if sides.len() == 1 { vec!["gating", "two_channels", "balance"] } else { vec!["gating", "balance"] };
        assert_eq!(reasons, expected);
        // Quiet phrases 18 dB down are gated at the input and not after the leveller: what was gated weighs on the mean.
        let gating = hundredths(&beside[0]["lu"]);
        println!("{jump_db} dB, {} channels: gating {gating} hundredths", sides.len());
        assert!(if jump_db == 0.0 { gating.abs() <= 40 } else { gating.abs() >= 100 }, "{jump_db} dB: {gating}");

        // On the page, the stages sum to the strip, and everything to the last row: input to output as printed.
        let column = ledger_column(&fs::read_to_string(directory.path("mixed/report.html")).expect("a page"));
        let (stages, rest) = column.split_at(stages.len());
        let [strip, beside @ .., total] = rest else { panic!("no rows below the stages: {column:?}") };
        assert_eq!(stages.iter().sum::<i64>(), *strip, "{column:?}");
        assert_eq!(strip + beside.iter().sum::<i64>(), *total, "{column:?}");
        let tenths = |side: &str| (voice[side]["integrated_lufs"].as_f64().expect("a loudness") * 10.0).round() as i64;
        assert_eq!(*total, tenths("output") - tenths("input"), "{column:?}");
    }
}
