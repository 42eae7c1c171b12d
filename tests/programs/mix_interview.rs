//! The mixing program from end to end, checked on the written files.

use crate::directory::{TestDirectory, speech, synthetic_voice};
use crate::measure::{DecodedWav, decode};
use serde_json::Value;
use std::fs;
use std::path::Path;
use voicechain_core::propose::carry_over;
use voicechain_examples::interview::{Job, Recording, SettingsSource, run};
use voicechain_examples::progress::NoProgress;
use voicechain_examples::settings_file;
use voicechain_examples::wav_file::WavFormat;

/// Settings in which every stage but the trims is off.
pub(crate) const ALL_OFF: &str = "format = 1\n[high_pass]\non = false\n[corrective_eq]\non = false\n[de_esser]\non = false\n\
                                  [compressor]\non = false\n[tone_eq]\non = false\n[limiter]\non = false\n";

pub(crate) fn report(folder: &Path) -> Value {
    let text = fs::read_to_string(folder.join("report.json")).expect("a report");
    serde_json::from_str(&text).expect("JSON")
}

/// A number in the report, by JSON pointer.
pub(crate) fn number(report: &Value, pointer: &str) -> f64 {
    let value = report.pointer(pointer).unwrap_or_else(|| panic!("{pointer} is missing"));
    value.as_f64().unwrap_or_else(|| panic!("{pointer} is {value}"))
}

pub(crate) fn check_schema(report: &Value) {
    let file = concat!(env!("CARGO_MANIFEST_DIR"), "/../examples/src/report/schema.json");
    let schema: Value = serde_json::from_str(&fs::read_to_string(file).expect("the schema")).expect("JSON");
    let mut compiler = boon::Compiler::new();
    compiler.add_resource("report.json", schema).expect("a schema");
    let mut schemas = boon::Schemas::new();
    let index = compiler.compile("report.json", &mut schemas).expect("a valid schema");
    if let Err(error) = schemas.validate(report, index) {
        panic!("the report does not follow the schema: {error:#}");
    }
}

/// Checks what the schema cannot express.
fn check_keys(report: &Value, voices: usize) {
    assert_eq!(report["format"], 1);
    assert_eq!(report["voices"].as_array().map(Vec::len), Some(voices));
    let levels = ["integrated_lufs", "loudness_range_lu", "true_peak_dbtp", "sample_peak_dbfs"];
    for voice in 0..voices {
        let at = format!("/voices/{voice}");
        for key in ["name", "file"] {
            assert!(report.pointer(&format!("{at}/{key}")).is_some_and(Value::is_string), "{at}/{key}");
        }
        for side in ["input", "output"] {
            levels.iter().for_each(|key| assert!(number(report, &format!("{at}/{side}/{key}")).is_finite()));
        }
        for stage in ["de_reverb", "expander", "leveller", "de_esser", "compressor", "limiter"] {
            let of = |key: &str| number(report, &format!("{at}/gain_reduction/{stage}/{key}"));
            let (median, p95, max) = (of("median_db"), of("p95_db"), of("max_db"));
            assert!(0.0 <= median && median <= p95 && p95 <= max, "{stage}: {median}, {p95}, {max}");
        }
        check_ledger(report, voice);
    }
    for key in ["integrated_lufs", "loudness_range_lu", "true_peak_dbtp", "sample_rate_hz", "bits", "duration_s"] {
        number(report, &format!("/mix/{key}"));
    }
    for pointer in ["/target/integrated_lufs", "/target/ceiling_dbtp", "/timing/programme_s", "/timing/processing_s"] {
        number(report, pointer);
    }
}

