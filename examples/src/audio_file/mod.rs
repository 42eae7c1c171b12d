//! Reading a recording as a stream: one chunk of interleaved samples after the other, whatever the file's length.
//!
//! WAV (8 to 32 bit, float, ADPCM, A-law, µ-law), AIFF, FLAC, MP3, AAC and ALAC in MP4/M4A, AAC in ADTS, Ogg Vorbis.
//! What an encoder added before and after the sound is removed where the file states it; where it does not, the reader
//! says so in its [warnings](AudioFile::warnings).

mod clipping;
mod decoding;
mod encoder_delay;
mod file_format;
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
use clipping::ClippingDetector;
use decoding::{DecodeError, Media};

/// Below this rate a recording lacks audible treble and a warning says so.
const LOW_SAMPLE_RATE_HZ: u32 = 32_000;
/// A chunk is handed out once it holds this many frames; the last packet may carry it somewhat further.
const CHUNK_FRAMES: usize = 4_096;
/// So many packets in a row that cannot be decoded, before the first that can, make a file no audio file.
const MAX_UNDECODABLE_PACKETS: u64 = 200;

/// An open recording, read from its start to its end.
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
    /// Length that the file states, after removal of what the encoder added.
    stated: Option<u64>,
    /// Frames per unit of the packets' time base.
    frames_per_tick: f64,
    /// Frames still to be dropped at the start.
    frames_to_skip: u64,
    /// Frames after which the sound ends although packets go on.
    limit: Option<u64>,
    done: u64,
    /// Frames read ahead by `open`.
    ahead: Vec<f32>,
    ended: bool,
    scratch: Vec<f32>,
    clipping: ClippingDetector,
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

    /// Container, coding and word length in words, for tables and reports: "WAV, 24 bit".
    pub fn file_format(&self) -> &str {
        &self.file_format
    }

    /// The sample rate in Hz.
    pub fn rate_hz(&self) -> u32 {
        self.rate_hz
    }

    /// The number of channels, 1 or 2.
    pub fn channels(&self) -> usize {
        self.channels
    }

    /// The number of frames, where the file states it: what to expect for a progress bar. What counts is what is read.
    pub fn frames(&self) -> Option<u64> {
        self.stated
    }

    /// Frames handed out so far.
    pub fn position(&self) -> u64 {
        self.done - (self.ahead.len() / self.channels) as u64
    }

    /// Replaces the contents of `chunk` by the next few thousand frames, interleaved, and says how many there are; none
    /// at the end. Samples are passed on as they are in the file, infinities and NaN included.
    pub fn read(&mut self, chunk: &mut Vec<f32>) -> Result<usize, JobError> {
        chunk.clear();
        chunk.append(&mut self.ahead);
        while !self.ended && chunk.len() < CHUNK_FRAMES * self.channels {
            self.next_packet(chunk)?;
        }
        Ok(chunk.len() / self.channels)
    }

    /// What the person should know about this recording, as far as it has been read.
    pub fn warnings(&self) -> Vec<Warning> {
        let seconds = |frames: u64| frames as f64 / f64::from(self.rate_hz);
        let mut found = Vec::new();
        if self.rate_hz < LOW_SAMPLE_RATE_HZ {
            found.push(Warning::LowSampleRate { rate_hz: self.rate_hz });
        }
        if self.delay_unknown {
            found.push(Warning::UnknownEncoderDelay);
        }
        if let Some(first) = self.clipping.first {
            found.push(Warning::Clipped { stretches: self.clipping.stretches, first_s: seconds(first) });
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

    /// Decodes one packet onto the end of `out`.
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
                // The container is damaged from here on: what was read stands.
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
                // A second is far more than any packet holds; a damaged one may claim anything.
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

    /// Moves the decoded packet to `out`, without what the encoder added.
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
        self.clipping.push(kept, self.done);
        out.extend_from_slice(kept);
        self.done += keep;
    }

    fn end(&mut self) {
        self.ended = true;
        // Containers round their length to packets or milliseconds; a tenth of a second short is worth a word.
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
        JobError::new(JobErrorKind::Read, what, "check the disk, or copy the file").at(&self.path)
    }

    fn format_changed(&self) -> JobError {
        let what = format!("the sample rate or the number of channels changes at {:.1} s", self.seconds());
        JobError::new(JobErrorKind::Read, what, "split the file there, or convert it to WAV").at(&self.path)
    }
}
