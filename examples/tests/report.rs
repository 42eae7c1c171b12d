//! The report as its readers meet it: `report.json` against its schema, the page as markup, the table as text. All
//! numbers here are invented.

use serde_json::{Value, json};
use voicechain_examples::report::data::{
    Demo, FORMAT, Fault, GainReduction, GainReductions, LedgerEntry, Levels, Mix, Report, SCHEMA, Seconds, StageWords,
    Target, Voice, WrittenFile,
};
use voicechain_examples::report::excerpt::{Clip, PAGE_BUDGET, Plan, encode_pair};
use voicechain_examples::report::table::{COLUMNS, summary};
use voicechain_examples::report::{Excerpt, LoudnessWindow, MixSeries, Page, TimeSeries, VoiceSeries, render};

// ---------------------------------------------------------------------------------------------------------------------
// An invented report

fn reduction(median_db: f64, p95_db: f64, max_db: f64) -> GainReduction {
    GainReduction { median_db, p95_db, max_db }
}

fn levels(integrated: f64, range: f64, true_peak: f64, sample_peak: f64) -> Levels {
    Levels {
        integrated_lufs: Some(integrated),
        loudness_range_lu: Some(range),
        true_peak_dbtp: Some(true_peak),
        sample_peak_dbfs: Some(sample_peak),
    }
}

fn settings(rows: &[(&str, bool, &str, Option<&str>)]) -> Vec<StageWords> {
    rows.iter()
        .map(|&(stage, on, words, why)| StageWords {
            stage: stage.into(),
            on,
            words: words.into(),
            why: why.map(Into::into),
        })
        .collect()
}

fn ledger(rows: &[(&str, f64)]) -> Vec<LedgerEntry> {
    rows.iter().map(|&(stage, lu)| LedgerEntry { stage: stage.into(), lu: Some(lu) }).collect()
}