/// All stages are in the ledger. With the changes beside it, it sums exactly to output minus input. The ledger is gated
/// by the input, the loudness of the output by its own blocks: both agree only approximately.
fn check_ledger(report: &Value, voice: usize) {
    let entries = |key: &str| -> Vec<(String, f64)> {
        let list = report.pointer(&format!("/voices/{voice}/{key}")).and_then(Value::as_array).expect("a list");
        let name = |entry: &Value| entry.get("stage").or(entry.get("reason")).and_then(Value::as_str).map(String::from);
        list.iter().map(|e| (name(e).expect("a name"), e["lu"].as_f64().expect("a number"))).collect()
    };
    let (stages, beside) = (entries("ledger"), entries("beside_ledger"));
    let expected: Vec<&str> = voicechain_core::settings::StageId::ALL.iter().map(|stage| stage.id()).collect();
    assert_eq!(stages.iter().map(|(stage, _)| stage.as_str()).collect::<Vec<_>>(), expected);
    let of = |key: &str| number(report, &format!("/voices/{voice}/{key}"));
    let change = |reason: &str| beside.iter().find(|(of, _)| of == reason).map(|(_, lu)| *lu);
    assert_eq!(change("balance"), Some(of("balance_gain_db")));
    let two = (of("channels") == 1.0).then_some((1_000.0 * 2f64.log10()).round() / 100.0);
    assert_eq!(change("two_channels"), two);
    let gating = change("gating").expect("gating");
    assert!(gating.abs() < 1.5, "gating changes the loudness by {gating:.2} LU");
    let sum: f64 = stages.iter().chain(&beside).map(|(_, lu)| lu).sum();
    let total = of("output/integrated_lufs") - of("input/integrated_lufs");
    assert!((sum - total).abs() < 1e-6, "the entries sum to {sum:.2} LU, the loudness changed by {total:.2} LU");
}

/// Measures the delivered files again and compares them with the report.
pub(crate) fn check_delivery(folder: &Path) -> Value {
    let report = report(folder);
    let of = |pointer: &str| number(&report, pointer);
    let mix = decode(&folder.join("mix.wav"));
    let levels = mix.levels();
    assert_eq!(f64::from(mix.rate_hz), of("/mix/sample_rate_hz"));
    assert_eq!(f64::from(mix.bits), of("/mix/bits"));
    assert_eq!(mix.channels, 2);
    assert!((mix.frames() as f64 / f64::from(mix.rate_hz) - of("/mix/duration_s")).abs() < 0.001);
    // On target within 0.1 LU; the report agrees with the independent meter within 0.02.
    assert!((levels.integrated_lufs - of("/target/integrated_lufs")).abs() < 0.1, "{levels:?}");
    assert!((levels.integrated_lufs - of("/mix/integrated_lufs")).abs() < 0.02, "{levels:?}");
    // The meters read short-term loudness ten times and once a second: the percentiles differ for recordings of a few
    // seconds, and hardly for a minute.
    if of("/mix/duration_s") > 30.0 {
        assert!((levels.range_lu - of("/mix/loudness_range_lu")).abs() < 0.3, "{levels:?}");
    }
    assert!((levels.sample_peak_dbfs - of("/mix/sample_peak_dbfs")).abs() < 0.02, "{levels:?}");
    // The independent meter has another interpolation filter: within 0.2 dB (BS.1770 allows 0.4 at four-fold).
    assert!((levels.true_peak_dbtp - of("/mix/true_peak_dbtp")).abs() < 0.2, "{levels:?}");
    assert!(levels.true_peak_dbtp <= of("/target/ceiling_dbtp"), "{levels:?}");
    let count = report["voices"].as_array().map_or(0, Vec::len);
    let mut loudness = Vec::new();
    for voice in 0..count {
        let name = report["voices"][voice]["name"].as_str().expect("a name");
        let decoded = decode(&folder.join(format!("voice-{name}.wav")));
        assert_eq!((decoded.rate_hz, decoded.bits), (mix.rate_hz, mix.bits));
        let levels = decoded.levels_in_stereo();
        let reported = of(&format!("/voices/{voice}/output/integrated_lufs"));
        assert!((levels.integrated_lufs - reported).abs() < 0.05, "{name}: {levels:?}, reported {reported}");
        let peak = of(&format!("/voices/{voice}/output/true_peak_dbtp"));
        assert!((levels.true_peak_dbtp - peak).abs() < 0.2, "{name}: {levels:?}, reported {peak}");
        loudness.push(levels.integrated_lufs);
    }
    let spread = loudness.iter().copied().fold(f64::MIN, f64::max) - loudness.iter().copied().fold(f64::MAX, f64::min);
    assert!(spread < 0.3, "voices are {spread:.2} LU apart: {loudness:?}");
    check_schema(&report);
    check_keys(&report, count);
    report
}

