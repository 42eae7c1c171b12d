//! Short audio clips for the players of the report page, within a total size budget.
//!
//! Clips are 16-bit FLAC, written by the pure-Rust encoder `flacenc` and playable in every current browser. The budget
//! counts base64 characters in the page.

use base64::Engine;
use flacenc::component::BitRepr;
use flacenc::error::Verify;
use std::fmt;

/// Budget for all clips of a page, base64 characters.
pub const MAX_PAGE_CHARACTERS: usize = 12_000_000;

/// Maximum length of a clip, s.
pub const MAX_CLIP_S: f64 = 20.0;

/// Size of a mono voice at 48 kHz with a margin, base64 characters per second.
const EXPECTED_CHARACTERS_PER_S: f64 = 100_000.0;

/// Minimum useful length of a clip, s.
const MIN_CLIP_S: f64 = 3.0;

/// Length of fade-in and fade-out, which avoid clicks, s.
const FADE_S: f64 = 0.01;

/// Encoded clip.
#[derive(Clone, Debug, PartialEq)]
pub struct Clip {
    /// Encoded audio.
    pub bytes: Vec<u8>,
    /// MIME type.
    pub mime: &'static str,
    /// Length, s.
    pub seconds: f64,
}

impl Clip {
    /// The clip as a data URI.
    #[must_use]
    pub fn data_uri(&self) -> String {
        let mut uri = format!("data:{};base64,", self.mime);
        base64::engine::general_purpose::STANDARD.encode_string(&self.bytes, &mut uri);
        uri
    }

    /// Size of the clip, base64 characters.
    #[must_use]
    pub fn characters(&self) -> usize {
        self.bytes.len().div_ceil(3) * 4
    }
}

/// Length and size limits of the clips of a page.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClipBudget {
    /// Length of a clip, s.
    pub seconds: f64,
    /// Whether the sample rate is halved.
    pub halve_rate: bool,
    /// Maximum size of one clip, base64 characters; a larger clip is shortened.
    pub characters: usize,
}

impl ClipBudget {
    /// Budget for a page with this many clips (two per voice, one for the mix). `None` if the clips would be too short.
    #[must_use]
    pub fn for_clips(clips: usize) -> Option<Self> {
        let clips = clips.max(1);
        let characters = MAX_PAGE_CHARACTERS / clips;
        let full_rate_seconds = characters as f64 / EXPECTED_CHARACTERS_PER_S;
        let halve_rate = full_rate_seconds < MAX_CLIP_S;
        let room = if halve_rate { full_rate_seconds * 2.0 } else { full_rate_seconds };
        (room >= MIN_CLIP_S).then_some(Self { seconds: room.min(MAX_CLIP_S), halve_rate, characters })
    }
}

/// Error of encoding a clip.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ExcerptError(String);

impl fmt::Display for ExcerptError {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(formatter, "an excerpt could not be encoded: {}", self.0)
    }
}

impl std::error::Error for ExcerptError {}

/// Encodes both sides of a comparison at equal length. `before` and `after` are interleaved, aligned in time and
/// loudness-matched.
///
/// # Errors
/// The input is empty, or FLAC does not support its channel count or sample rate.
pub fn encode_pair(
    before: &[f32],
    after: &[f32],
    channels: usize,
    rate_hz: u32,
    budget: &ClipBudget,
) -> Result<(Clip, Clip), ExcerptError> {
    let mut seconds =
        budget.seconds.min(before.len().min(after.len()) as f64 / (channels.max(1) as f64 * f64::from(rate_hz)));
    loop {
        let budget = ClipBudget { seconds, ..*budget };
        let (before, after) = (encode(before, channels, rate_hz, &budget)?, encode(after, channels, rate_hz, &budget)?);
        if before.seconds == after.seconds {
            return Ok((before, after));
        }
        seconds = before.seconds.min(after.seconds);
    }
}

/// Encodes the start of `samples` (interleaved), at most `budget.seconds` and short enough for the size limit.
///
/// # Errors
/// The input is empty, or FLAC does not support its channel count or sample rate.
pub fn encode(samples: &[f32], channels: usize, rate_hz: u32, budget: &ClipBudget) -> Result<Clip, ExcerptError> {
    if !(1..=8).contains(&channels) || !(1..=655_350).contains(&rate_hz) {
        return Err(ExcerptError(format!("{channels} channels at {rate_hz} Hz")));
    }
    let (halved, rate_hz) = if budget.halve_rate && rate_hz >= 32_000 {
        (Some(decimate_by_2(samples, channels)), rate_hz.div_ceil(2))
    } else {
        (None, rate_hz)
    };
    let samples = halved.as_deref().unwrap_or(samples);
    let mut frames = (samples.len() / channels).min((budget.seconds * f64::from(rate_hz)).round() as usize);
    loop {
        if frames == 0 {
            return Err(ExcerptError("it has no samples".into()));
        }
        let bytes = flac(&to_pcm_16(&samples[..frames * channels], channels, rate_hz), channels, rate_hz)?;
        let clip = Clip { bytes, mime: "audio/flac", seconds: frames as f64 / f64::from(rate_hz) };
        if clip.characters() <= budget.characters {
            return Ok(clip);
        }
        frames = (frames as f64 * 0.97 * budget.characters as f64 / clip.characters() as f64) as usize;
    }
}

