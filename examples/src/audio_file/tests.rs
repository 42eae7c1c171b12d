//! Round trips of intact and damaged recordings in all formats.

use super::*;

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

fn read_all(path: &Path) -> (AudioFile, Vec<f32>) {
    let mut file = AudioFile::open(path).unwrap();
    let (mut all, mut chunk) = (Vec::new(), Vec::new());
    loop {
        let frames = file.read(&mut chunk).unwrap();
        assert_eq!(chunk.len(), frames * file.channels());
        if frames == 0 {
            assert_eq!(file.read(&mut chunk).unwrap(), 0, "a second read at the end returns frames");
            return (file, all);
        }
        assert!(frames < CHUNK_FRAMES + 70_000);
        all.extend_from_slice(&chunk);
        assert_eq!(file.position() as usize * file.channels(), all.len());
    }
}

fn wave(count: usize) -> Vec<f64> {
    (0..count).map(|n| 0.7 * (n as f64 * 0.05).sin() + 0.2 * (n as f64 * 0.731).cos()).collect()
}

#[test]
fn wav_of_every_word_length() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.wav");
    let signal = wave(20_000);
    for (bits, float) in [(8, false), (16, false), (24, false), (32, false), (32, true)] {
        for channels in [1, 2] {
            wav(&path, channels, 44_100, bits, float, &signal);
            let (file, all) = read_all(&path);
            assert_eq!((file.rate_hz(), file.channels()), (44_100, usize::from(channels)));
            assert_eq!(file.frames(), Some(20_000 / u64::from(channels)));
            assert_eq!(
                file.file_format(),
                if float { "WAV, 32 bit float".to_owned() } else { format!("WAV, {bits} bit") }
            );
            assert_eq!(all.len(), signal.len());
            let step = if float { 1e-7 } else { (0.5 / 2f64.powi(i32::from(bits) - 1)).max(6e-8) };
            for (a, b) in all.iter().zip(&signal) {
                assert!((f64::from(*a) - b).abs() <= step * 1.001, "{bits} bit: {a} for {b}");
            }
            assert!(file.warnings().is_empty(), "{:?}", file.warnings());
        }
    }
}

#[test]
fn flac_is_decoded_bit_exactly() {
    use flacenc::component::BitRepr;
    use flacenc::error::Verify;
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.flac");
    let codes: Vec<i32> = wave(30_000).iter().map(|s| (s * 8_388_608.0) as i32).collect();
    let config = flacenc::config::Encoder::default().into_verified().unwrap();
    let source = flacenc::source::MemSource::from_samples(&codes, 2, 24, 48_000);
    let stream = flacenc::encode_with_fixed_block_size(&config, source, config.block_size).unwrap();
    let mut sink = flacenc::bitsink::ByteSink::new();
    stream.write(&mut sink).unwrap();
    let mut bytes = sink.as_slice().to_vec();
    // This encoder counts the short last block as the minimum block size; RFC 9639, 8.2, excludes it.
    bytes.copy_within(10..12, 8);
    std::fs::write(&path, &bytes).unwrap();
    let (file, all) = read_all(&path);
    assert_eq!((file.file_format(), file.rate_hz(), file.channels()), ("FLAC, 24 bit", 48_000, 2));
    assert!(all.iter().map(|s| (s * 8_388_608.0) as i32).eq(codes));
    assert!(file.warnings().is_empty());
    // Half a file is read to its end, with a warning.
    std::fs::write(&path, &bytes[..bytes.len() / 2]).unwrap();
    let (file, all) = read_all(&path);
    assert!(all.len() > 8_000 && all.len() < 20_000, "{}", all.len());
    assert!(file.warnings().iter().any(|w| matches!(w, Warning::Truncated { .. })), "{:?}", file.warnings());
}

#[test]
fn non_finite_samples_are_passed_on() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.wav");
    wav(&path, 1, 48_000, 32, true, &[0.1, f64::NAN, f64::INFINITY, -7.5, 0.2]);
    let (_, all) = read_all(&path);
    assert!(all[1].is_nan());
    assert_eq!([all[0], all[2], all[3], all[4]], [0.1, f32::INFINITY, -7.5, 0.2]);
}

fn refusal(path: &Path) -> JobErrorKind {
    let error = AudioFile::open(path).unwrap_err();
    let line = error.to_string();
    assert!(line.lines().count() == 1 && line.starts_with(&path.display().to_string()), "{line}");
    assert!(!error.advice().is_empty());
    error.error_kind()
}

