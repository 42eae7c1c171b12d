//! Measuring a voice from the command line: data that follow their schema, settings that the main job takes, and honesty
//! about what is no voice.

use crate::place::{Place, Ran, program};
use serde_json::Value;
use std::fs;
use std::process::Command;

fn measure_voice(place: &Place, arguments: &[&str]) -> Ran {
    let mut command = Command::new(program("measure_voice"));
    command.args(arguments).current_dir(place.path(""));
    command.output().expect("the program starts").into()
}

fn check_schema(voice: &Value) {
    let file = concat!(env!("CARGO_MANIFEST_DIR"), "/../examples/src/voice_page/schema.json");
    let schema: Value = serde_json::from_str(&fs::read_to_string(file).expect("the schema")).expect("JSON");
    let mut compiler = boon::Compiler::new();
    compiler.add_resource("voice.json", schema).expect("a schema");
    let mut schemas = boon::Schemas::new();
    let index = compiler.compile("voice.json", &mut schemas).expect("a valid schema");
    if let Err(error) = schemas.validate(voice, index) {
        panic!("the data do not follow the schema: {error:#}");
    }
}

#[test]
fn a_voice_is_measured_and_its_proposal_is_settings_for_the_job() {
    let place = Place::new();
    place.voice("v.wav", 48_000, 20.0, 130.0);
    let ran = measure_voice(&place, &["v.wav", "--json", "--settings", "p.toml", "--svg", "p.svg"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    let voice: Value = serde_json::from_str(&ran.out).expect("JSON");
    check_schema(&voice);
    assert_eq!(voice["format"], 1);
    // The murmur has harmonics of 130 Hz up to 2.5 kHz.
    let pitch = voice["pitch_hz"]["median"].as_f64().expect("a pitch");
    assert!((pitch / 130.0 - 1.0).abs() < 0.03, "{pitch}");
    assert!(voice["resonances"].is_null() || voice["resonances"].is_array());
    assert!(fs::read_to_string(place.path("p.svg")).expect("a drawing").contains("</svg>"));
    // What exists stays.
    let again = measure_voice(&place, &["v.wav", "--settings", "p.toml"]);
    assert_eq!(again.code, Some(2));
    // The same recording measured again, beside another: a list, and the same numbers.
    place.voice("w.wav", 44_100, 12.0, 210.0);
    let both = measure_voice(&place, &["v.wav", "w.wav", "--json"]);
    let both: Value = serde_json::from_str(&both.out).expect("JSON");
    assert_eq!(both[0], voice);
    let pitch = both[1]["pitch_hz"]["median"].as_f64().expect("a pitch");
    assert!((pitch / 210.0 - 1.0).abs() < 0.03, "{pitch}");
    // The main job takes the proposal.
    let mixed = place.run(&["v.wav", "--settings", "p.toml", "--out", "mixed"]);
    assert_eq!(mixed.code, Some(0), "{}", mixed.err);
    assert!(place.path("mixed/mix.wav").is_file());
}

#[test]
fn silence_is_said_and_nothing_is_proposed() {
    let place = Place::new();
    place.wav("silence.wav", 48_000, 1, &[0.0; 480_000]);
    let ran = measure_voice(&place, &["silence.wav", "--json"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    let silence: Value = serde_json::from_str(&ran.out).expect("JSON");
    check_schema(&silence);
    assert!(silence["pitch_hz"].is_null() && silence["active_level_dbov"].is_null());
    assert_eq!(silence["proposal"]["evidence"].as_array().map(Vec::len), Some(0));
    assert!(measure_voice(&place, &["silence.wav"]).out.contains("Silence"));
}

#[test]
fn what_is_no_recording_is_refused() {
    let place = Place::new();
    fs::write(place.path("text.wav"), "no sound at all, only words").expect("space");
    measure_voice(&place, &["text.wav"]).refused(&["text.wav"]);
    measure_voice(&place, &["missing.wav"]).refused(&["missing.wav"]);
}
