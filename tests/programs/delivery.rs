//! Delivery at its limits: loud targets, low ceilings, and programmes with several faults at once. Loudness and true
//! peak are measured by independent code.

use crate::directory::{ProgramOutput, TestDirectory, speech};
use crate::measure::{DecodedWav, decode};
use crate::mix_interview::{ALL_OFF, check_schema, number, report};
use serde_json::Value;
use std::fs;

const RATE: u32 = 48_000;

/// White noise between −1 and 1.
fn noise(seed: u64) -> impl FnMut() -> f64 {
    let mut state = seed;
    move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as f64 / f64::from(1u32 << 30) - 1.0
    }
}

/// Samples of a function of time, mono.
fn mono(seconds: f64, mut at: impl FnMut(f64) -> f64) -> Vec<f64> {
    (0..(seconds * f64::from(RATE)) as usize).map(|n| at(n as f64 / f64::from(RATE))).collect()
}

/// The voices' files added as the mix adds them: the programme before gain and limiter.
fn programme(directory: &TestDirectory, out: &str, names: &[&str]) -> DecodedWav {
    let voices: Vec<DecodedWav> =
        names.iter().map(|name| decode(&directory.path(&format!("{out}/voice-{name}.wav")))).collect();
    let frames = voices.iter().map(DecodedWav::frames).max().expect("a voice");
    let mut samples = vec![0.0f32; 2 * frames];
    for voice in &voices {
        let channels = usize::from(voice.channels);
        for (to, from) in samples.chunks_exact_mut(2).zip(voice.samples.chunks_exact(channels)) {
            to[0] += from[0];
            to[1] += from[channels - 1];
        }
    }
    DecodedWav { rate_hz: RATE, channels: 2, bits: 32, float: true, samples }
}

/// Numbers of a delivery, measured on its files by independent code.
struct Checked {
    report: Value,
    mix_lufs: f64,
    p95_db: f64,
}

/// Checks everything that holds for every delivery, on target or not.
fn check(directory: &TestDirectory, ran: &ProgramOutput, names: &[&str]) -> Checked {
    let report = report(&directory.path("mixed"));
    check_schema(&report);
    let of = |pointer: &str| number(&report, pointer);
    let (target, ceiling) = (of("/target/integrated_lufs"), of("/target/ceiling_dbtp"));
    let levels = decode(&directory.path("mixed/mix.wav")).levels();
    let before = programme(directory, "mixed", names).levels();
    let [gain_db, median_db, p95_db] =
        ["programme_gain_db", "limiter/median_db", "limiter/p95_db"].map(|key| of(&format!("/mix/{key}")));
    let case = format!("{target} LUFS, {ceiling} dBTP: {levels:?}, gain {gain_db}, limiter {median_db} / {p95_db}");
    println!("{case}");

    // The report states what is in the file, and the file is under its ceiling, whatever else fails.
    assert!((levels.integrated_lufs - of("/mix/integrated_lufs")).abs() < 0.06, "{case}");
    assert!((levels.sample_peak_dbfs - of("/mix/sample_peak_dbfs")).abs() < 0.02, "{case}");
    assert!(levels.true_peak_dbtp <= ceiling && of("/mix/true_peak_dbtp") <= ceiling, "{case}");
    // Limiting within its bounds. The gain exceeds what the target needs by what the limiter takes, never by more than
    // the bound. The voices' files are rounded, and the independent meter gates blocks of its own.
    assert!(median_db <= 3.0 && p95_db <= 6.0, "{case}");
    assert!(gain_db <= target - before.integrated_lufs + 6.1, "{case}, before {before:?}");

    let shortfall = &report["mix"]["shortfall"];
    let missing = target - levels.integrated_lufs;
    // The tolerance of 0.2 LU is judged on values with one decimal.
    assert!(if shortfall.is_null() { missing.abs() <= 0.25 } else { missing > 0.15 }, "{case}");
    if shortfall.is_null() {
        assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""), "{case}");
        assert!(shortfall.is_null() && ran.out.contains("Meets the target"), "{case}: {}", ran.out);
    } else {
        assert_eq!(ran.code, Some(1), "{case}: {}", ran.err);
        // Report, terminal and page name the amount, the reason and the remedy.
        assert!((number(shortfall, "/missing_lu") - missing).abs() < 0.07, "{case}: {shortfall}");
        let words = |key: &str| shortfall[key].as_str().expect("words").to_owned();
        assert!(["peaks", "median", "yield"].contains(&words("cause").as_str()), "{case}: {shortfall}");
        let flat: String = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
        let page = fs::read_to_string(directory.path("mixed/report.html")).expect("a page");
        for text in [words("explanation"), words("advice")] {
            assert!(flat.contains(&text) && page.contains(&text), "'{text}' is missing in {}", ran.out);
        }
        assert!(flat.contains("Misses the target") && page.contains("missed"), "{}", ran.out);
        assert!(ran.err.starts_with("target missed: mixed/mix.wav: loudness is ") && ran.err.lines().count() == 1);
        assert!(ran.err.contains(&words("advice")), "{}", ran.err);
        // The bound that stopped the search is reached: no loudness is given away.
        assert!(p95_db > 5.4 || median_db > 2.4 || shortfall["cause"] == "yield", "{case}");
    }
    assert!(ran.out.lines().all(|line| line.chars().count() <= 100), "{}", ran.out);
    Checked { report, mix_lufs: levels.integrated_lufs, p95_db }
}

