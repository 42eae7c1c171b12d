//! Streaming reader of recordings, in chunks of interleaved samples, for files of any length.
//!
//! Formats: WAV (8 to 32 bit, float, ADPCM, A-law, µ-law), AIFF, FLAC, MP3, AAC and ALAC in MP4/M4A, AAC in ADTS, Ogg
//! Vorbis. Encoder delay and padding are removed if the file states them; otherwise a [warning](AudioFile::warnings)
//! says so.

mod decoding;
mod encoder_delay;
mod file_format;
mod full_scale;
mod mp4;
mod open;
#[cfg(test)]
mod tests;
mod warning;

pub use decoding::is_decoding;
pub use open::{MAX_RATE_HZ, MIN_RATE_HZ};
pub use warning::Warning;

use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

use crate::error::{JobError, JobErrorKind, without_error_number};
use decoding::{DecodeError, Media};
use full_scale::FullScaleDetector;

/// Sample rate below which audible treble is missing and a warning is issued, Hz.
const LOW_SAMPLE_RATE_HZ: u32 = 32_000;
/// Minimum number of frames in a chunk, except at the end of the file. A chunk ends at a packet boundary.
const CHUNK_FRAMES: usize = 4_096;
/// Number of undecodable packets at the start of a file after which it is not an audio file.
const MAX_UNDECODABLE_PACKETS: u64 = 200;

/// Open recording, read once from start to end.
///
/// ```no_run
/// # use voicechain_examples::audio_file::AudioFile;
/// let mut file = AudioFile::open("anna.flac")?;
/// let mut chunk = Vec::new();
/// while file.read(&mut chunk)? > 0 {
///     for frame in chunk.chunks_exact(file.channels()) { /* … */ }
/// }
/// for warning in file.warnings() { eprintln!("{warning}"); }
/// # Ok::<(), voicechain_examples::JobError>(())
/// ```
pub struct AudioFile {
    path: PathBuf,
    media: Media,
    file_format: String,
    rate_hz: u32,
    channels: usize,
    /// Stated length without encoder delay and padding, frames.
    stated: Option<u64>,
    /// Frames per unit of the packets' time base.
    frames_per_tick: f64,
    /// Remaining frames to drop at the start.
    frames_to_skip: u64,
    /// Length after which the remaining packets hold only padding, frames.
    limit: Option<u64>,
    done: u64,
    /// Samples decoded by `open` and not yet read.
    ahead: Vec<f32>,
    ended: bool,
    scratch: Vec<f32>,
    full_scale: FullScaleDetector,
    damaged: Option<(u64, u64)>,
    truncated: bool,
    delay_unknown: bool,
}

impl fmt::Debug for AudioFile {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("AudioFile")
            .field("path", &self.path)
            .field("file_format", &self.file_format)
            .field("rate_hz", &self.rate_hz)
            .field("channels", &self.channels)
            .field("frames", &self.stated)
            .finish_non_exhaustive()
    }
}

impl AudioFile {
    /// The file's path.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Container, codec and word length for tables and reports, such as "WAV, 24 bit".
    pub fn file_format(&self) -> &str {
        &self.file_format
    }

    /// Sample rate, Hz.
    pub fn rate_hz(&self) -> u32 {
        self.rate_hz
    }

    /// Number of channels, 1 or 2.
    pub fn channels(&self) -> usize {
        self.channels
    }

    /// Number of frames as stated by the file, for progress bars. The number actually read may differ.
    pub fn frames(&self) -> Option<u64> {
        self.stated
    }

    /// Number of frames read.
    pub fn position(&self) -> u64 {
        self.done - (self.ahead.len() / self.channels) as u64
    }

    /// Replaces the contents of `chunk` by the next few thousand interleaved frames. Returns the number of frames, 0 at
    /// the end. Samples are unchanged, including infinities and NaN.
    ///
    /// # Errors
    /// The disk fails, or the audio format changes within the file.
    pub fn read(&mut self, chunk: &mut Vec<f32>) -> Result<usize, JobError> {
        chunk.clear();
        chunk.append(&mut self.ahead);
        while !self.ended && chunk.len() < CHUNK_FRAMES * self.channels {
            self.next_packet(chunk)?;
        }
        Ok(chunk.len() / self.channels)
    }

