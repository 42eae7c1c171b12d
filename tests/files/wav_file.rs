//! Written files: every word length, dither, complete files only, and spools.

use proptest::prelude::*;
use std::f64::consts::TAU;
use std::path::Path;
use voicechain_examples::JobErrorKind;
use voicechain_examples::audio_file::AudioFile;
use voicechain_examples::wav_file::{Dither, Spool, WavFile, WavFormat, check_size};

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<_> =
        std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

fn written(samples: &[f32], channels: u16, format: WavFormat) -> Vec<i32> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.wav");
    let mut file = WavFile::create(&path, 48_000, channels, format).unwrap();
    for chunk in samples.chunks(999 * usize::from(channels)) {
        file.write(chunk).unwrap();
    }
    assert_eq!(file.finish().unwrap(), (samples.len() / usize::from(channels)) as u64);
    let mut reader = hound::WavReader::open(&path).unwrap();
    assert_eq!(reader.spec().channels, channels);
    assert_eq!(reader.spec().bits_per_sample, format.bits());
    match format {
        WavFormat::Float32 => reader.samples::<f32>().map(|s| s.unwrap().to_bits() as i32).collect(),
        _ => reader.samples::<i32>().map(|s| s.unwrap()).collect(),
    }
}

#[test]
fn floats_are_written_bit_exactly_and_24_bits_are_rounded() {
    let samples = [0.0, -0.0, 1.0e-30, 0.3, -1.0, 1.5, f32::NAN, f32::INFINITY];
    let bits: Vec<i32> = samples.iter().map(|s| s.to_bits() as i32).collect();
    assert_eq!(written(&samples, 2, WavFormat::Float32), bits);
    let codes = written(&[0.5, -1.0, 1.0, 2.0, -3.0, f32::NAN, 1.6 / 8_388_608.0, 0.0], 1, WavFormat::Int24);
    assert_eq!(codes, [4_194_304, -8_388_608, 8_388_607, 8_388_607, -8_388_608, 0, 2, 0]);
}

#[test]
fn overs_are_clamped_and_counted() {
    let folder = tempfile::tempdir().unwrap();
    let mut file = WavFile::create(folder.path().join("a.wav"), 48_000, 1, WavFormat::Int16).unwrap();
    file.write(&[1.0, -1.0, 0.999, 1.2, -7.0, f32::INFINITY, f32::NAN]).unwrap();
    assert_eq!(file.clipped(), 3);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]
    #[test]
    fn dither_is_triangular_within_two_steps(seed in any::<u64>()) {
        let mut dither = Dither::new(seed);
        let mut outer = 0;
        for _ in 0..40_000 {
            let step = dither.next_lsb();
            prop_assert!((-1.0..=1.0).contains(&step));
            outer += u32::from(step.abs() > 0.5);
        }
        // P(|d| > 1/2) = 1/4 for a triangular distribution; standard error 0.0022.
        prop_assert!((f64::from(outer) / 40_000.0 - 0.25).abs() < 0.011);
    }
}

/// Amplitude of a sine in a signal, by correlation over whole periods.
fn amplitude(signal: &[f64], cycles_per_sample: f64) -> f64 {
    let (mut re, mut im) = (0.0, 0.0);
    for (n, s) in signal.iter().enumerate() {
        let phase = TAU * cycles_per_sample * n as f64;
        re += s * phase.cos();
        im += s * phase.sin();
    }
    2.0 * re.hypot(im) / signal.len() as f64
}

#[test]
fn dither_preserves_a_sine_below_one_step_without_harmonics() {
    // −100 dBFS is 0.33 of a 16-bit step: without dither it would become silence or a square wave.
    let count = 1 << 20;
    let cycle = 1_000.0 / f64::from(count);
    let amplitude_in = 1.0e-5;
    let samples: Vec<f32> = (0..count).map(|n| (amplitude_in * (TAU * cycle * f64::from(n)).sin()) as f32).collect();
    let codes: Vec<f64> = written(&samples, 1, WavFormat::Int16).into_iter().map(|c| f64::from(c) / 32_768.0).collect();
    let gain_db = 20.0 * (amplitude(&codes, cycle) / amplitude_in).log10();
    assert!(gain_db.abs() < 0.1, "{gain_db}");
    // One frequency of the noise (variance LSB²/4) has an expected amplitude of LSB/√n; the limit is five times that.
    let floor = 5.0 / 32_768.0 / f64::from(count).sqrt();
    for harmonic in 2..10 {
        let found = amplitude(&codes, cycle * f64::from(harmonic));
        assert!(found < floor, "harmonic {harmonic}: {found:e}, floor {floor:e}");
    }
    let plain: Vec<f64> = samples.iter().map(|s| (f64::from(*s) * 32_768.0).round()).collect();
    assert_eq!(amplitude(&plain, cycle), 0.0, "negative control: plain rounding gives silence");
}

