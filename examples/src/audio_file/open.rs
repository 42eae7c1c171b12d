//! Opening a recording: checks and metadata.

use std::fs::File;
use std::io::{self, Read, Seek};
use std::path::Path;

use super::decoding::{DecodeError, Media};
use super::encoder_delay::{EncoderDelay, GaplessMetadata};
use super::full_scale::FullScaleDetector;
use super::{AudioFile, MAX_UNDECODABLE_PACKETS, file_format, mp4};
use crate::error::{JobError, JobErrorKind};
use voicechain_core::SampleRate;

/// Lowest accepted sample rate, Hz.
pub const MIN_RATE_HZ: u32 = SampleRate::MIN_HZ as u32;
/// Highest accepted sample rate, Hz.
pub const MAX_RATE_HZ: u32 = SampleRate::MAX_HZ as u32;

impl AudioFile {
    /// Opens a recording and decodes its first packets.
    ///
    /// # Errors
    /// The file cannot be opened or decoded, contains no samples, or has an unsupported sample rate or channel count.
    pub fn open(path: impl AsRef<Path>) -> Result<Self, JobError> {
        let path = path.as_ref();
        let mut file = regular_file(path)?;
        let edit = mp4::edit(&mut file).unwrap_or_default();
        file.rewind().map_err(|e| JobError::opening(path, &e))?;
        let extension = path.extension().and_then(|e| e.to_str());
        let mut media = Media::open(file, extension).map_err(|fault| unreadable(path, fault))?;
        let format = ProbedFormat::find(&mut media).ok_or_else(|| unreadable(path, DecodeError::Damaged))?;
        format.check(path)?;

        let stated = GaplessMetadata {
            container: media.container,
            codec: media.codec,
            comment: if media.container == "isomp4" { media.gapless_comment() } else { None },
            edit,
            removed: media.delay_stated,
        };
        let delay = EncoderDelay::of(&stated, format.rate_hz);
        let frames_per_tick = media.tick_s.map_or(1.0, |seconds| seconds * f64::from(format.rate_hz));
        let coded = media.ticks.map(|t| (t as f64 * frames_per_tick).round() as u64).filter(|&n| n > 0);
        let stated = match (coded.map(|n| n.saturating_sub(delay.frames_to_skip)), delay.limit) {
            (Some(a), Some(b)) => Some(a.min(b)),
            (a, b) => a.or(b),
        };
        let bits = if file_format::is_integer_pcm(media.codec) { media.bits.unwrap_or(16) } else { 16 };
        let mut opened = Self {
            path: path.to_owned(),
            file_format: file_format::describe(media.container, media.codec, media.bits.or(media.coded_bits)),
            media,
            rate_hz: format.rate_hz,
            channels: format.channels,
            stated,
            frames_per_tick,
            frames_to_skip: delay.frames_to_skip,
            limit: delay.limit,
            done: 0,
            ahead: Vec::new(),
            ended: false,
            scratch: Vec::new(),
            full_scale: FullScaleDetector::new(bits, format.channels),
            damaged: None,
            truncated: false,
            delay_unknown: delay.unknown,
        };
        opened.read_ahead(format.first)?;
        Ok(opened)
    }

    /// Decodes packets until the first frames are available, starting with the packet decoded by
    /// [`ProbedFormat::find`].
    fn read_ahead(&mut self, decoded: Option<Vec<f32>>) -> Result<(), JobError> {
        let mut ahead = Vec::new();
        if let Some(samples) = decoded {
            self.scratch = samples;
            self.take_scratch(&mut ahead);
        }
        while !self.ended && ahead.is_empty() {
            self.next_packet(&mut ahead)?;
        }
        if ahead.is_empty() {
            return Err(if self.damaged.is_some() {
                unreadable(&self.path, DecodeError::Damaged)
            } else {
                let what = "the recording contains no samples";
                refused(&self.path, JobErrorKind::NoSound, what, "export or copy it again")
            });
        }
        self.ahead = ahead;
        Ok(())
    }
}

