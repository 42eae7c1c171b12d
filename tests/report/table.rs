//! The summary table in the terminal.

use crate::sample::sample_report;
use voicechain_examples::report::table::{MAX_COLUMNS, summary};

#[test]
fn the_table_is_complete_and_fits_the_terminal() {
    let mut report = sample_report();
    let text = summary(&report, "mixed");
    println!("{text}");
    for expected in [
        "The 10th percentile of the pitch is 103 Hz",
        "Guest: proposed from",
        "Guest",
        "−27.9",
        "→ −18.2",
        "−1.3 / −4.1",
        "−16.0",
        "≤ −1.0",
        "Meets the target",
        "warning: ",
        "mixed",
    ] {
        assert!(text.contains(expected), "{expected} is missing in\n{text}");
    }
    report.voices[0].name = "A very long name of a voice \u{1b}[31m with colours".into();
    report.voices[0].evidence[0].sentence = "y".repeat(220);
    report.voices[0].warnings = vec!["x".repeat(250), "word ".repeat(60)];
    report.files[0].name = "y".repeat(130);
    let text = summary(&report, "mixed");
    assert!(text.lines().all(|line| line.chars().count() <= MAX_COLUMNS), "{text}");
    assert!(!text.contains('\u{1b}') && !text.contains("-0.0") && !text.contains("−0.0"));
}
