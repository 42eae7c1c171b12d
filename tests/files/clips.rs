//! The page's clips, read by an independent decoder.

use voicechain_examples::report::excerpt::{Clip, ClipBudget, MAX_PAGE_CHARACTERS, encode};

fn tone(hz: f64, rate_hz: u32, seconds: f64, level: f64) -> Vec<f32> {
    let frames = (seconds * f64::from(rate_hz)) as usize;
    (0..frames).map(|n| (level * (std::f64::consts::TAU * hz * n as f64 / f64::from(rate_hz)).sin()) as f32).collect()
}

fn noise(samples: usize) -> Vec<f32> {
    let mut state = 1u32;
    (0..samples)
        .map(|_| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            state as f32 / 2_147_483_648.0 - 1.0
        })
        .collect()
}

fn decoded(clip: &Clip) -> (Vec<i32>, u32, u32) {
    let mut reader = claxon::FlacReader::new(clip.bytes.as_slice()).expect("a FLAC stream");
    let info = reader.streaminfo();
    (reader.samples().map(|sample| sample.expect("a sample")).collect(), info.sample_rate, info.channels)
}

/// The expected 16-bit samples at 48 kHz: fades of 10 ms at both ends, clamped to full scale, zero for non-finite
/// samples.
fn expected(samples: &[f32], channels: usize) -> Vec<i32> {
    let frames = samples.len() / channels;
    let mut codes = Vec::new();
    for (n, sample) in samples.iter().enumerate() {
        let from_end = (n / channels).min(frames - 1 - n / channels);
        let fade = if from_end < 480 { from_end as f64 / 480.0 } else { 1.0 };
        let sample = if sample.is_finite() { f64::from(*sample) } else { 0.0 };
        codes.push(((sample * fade * 32_768.0).round() as i32).clamp(-32_768, 32_767));
    }
    codes
}

#[test]
fn an_independent_decoder_reads_back_the_exact_samples() {
    let budget = ClipBudget { seconds: 20.0, halve_rate: false, characters: MAX_PAGE_CHARACTERS };
    let mut samples = tone(440.0, 48_000, 0.3, 0.4);
    samples.extend(noise(9_000));
    samples.extend([f32::NAN, f32::INFINITY, 2.0, -2.0]);
    for channels in [1usize, 2] {
        let clip = encode(&samples, channels, 48_000, &budget).expect("encodes");
        let (read, rate, read_channels) = decoded(&clip);
        assert_eq!((rate, read_channels as usize), (48_000, channels));
        let frames = samples.len() / channels;
        assert_eq!(read, expected(&samples[..frames * channels], channels));
        assert_eq!(clip.characters(), clip.data_uri().len() - "data:audio/flac;base64,".len());
    }
}