/// The page is self-contained, small enough, and shows these voices.
fn check_page(folder: &Path, voices: &[&str]) {
    let page = fs::read_to_string(folder.join("report.html")).expect("a page");
    assert!(page.len() < 15_000_000, "{} bytes", page.len());
    assert!(page.starts_with("<!doctype html>") || page.starts_with("<!DOCTYPE html>"));
    for outside in ["http://", "https://", "//cdn", "@import", "<link", "<iframe", "srcset", "fetch(", "XMLHttp"] {
        assert!(!page.contains(outside), "the page refers to an outside resource: {outside}");
    }
    for (attribute, inside) in [("src=\"", "data:"), ("href=\"", "#"), ("url(", "#")] {
        for (at, _) in page.match_indices(attribute) {
            let rest = &page[at + attribute.len()..];
            let value: String = rest.chars().take(30).collect();
            let inside = value.starts_with(inside) || value.starts_with("data:");
            assert!(inside, "the page refers to an outside resource: {attribute}{value}");
        }
    }
    voices.iter().for_each(|name| assert!(page.contains(name), "{name} is not on the page"));
    // A player before and after for every voice, and one for the mix.
    assert_eq!(page.matches("<audio").count(), 2 * voices.len() + 1);
    assert!(page.matches("<svg").count() > voices.len());
}

/// Names of the written files, sorted.
pub(crate) fn results(voices: &[&str]) -> Vec<String> {
    let mut names = vec!["mix.wav".into(), "report.html".into(), "report.json".into()];
    for voice in voices {
        names.extend([format!("voice-{voice}.wav"), format!("settings-{voice}.toml")]);
    }
    names.sort();
    names
}

#[test]
fn the_demo_delivers_an_interview_and_is_repeatable() {
    let directory = TestDirectory::new();
    let ran = directory.run(&[]).done();
    for word in ["host", "guest", "Mix", "Target", "mixed"] {
        assert!(ran.out.contains(word), "'{word}' is missing in the table:\n{}", ran.out);
    }
    assert!(ran.out.lines().all(|line| line.chars().count() <= 100));
    assert_eq!(directory.names("mixed"), results(&["guest", "host"]));
    let folder = directory.path("mixed");
    let report = check_delivery(&folder);
    // The report names the added faults.
    assert!(report["demo"]["faults"].as_array().is_some_and(|faults| faults.len() >= 4));
    // Defaults of the delivery.
    for (pointer, value) in [
        ("/target/integrated_lufs", -16.0),
        ("/target/ceiling_dbtp", -1.0),
        ("/mix/sample_rate_hz", 48_000.0),
        ("/mix/bits", 24.0),
    ] {
        assert_eq!(number(&report, pointer), value, "{pointer}");
    }
    check_page(&folder, &["host", "guest"]);

    // A second run replaces its own files and writes the same bytes.
    let before = ["mix.wav", "voice-host.wav", "voice-guest.wav", "settings-host.toml"]
        .map(|name| (name, fs::read(folder.join(name)).expect("a result")));
    directory.run(&[]).done();
    for (name, bytes) in before {
        assert!(bytes == fs::read(folder.join(name)).expect("a result"), "{name} differs from the first run");
    }
    assert_eq!(directory.names("mixed"), results(&["guest", "host"]));
}

