//! The measuring program as users run it: page, data, drawing, settings file and refusals.

use crate::directory::{ProgramOutput, TestDirectory, program};
use serde_json::Value;
use std::fs;
use std::process::Command;
use voicechain_examples::settings_file;
use voicechain_examples::voice_page::data::SCHEMA;

fn run(directory: &TestDirectory, arguments: &[&str]) -> ProgramOutput {
    let mut command = Command::new(program("measure_voice"));
    command.args(arguments).current_dir(directory.path("."));
    command.output().expect("the program starts").into()
}

/// Asserts that the data follow the schema.
fn check(voice: &Value) {
    let schema: Value = serde_json::from_str(SCHEMA).expect("the schema is JSON");
    let (mut schemas, mut compiler) = (boon::Schemas::new(), boon::Compiler::new());
    compiler.add_resource("urn:voicechain:voice:1", schema).expect("a resource");
    let index = compiler.compile("urn:voicechain:voice:1", &mut schemas).expect("the schema is a schema");
    if let Err(error) = schemas.validate(voice, index) {
        panic!("{error:#}");
    }
}

fn json(ran: &ProgramOutput) -> Value {
    serde_json::from_str(&ran.out).expect("JSON")
}

#[test]
fn one_recording_gives_page_data_drawing_and_settings() {
    let directory = TestDirectory::new();
    directory.voice("anna.wav", 48_000, 12.0, 120.0);
    let page = run(&directory, &["anna.wav"]).done().out;
    for words in [
        "anna.wav",
        "48 kHz, mono, 12 s",
        "Level",
        "Background noise",
        "Tonal balance",
        "Proposed for a spoken voice alone",
        "Left off",
    ] {
        assert!(page.contains(words), "{words} is missing in:\n{page}");
    }
    assert!(page.lines().all(|line| line.chars().count() <= 100), "{page}");
    // A measurement appears once for all settings that follow from it.
    assert_eq!(page.matches("The 95th percentile of speech peaks after the trim is").count(), 1, "{page}");

    let arguments = ["anna.wav", "--json", "--settings", "anna.toml", "--svg", "anna.svg"];
    let first = run(&directory, &arguments).done();
    let voice = json(&first);
    check(&voice);
    assert_eq!(voice["format"], 1);
    // Every stage is either proposed or left off.
    let of = |list: &str, member: &str| -> Vec<String> {
        let list = voice["proposal"][list].as_array().expect("a list");
        list.iter()
            .map(|entry| entry[member].as_str().expect("a text").split('.').next().unwrap_or("").into())
            .collect()
    };
    let (proposed, left_off) = (of("evidence", "setting"), of("left_off", "stage"));
    for stage in ["hum", "high_pass", "de_reverb", "expander", "leveller", "corrective_eq", "de_esser", "compressor"] {
        let [proposed, left_off] = [&proposed, &left_off].map(|all| all.iter().any(|id| id == stage));
        assert!(proposed != left_off, "{stage}: {voice:#}");
    }
    // So is each of the two filters of the tone EQ.
    let tone_eq = |all: &[String]| all.iter().filter(|id| *id == "tone_eq").count();
    assert_eq!(tone_eq(&proposed) + tone_eq(&left_off), 2, "{voice:#}");
    let settings = settings_file::read(&directory.path("anna.toml")).expect("a settings file");
    assert_eq!(voice["proposal"]["settings"], serde_json::to_value(settings).expect("settings"));
    let drawing = fs::read_to_string(directory.path("anna.svg")).expect("a drawing");
    assert!(drawing.starts_with("<svg xmlns") && drawing.contains("prefers-color-scheme: dark"));
    // The same file gives the same bytes.
    let again = run(&directory, &[&arguments[..], &["--force"]].concat()).done();
    assert_eq!(first.out, again.out);
    assert_eq!(drawing, fs::read_to_string(directory.path("anna.svg")).expect("a drawing"));
}

#[test]
fn several_recordings_give_a_list_in_their_order() {
    let directory = TestDirectory::new();
    directory.voice("b.wav", 44_100, 4.0, 120.0);
    directory.voice("a.wav", 8_000, 4.0, 200.0);
    let ran = run(&directory, &["b.wav", "a.wav", "--json", "--over-music", "--sung"]).done();
    let all = json(&ran);
    let all = all.as_array().expect("a list");
    let files: Vec<&str> = all.iter().filter_map(|voice| voice["file"].as_str()).collect();
    assert_eq!(files, ["b.wav", "a.wav"]);
    for voice in all {
        check(voice);
        assert_eq!(voice["context"], serde_json::json!({ "role": "over_music", "vocal_style": "sung" }));
    }
}