fn sample_report() -> Report {
    let guest = Voice {
        name: "Guest".into(),
        file: "guest-kitchen.wav".into(),
        duration_s: 95.2,
        sample_rate_hz: 44_100,
        channels: 1,
        input: levels(-27.94, 9.1, -3.12, -3.4),
        output: levels(-18.21, 6.02, -1.02, -1.31),
        ledger: ledger(&[
            ("trim", 7.0),
            ("high_pass", -0.12),
            ("corrective_eq", 0.08),
            ("de_esser", -0.14),
            ("compressor", -2.94),
            ("tone_eq", -0.11),
            ("limiter", -0.02),
            ("output", 5.57),
        ]),
        gain_reduction: GainReductions {
            compressor: reduction(1.31, 4.12, 6.84),
            de_esser: reduction(0.0, 3.44, 5.9),
            limiter: reduction(0.0, 0.0, 0.42),
        },
        settings: settings(&[
            ("trim", true, "+7.0 dB", Some("recording at −27.9 LUFS, the strip works at about −21")),
            ("high_pass", true, "72 Hz · 24 dB/oct", None),
            ("corrective_eq", true, "−5.8 dB at 455 Hz, Q 1.5 · −2.0 dB at 210 Hz, Q 1.4 · compensated", None),
            ("de_esser", true, "6.4 kHz · threshold 0.0 dB · range 6 dB · high band", None),
            ("compressor", true, "−24 dB · 3:1 · knee 6 dB · 4 ms · 120 ms · program-dependent", None),
            ("tone_eq", true, "+2.0 dB at 140 Hz · +2.2 dB at 3.7 kHz · compensated", None),
            ("limiter", true, "ceiling −1.0 dBTP · 1.5 ms · 80 ms", None),
            ("output", true, "+5.6 dB", None),
        ]),
        balance_gain_db: 0.37,
        warnings: vec!["14 samples in 3 places are clipped; what was cut off there is not restored.".into()],
    };
    let host = Voice {
        name: "Host".into(),
        file: "host-studio.flac".into(),
        duration_s: 92.75,
        sample_rate_hz: 48_000,
        channels: 2,
        input: levels(-19.6, 5.4, -2.0, -2.2),
        output: levels(-18.34, 4.81, -1.4, -1.62),
        ledger: ledger(&[
            ("trim", -1.4),
            ("high_pass", -0.04),
            ("corrective_eq", 0.0),
            ("de_esser", -0.02),
            ("compressor", -1.62),
            ("tone_eq", 0.06),
            ("limiter", 0.0),
            ("output", 4.6),
        ]),
        gain_reduction: GainReductions {
            compressor: reduction(0.72, 2.66, 4.4),
            de_esser: reduction(0.0, 0.52, 1.8),
            limiter: reduction(0.0, 0.0, 0.0),
        },
        settings: settings(&[
            ("trim", true, "−1.4 dB", None),
            ("high_pass", true, "80 Hz · 18 dB/oct", None),
            ("corrective_eq", false, "off", None),
            ("de_esser", true, "5.0 kHz · threshold 3.0 dB · range 6 dB · high band", None),
            (
                "compressor",
                true,
                "−22 dB · 2.5:1 · knee 6 dB · 5 ms · 100 ms",
                Some("from the voice before, threshold 2 dB higher"),
            ),
            ("tone_eq", true, "+1.0 dB at 9 kHz · compensated", None),
            ("limiter", true, "ceiling −1.0 dBTP · 1.5 ms · 80 ms", None),
            ("output", true, "+4.6 dB", None),
        ]),
        balance_gain_db: -0.32,
        warnings: vec![],
    };
    Report {
        format: FORMAT,
        job: "An interview of two voices".into(),
        demo: Some(Demo {
            scenario: "A guest speaks in a kitchen, the host in a studio; nobody can be asked to record again.".into(),
            faults: vec![
                Fault {
                    voice: "Guest".into(),
                    words: "8 dB too quiet, boxy at 455 Hz by 6 dB, rumble under 60 Hz".into(),
                },
                Fault { voice: "Host".into(), words: "sibilants 4 dB too strong".into() },
            ],
        }),
        voices: vec![guest, host],
        mix: Mix {
            integrated_lufs: Some(-16.02),
            loudness_range_lu: Some(5.31),
            true_peak_dbtp: Some(-1.04),
            sample_peak_dbfs: Some(-1.2),
            sample_rate_hz: 48_000,
            bits: 24,
            channels: 2,
            duration_s: 95.2,
            programme_gain_db: -0.76,
            limiter: reduction(0.0, 0.31, 2.14),
        },
        target: Target { integrated_lufs: -16.0, ceiling_dbtp: -1.0, tolerance_lu: 0.5, name: None },
        seconds: Seconds { audio: 95.2, processing: 2.134 },
        warnings: vec!["The recordings differ in length by 2.5 s; the shorter one ends in silence.".into()],
        files: [
            ("mix.wav", "the delivered mix"),
            ("voice-guest.wav", "Guest, processed and balanced, aligned with the recording"),
            ("voice-host.wav", "Host, processed and balanced, aligned with the recording"),
            ("settings-guest.toml", "settings of Guest’s strip"),
            ("settings-host.toml", "settings of Host’s strip"),
            ("report.json", "the numbers of this page"),
        ]
        .map(|(name, what)| WrittenFile { name: name.into(), what: what.into() })
        .into(),
    }
}

/// Pseudo-random numbers between -1 and 1.
struct Chance(u32);

impl Chance {
    fn next(&mut self) -> f32 {
        self.0 = self.0.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (self.0 >> 8) as f32 / 8_388_608.0 - 1.0
    }
}