#[test]
fn written_settings_reproduce_the_mix() {
    let directory = TestDirectory::new();
    directory.voice("anna.wav", 48_000, 4.0, 210.0);
    directory.run(&["anna.wav"]).done();
    let text = fs::read_to_string(directory.path("mixed/settings-anna.toml")).expect("settings");
    assert!(text.starts_with("format = 1\n"), "{text}");
    let mix = fs::read(directory.path("mixed/mix.wav")).expect("a mix");
    directory.run(&["anna.wav", "--settings", "mixed/settings-anna.toml", "--out", "again"]).done();
    assert!(mix == fs::read(directory.path("again/mix.wav")).expect("a mix"), "the same settings make the same mix");
    assert_eq!(text, fs::read_to_string(directory.path("again/settings-anna.toml")).expect("settings"));
}

#[test]
fn the_ledger_follows_the_order_of_stages() {
    let directory = TestDirectory::new();
    directory.voice("anna.wav", 48_000, 4.0, 210.0);
    // Every reorderable stage changes the level, so that a row in the wrong place leaves the path.
    let settings = "format = 1\norder = [\"tone_eq\", \"compressor\", \"de_esser\", \"corrective_eq\"]\n\
                    [corrective_eq]\nlevel_compensation = false\nbell_2_gain_db = -12.0\n\
                    [tone_eq]\nlevel_compensation = false\nlow_shelf_frequency_hz = 500.0\nlow_shelf_gain_db = 9.0\n\
                    [compressor]\nthreshold_db = -50.0\n";
    fs::write(directory.path("order.toml"), settings).expect("settings");
    directory.run(&["anna.wav", "--settings", "order.toml"]).done();
    let report = report(&directory.path("mixed"));
    let ledger = report["voices"][0]["ledger"].as_array().expect("a ledger");
    let stages: Vec<&str> = ledger.iter().map(|entry| entry["stage"].as_str().expect("a stage")).collect();
    let expected = [
        ["trim", "hum", "high_pass", "de_reverb", "expander", "leveller"],
        ["tone_eq", "compressor", "de_esser", "corrective_eq", "limiter", "output"],
    ];
    assert_eq!(stages, expected.concat());

    // On the page, the mark of each row lies at the sum of the rows up to it.
    let page = fs::read_to_string(directory.path("mixed/report.html")).expect("a page");
    let marks: Vec<f64> = page
        .split("class=\"picture path\"><svg")
        .skip(1)
        .map(|cell| {
            let mark = cell.split_once("class=\"here\" d=\"M").expect("a mark").1;
            mark.split_once(' ').expect("a coordinate").0.parse().expect("a number")
        })
        .collect();
    let changes: Vec<f64> = ledger.iter().map(|entry| entry["lu"].as_f64().expect("a number")).collect();
    assert!(changes[6] > 2.0 && changes[7] < -2.0 && changes[9] < -2.0, "{changes:?}");
    let sums: Vec<f64> = (1..=changes.len()).map(|rows| changes[..rows].iter().sum()).collect();
    let (low, high) = (sums.iter().copied().fold(0.0, f64::min), sums.iter().copied().fold(0.0, f64::max));
    assert_eq!(marks.len(), sums.len());
    for (mark, sum) in marks.iter().zip(&sums) {
        let expected = marks[0] + (sum - sums[0]) / (high - low) * 136.0;
        assert!((mark - expected).abs() < 1.0, "{marks:?} for {sums:?}");
    }
}

#[test]
fn a_new_run_removes_stale_results_and_keeps_other_files() {
    let directory = TestDirectory::new();
    directory.voice("anna.wav", 48_000, 3.0, 210.0);
    directory.voice("ben.wav", 48_000, 3.0, 110.0);
    directory.run(&["anna.wav", "ben.wav"]).done();
    assert_eq!(directory.names("mixed"), results(&["anna", "ben"]));
    fs::write(directory.path("mixed/notes.txt"), "mine").expect("a note");
    directory.run(&["ben.wav"]).done();
    let mut expected = results(&["ben"]);
    expected.push("notes.txt".into());
    expected.sort();
    assert_eq!(directory.names("mixed"), expected);
}