/// Writes and mixes these voices for a target and a ceiling; ALL_OFF leaves their peaks as they are.
fn deliver(directory: &TestDirectory, voices: &[(&str, &[f64])], options: &[&str]) -> Checked {
    let mut arguments = Vec::new();
    let mut names = Vec::new();
    for (name, samples) in voices {
        let file = format!("{name}.wav");
        directory.wav(&file, RATE, 1, samples);
        arguments.push(file);
        names.push(*name);
    }
    fs::write(directory.path("off.toml"), ALL_OFF).expect("settings");
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).chain(options.iter().copied()).collect();
    let ran = directory.run(&arguments);
    check(directory, &ran, &names)
}

#[test]
#[cfg_attr(debug_assertions, ignore = "slow in a debug build: tests/run runs it in the optimised one")]
fn loud_targets_under_low_ceilings_stop_at_the_bound_of_limiting() {
    let directory = TestDirectory::new();
    let anna = mono(5.0, |t| speech(t, 210.0));
    let ben = mono(5.0, |t| 0.2 * speech(t + 0.7, 110.0));
    let voices: [(&str, &[f64]); 2] = [("anna", &anna), ("ben", &ben)];
    let mut missed = Vec::new();
    for (loudness, ceiling, format) in [
        ("-8", "-9", "24"),
        ("-8", "-0.1", "16"),
        ("-9", "-1", "float"),
        ("-10", "-6", "16"),
        ("-12", "-3", "24"),
        ("-16", "-9", "24"),
        ("-23", "-9", "16"),
        ("-30", "-9", "float"),
    ] {
        let options = ["--loudness", loudness, "--ceiling", ceiling, "--format", format];
        let found = deliver(&directory, &voices, &options);
        missed.push(!found.report["mix"]["shortfall"].is_null());
    }
    // −8 LUFS under −9 dBTP is beyond any voice; −23 and −30 LUFS leave 14 dB and more to the ceiling.
    assert!(missed[0] && !missed[6] && !missed[7], "{missed:?}");
}

#[test]
#[cfg_attr(debug_assertions, ignore = "slow in a debug build: tests/run runs it in the optimised one")]
fn a_reachable_target_is_what_the_advice_says() {
    let directory = TestDirectory::new();
    let anna = mono(5.0, |t| speech(t, 210.0));
    let voices: [(&str, &[f64]); 1] = [("anna", &anna)];
    let first = deliver(&directory, &voices, &["--loudness", "-8", "--ceiling", "-6"]);
    let advice = first.report["mix"]["shortfall"]["advice"].as_str().expect("advice").to_owned();
    let lower = advice.split("--loudness ").nth(1).and_then(|rest| rest.split(')').next()).expect("a loudness");
    let second = deliver(&directory, &voices, &["--loudness", lower, "--ceiling", "-6"]);
    assert!(second.report["mix"]["shortfall"].is_null(), "{lower}: {} dB", second.p95_db);
    assert!(second.mix_lufs <= first.mix_lufs + 0.02);
}