/// Phrases with pauses: loudness before and after, and the gain of three stages.
fn invented_course(
    seconds: f32,
    level: f32,
    lift: f32,
    seed: u32,
) -> (TimeSeries, TimeSeries, Vec<(String, TimeSeries)>) {
    let mut chance = Chance(seed);
    let count = (seconds * 10.0) as usize;
    let times: Vec<f32> = (0..count).map(|n| n as f32 / 10.0).collect();
    let (mut before, mut after) = (Vec::new(), Vec::new());
    let (mut compressor, mut de_esser, mut limiter) = (Vec::new(), Vec::new(), Vec::new());
    let (mut speaks, mut left, mut shape) = (true, 40usize, 0.0f32);
    for n in 0..count {
        if left == 0 {
            speaks = !speaks;
            left = if speaks { 50.0 + 40.0 * chance.next() } else { 22.0 + 14.0 * chance.next() } as usize;
        }
        left -= 1;
        shape = 0.85 * shape + 1.4 * chance.next();
        let t = n as f32 / 10.0;
        let swing = 2.5 * (t * 0.31 + seed as f32).sin() + shape;
        if speaks {
            before.push(level + swing);
            let takes = (2.0 + 0.9 * swing).max(0.0);
            after.push(level + lift + 0.5 * swing);
            compressor.push(-takes);
            de_esser.push(if chance.next() > 0.8 { -3.0 - 2.0 * chance.next() } else { 0.0 });
            limiter.push(if chance.next() > 0.985 { -0.6 * (1.0 + chance.next()) } else { 0.0 });
        } else {
            before.push(if n % 3 == 0 { f32::NEG_INFINITY } else { level - 46.0 });
            after.push(level + lift - 38.0 + chance.next());
            compressor.push(0.0);
            de_esser.push(0.0);
            limiter.push(0.0);
        }
    }
    // Over three seconds, as short-term loudness.
    let slide = |levels: Vec<f32>| -> Vec<f32> {
        let mut window = std::collections::VecDeque::from([0.0f64; 30]);
        let mut sum = 0.0;
        let mut mean = |level: f32| {
            let power = 10f64.powf(f64::from(level) / 10.0);
            window.push_back(power);
            sum += power - window.pop_front().unwrap_or(0.0);
            (10.0 * (sum.max(0.0) / 30.0).log10()) as f32
        };
        levels.into_iter().map(&mut mean).collect()
    };
    let (before, after) = (slide(before), slide(after));
    let series = |values| TimeSeries { seconds: times.clone(), values };
    let gain = vec![
        ("de_esser".into(), series(de_esser)),
        ("compressor".into(), series(compressor)),
        ("limiter".into(), series(limiter)),
    ];
    (series(before), series(after), gain)
}

const THIRD_OCTAVES: [f32; 25] = [
    63.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 315.0, 400.0, 500.0, 630.0, 800.0, 1000.0, 1250.0, 1600.0, 2000.0,
    2500.0, 3150.0, 4000.0, 5000.0, 6300.0, 8000.0, 10000.0, 12500.0, 16000.0,
];

/// A spectrum that differs from published speech (Byrne et al. 1994, combined) by the given decibels.
fn spectrum(differences: [f32; 25]) -> Vec<(f32, f32)> {
    const SPEECH: [f32; 25] = [
        38.6, 43.5, 54.4, 57.7, 56.8, 60.2, 60.3, 59.0, 62.1, 62.1, 60.5, 56.8, 53.7, 53.0, 52.0, 48.7, 48.1, 46.8,
        45.6, 44.5, 44.3, 43.7, 43.4, 41.3, 40.7,
    ];
    (0..25).map(|band| (THIRD_OCTAVES[band], SPEECH[band] + differences[band] - 96.0)).collect()
}

fn bell(hz: f32, centre: f32, gain: f32, octaves: f32) -> f32 {
    gain * (-((hz / centre).log2() / octaves).powi(2)).exp()
}