    /// Warnings about the recording as far as it has been read.
    pub fn warnings(&self) -> Vec<Warning> {
        let seconds = |frames: u64| frames as f64 / f64::from(self.rate_hz);
        let mut found = Vec::new();
        if self.rate_hz < LOW_SAMPLE_RATE_HZ {
            found.push(Warning::LowSampleRate { rate_hz: self.rate_hz });
        }
        if self.delay_unknown {
            found.push(Warning::UnknownEncoderDelay);
        }
        if let Some(first) = self.full_scale.first {
            found.push(Warning::FullScale { stretches: self.full_scale.stretches, first_s: seconds(first) });
        }
        if let Some((packets, first)) = self.damaged {
            found.push(Warning::Damaged { packets, first_s: seconds(first) });
        }
        if let (true, Some(stated)) = (self.truncated, self.stated) {
            found.push(Warning::Truncated { end_s: seconds(self.done), stated_s: seconds(stated) });
        }
        found
    }

    fn seconds(&self) -> f64 {
        self.done as f64 / f64::from(self.rate_hz)
    }

    /// Decodes one packet and appends it to `out`.
    fn next_packet(&mut self, out: &mut Vec<f32>) -> Result<(), JobError> {
        let packet = match self.media.next_packet() {
            Ok(Some(packet)) => packet,
            Ok(None) | Err(DecodeError::UnexpectedEnd) => {
                self.end();
                return Ok(());
            }
            Err(DecodeError::Io(e)) => return Err(self.read_error(&e)),
            Err(DecodeError::FormatChanged) => return Err(self.format_changed()),
            Err(DecodeError::Unsupported | DecodeError::NoAudioTrack | DecodeError::Damaged) => {
                // The container is damaged from here on: the recording ends.
                self.note_damage();
                self.end();
                return Ok(());
            }
        };
        if !self.media.is_audio_packet(&packet) {
            return Ok(());
        }
        match self.media.decode(&packet, &mut self.scratch) {
            Ok(format) => {
                let same = format.rate_hz == self.rate_hz && format.channels == self.channels;
                if !same && !self.scratch.is_empty() {
                    return Err(self.format_changed());
                }
            }
            Err(DecodeError::Io(e)) => return Err(self.read_error(&e)),
            Err(DecodeError::FormatChanged) => return Err(self.format_changed()),
            Err(
                DecodeError::UnexpectedEnd
                | DecodeError::Unsupported
                | DecodeError::NoAudioTrack
                | DecodeError::Damaged,
            ) => {
                self.note_damage();
                let undecodable =
                    self.damaged.is_some_and(|(packets, first)| first == 0 && packets >= MAX_UNDECODABLE_PACKETS);
                if undecodable && self.done == 0 && out.is_empty() {
                    self.ended = true;
                    return Ok(());
                }
                // A damaged packet may claim any length: it is limited to one second, far more than a packet holds.
                let frames = (packet.dur.get() as f64 * self.frames_per_tick).round().min(f64::from(self.rate_hz));
                self.scratch.clear();
                if self.done > 0 {
                    self.scratch.resize(frames as usize * self.channels, 0.0);
                }
            }
        }
        self.take_scratch(out);
        Ok(())
    }

    /// Appends the decoded packet to `out`, without encoder delay and padding.
    fn take_scratch(&mut self, out: &mut Vec<f32>) {
        let frames = self.scratch.len() / self.channels;
        let dropped = self.frames_to_skip.min(frames as u64);
        self.frames_to_skip -= dropped;
        let mut keep = frames as u64 - dropped;
        if let Some(limit) = self.limit {
            keep = keep.min(limit.saturating_sub(self.done));
            if self.done + keep >= limit {
                self.ended = true;
            }
        }
        let from = dropped as usize * self.channels;
        let kept = &self.scratch[from..from + keep as usize * self.channels];
        self.full_scale.push(kept, self.done);
        out.extend_from_slice(kept);
        self.done += keep;
    }

    fn end(&mut self) {
        self.ended = true;
        // Containers round their length to packets or milliseconds, so that only a deficit above 0.1 s counts.
        if let Some(stated) = self.stated {
            self.truncated = self.done + u64::from(self.rate_hz / 10) < stated;
        }
    }

    fn note_damage(&mut self) {
        let at = self.done;
        let (packets, _) = self.damaged.get_or_insert((0, at));
        *packets += 1;
    }

    fn read_error(&self, error: &io::Error) -> JobError {
        let what = format!("reading failed at {:.1} s ({})", self.seconds(), without_error_number(error));
        JobError::new(JobErrorKind::Read, what, "check the disk, or use another copy of the file").at(&self.path)
    }

    fn format_changed(&self) -> JobError {
        let what = format!("the sample rate or the number of channels changes at {:.1} s", self.seconds());
        JobError::new(JobErrorKind::Read, what, "split the file there, or convert it to WAV").at(&self.path)
    }
}
