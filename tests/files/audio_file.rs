//! Conversion of integer samples to floats, and damaged files.

use dasp::Sample;
use proptest::prelude::*;
use std::path::Path;
use voicechain_examples::audio_file::AudioFile;

fn wav(path: &Path, channels: u16, rate: u32, bits: u16, float: bool, samples: &[f64]) {
    let sample_format = if float { hound::SampleFormat::Float } else { hound::SampleFormat::Int };
    let spec = hound::WavSpec { channels, sample_rate: rate, bits_per_sample: bits, sample_format };
    let mut writer = hound::WavWriter::create(path, spec).unwrap();
    for &s in samples {
        if float {
            writer.write_sample(s as f32).unwrap();
        } else {
            let top = 2f64.powi(i32::from(bits) - 1);
            writer.write_sample((s * top).round().clamp(-top, top - 1.0) as i32).unwrap();
        }
    }
    writer.finalize().unwrap();
}

fn wave(count: usize) -> Vec<f64> {
    (0..count).map(|n| 0.7 * (n as f64 * 0.05).sin() + 0.2 * (n as f64 * 0.731).cos()).collect()
}

/// The conversion equals that of `dasp`, bit for bit; a shorter word is the upper part of 32 bits.
#[test]
fn integer_samples_convert_like_an_independent_library() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.wav");
    for bits in [16, 24, 32] {
        let shift = 32 - bits;
        let spread = (0..20_000_u32).map(|n| n.wrapping_mul(0x9E37_79B9) as i32);
        let codes: Vec<i32> =
            spread.chain([i32::MIN, i32::MIN + 1, -1, 0, 1, i32::MAX]).map(|code| code >> shift).collect();
        let spec = hound::WavSpec {
            channels: 1,
            sample_rate: 48_000,
            bits_per_sample: bits,
            sample_format: hound::SampleFormat::Int,
        };
        let mut writer = hound::WavWriter::create(&path, spec).unwrap();
        codes.iter().for_each(|&code| writer.write_sample(code).unwrap());
        writer.finalize().unwrap();
        let mut file = AudioFile::open(&path).unwrap();
        let (mut all, mut chunk) = (Vec::new(), Vec::new());
        while file.read(&mut chunk).unwrap() > 0 {
            all.append(&mut chunk);
        }
        let expected: Vec<f32> = codes.iter().map(|&code| (code << shift).to_sample()).collect();
        assert!(all.iter().map(|s| s.to_bits()).eq(expected.iter().map(|s| s.to_bits())), "{bits} bit");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]
    #[test]
    fn damaged_files_never_panic_or_hang(
        hits in prop::collection::vec((0usize..9_000, any::<u8>()), 1..40), cut in 0usize..9_000, kind in 0usize..3,
    ) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.wav");
        wav(&path, 2, 48_000, [8, 16, 32][kind], kind == 2, &wave(4_000));
        let mut bytes = std::fs::read(&path).unwrap();
        for &(at, value) in &hits {
            // Half of the changed bytes lie in the headers, where they do most harm.
            let at = if at % 2 == 0 { at % 64 } else { at % bytes.len() };
            bytes[at] = value;
        }
        bytes.truncate(bytes.len().saturating_sub(cut));
        std::fs::write(&path, &bytes).unwrap();
        if let Ok(mut file) = AudioFile::open(&path) {
            let (mut chunk, mut total) = (Vec::new(), 0);
            while let Ok(frames) = file.read(&mut chunk) {
                total += frames;
                if frames == 0 {
                    break;
                }
            }
            prop_assert!(total <= 4 * bytes.len(), "{total} frames out of {} bytes", bytes.len());
        }
    }
}
