//! A mix of recorded speech: about 60 s each of two actors in a Dutch game.

use crate::directory::TestDirectory;
use crate::measure::{DecodedWav, decode};
use crate::mix_interview::{check_delivery, number};
use ebur128::{EbuR128, Mode};
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use voicechain_examples::audio_file::AudioFile;

/// Folder of the unpacked packages.
fn speech() -> PathBuf {
    let found = std::env::var_os("VOICECHAIN_SPEECH").map(PathBuf::from).filter(|path| path.is_dir());
    found.expect(
        "recordings are needed: tests/run fetches them, or: mkdir -p target/speech && cd target/speech && \
         apt-get download fillets-ng-data-nl && dpkg -x fillets-ng-data-nl_*.deb . && export VOICECHAIN_SPEECH=$PWD",
    )
}

/// The files of one lead, "m" or "v", sorted by name.
fn lines(lead: &str) -> Vec<PathBuf> {
    let scenes = speech().join("usr/share/games/fillets-ng/sound");
    let entries = |path: &Path| -> Vec<PathBuf> {
        let mut all: Vec<PathBuf> =
            fs::read_dir(path).map(|entries| entries.flatten().map(|e| e.path()).collect()).unwrap_or_default();
        all.sort();
        all
    };
    let mark = format!("-{lead}-");
    let of_lead = |path: &PathBuf| {
        let name = path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
        name.contains(&mark) && name.ends_with(".ogg")
    };
    let found: Vec<PathBuf> =
        entries(&scenes).iter().flat_map(|scene| entries(&scene.join("nl"))).filter(of_lead).collect();
    assert!(found.len() > 100, "fillets-ng-data-nl is not unpacked in {}", speech().display());
    found
}

/// Writes a minute of one lead's lines with short pauses between them. Every `nth` line is used, so they come from many
/// scenes.
fn minute(directory: &TestDirectory, name: &str, lead: &str, nth: usize) {
    let mut samples: Vec<f64> = Vec::new();
    let mut chunk = Vec::new();
    let rate_hz = 22_050;
    for path in lines(lead).iter().step_by(nth) {
        let mut file = AudioFile::open(path).expect("a recording");
        assert_eq!(file.rate_hz(), rate_hz, "{}", path.display());
        let channels = file.channels();
        while file.read(&mut chunk).expect("a whole recording") > 0 {
            let mono = chunk.chunks_exact(channels).map(|frame| frame.iter().map(|s| f64::from(*s)).sum::<f64>());
            samples.extend(mono.map(|sum| sum / channels as f64));
        }
        samples.resize(samples.len() + rate_hz as usize / 4, 0.0);
        if samples.len() > 60 * rate_hz as usize {
            break;
        }
    }
    assert!(samples.len() > 55 * rate_hz as usize);
    // These lossy files exceed full scale in places; the gain avoids clipping.
    samples.iter_mut().for_each(|s| *s *= 0.5);
    directory.wav(name, rate_hz, 1, &samples);
}

/// Spread of a voice's momentary loudness during speech, from its 10th to its 90th percentile, LU.
fn spread(voice: &DecodedWav) -> f64 {
    let step = voice.rate_hz as usize / 10 * usize::from(voice.channels);
    let mut meter = EbuR128::new(voice.channels.into(), voice.rate_hz, Mode::I | Mode::M).expect("a meter");
    let mut momentary = Vec::new();
    for chunk in voice.samples.chunks(step) {
        meter.add_frames_f32(chunk).expect("whole frames");
        momentary.push(meter.loudness_momentary().expect("a loudness"));
    }
    let gate = meter.loudness_global().expect("a loudness") - 15.0;
    momentary.retain(|lufs| *lufs > gate);
    momentary.sort_by(f64::total_cmp);
    let at = |share: f64| momentary[(share * momentary.len() as f64) as usize];
    at(0.9) - at(0.1)
}

#[test]
#[ignore = "needs recordings: tests/run fetches them"]
fn a_mix_of_two_recorded_actors_meets_its_targets() {
    let directory = TestDirectory::new();
    minute(&directory, "host.wav", "m", 23);
    minute(&directory, "guest.wav", "v", 23);
    let ran = directory.run(&["--host", "host.wav", "--guest", "guest.wav"]).done();
    println!("{}", ran.out);
    // On target, below the ceiling and balanced, by an independent meter.
    let report = check_delivery(&directory.path("mixed"));
    for (index, name) in ["host", "guest"].into_iter().enumerate() {
        let of = |key: &str| number(&report, &format!("/voices/{index}/{key}"));
        let ledger = &report["voices"][index]["ledger"];
        let lu = |stage: &str| -> f64 {
            let entries = ledger.as_array().expect("a ledger");
            let entry = entries.iter().find(|e| e["stage"] == stage).expect("the stage");
            entry["lu"].as_f64().expect("a number")
        };
        let [before, after] =
            ["", "mixed/voice-"].map(|at| spread(&decode(&directory.path(&format!("{at}{name}.wav")))));
        let [high_pass, corrective, de_esser, compressor, tone] =
            ["high_pass", "corrective_eq", "de_esser", "compressor", "tone_eq"].map(lu);
        println!("{name}: ledger {ledger}, spread {before:.2} to {after:.2} LU");
        let p95 = of("gain_reduction/compressor/p95_db");
        assert!(of("gain_reduction/de_esser/p95_db") <= 6.0);
        // The limiter after the compressor acts on rare peaks only.
        assert!(of("gain_reduction/limiter/p95_db") < 1.0 && of("gain_reduction/limiter/max_db") < 6.0);
        // No stage changes the level much: high-pass and equalisers hardly change the loudness of a voice.
        assert!((-1.0..=0.2).contains(&high_pass) && corrective.abs() < 1.5 && tone.abs() < 1.5, "{name}: {ledger}");
        assert!((-3.0..=0.05).contains(&de_esser) && compressor.abs() < 4.0, "{name}: {ledger}");
        // Quiet words come closer to loud ones. A voice whose level is even is compressed by 1 to 3 dB, at 1.4:1,
        // others by 3 to 6 dB.
        let settings = report["voices"][index]["settings"].as_array().expect("settings");
        let compressor = settings.iter().find(|s| s["stage"] == "compressor").expect("a compressor");
        if compressor["description"].as_str().expect("a description").contains("1.4:1") {
            assert!(after < before && (1.0..=3.0).contains(&p95), "{name}: {before:.2} to {after:.2} LU, {p95} dB");
        } else {
            assert!(
                after < before - 0.5 && (3.0..=6.0).contains(&p95),
                "{name}: {before:.2} to {after:.2} LU, {p95} dB"
            );
        }
    }
    // The files cause one warning, about their rate; all other warnings are sentences about the voices.
    let empty = Vec::new();
    let all = |value: &Value| value.as_array().unwrap_or(&empty).clone();
    assert_eq!(all(&report["warnings"]), [""; 0]);
    for voice in all(&report["voices"]) {
        let warnings: Vec<String> = all(&voice["warnings"]).iter().filter_map(|w| w.as_str().map(Into::into)).collect();
        let of_file: Vec<_> = warnings.iter().filter(|w| !w.ends_with('.')).collect();
        assert!(of_file.len() == 1 && of_file[0].contains("22050 Hz"), "{warnings:?}");
    }
    assert!(number(&report, "/mix/limiter/p95_db") < 3.0);
}