/// Sample rate and channel count as stated by the container, or else of the first decodable packet.
struct ProbedFormat {
    rate_hz: u32,
    channels: usize,
    /// Samples of that packet, if one had to be decoded.
    first: Option<Vec<f32>>,
}

impl ProbedFormat {
    fn find(media: &mut Media) -> Option<Self> {
        if let (Some(rate_hz), Some(channels)) = (media.rate_hz, media.channels) {
            return Some(Self { rate_hz, channels, first: None });
        }
        for _ in 0..MAX_UNDECODABLE_PACKETS {
            let packet = media.next_packet().ok()??;
            let mut samples = Vec::new();
            if media.is_audio_packet(&packet)
                && let Ok(format) = media.decode(&packet, &mut samples)
            {
                return Some(Self { rate_hz: format.rate_hz, channels: format.channels, first: Some(samples) });
            }
        }
        None
    }

    /// Checks sample rate and channel count.
    fn check(&self, path: &Path) -> Result<(), JobError> {
        if !(MIN_RATE_HZ..=MAX_RATE_HZ).contains(&self.rate_hz) {
            let what = format!("the sample rate is {} Hz", self.rate_hz);
            let advice = "use a rate from 8000 to 192000 Hz: check the file, or convert it";
            return Err(refused(path, JobErrorKind::Rate, what, advice));
        }
        if !(1..=2).contains(&self.channels) {
            let what = format!("the file has {} channels", self.channels);
            let advice = "export each voice as a mono or stereo file of its own";
            return Err(refused(path, JobErrorKind::Channels, what, advice));
        }
        Ok(())
    }
}

/// Opens a regular, non-empty file.
fn regular_file(path: &Path) -> Result<File, JobError> {
    let facts = std::fs::metadata(path).map_err(|e| JobError::opening(path, &e))?;
    if facts.is_dir() {
        return Err(JobError::opening(path, &io::Error::from(io::ErrorKind::IsADirectory)));
    }
    if !facts.is_file() {
        return Err(refused(path, JobErrorKind::NotAudio, "this is not a regular file", "name an audio file"));
    }
    if facts.len() == 0 {
        let what = "the file is empty (0 bytes)";
        return Err(refused(path, JobErrorKind::EmptyFile, what, "export or copy the recording again"));
    }
    File::open(path).map_err(|e| JobError::opening(path, &e))
}

/// Error for a file that the decoding library cannot read.
fn unreadable(path: &Path, fault: DecodeError) -> JobError {
    match fault {
        DecodeError::Io(e) => JobError::opening(path, &e),
        DecodeError::NoAudioTrack => {
            refused(path, JobErrorKind::NoSound, "the file has no audio track", "name a file that contains audio")
        }
        DecodeError::Unsupported => {
            let what = "the audio codec is not supported";
            refused(path, JobErrorKind::NotAudio, what, "convert it to WAV or FLAC")
        }
        DecodeError::UnexpectedEnd | DecodeError::FormatChanged | DecodeError::Damaged => {
            if is_rf64(path) {
                let what = "64-bit WAV files (RF64, BW64) are not supported";
                return refused(path, JobErrorKind::NotAudio, what, "convert it to FLAC");
            }
            let what = "not an audio file in a supported format, or damaged";
            let advice = "use WAV, AIFF, FLAC, MP3, M4A or Ogg Vorbis, or export it again";
            refused(path, JobErrorKind::NotAudio, what, advice)
        }
    }
}

fn refused(path: &Path, error_kind: JobErrorKind, what: impl Into<String>, advice: &str) -> JobError {
    JobError::new(error_kind, what, advice).at(path)
}

fn is_rf64(path: &Path) -> bool {
    let mut head = [0; 4];
    let read = File::open(path).and_then(|mut f| f.read_exact(&mut head));
    read.is_ok() && matches!(&head, b"RF64" | b"BW64")
}