fn sample_page() -> Page {
    let report = sample_report();
    let response: Vec<(f32, f32)> = (0..240)
        .map(|n| {
            let hz = 20.0 * 1000f32.powf(n as f32 / 239.0);
            let high_pass = -10.0 * (1.0 + (72.0 / hz).powi(8)).log10();
            let bells = bell(hz, 455.0, -5.8, 0.6) + bell(hz, 210.0, -2.0, 0.6) + bell(hz, 3_700.0, 2.2, 0.9);
            (hz, high_pass + bells + 2.0 / (1.0 + (hz / 140.0).powi(2)) + 1.1)
        })
        .collect();
    let rumble = [
        26.0, 17.0, 4.0, -2.5, -2.8, -1.0, 0.5, 3.0, 6.4, 7.5, 4.0, 2.0, 0.5, 0.0, -1.0, -1.4, -2.0, -3.0, -3.4, 0.8,
        5.4, 4.6, 1.0, -4.0, -15.0,
    ];
    let after = [
        3.0, 9.5, 4.2, 0.8, -0.5, 0.1, 0.2, 1.0, 1.8, 2.0, 1.5, 1.2, 0.4, 0.0, -0.3, -0.5, -0.4, -0.7, -0.9, 0.8, 3.2,
        2.4, 1.0, -2.0, -13.0,
    ];
    let mut chance = Chance(7);
    let mut clip = |seconds: usize, level: f32| {
        let mut low = 0.0f32;
        (0..seconds * 24_000)
            .map(|n| {
                low = 0.95 * low + 0.05 * chance.next();
                let syllable = (n as f32 / 24_000.0 * 19.0).sin().max(0.0);
                low * level * syllable
            })
            .collect::<Vec<f32>>()
    };
    let plan = Plan::for_clips(4).expect("room");
    let (before, after_clip) = encode_pair(&clip(2, 0.9), &clip(2, 0.9), 1, 24_000, &plan).expect("clips");
    let excerpt = |start_s, match_db, both_lowered_db| {
        Some(Excerpt { start_s, before: before.clone(), after: after_clip.clone(), match_db, both_lowered_db })
    };
    let (guest_before, guest_after, guest_gain) = invented_course(95.2, -27.0, 9.0, 3);
    let (host_before, host_after, host_gain) = invented_course(92.7, -19.0, 1.2, 11);
    let (_, mix, limiter) = invented_course(95.2, -17.0, 1.0, 5);
    let flat: Vec<(f32, f32)> =
        THIRD_OCTAVES.iter().map(|hz| (*hz, -10.0 * (1.0 + (80.0 / hz).powi(6)).log10())).collect();
    let voices = vec![
        VoiceSeries {
            spectrum_before: spectrum(rumble),
            spectrum_after: spectrum(after),
            bands: vec![(455.0, response_at(&response, 455.0)), (3_700.0, response_at(&response, 3_700.0))],
            response,
            window: LoudnessWindow::ShortTerm,
            loudness_before: guest_before,
            loudness_after: guest_after,
            gain: guest_gain,
            excerpt: excerpt(31.0, 9.73, 0.0),
        },
        VoiceSeries {
            spectrum_before: spectrum(rumble.map(|db| db * 0.4)),
            spectrum_after: spectrum(after.map(|db| db * 0.4 - 0.5)),
            response: flat,
            bands: vec![],
            window: LoudnessWindow::ShortTerm,
            loudness_before: host_before,
            loudness_after: host_after,
            gain: host_gain,
            excerpt: excerpt(74.0, 1.26, 0.8),
        },
    ];
    let mix = MixSeries {
        window: LoudnessWindow::ShortTerm,
        loudness: mix,
        limiter_gain: limiter.into_iter().nth(2).expect("three").1,
        excerpt: Some((31.0, before)),
    };
    Page { report, voices, mix }
}

fn response_at(response: &[(f32, f32)], hz: f32) -> f32 {
    response.iter().find(|point| point.0 >= hz).expect("in range").1
}

// ---------------------------------------------------------------------------------------------------------------------
// report.json

