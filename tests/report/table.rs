//! The summary table in the terminal.

use crate::sample::sample_report;
use voicechain_examples::report::data::{Shortfall, ShortfallCause};
use voicechain_examples::report::table::{MAX_COLUMNS, summary, target_missed};

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
    assert!(!text.contains("≤ −30"));
    // At the end of the meter's range a percentile is that much or more.
    report.voices[0].gain_reduction.compressor.p95_db = 30.0;
    let text = summary(&report, "mixed");
    assert!(text.contains("−1.3 / ≤ −30") && text.contains("30 dB or more"), "{text}");
    report.voices[0].name = "A very long name of a voice \u{1b}[31m with colours".into();
    report.voices[0].evidence[0].sentence = "y".repeat(220);
    report.voices[0].warnings = vec!["x".repeat(250), "word ".repeat(60)];
    report.files[0].name = "y".repeat(130);
    let text = summary(&report, "mixed");
    assert!(text.lines().all(|line| line.chars().count() <= MAX_COLUMNS), "{text}");
    assert!(!text.contains('\u{1b}') && !text.contains("-0.0") && !text.contains("−0.0"));
}

#[test]
fn a_missed_target_is_one_line_with_the_advice() {
    let mut report = sample_report();
    assert_eq!(target_missed(&report, "mixed/mix.wav"), None);
    report.mix.integrated_lufs = Some(-17.2);
    report.mix.shortfall = Some(Shortfall {
        missing_lu: 1.2,
        cause: ShortfallCause::Peaks,
        explanation: "The mix is too quiet.".into(),
        advice: "Lower the target.".into(),
    });
    assert_eq!(
        target_missed(&report, "mixed/mix.wav").as_deref(),
        Some("mixed/mix.wav: loudness is 1.2 LU below the target, the true peak is at the ceiling. Lower the target.")
    );
    report.mix = sample_report().mix;
    report.mix.true_peak_dbtp = Some(-0.4);
    assert!(target_missed(&report, "x").is_some_and(|line| line.contains("exceeds the ceiling by 0.6 dB")));
}
