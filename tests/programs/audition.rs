//! Audition clips of resonance candidates, checked on the written files. The candidates are invented.

use crate::directory::{TestDirectory, synthetic_voice};
use crate::measure::{DecodedWav, decode};
use std::f64::consts::TAU;
use std::fs;
use voicechain_core::measure::profile::Resonance;
use voicechain_examples::progress::NoProgress;
use voicechain_examples::voice_page::audition::clips;

fn candidate(frequency_hz: f64, prominence_db: f64) -> Resonance {
    Resonance { frequency_hz, prominence_db, q: 4.0, confidence: 0.3 }
}

/// Amplitude at a frequency in the middle of a clip.
fn amplitude(clip: &DecodedWav, hz: f64) -> f64 {
    let samples = clip.channel(0);
    let (from, rate) = (samples.len() / 4, f64::from(clip.rate_hz));
    // A whole number of periods of 10 Hz.
    let part = &samples[from..from + (rate * 0.1) as usize * 10];
    let (mut re, mut im) = (0.0, 0.0);
    for (n, s) in part.iter().enumerate() {
        let window = 0.5 - 0.5 * (TAU * n as f64 / part.len() as f64).cos();
        re += s * window * (TAU * hz * n as f64 / rate).cos();
        im += s * window * (TAU * hz * n as f64 / rate).sin();
    }
    re.hypot(im)
}

#[test]
fn clips_are_named_by_content_and_equally_loud() {
    let directory = TestDirectory::new();
    // Five seconds of silence, then voice: the clip must contain the voice.
    let samples: Vec<f64> = (0..16 * 44_100)
        .flat_map(|n| {
            let s = f64::from(n) / 44_100.0;
            let voice = if s < 5.0 { 0.0 } else { 0.2 * synthetic_voice(s, 160.0) };
            [voice, 0.5 * voice]
        })
        .collect();
    let path = directory.wav("v.wav", 44_100, 2, &samples);
    let dir = directory.path("new/clips");
    let made = clips(&path, &[candidate(480.0, 9.0), candidate(1_120.0, 4.5)], &dir, &mut NoProgress).expect("clips");
    let made = made.expect("some");
    assert!(made.start_s >= 4.5, "{}", made.start_s);
    assert_eq!(
        directory.names("new/clips").iter().filter(|n| !n.starts_with('.')).count(),
        0,
        "no clip may have its name before commit"
    );
    made.commit(Vec::new()).expect("placed");
    let names = directory.names("new/clips");
    assert_eq!(
        names,
        [
            "candidate-1-480-hz-a-unprocessed.wav",
            "candidate-1-480-hz-b-band.wav",
            "candidate-1-480-hz-c-processed.wav",
            "candidate-1-480-hz-d-removed.wav",
            "candidate-2-1120-hz-a-unprocessed.wav",
            "candidate-2-1120-hz-b-band.wav",
            "candidate-2-1120-hz-c-processed.wav",
            "candidate-2-1120-hz-d-removed.wav",
        ]
    );
    let decoded: Vec<DecodedWav> = names.iter().map(|name| decode(&dir.join(name))).collect();
    for of_one in decoded.chunks(4) {
        let lufs: Vec<f64> = of_one.iter().map(|clip| clip.levels().integrated_lufs).collect();
        for (clip, level) in of_one.iter().zip(&lufs) {
            assert_eq!((clip.rate_hz, clip.channels, clip.bits, clip.frames()), (44_100, 2, 24, 4 * 44_100));
            assert!((level - lufs[0]).abs() < 0.5 && *level < -22.9, "{lufs:?}");
            assert!(clip.levels().true_peak_dbtp < -0.8);
        }
    }
    // Level of a tone in the band relative to one far from it: higher in the band alone and in what the cut removes,
    // lower after the cut.
    let ratio = |clip: &DecodedWav| 20.0 * (amplitude(clip, 480.0) / amplitude(clip, 1_600.0)).log10();
    let [whole, band, processed, removed] = [0, 1, 2, 3].map(|k| ratio(&decoded[k]));
    assert!(
        band > whole + 15.0 && removed > whole + 15.0 && processed < whole - 3.0,
        "{whole} {band} {processed} {removed}"
    );
}

#[test]
fn clips_overwrite_nothing_and_need_candidates() {
    let directory = TestDirectory::new();
    let path = directory.voice("v.wav", 16_000, 6.0, 150.0);
    let make = |dir: &str| clips(&path, &[candidate(450.0, 8.0)], &directory.path(dir), &mut NoProgress);
    assert!(clips(&path, &[], &directory.path("none"), &mut NoProgress).expect("no error").is_none());
    assert!(!directory.path("none").exists());
    // A folder with earlier results keeps all of them.
    directory.run(&["v.wav"]).done();
    let before = directory.names("mixed");
    make("mixed").expect("clips").expect("some").commit(Vec::new()).expect("placed");
    assert_eq!(directory.names("mixed").len(), before.len() + 4);
    // A second run would overwrite the clips.
    let kept = fs::read(directory.path("mixed/candidate-1-450-hz-a-unprocessed.wav")).expect("a clip");
    let error = make("mixed").err().expect("refused").to_string();
    assert!(error.contains("would be overwritten"), "{error}");
    assert_eq!(kept, fs::read(directory.path("mixed/candidate-1-450-hz-a-unprocessed.wav")).expect("a clip"));
    // Uncommitted clips leave neither files nor a folder.
    drop(make("dropped").expect("clips"));
    assert!(!directory.path("dropped").exists());
}