fn complaint(report: &Value) -> Option<String> {
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
fn a_report_fits_its_schema_and_reads_back() {
    assert_eq!(complaint(&sample_json()), None);
    let mut silent = sample_report();
    silent.demo = None;
    silent.voices[0].output = Levels { integrated_lufs: Some(f64::NEG_INFINITY), ..Levels::default() };
    silent.voices[0].ledger[0].lu = None;
    silent.mix.loudness_range_lu = Some(f64::NAN);
    let text = silent.to_json().expect("finite");
    assert_eq!(complaint(&serde_json::from_str(&text).expect("JSON")), None);
    assert!(text.contains("\"integrated_lufs\": null") && !text.contains("NaN"));

    let report = sample_report();
    assert_eq!(Report::from_json(&report.to_json().expect("finite")).expect("reads back"), report);
}

#[test]
fn levels_are_rounded_and_never_a_negative_zero() {
    let mut report = sample_report();
    report.voices[0].ledger[0].lu = Some(-0.004);
    report.voices[0].balance_gain_db = -0.0;
    report.mix.integrated_lufs = Some(-16.018_76);
    report.seconds.processing = 1.234_567;
    let text = report.to_json().expect("finite");
    assert!(!text.contains("-0.0,") && !text.contains("-0.0\n"), "{text}");
    let json: Value = serde_json::from_str(&text).expect("JSON");
    assert_eq!(json["mix"]["integrated_lufs"], json!(-16.02));
    assert_eq!(json["seconds"]["processing"], json!(1.235));
}

#[test]
fn a_number_that_must_exist_is_not_made_up() {
    let mut report = sample_report();
    report.target.ceiling_dbtp = f64::NAN;
    assert!(report.to_json().is_err());
}

#[test]
fn changed_reports_do_not_fit_the_schema() {
    type Change = fn(&mut Value);
    let changes: [(&str, Change); 16] = [
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
        ("negative time", |json| json["seconds"]["audio"] = json!(-1.0)),
        ("reduction with a sign", |json| json["voices"][0]["gain_reduction"]["limiter"]["max_db"] = json!(-1.0)),
        ("a stage with capitals", |json| json["voices"][0]["ledger"][0]["stage"] = json!("Trim")),
        ("a nameless voice", |json| json["voices"][1]["name"] = json!("")),
        ("a missing stage", |json| {
            drop(json["voices"][0]["gain_reduction"].as_object_mut().map(|all| all.remove("de_esser")));
        }),
        ("a warning that is no text", |json| json["voices"][0]["warnings"] = json!([3])),
    ];
    for (name, change) in changes {
        let mut json = sample_json();
        change(&mut json);
        assert!(complaint(&json).is_some(), "{name} passed");
    }
}

#[test]
fn the_verdict_is_judged_as_shown() {
    let mut report = sample_report();
    assert!(report.verdict().met());
    report.mix.true_peak_dbtp = Some(-0.96);
    assert!(report.verdict().met(), "-0.96 is shown as -1.0");
    report.mix.true_peak_dbtp = Some(-0.9);
    assert!(!report.verdict().ceiling_met && report.verdict().loudness_met);
    report.mix.true_peak_dbtp = None;
    report.mix.integrated_lufs = Some(-16.56);
    assert!(!report.verdict().loudness_met && report.verdict().ceiling_met);
    report.mix.integrated_lufs = None;
    assert!(!report.verdict().met());
    let spread = report.balance_spread_lu().expect("two voices");
    assert!((spread - 0.13).abs() < 1e-9);
}

// ---------------------------------------------------------------------------------------------------------------------
// report.html

/// Checks that elements are closed in order, ids are unique and every reference inside the page leads somewhere.
fn check_markup(html: &str) {
    const VOID: [&str; 3] = ["meta", "br", "!DOCTYPE"];
    let body = html.find("<body>").expect("a body");
    let script = html.find("<script>").expect("a script");
    let mut open = Vec::new();
    let mut ids = std::collections::BTreeSet::new();
    let mut rest = &html[body..script];
    while let Some(start) = rest.find('<') {
        let end = start + rest[start..].find('>').expect("a closed tag");
        let tag = &rest[start + 1..end];
        rest = &rest[end + 1..];
        let name = tag.trim_start_matches('/').split([' ', '/']).next().expect("a name");
        if tag.starts_with('/') {
            assert_eq!(open.pop(), Some(name), "closing {name}");
        } else if !tag.ends_with('/') && !VOID.contains(&name) {
            open.push(name);
        }
        if let Some(at) = tag.find(" id=\"") {
            let id = tag[at + 5..].split('"').next().expect("an id");
            assert!(ids.insert(id.to_owned()), "{id} twice");
        }
    }
    assert_eq!(open, ["body"]);
    for (start, close) in [("href=\"#", '"'), ("url(#", ')')] {
        for part in html[body..script].split(start).skip(1) {
            let id = part.split(close).next().expect("an id");
            assert!(ids.contains(id), "{id} is nowhere");
        }
    }
}

/// The page without its sounds, whose letters mean nothing.
fn without_sound(html: &str) -> String {
    let mut parts = html.split("data:audio/flac;base64,");
    let first = parts.next().unwrap_or_default().to_owned();
    parts.fold(first, |all, part| all + part.find('"').map_or("", |end| &part[end..]))
}

/// Leaves a page where a person can look at it.
fn keep(name: &str, html: &str) {
    let folder = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("report-sample");
    std::fs::create_dir_all(&folder).expect("a folder");
    std::fs::write(folder.join(name), html).expect("written");
}

#[test]
fn a_sample_page_is_whole_and_small() {
    let html = render(&sample_page());
    keep("report.html", &html);
    check_markup(&html);
    assert!(html.contains("Meets the target"));
    for unwanted in ["NaN", "inf\"", "-0.0", "\u{2212}0.0<", "http://", "https://"] {
        assert!(!without_sound(&html).contains(unwanted), "{unwanted}");
    }
    // A player per side and voice, and one for the mix.
    assert_eq!(html.matches("<audio ").count(), 5);
}

#[test]
fn names_cannot_become_markup() {
    let nasty = "\"><script>alert('x')</script>&amp;\u{202e}\u{7}.wav";
    let mut page = sample_page();
    let report = &mut page.report;
    report.job = nasty.into();
    report.target.name = Some(nasty.into());
    report.warnings = vec![nasty.into()];
    report.files[0].name = nasty.into();
    report.files[0].what = nasty.into();
    for voice in &mut report.voices {
        voice.name = nasty.into();
        voice.file = nasty.into();
        voice.warnings = vec![nasty.into()];
        voice.settings[0].words = nasty.into();
        voice.settings[0].why = Some(nasty.into());
        voice.ledger[1].stage = nasty.into();
    }
    let demo = report.demo.as_mut().expect("the demo");
    demo.scenario = nasty.into();
    demo.faults[0] = Fault { voice: nasty.into(), words: nasty.into() };
    page.voices[0].gain[0].0 = nasty.into();
    let html = render(&page);
    check_markup(&html);
    assert_eq!(html.matches("<script>").count(), 1);
    assert!(!html.contains("alert('x')") && !html.contains('\u{202e}') && !html.contains('\u{7}'));
    assert!(html.matches("&lt;script&gt;alert(&#39;x&#39;)").count() > 20);
}

#[test]
fn empty_odd_and_endless_series_are_drawn() {
    let mut page = sample_page();
    page.voices[0] = VoiceSeries::default();
    page.voices.truncate(1);
    page.mix = MixSeries::default();
    page.report.voices[0].duration_s = 0.0;
    page.report.voices[0].ledger.clear();
    page.report.voices[0].input = Levels::default();
    page.report.mix.integrated_lufs = None;
    let html = render(&page);
    check_markup(&html);
    assert!(html.contains("Misses the target") && !without_sound(&html).contains("NaN"));

    let mut page = sample_page();
    let (mut before, after, gain) = invented_course(14_400.0, -24.0, 6.0, 9);
    before.values[..300].fill(f32::NAN);
    before.values[5_000] = f32::INFINITY;
    page.voices[0].loudness_before = before;
    page.voices[0].loudness_after = after;
    page.voices[0].gain = gain;
    page.report.voices[0].name = "A voice whose name takes more room than most".into();
    page.report.voices[0].file =
        "an-even-longer-file-name-without-any-blanks-that-has-to-break-somewhere-or-other.wav".into();
    page.report.mix.integrated_lufs = Some(-17.3);
    page.report.mix.true_peak_dbtp = Some(0.2);
    page.report.target.name = Some("EBU R 128".into());
    page.report.voices[0].duration_s = 14_400.0;
    let html = render(&page);
    keep("odd.html", &html);
    check_markup(&html);
    assert!(!without_sound(&html).contains("NaN") && html.len() < 2_000_000, "{}", html.len());
}

#[test]
fn a_page_full_of_clips_stays_under_fifteen_megabytes() {
    let mut page = sample_page();
    let plan = Plan::for_clips(4 + 1).expect("room");
    assert!(plan.characters * 5 <= PAGE_BUDGET);
    let clip = Clip { bytes: vec![0; plan.characters / 4 * 3], mime: "audio/flac", seconds: plan.seconds };
    for voice in &mut page.voices {
        voice.excerpt = Some(Excerpt {
            start_s: 0.0,
            before: clip.clone(),
            after: clip.clone(),
            match_db: 0.0,
            both_lowered_db: 0.0,
        });
    }
    page.mix.excerpt = Some((0.0, clip));
    let html = render(&page);
    assert!((11_000_000..15_000_000).contains(&html.len()), "{}", html.len());
}

// ---------------------------------------------------------------------------------------------------------------------
// The table

#[test]
fn the_table_is_short_narrow_and_complete() {
    let mut report = sample_report();
    let text = summary(&report, "mixed");
    println!("{text}");
    for expected in
        ["Guest", "−27.9", "→ −18.2", "−1.3 / −4.1", "−16.0", "≤ −1.0", "Meets the target", "warning: ", "mixed"]
    {
        assert!(text.contains(expected), "{expected} in\n{text}");
    }
    report.voices[0].name = "A very long name of a voice \u{1b}[31m with colours".into();
    report.voices[0].warnings = vec!["x".repeat(250), "word ".repeat(60)];
    report.files[0].name = "y".repeat(130);
    let text = summary(&report, "mixed");
    assert!(text.lines().all(|line| line.chars().count() <= COLUMNS), "{text}");
    assert!(!text.contains('\u{1b}') && !text.contains("-0.0") && !text.contains("−0.0"));
}