#[test]
fn written_files_read_back_within_their_resolution() {
    let folder = tempfile::tempdir().unwrap();
    let samples: Vec<f32> = (0..30_000).map(|n| (n as f32 * 0.037).sin() * 0.9).collect();
    for (format, step) in
        [(WavFormat::Int16, 1.51 / 32_768.0), (WavFormat::Int24, 0.51 / 8_388_608.0), (WavFormat::Float32, 0.0)]
    {
        let path = folder.path().join("b.wav");
        let mut file = WavFile::create(&path, 96_000, 2, format).unwrap();
        file.write(&samples).unwrap();
        file.finish().unwrap();
        let mut back = AudioFile::open(&path).unwrap();
        assert_eq!((back.rate_hz(), back.channels(), back.frames()), (96_000, 2, Some(15_000)));
        assert_eq!(back.file_format(), format!("WAV, {}", format.name()));
        let (mut all, mut chunk) = (Vec::new(), Vec::new());
        while back.read(&mut chunk).unwrap() > 0 {
            all.append(&mut chunk);
        }
        assert_eq!(all.len(), samples.len());
        assert!(all.iter().zip(&samples).all(|(a, b)| (a - b).abs() <= step), "{}", format.name());
    }
}

#[test]
fn the_same_samples_give_the_same_file() {
    let samples: Vec<f32> = (0..5_000).map(|n| (n as f32 * 0.01).sin() * 0.3).collect();
    assert_eq!(written(&samples, 2, WavFormat::Int16), written(&samples, 2, WavFormat::Int16));
}

#[test]
fn unfinished_files_leave_nothing_behind() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("mix.wav");
    {
        let mut file = WavFile::create(&path, 48_000, 2, WavFormat::Int24).unwrap();
        file.write(&[0.1; 20_000]).unwrap();
        assert_eq!(names(folder.path()).len(), 1);
        assert!(!path.exists());
    }
    assert!(names(folder.path()).is_empty());
    std::fs::write(&path, "older").unwrap();
    let mut file = WavFile::create(&path, 48_000, 2, WavFormat::Int24).unwrap();
    file.write(&[0.1; 20_000]).unwrap();
    assert_eq!(std::fs::read(&path).unwrap(), b"older");
    file.finish().unwrap();
    assert_eq!(names(folder.path()), ["mix.wav"]);
    assert_eq!(hound::WavReader::open(&path).unwrap().duration(), 10_000);
}

#[test]
fn unwritable_paths_are_reported() {
    let folder = tempfile::tempdir().unwrap();
    let missing = folder.path().join("no").join("mix.wav");
    let error = WavFile::create(&missing, 48_000, 1, WavFormat::Int16).unwrap_err();
    assert_eq!((error.error_kind(), error.path()), (JobErrorKind::Unwritable, Some(missing.as_path())));
    assert_eq!(error.to_string().lines().count(), 1);
    let error = WavFile::create(folder.path(), 48_000, 1, WavFormat::Int16).unwrap_err();
    assert_eq!(error.error_kind(), JobErrorKind::Unwritable);
}

#[test]
fn four_gibibytes_are_refused_before_work_starts() {
    // 4 GiB / (2 channels · 3 bytes) = 715 827 882 frames.
    assert!(check_size(715_827_000, 2, WavFormat::Int24).is_ok());
    let error = check_size(715_827_883, 2, WavFormat::Int24).unwrap_err();
    assert_eq!(error.error_kind(), JobErrorKind::TooLong);
    assert!(check_size(715_827_883, 2, WavFormat::Int16).is_ok());
    assert!(check_size(u64::MAX, 2, WavFormat::Int16).is_err());
    assert!(check_size(0, 1, WavFormat::Float32).is_ok());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(32))]
    #[test]
    fn a_spool_returns_its_samples_bit_exactly(words in prop::collection::vec(any::<u32>(), 0..3_000), part in 1usize..700) {
        let samples: Vec<f32> = words[..words.len() / 2 * 2].iter().map(|&w| f32::from_bits(w)).collect();
        let folder = tempfile::tempdir().unwrap();
        let mut spool = Spool::create(folder.path(), 2).unwrap();
        for chunk in samples.chunks(part * 2) {
            spool.write(chunk).unwrap();
        }
        prop_assert_eq!(spool.frames() as usize, samples.len() / 2);
        let mut reader = spool.into_reader().unwrap();
        for _ in 0..2 {
            let (mut back, mut chunk) = (Vec::new(), Vec::new());
            while reader.read(&mut chunk, part + 3).unwrap() > 0 {
                back.extend(chunk.iter().map(|s| s.to_bits()));
            }
            prop_assert!(back.iter().eq(samples.iter().map(|s| s.to_bits()).collect::<Vec<_>>().iter()));
            reader.rewind().unwrap();
        }
        prop_assert!(names(folder.path()).is_empty(), "a spool has no name in its folder");
    }
}
