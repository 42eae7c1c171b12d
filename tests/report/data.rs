//! `report.json` against its schema, and its rounding and verdicts.

use crate::sample::sample_report;
use approx::assert_abs_diff_eq;
use serde_json::{Value, json};
use voicechain_examples::report::data::{Levels, Report, SCHEMA};

fn schema_error(report: &Value) -> Option<String> {
    let schema: Value = serde_json::from_str(SCHEMA).expect("the schema is JSON");
    let mut schemas = boon::Schemas::new();
    let mut compiler = boon::Compiler::new();
    compiler.add_resource("urn:voicechain:report:1", schema).expect("a resource");
    let index = compiler.compile("urn:voicechain:report:1", &mut schemas).expect("the schema is a schema");
    schemas.validate(report, index).err().map(|error| error.to_string())
}

fn sample_json() -> Value {
    serde_json::from_str(&sample_report().to_json().expect("finite")).expect("JSON")
}

#[test]
fn a_report_follows_its_schema_and_reads_back() {
    assert_eq!(schema_error(&sample_json()), None);
    let mut silent = sample_report();
    silent.demo = None;
    silent.voices[0].output = Levels { integrated_lufs: Some(f64::NEG_INFINITY), ..Levels::default() };
    silent.voices[0].ledger[0].lu = None;
    silent.mix.loudness_range_lu = Some(f64::NAN);
    let text = silent.to_json().expect("finite");
    assert_eq!(schema_error(&serde_json::from_str(&text).expect("JSON")), None);
    assert!(text.contains("\"integrated_lufs\": null") && !text.contains("NaN"));

    let report = sample_report();
    assert_eq!(Report::from_json(&report.to_json().expect("finite")).expect("reads back"), report);
}

#[test]
fn levels_are_rounded_without_negative_zero() {
    let mut report = sample_report();
    report.voices[0].ledger[0].lu = Some(-0.004);
    report.voices[0].balance_gain_db = -0.0;
    report.mix.integrated_lufs = Some(-16.018_76);
    report.timing.processing_s = 1.234_567;
    let text = report.to_json().expect("finite");
    assert!(!text.contains("-0.0,") && !text.contains("-0.0\n"), "{text}");
    let json: Value = serde_json::from_str(&text).expect("JSON");
    assert_eq!(json["mix"]["integrated_lufs"], json!(-16.02));
    assert_eq!(json["timing"]["processing_s"], json!(1.235));
}

/// Hundredths and tenths: the rounded entries sum exactly to the rounded output minus the rounded input.
#[test]
fn the_changes_beside_the_ledger_close_its_sum() {
    for (input, output, balance, channels) in
        [(-27.943, -18.215, 0.374, 1), (-41.055, -22.996, -7.777, 2), (-19.0, -19.049, 0.0, 1)]
    {
        let mut voice = sample_report().voices.swap_remove(0);
        voice.input.integrated_lufs = Some(input);
        voice.output.integrated_lufs = Some(output);
        (voice.balance_gain_db, voice.channels) = (balance, channels);
        for (decimals, scale) in [(1, 10.0), (2, 100.0)] {
            let whole = |lu: f64| (lu * scale).round() as i64;
            let beside = voice.changes_beside_ledger(decimals);
            let entries = voice.ledger.iter().map(|entry| entry.lu).chain(beside.iter().map(|change| change.lu));
            let sum: i64 = entries.map(|lu| whole(lu.expect("measured"))).sum();
            assert_eq!(sum, whole(output) - whole(input), "{decimals} decimals: {beside:?}");
        }
        voice.output.integrated_lufs = None;
        assert!(voice.changes_beside_ledger(2).iter().all(|change| change.lu.is_none()));
    }
}

#[test]
fn a_missing_required_number_is_an_error() {
    let mut report = sample_report();
    report.target.ceiling_dbtp = f64::NAN;
    assert!(report.to_json().is_err());
}

#[test]
fn the_schema_rejects_invalid_reports() {
    type Change = fn(&mut Value);
    let changes: [(&str, Change); 22] = [
        ("another format", |json| json["format"] = json!(2)),
        ("no voices", |json| json["voices"] = json!([])),
        ("no mix", |json| drop(json.as_object_mut().map(|all| all.remove("mix")))),
        ("an unknown member", |json| json["extra"] = json!(1)),
        ("a level as text", |json| json["mix"]["integrated_lufs"] = json!("-16")),
        ("a missing peak", |json| drop(json["mix"].as_object_mut().map(|mix| mix.remove("true_peak_dbtp")))),
        ("an odd word length", |json| json["mix"]["bits"] = json!(20)),
        ("half a channel", |json| json["mix"]["channels"] = json!(0.5)),
        ("a positive ceiling", |json| json["target"]["ceiling_dbtp"] = json!(1.0)),
        ("no target", |json| json["target"]["integrated_lufs"] = Value::Null),
        ("negative time", |json| json["timing"]["programme_s"] = json!(-1.0)),
        ("reduction with a sign", |json| json["voices"][0]["gain_reduction"]["limiter"]["max_db"] = json!(-1.0)),
        ("a percentile beyond the range", |json| json["mix"]["limiter"]["p95_db"] = json!(31.0)),
        ("a shortfall without a cause", |json| json["mix"]["shortfall"] = json!({ "missing_lu": 1.0 })),
        ("a change without a reason", |json| json["voices"][0]["beside_ledger"][0] = json!({ "lu": 1.0 })),
        ("a stage with capitals", |json| json["voices"][0]["ledger"][0]["stage"] = json!("Trim")),
        ("a nameless voice", |json| json["voices"][1]["name"] = json!("")),
        ("a missing stage", |json| {
            drop(json["voices"][0]["gain_reduction"].as_object_mut().map(|all| all.remove("de_esser")));
        }),
        ("a reason without a sentence", |json| json["voices"][0]["evidence"][0]["sentence"] = json!("")),
        ("a confidence above 1", |json| json["voices"][0]["evidence"][0]["confidence"] = json!(1.2)),
        ("a stage left off without a sentence", |json| {
            json["voices"][0]["left_off"] = json!([{ "stage": "hum" }]);
        }),
        ("a warning that is no text", |json| json["voices"][0]["warnings"] = json!([3])),
    ];
    for (name, change) in changes {
        let mut json = sample_json();
        change(&mut json);
        assert!(schema_error(&json).is_some(), "{name} passed");
    }
}

#[test]
fn the_verdict_uses_the_rounded_levels() {
    let mut report = sample_report();
    assert!(report.compliance().is_compliant());
    report.mix.true_peak_dbtp = Some(-0.96);
    assert!(report.compliance().is_compliant(), "-0.96 is shown as -1.0");
    report.mix.true_peak_dbtp = Some(-0.9);
    assert!(!report.compliance().true_peak_compliant && report.compliance().loudness_compliant);
    report.mix.true_peak_dbtp = None;
    report.mix.integrated_lufs = Some(-16.56);
    assert!(!report.compliance().loudness_compliant && report.compliance().true_peak_compliant);
    report.mix.integrated_lufs = None;
    assert!(!report.compliance().is_compliant());
    let spread = report.balance_spread_lu().expect("two voices");
    assert_abs_diff_eq!(spread, 0.13, epsilon = 1e-9);
}