/// 16-bit samples with fade-in and fade-out. Non-finite samples become zero.
fn to_pcm_16(samples: &[f32], channels: usize, rate_hz: u32) -> Vec<i32> {
    let frames = samples.len() / channels;
    let fade = (FADE_S * f64::from(rate_hz)).round().max(1.0);
    samples
        .chunks_exact(channels)
        .enumerate()
        .flat_map(|(at, frame)| {
            let from_end = at.min(frames - 1 - at) as f64;
            let gain = (from_end / fade).min(1.0);
            frame.iter().map(move |&sample| {
                let sample = if sample.is_finite() { f64::from(sample) } else { 0.0 };
                (sample * gain * 32_768.0).round().clamp(-32_768.0, 32_767.0) as i32
            })
        })
        .collect()
}

fn flac(samples: &[i32], channels: usize, rate_hz: u32) -> Result<Vec<u8>, ExcerptError> {
    let config =
        flacenc::config::Encoder::default().into_verified().map_err(|(_, error)| ExcerptError(error.to_string()))?;
    let source = flacenc::source::MemSource::from_samples(samples, channels, 16, rate_hz as usize);
    let stream = flacenc::encode_with_fixed_block_size(&config, source, config.block_size)
        .map_err(|error| ExcerptError(error.to_string()))?;
    let mut sink = flacenc::bitsink::ByteSink::new();
    stream.write(&mut sink).map_err(|error| ExcerptError(error.to_string()))?;
    Ok(sink.as_slice().to_vec())
}

/// Decimates by two after a linear-phase low-pass at 0.44 of the new rate.
fn decimate_by_2(samples: &[f32], channels: usize) -> Vec<f32> {
    const HALF: isize = 47;
    let taps: Vec<f32> = (-HALF..=HALF)
        .map(|n| {
            let x = n as f64 * std::f64::consts::PI * 0.44;
            let sinc = if n == 0 { 1.0 } else { x.sin() / x };
            let window = 0.5 + 0.5 * (std::f64::consts::PI * n as f64 / (HALF + 1) as f64).cos();
            (0.44 * sinc * window) as f32
        })
        .collect();
    let frames = (samples.len() / channels) as isize;
    let mut halved = Vec::with_capacity(samples.len() / 2 + channels);
    for centre in (0..frames).step_by(2) {
        for channel in 0..channels {
            let sum: f32 = taps
                .iter()
                .zip(centre - HALF..)
                .filter(|(_, at)| (0..frames).contains(at))
                .map(|(tap, at)| tap * samples[at as usize * channels + channel])
                .sum();
            halved.push(sum);
        }
    }
    halved
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tone(hz: f64, rate_hz: u32, seconds: f64, level: f64) -> Vec<f32> {
        let frames = (seconds * f64::from(rate_hz)) as usize;
        (0..frames)
            .map(|n| (level * (std::f64::consts::TAU * hz * n as f64 / f64::from(rate_hz)).sin()) as f32)
            .collect()
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

    #[test]
    fn any_number_of_clips_stays_in_the_budget() {
        for clips in 1..=200 {
            let Some(budget) = ClipBudget::for_clips(clips) else {
                assert!(clips > 60, "no room for {clips} clips");
                continue;
            };
            assert!(budget.characters * clips <= MAX_PAGE_CHARACTERS);
            assert!((MIN_CLIP_S..=MAX_CLIP_S).contains(&budget.seconds));
        }
        let four = ClipBudget::for_clips(4).expect("room");
        assert_eq!((four.seconds, four.halve_rate), (20.0, false));
    }

    #[test]
    fn an_incompressible_clip_is_shortened_with_its_counterpart() {
        let budget = ClipBudget { seconds: 2.0, halve_rate: false, characters: 20_000 };
        let (loud, soft) = (noise(24_000), tone(200.0, 24_000, 1.0, 0.1));
        let (before, after) = encode_pair(&loud, &soft, 1, 24_000, &budget).expect("encodes");
        assert!(before.characters() <= 20_000 && after.characters() <= 20_000);
        assert_eq!(before.seconds, after.seconds);
        assert!(before.seconds > 0.2 && before.seconds < 0.5, "{}", before.seconds);
    }

    #[test]
    fn decimation_passes_speech_and_rejects_aliases() {
        let level = |hz| {
            let halved = decimate_by_2(&tone(hz, 48_000, 0.2, 0.5), 1);
            let middle = &halved[200..halved.len() - 200];
            let power: f32 = middle.iter().map(|x| x * x).sum::<f32>() / middle.len() as f32;
            10.0 * (power / 0.125).log10()
        };
        assert!(level(1_000.0).abs() < 0.05, "{}", level(1_000.0));
        assert!(level(9_000.0).abs() < 0.2, "{}", level(9_000.0));
        assert!(level(13_000.0) < -50.0, "{}", level(13_000.0));
    }

    #[test]
    fn empty_input_is_an_error() {
        let budget = ClipBudget::for_clips(1).expect("room");
        assert!(encode(&[], 1, 48_000, &budget).is_err());
        assert!(encode(&[0.0], 0, 48_000, &budget).is_err());
    }
}
