//! Options of the mixing program, and conditions that cause only a warning.

use crate::directory::{TestDirectory, synthetic_voice};
use crate::measure::decode;
use crate::mix_interview::{check_delivery, number, report, results};
use serde_json::Value;
use std::fs;

/// All warnings of a report; those of voices start with the voice's name.
fn warnings(report: &Value) -> Vec<String> {
    let list = |value: &Value| -> Vec<String> {
        let all = value.as_array().expect("a list");
        all.iter().map(|w| w.as_str().expect("words").to_string()).collect()
    };
    let mut all = list(&report["warnings"]);
    for voice in report["voices"].as_array().expect("voices") {
        let name = voice["name"].as_str().expect("a name");
        all.extend(list(&voice["warnings"]).into_iter().map(|w| format!("{name}: {w}")));
    }
    all
}

#[test]
fn host_guest_and_plain_paths_can_be_combined() {
    let directory = TestDirectory::new();
    directory.voice("a.wav", 48_000, 4.0, 110.0);
    directory.voice("b.wav", 44_100, 4.0, 200.0);
    directory.voice("Étude 3 (final).wav", 48_000, 4.0, 150.0);
    let given = ["Étude 3 (final).wav", "--guest", "b.wav", "--host", "a.wav", "--out", "new/deep"];
    let ran = directory.run(&[&given[..], &["--starting-point", "spoken-close"]].concat()).done();
    let voices = ["host", "guest", "étude-3-final"];
    assert_eq!(directory.names("new/deep"), results(&voices));
    let report = check_delivery(&directory.path("new/deep"));
    let names: Vec<&Value> = report["voices"].as_array().expect("voices").iter().map(|v| &v["name"]).collect();
    assert_eq!(names, voices);
    assert_eq!(report["voices"][2]["file"], "Étude 3 (final).wav");
    assert_eq!(warnings(&report), [""; 0]);
    assert!(ran.out.contains("new/deep"), "{}", ran.out);
}

#[test]
fn equal_file_names_are_numbered() {
    let directory = TestDirectory::new();
    fs::create_dir(directory.path("monday")).expect("a folder");
    fs::create_dir(directory.path("friday")).expect("a folder");
    directory.voice("monday/take.wav", 48_000, 3.0, 110.0);
    directory.voice("friday/take.wav", 48_000, 3.0, 200.0);
    directory.run(&["monday/take.wav", "friday/take.wav"]).done();
    assert_eq!(directory.names("mixed"), results(&["take", "take-2"]));
}

#[test]
fn targets_set_loudness_and_ceiling_and_explicit_options_override_them() {
    let directory = TestDirectory::new();
    directory.voice("anna.wav", 48_000, 4.0, 210.0);
    // EBU R 128 (2023), ATSC A/85:2013, AES77-2023 for speech.
    let cases: [(&[&str], f64, f64); 6] = [
        (&["--target", "ebu-r128"], -23.0, -1.0),
        (&["--target", "atsc-a85"], -24.0, -2.0),
        (&["--target", "aes77-speech"], -18.0, -1.0),
        (&["--target", "ebu-r128", "--loudness", "-20"], -20.0, -1.0),
        (&["--target", "atsc-a85", "--ceiling=-3"], -24.0, -3.0),
        (&["--loudness", "-14.5", "--ceiling", "-6"], -14.5, -6.0),
    ];
    for (options, loudness, ceiling) in cases {
        directory.run(&[&["anna.wav"], options].concat()).done();
        let report = check_delivery(&directory.path("mixed"));
        assert_eq!(number(&report, "/target/integrated_lufs"), loudness, "{options:?}");
        assert_eq!(number(&report, "/target/ceiling_dbtp"), ceiling, "{options:?}");
        assert_eq!(report["target"]["document"].is_string(), options[0] == "--target" && options.len() == 2);
    }
}

#[test]
fn output_has_the_requested_format_and_rate() {
    let directory = TestDirectory::new();
    directory.voice("anna.wav", 48_000, 3.0, 210.0);
    for (format, bits, float) in [("16", 16, false), ("24", 24, false), ("float", 32, true)] {
        for rate in [44_100, 48_000] {
            directory.run(&["anna.wav", "--format", format, "--rate", &rate.to_string()]).done();
            check_delivery(&directory.path("mixed"));
            for name in ["mix", "voice-anna"] {
                let decoded = decode(&directory.path(&format!("mixed/{name}.wav")));
                assert_eq!((decoded.bits, decoded.float, decoded.rate_hz), (bits, float, rate));
            }
        }
    }
}