#[test]
fn an_input_is_never_overwritten_by_its_own_run() {
    let directory = TestDirectory::new();
    directory.voice("anna.wav", 48_000, 3.0, 210.0);
    directory.run(&["--host", "anna.wav"]).done();
    let voice = fs::read(directory.path("mixed/voice-host.wav")).expect("a voice");
    directory.run(&["--host", "mixed/voice-host.wav"]).refused(&["voice-host.wav", "overwritten", "--out"]);
    directory.run(&["--host", "mixed/voice-host.wav", "--force"]).refused(&["voice-host.wav", "overwritten"]);
    directory.run(&["--guest", "mixed/voice-host.wav"]).done();
    assert!(voice == fs::read(directory.path("mixed/voice-host.wav")).expect("the voice"));
}

#[test]
fn foreign_files_are_overwritten_only_by_force() {
    let directory = TestDirectory::new();
    directory.voice("anna.wav", 48_000, 3.0, 210.0);
    for name in ["mix.wav", "voice-anna.wav", "settings-anna.toml", "report.html", "report.json"] {
        fs::create_dir_all(directory.path("mixed")).expect("a folder");
        fs::write(directory.path("mixed").join(name), "mine").expect("a file");
        directory.run(&["anna.wav"]).refused(&[name, "not from an earlier run", "--out", "--force"]);
        assert_eq!(directory.names("mixed"), [name]);
        assert_eq!(fs::read_to_string(directory.path("mixed").join(name)).expect("a file"), "mine");
        if name != "report.html" {
            fs::remove_dir_all(directory.path("mixed")).expect("removed");
            continue;
        }
        directory.run(&["anna.wav", "--force"]).done();
        assert_eq!(directory.names("mixed"), results(&["anna"]));
        check_delivery(&directory.path("mixed"));
        fs::remove_dir_all(directory.path("mixed")).expect("removed");
    }
    // Not even --force replaces a folder.
    fs::create_dir_all(directory.path("mixed/mix.wav")).expect("a folder");
    directory.run(&["anna.wav", "--force"]).refused(&["mix.wav", "folder"]);
}

/// Least-squares gain of `actual` against `wanted`, and the largest deviation from it relative to the peak.
fn fit(actual: &[f64], wanted: &[f64]) -> (f64, f64) {
    let power: f64 = wanted.iter().map(|w| w * w).sum();
    let gain = actual.iter().zip(wanted).map(|(h, w)| h * w).sum::<f64>() / power;
    let off = actual.iter().zip(wanted).map(|(h, w)| (h - gain * w).abs()).fold(0.0, f64::max);
    let peak = wanted.iter().fold(0.0f64, |peak, w| peak.max(w.abs())) * gain.abs();
    (gain, off / peak)
}