#[test]
#[cfg_attr(debug_assertions, ignore = "slow in a debug build: tests/run runs it in the optimised one")]
fn spikes_pauses_and_noise_are_delivered_within_the_bounds() {
    let directory = TestDirectory::new();
    // Spikes 30 dB over a voice that is mostly silent, in noise.
    let mut hiss = noise(3);
    let mut spiky = mono(8.0, |t| if t < 2.5 { 0.05 * speech(t, 130.0) } else { 0.0 } + 0.0003 * hiss());
    (0..8).for_each(|k| spiky[k * 47_111 + 900] = if k % 2 == 0 { 0.9 } else { -0.8 });
    let quiet = mono(8.0, |t| if t > 5.0 { 0.01 * speech(t, 210.0) } else { 0.0 });
    // A constant level without any crest: noise of one amplitude.
    let mut random = noise(9);
    let dense = mono(4.0, |_| if random() > 0.0 { 0.3 } else { -0.3 });
    type Case<'a> = (&'a [(&'a str, &'a [f64])], bool, bool);
    // Without the strip, spikes 40 dB over the voice are most of the loudness: nothing but the limiter's bound decides.
    let cases: [Case; 3] = [
        (&[("spiky", &spiky), ("quiet", &quiet)], true, true),
        (&[("spiky", &spiky)], false, false),
        (&[("dense", &dense)], false, true),
    ];
    for (voices, processed, quiet_target_met) in cases {
        for (loudness, ceiling) in [("-8", "-9"), ("-10", "-0.1"), ("-16", "-1"), ("-30", "-3")] {
            let mut options = vec!["--loudness", loudness, "--ceiling", ceiling];
            if !processed {
                options.extend(["--settings", "off.toml"]);
            }
            let found = deliver(&directory, voices, &options);
            if loudness == "-30" && quiet_target_met {
                assert!(found.report["mix"]["shortfall"].is_null());
            }
        }
    }
}

/// Noise between the phrases rises by the loudness of the mix and what the limiter takes, never by more than 6 dB.
#[test]
#[cfg_attr(debug_assertions, ignore = "slow in a debug build: tests/run runs it in the optimised one")]
fn noise_in_pauses_rises_no_further_than_the_bound() {
    let directory = TestDirectory::new();
    let mut hiss = noise(5);
    // Two seconds of voice, then one of noise alone, three times.
    let noisy = mono(9.0, |t| if t % 3.0 < 2.0 { 0.5 * speech(t, 120.0) } else { 0.0 } + 0.004 * hiss());
    let found =
        deliver(&directory, &[("noisy", &noisy)], &["--loudness", "-8", "--ceiling", "-9", "--settings", "off.toml"]);
    assert!(!found.report["mix"]["shortfall"].is_null());
    let [after, before] = [decode(&directory.path("mixed/mix.wav")), programme(&directory, "mixed", &["noisy"])];
    let pause_db = |file: &DecodedWav| {
        let channel = file.channel(0);
        let pause = &channel[(2.4 * f64::from(RATE)) as usize..(2.9 * f64::from(RATE)) as usize];
        10.0 * (pause.iter().map(|s| s * s).sum::<f64>() / pause.len() as f64).log10()
    };
    let rise_db = pause_db(&after) - pause_db(&before);
    let louder_lu = after.levels().integrated_lufs - before.levels().integrated_lufs;
    assert!(rise_db <= louder_lu + 6.0, "noise rises by {rise_db:.1} dB, loudness by {louder_lu:.1} LU");
}

/// A voice that its settings remove is silent: it takes no part in balance and delivery.
#[test]
#[cfg_attr(debug_assertions, ignore = "slow in a debug build: tests/run runs it in the optimised one")]
fn a_silent_voice_does_not_disturb_the_delivery() {
    let directory = TestDirectory::new();
    let anna = mono(5.0, |t| speech(t, 210.0));
    // It begins and ends without a step, which the high-pass would let through.
    let rumble =
        mono(5.0, |t| 0.5 * (std::f64::consts::PI * t / 5.0).sin().powi(2) * (std::f64::consts::TAU * 20.0 * t).sin());
    directory.wav("anna.wav", RATE, 1, &anna);
    directory.wav("rumble.wav", RATE, 1, &rumble);
    let settings =
        ALL_OFF.replace("[high_pass]\non = false", "[high_pass]\nfrequency_hz = 200.0\nslope = \"48 dB/oct\"");
    fs::write(directory.path("high.toml"), settings).expect("settings");
    for (loudness, ceiling) in [("-16", "-1"), ("-8", "-9")] {
        let ran = directory.run(&[
            "anna.wav",
            "rumble.wav",
            "--settings",
            "high.toml",
            "--loudness",
            loudness,
            "--ceiling",
            ceiling,
        ]);
        let found = check(&directory, &ran, &["anna", "rumble"]);
        assert!(found.report["voices"][1]["output"]["integrated_lufs"].is_null());
        let beside = found.report["voices"][1]["beside_ledger"].as_array().expect("changes").clone();
        assert!(!beside.is_empty() && beside.iter().all(|change| change["lu"].is_null()), "{beside:?}");
        assert!(ran.out.contains("rumble: the processed voice is silent"), "{}", ran.out);
    }
}