#[test]
fn starting_points_have_different_settings() {
    let directory = TestDirectory::new();
    directory.voice("anna.wav", 48_000, 3.0, 210.0);
    let mut seen: Vec<String> = Vec::new();
    for start in ["spoken-close", "spoken-live-room", "remote-call", "sung-alone", "sung-in-mix"] {
        directory.run(&["anna.wav", "--starting-point", start]).done();
        check_delivery(&directory.path("mixed"));
        let settings = fs::read_to_string(directory.path("mixed/settings-anna.toml")).expect("settings");
        assert!(!seen.contains(&settings), "{start} equals another starting point");
        seen.push(settings);
    }
}

#[test]
fn rates_channels_and_lengths_may_differ_with_a_warning() {
    let directory = TestDirectory::new();
    directory.voice("telephone.wav", 8_000, 9.0, 130.0);
    directory.voice("old.wav", 22_050, 5.0, 140.0);
    let stereo: Vec<f64> = (0..5 * 44_100)
        .flat_map(|n| {
            let seconds = f64::from(n) / 44_100.0;
            [synthetic_voice(seconds, 180.0), 0.7 * synthetic_voice(seconds, 180.0)]
        })
        .collect();
    directory.wav("disc.wav", 44_100, 2, &stereo);
    directory.voice("fine.wav", 96_000, 5.0, 100.0);
    directory.voice("finer.wav", 192_000, 4.0, 230.0);
    let files = ["telephone.wav", "old.wav", "disc.wav", "fine.wav", "finer.wav"];
    let ran = directory.run(&[&files[..], &["--starting-point", "spoken-close"]].concat()).done();
    let report = check_delivery(&directory.path("mixed"));
    let all = warnings(&report);
    assert!(all.iter().any(|w| w.starts_with("telephone: ") && w.contains("8000 Hz")), "{all:?}");
    assert!(all.iter().any(|w| w.starts_with("old: ") && w.contains("22050 Hz")), "{all:?}");
    assert!(all.iter().any(|w| w.contains("different lengths") && w.contains("telephone")), "{all:?}");
    assert_eq!(all.len(), 3, "{all:?}");
    assert_eq!(ran.out.matches("warning: ").count(), 3, "{}", ran.out);
    assert_eq!(number(&report, "/mix/duration_s"), 9.0);
    let channels: Vec<u16> = ["telephone", "old", "disc", "fine", "finer"]
        .map(|name| decode(&directory.path(&format!("mixed/voice-{name}.wav"))).channels)
        .to_vec();
    assert_eq!(channels, [1, 1, 2, 1, 1]);
}

#[test]
fn a_clipped_recording_causes_one_warning() {
    let directory = TestDirectory::new();
    let samples: Vec<f64> =
        (0..4 * 48_000).map(|n| (6.0 * synthetic_voice(f64::from(n) / 48_000.0, 110.0)).clamp(-1.0, 1.0)).collect();
    directory.wav("loud.wav", 48_000, 1, &samples);
    let ran = directory.run(&["loud.wav"]).done();
    assert!(ran.out.contains("warning: loud: clipped"), "{}", ran.out);
    let all = warnings(&report(&directory.path("mixed")));
    // Once, although both the file and the profile report it.
    assert_eq!(all.iter().filter(|w| w.contains("clipped")).count(), 1, "{all:?}");
}

#[test]
fn help_lists_every_option_and_writes_no_files() {
    let directory = TestDirectory::new();
    let help = directory.run(&["--help"]).done().out;
    for option in [
        "--host",
        "--guest",
        "--out",
        "--force",
        "--target",
        "--loudness",
        "--ceiling",
        "--rate",
        "--format",
        "--starting-point",
        "--settings",
        "--host-settings",
        "--over-music",
        "--sung",
        "Exit codes: 0",
    ] {
        assert!(help.contains(option), "{option} is missing");
    }
    assert_eq!(directory.names("."), [""; 0]);
}