#[test]
fn voices_are_sample_aligned_with_their_recordings_at_every_rate() {
    let cases: [(u32, u32, f64); 7] = [
        (48_000, 48_000, 3.000_25),
        (44_100, 48_000, 3.1),
        (48_000, 44_100, 3.000_25),
        (8_000, 48_000, 3.000_125),
        (22_050, 44_100, 3.2),
        (96_000, 48_000, 3.000_25),
        (192_000, 44_100, 3.1),
    ];
    for (from, to, seconds) in cases {
        let directory = TestDirectory::new();
        let path = directory.voice("anna.wav", from, seconds, 170.0);
        let frames_in = (seconds * f64::from(from)).round();
        let mut job = Job::new(vec![Recording { name: "anna".into(), path }], directory.path("out"));
        job.settings_source = SettingsSource::Given {
            settings: settings_file::from_text(ALL_OFF).expect("settings"),
            from: "a test".into(),
        };
        job.delivery.rate_hz = to;
        job.delivery.format = WavFormat::Float32;
        run(&job, &mut NoProgress).expect("the job is done");
        let decoded = decode(&directory.path("out/voice-anna.wav"));
        assert_eq!(decoded.frames() as f64, (frames_in * f64::from(to) / f64::from(from)).round(), "{from} to {to}");
        // The voice is a function of continuous time, so the exact output is known: it agrees within 60 dB, and a shift
        // by one sample deviates far more. The ends are left out, where the resampler reaches over the edge of the
        // recording.
        let expected = |shift: f64| -> Vec<f64> {
            (0..decoded.frames()).map(|n| speech((n as f64 + shift) / f64::from(to), 170.0)).collect()
        };
        let inner = 600..decoded.frames() - 600;
        let decoded = decoded.channel(0);
        let (gain, off) = fit(&decoded[inner.clone()], &expected(0.0)[inner.clone()]);
        assert!(gain > 0.0 && off < 0.001, "{from} to {to}: {off}");
        for shift in [-1.0, 1.0] {
            let (_, shifted) = fit(&decoded[inner.clone()], &expected(shift)[inner.clone()]);
            assert!(shifted > 20.0 * off && shifted > 0.01, "{from} to {to}: {shifted} against {off}");
        }
    }
}

#[test]
fn a_click_keeps_its_position_through_the_strip() {
    let directory = TestDirectory::new();
    let rate = 48_000;
    let mut samples: Vec<f64> =
        (0..4 * rate).map(|n| 0.5 * synthetic_voice(n as f64 / f64::from(rate), 120.0)).collect();
    let at = 2 * rate as usize + 17;
    samples[at] = 0.9;
    directory.wav("anna.wav", rate, 1, &samples);
    directory.run(&["anna.wav", "--format", "float"]).done();
    let voice: Vec<f64> = decode(&directory.path("mixed/voice-anna.wav")).channel(0);
    // The steepest rise is at the click; high-pass and equalisers shift phase, but nothing comes early.
    let steepest =
        (1..voice.len()).max_by(|a, b| (voice[*a] - voice[a - 1]).abs().total_cmp(&(voice[*b] - voice[b - 1]).abs()));
    let steepest = steepest.expect("samples");
    assert!(steepest == at || steepest == at + 1, "the click is at {steepest} instead of {at}");
    assert_eq!(voice.len(), samples.len());
}

#[test]
fn the_mix_is_the_sum_of_its_voices() {
    let directory = TestDirectory::new();
    directory.voice("anna.wav", 48_000, 4.0, 210.0);
    // Stereo with two different channels.
    let other: Vec<f64> = (0..3 * 48_000)
        .flat_map(|n| {
            let seconds = f64::from(n) / 48_000.0;
            [0.6 * synthetic_voice(seconds, 95.0), 0.3 * synthetic_voice(seconds + 0.2, 95.0)]
        })
        .collect();
    directory.wav("ben.wav", 48_000, 2, &other);
    // Too quiet for the programme limiter to act.
    let quiet = ["anna.wav", "ben.wav", "--format", "float", "--loudness", "-30"];
    directory.run(&quiet).done();
    let report = check_delivery(&directory.path("mixed"));
    assert_eq!(number(&report, "/mix/limiter/max_db"), 0.0);
    let [mix, anna, ben] =
        ["mix", "voice-anna", "voice-ben"].map(|n| decode(&directory.path(&format!("mixed/{n}.wav"))));
    assert_eq!((anna.channels, ben.channels), (1, 2));
    let gain = 10f64.powf(number(&report, "/mix/programme_gain_db") / 20.0);
    let at = |file: &DecodedWav, channel: usize, frame: usize| {
        let channels = usize::from(file.channels);
        file.samples.get(frame * channels + channel.min(channels - 1)).map_or(0.0, |s| f64::from(*s))
    };
    for frame in 0..mix.frames() {
        for channel in 0..2 {
            let sum = gain * (at(&anna, channel, frame) + at(&ben, channel, frame));
            let mixed = at(&mix, channel, frame);
            assert!((mixed - sum).abs() < 2e-4 * gain.max(1.0), "frame {frame}: {mixed} instead of {sum}");
        }
    }
}