#[test]
fn bad_files_are_refused_in_one_line() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.wav");
    assert_eq!(refusal(&path), JobErrorKind::Missing);
    assert_eq!(refusal(folder.path()), JobErrorKind::IsFolder);
    std::fs::write(&path, "").unwrap();
    assert_eq!(refusal(&path), JobErrorKind::EmptyFile);
    std::fs::write(&path, "Dear diary, today the lamp went out. ".repeat(500)).unwrap();
    assert_eq!(refusal(&path), JobErrorKind::NotAudio);
    std::fs::write(&path, [0; 100_000]).unwrap();
    assert_eq!(refusal(&path), JobErrorKind::NotAudio);
    wav(&path, 1, 48_000, 16, false, &[]);
    assert_eq!(refusal(&path), JobErrorKind::NoSound);
    wav(&path, 1, 4_000, 16, false, &wave(500));
    assert_eq!(refusal(&path), JobErrorKind::Rate);
    wav(&path, 1, 384_000, 16, false, &wave(500));
    assert_eq!(refusal(&path), JobErrorKind::Rate);
    wav(&path, 3, 48_000, 16, false, &wave(600));
    assert_eq!(refusal(&path), JobErrorKind::Channels);
    wav(&path, 1, 48_000, 16, false, &wave(600));
    let mut bytes = std::fs::read(&path).unwrap();
    bytes.truncate(30);
    std::fs::write(&path, &bytes).unwrap();
    assert_eq!(refusal(&path), JobErrorKind::NotAudio);
    bytes[..4].copy_from_slice(b"RF64");
    std::fs::write(&path, &bytes).unwrap();
    assert!(AudioFile::open(&path).unwrap_err().to_string().contains("RF64"));
}

#[test]
fn a_truncated_wav_is_read_with_a_warning() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.wav");
    wav(&path, 1, 48_000, 16, false, &wave(96_000));
    let bytes = std::fs::read(&path).unwrap();
    std::fs::write(&path, &bytes[..44 + 96_000]).unwrap();
    let (file, all) = read_all(&path);
    assert!((46_000..=48_000).contains(&all.len()), "{}", all.len());
    assert!(matches!(file.warnings()[..], [Warning::Truncated { stated_s: 2.0, .. }]), "{:?}", file.warnings());
}

#[test]
fn full_scale_stretches_are_counted_per_channel_from_four_samples_on() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.wav");
    for (bits, float) in [(8, false), (16, false), (24, false), (32, true)] {
        let mut signal = vec![0.1; 40_000];
        // Left: four samples. Right: three samples, then five that change sign after three, then nine.
        (0..4).for_each(|n| signal[2 * (10_000 + n)] = 1.0);
        (0..3).for_each(|n| signal[2 * (11_000 + n) + 1] = 1.0);
        (0..5).for_each(|n| signal[2 * (12_000 + n) + 1] = if n < 3 { 1.0 } else { -1.0 });
        (0..9).for_each(|n| signal[2 * (13_000 + n) + 1] = -1.0);
        wav(&path, 2, 48_000, bits, float, &signal);
        let (file, _) = read_all(&path);
        let expected = Warning::FullScale { stretches: 2, first_s: 10_000.0 / 48_000.0 };
        assert_eq!(file.warnings(), [expected], "{bits} bit");
    }
}

#[test]
fn a_low_sample_rate_causes_a_warning() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.wav");
    wav(&path, 1, 16_000, 16, false, &wave(1_000));
    let (file, _) = read_all(&path);
    assert_eq!(file.warnings(), [Warning::LowSampleRate { rate_hz: 16_000 }]);
    let words = file.warnings()[0].to_string();
    assert_eq!(words, "sample rate of 16000 Hz: the recording contains nothing above 8 kHz");
}

#[test]
fn a_panic_in_the_decoding_library_is_reported_as_a_damaged_file() {
    // 34 channels with a channel mask: the library shifts by more than 31 bits, which panics in debug builds.
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.wav");
    wav(&path, 2, 48_000, 32, true, &wave(4_000));
    let mut bytes = std::fs::read(&path).unwrap();
    bytes[22] = 34;
    std::fs::write(&path, &bytes).unwrap();
    if cfg!(debug_assertions) {
        assert!(matches!(refusal(&path), JobErrorKind::NotAudio | JobErrorKind::Channels));
    } else {
        // In release builds only the absence of a panic is checked.
        let _ = AudioFile::open(&path);
    }
}