#[test]
fn silence_and_short_recordings_get_no_proposal() {
    let directory = TestDirectory::new();
    directory.wav("silent.wav", 48_000, 2, &[0.0; 192_000]);
    directory.voice("short.wav", 48_000, 0.5, 120.0);
    for (file, signal_class) in [("silent.wav", "silence"), ("short.wav", "too_short")] {
        let voice = json(&run(&directory, &[file, "--json"]).done());
        check(&voice);
        assert_eq!(voice["signal_class"], signal_class);
        assert_eq!(voice["proposal"]["evidence"], serde_json::json!([]));
        assert_eq!(voice["proposal"]["left_off"], serde_json::json!([]));
        assert_eq!(voice["proposal"]["settings"]["compressor"]["on"], false);
        let known = voice["validity"]["pitch_hz"] == "known";
        assert_eq!(voice["pitch_hz"].is_null(), !known, "an unknown value must be null");
        let page = run(&directory, &[file]).done().out;
        assert!(page.contains("not available: ") && page.contains("Nothing: only the limiter is on"), "{page}");
    }
}

#[test]
fn invalid_requests_are_refused_and_leave_no_files() {
    let directory = TestDirectory::new();
    directory.voice("good.wav", 48_000, 3.0, 150.0);
    fs::write(directory.path("letter.wav"), "Dear Anna,\nthank you for the recording.\n".repeat(40)).expect("a file");
    let before = directory.names(".");
    let good = fs::read(directory.path("good.wav")).expect("a file");
    let cases: [(&[&str], &[&str]); 9] = [
        (&[], &["FILE", "--help"]),
        (&["nobody.wav"], &["nobody.wav", "no such file"]),
        (&["letter.wav"], &["letter.wav", "not an audio file"]),
        (&["good.wav", "letter.wav", "--json"], &["letter.wav"]),
        (&["good.wav", "good.wav", "--settings", "x.toml"], &["one recording"]),
        (&["good.wav", "--settings", "x", "--svg", "x"], &["the same file"]),
        (&["good.wav", "--svg", "good.wav", "--force"], &["good.wav", "overwritten"]),
        (&["good.wav", "--svg", "letter.wav"], &["letter.wav", "--force"]),
        (&["good.wav", "--svg", "no/where.svg"], &["where.svg", "folder does not exist"]),
    ];
    for (arguments, words) in cases {
        run(&directory, arguments).refused(words);
        assert_eq!(directory.names("."), before, "{arguments:?} left something behind");
    }
    assert_eq!(good, fs::read(directory.path("good.wav")).expect("a file"));
}

#[test]
fn the_synthetic_pitch_is_measured_and_the_settings_file_can_be_mixed_with() {
    let directory = TestDirectory::new();
    // The synthetic voice has harmonics up to 2.5 kHz.
    for (name, rate, pitch) in [("low.wav", 48_000, 130.0), ("high.wav", 44_100, 210.0)] {
        directory.voice(name, rate, 20.0, pitch);
        let voice = json(&run(&directory, &[name, "--json", "--settings", "p.toml", "--force"]).done());
        let median = voice["pitch_hz"]["median"].as_f64().expect("a pitch");
        assert!((median / pitch - 1.0).abs() < 0.03, "{median}");
    }
    directory.run(&["high.wav", "--settings", "p.toml"]).done();
}

/// Clips are written for one recording at a time, and only for resonance candidates.
#[test]
fn audition_clips_need_one_recording() {
    let directory = TestDirectory::new();
    directory.voice("anna.wav", 16_000, 6.0, 150.0);
    directory.voice("ben.wav", 16_000, 6.0, 110.0);
    run(&directory, &["anna.wav", "ben.wav", "--audition", "clips"]).refused(&["--audition", "one recording"]);
    assert!(!directory.path("clips").exists());
    let ran = run(&directory, &["anna.wav", "--audition", "clips"]).done();
    assert!(ran.out.contains("Clips to hear"), "{}", ran.out);
    let voice = json(&run(&directory, &["anna.wav", "--json"]).done());
    let candidates = voice["resonances"].as_array().map_or(0, Vec::len);
    let written = if directory.path("clips").exists() { directory.names("clips").len() } else { 0 };
    assert_eq!(written, 4 * candidates);
}