/// Writes a voice long enough for a proposal: 14 s.
fn long(directory: &TestDirectory, name: &str, pitch_hz: f64, gain_db: f64, sides: &[f64]) {
    let gain = 10f64.powf(gain_db / 20.0);
    let samples: Vec<f64> = (0..14 * 48_000)
        .flat_map(|n| {
            let sample = gain * speech(f64::from(n) / 48_000.0, pitch_hz);
            sides.iter().map(move |side| side * sample)
        })
        .collect();
    directory.wav(name, 48_000, sides.len() as u16, &samples);
}

#[test]
fn voices_12_db_apart_are_delivered_equally_loud_in_mono_and_stereo() {
    let directory = TestDirectory::new();
    long(&directory, "mono.wav", 130.0, 0.0, &[1.0]);
    long(&directory, "both.wav", 130.0, -12.0, &[1.0, 1.0]);
    long(&directory, "side.wav", 130.0, -6.0, &[1.0, 0.0]);
    long(&directory, "other.wav", 210.0, -12.0, &[1.0]);
    directory.run(&["mono.wav", "both.wav", "side.wav", "other.wav"]).done();
    // Delivered within 0.3 LU, by an independent meter.
    let report = check_delivery(&directory.path("mixed"));
    let of = |voice: usize, key: &str| number(&report, &format!("/voices/{voice}/{key}"));
    assert!(of(0, "input/integrated_lufs") - of(1, "input/integrated_lufs") > 8.0);
    // The strips' outputs already agree, before the balance.
    let behind = [0, 1, 2].map(|voice| of(voice, "output/integrated_lufs") - of(voice, "balance_gain_db"));
    assert!((behind[1] - behind[0]).abs() < 0.3, "{behind:?}");
    // In one channel alone, the compressor is driven by other peaks.
    assert!((behind[2] - behind[0]).abs() < 1.5, "{behind:?}");
}

#[test]
fn without_settings_each_voice_gets_its_own_proposal_with_reasons() {
    let directory = TestDirectory::new();
    long(&directory, "anna.wav", 210.0, 0.0, &[1.0]);
    long(&directory, "ben.wav", 110.0, -9.0, &[1.0]);
    let short: Vec<f64> = (0..3 * 48_000)
        .map(|n| if n < 57_600 { synthetic_voice(f64::from(n) / 48_000.0, 150.0) } else { 0.0 })
        .collect();
    directory.wav("hm.wav", 48_000, 1, &short);
    let ran = directory.run(&["anna.wav", "ben.wav", "hm.wav"]).done();
    let report = check_delivery(&directory.path("mixed"));
    let mut seen = Vec::new();
    for voice in report["voices"].as_array().expect("voices") {
        for reason in voice["evidence"].as_array().expect("evidence") {
            let sentence = reason["sentence"].as_str().expect("a sentence");
            assert!(sentence.ends_with('.') && !sentence.contains("NaN") && !sentence.contains("-0"), "{sentence}");
            seen.push((voice["name"].clone(), sentence.to_owned()));
        }
    }
    // Each reason appears once and refers to this voice by its loudness.
    for (k, one) in seen.iter().enumerate() {
        assert!(!seen[..k].contains(one), "twice: {one:?}");
    }
    let loudness =
        |name: &str| seen.iter().find(|(of, s)| of == name && s.starts_with("The integrated loudness")).map(|x| &x.1);
    let both = [loudness("anna"), loudness("ben")];
    assert!(both.iter().all(Option::is_some) && both[0] != both[1], "{seen:?}");
    // One second of speech gets only a trim.
    assert_eq!(report["voices"][2]["evidence"], serde_json::json!([]));
    let short = settings_file::read(&directory.path("mixed/settings-hm.toml")).expect("settings");
    assert!(!short.compressor.on && !short.de_esser.on && !short.high_pass.on && short.trim.gain_db != 0.0);
    for words in ["The integrated loudness", "too short to be judged", "proposed from the measurement"] {
        assert!(ran.out.contains(words), "'{words}' is missing in:\n{}", ran.out);
    }
    assert!(ran.out.lines().all(|line| line.chars().count() <= 100), "{}", ran.out);
    let page = fs::read_to_string(directory.path("mixed/report.html")).expect("a page");
    assert!(page.contains("The integrated loudness is"));
    // Stages that stay off say why, in data and page. Without noise no expander is needed.
    let off = report["voices"][0]["left_off"].as_array().expect("a list");
    let expander = off.iter().find(|off| off["stage"] == "expander").expect("the expander");
    let sentence = expander["sentence"].as_str().expect("a sentence");
    assert!(sentence.starts_with("The signal-to-noise ratio is ") && page.contains(sentence), "{sentence}");
    assert_eq!(report["voices"][2]["left_off"], serde_json::json!([]));
}

