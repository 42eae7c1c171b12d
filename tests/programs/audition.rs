//! Clips of a candidate, judged by what is on the disk. The candidates are made by hand.

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

/// The amplitude of a frequency in the middle of a clip.
fn amplitude(heard: &DecodedWav, hz: f64) -> f64 {
    let samples = heard.channel(0);
    let (from, rate) = (samples.len() / 4, f64::from(heard.rate_hz));
    // Whole periods of 10 Hz.
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
fn clips_say_what_they_are_and_are_equally_loud() {
    let directory = TestDirectory::new();
    // Silence, then ten seconds of voice: the clip is of the voice.
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
        "nothing has its name yet"
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
    let heard: Vec<DecodedWav> = names.iter().map(|name| decode(&dir.join(name))).collect();
    for of_one in heard.chunks(4) {
        let lufs: Vec<f64> = of_one.iter().map(|clip| clip.levels().integrated_lufs).collect();
        for (clip, level) in of_one.iter().zip(&lufs) {
            assert_eq!((clip.rate_hz, clip.channels, clip.bits, clip.frames()), (44_100, 2, 24, 4 * 44_100));
            assert!((level - lufs[0]).abs() < 0.5 && *level < -22.9, "{lufs:?}");
            assert!(clip.levels().true_peak_dbtp < -0.8);
        }
    }
    // What is far from the band, against what is in it: gone from the band alone, less in what is removed; and the cut
    // leaves less of the band.
    let ratio = |clip: &DecodedWav| 20.0 * (amplitude(clip, 480.0) / amplitude(clip, 1_600.0)).log10();
    let [whole, band, left, removed] = [0, 1, 2, 3].map(|k| ratio(&heard[k]));
    assert!(band > whole + 15.0 && removed > whole + 15.0 && left < whole - 3.0, "{whole} {band} {left} {removed}");
}

#[test]
fn nothing_is_ever_overwritten_and_without_candidates_nothing_is_made() {
    let directory = TestDirectory::new();
    let path = directory.voice("v.wav", 16_000, 6.0, 150.0);
    let make = |dir: &str| clips(&path, &[candidate(450.0, 8.0)], &directory.path(dir), &mut NoProgress);
    assert!(clips(&path, &[], &directory.path("none"), &mut NoProgress).expect("no trouble").is_none());
    assert!(!directory.path("none").exists());
    // A folder of earlier results keeps all of them.
    directory.run(&["v.wav"]).done();
    let before = directory.names("mixed");
    make("mixed").expect("clips").expect("some").commit(Vec::new()).expect("placed");
    assert_eq!(directory.names("mixed").len(), before.len() + 4);
    // The second time they are in the way.
    let kept = fs::read(directory.path("mixed/candidate-1-450-hz-a-unprocessed.wav")).expect("a clip");
    let error = make("mixed").err().expect("refused").to_string();
    assert!(error.contains("would be overwritten"), "{error}");
    assert_eq!(kept, fs::read(directory.path("mixed/candidate-1-450-hz-a-unprocessed.wav")).expect("a clip"));
    // Clips that never get their names leave neither files nor the folder.
    drop(make("dropped").expect("clips"));
    assert!(!directory.path("dropped").exists());
}