#[test]
fn the_hosts_changes_are_carried_over_to_the_guest() {
    let directory = TestDirectory::new();
    long(&directory, "h.wav", 210.0, 0.0, &[1.0]);
    long(&directory, "g.wav", 110.0, -9.0, &[1.0]);
    let files = ["--host", "h.wav", "--guest", "g.wav"];
    let settings = |name: &str| settings_file::read(&directory.path(name)).expect("settings");
    directory.run(&files).done();
    let (host, guest) = (settings("mixed/settings-host.toml"), settings("mixed/settings-guest.toml"));
    assert_ne!(host.trim, guest.trim);
    // Without changes to the host's settings, both voices get their own proposals.
    fs::copy(directory.path("mixed/settings-host.toml"), directory.path("host.toml")).expect("a copy");
    directory.run(&[&files[..], &["--host-settings", "host.toml"]].concat()).done();
    assert_eq!(settings("mixed/settings-host.toml"), host);
    assert_eq!(settings("mixed/settings-guest.toml"), guest);
    // A change to the host's settings moves the guest's proposal.
    let mut changed = host;
    changed.tone_eq.bell_gain_db += 1.5;
    changed.high_pass.frequency_hz *= 1.2;
    let text = settings_file::to_text(&changed).expect("a text");
    fs::write(directory.path("host.toml"), text).expect("a file");
    let changed = settings("host.toml");
    let ran = directory.run(&[&files[..], &["--host-settings", "host.toml"]].concat()).done();
    assert_eq!(settings("mixed/settings-host.toml"), changed);
    let carried = settings("mixed/settings-guest.toml");
    assert_eq!(carried, carry_over(&changed, &host, &guest));
    assert!((carried.tone_eq.bell_gain_db - guest.tone_eq.bell_gain_db - 1.5).abs() < 1e-9);
    assert!((carried.high_pass.frequency_hz / guest.high_pass.frequency_hz - 1.2).abs() < 0.03);
    assert!(ran.out.contains("the host’s changes"), "{}", ran.out);
    check_delivery(&directory.path("mixed"));
    // Without a host, or with options that exclude each other, the job is refused.
    directory.run(&["h.wav", "g.wav", "--host-settings", "host.toml"]).refused(&["--host-settings", "--host"]);
    directory
        .run(&[&files[..], &["--host-settings", "host.toml", "--starting-point", "sung-alone"]].concat())
        .refused(&["--starting-point"]);
    directory.run(&[&files[..], &["--host-settings", "no.toml"]].concat()).refused(&["no.toml", "no such file"]);
}
