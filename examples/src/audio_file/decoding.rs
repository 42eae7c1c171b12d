//! Wrapper around the decoding library: container, decoder of the audio track, and their errors.

use std::cell::Cell;
use std::fs::File;
use std::io;
use std::panic::{self, AssertUnwindSafe};

use symphonia::core::codecs::audio::{AudioDecoder, AudioDecoderOptions};
use symphonia::core::errors::Error as MediaError;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatOptions, FormatReader, TrackType};
use symphonia::core::io::{MediaSourceStream, MediaSourceStreamOptions};
use symphonia::core::meta::MetadataOptions;
use symphonia::core::packet::Packet;

/// Error of the decoding library.
#[derive(Debug)]
pub(super) enum DecodeError {
    /// The file ends unexpectedly.
    UnexpectedEnd,
    /// The file cannot be read.
    Io(io::Error),
    /// The sample rate or channel count changes.
    FormatChanged,
    /// The container is supported, its codec is not.
    Unsupported,
    /// The file has no audio track.
    NoAudioTrack,
    /// The data are invalid.
    Damaged,
}

impl From<MediaError> for DecodeError {
    fn from(error: MediaError) -> Self {
        match error {
            MediaError::IoError(e) if e.kind() == io::ErrorKind::UnexpectedEof => Self::UnexpectedEnd,
            MediaError::IoError(e) => Self::Io(e),
            MediaError::ResetRequired => Self::FormatChanged,
            MediaError::Unsupported(_) => Self::Unsupported,
            _ => Self::Damaged,
        }
    }
}

thread_local! {
    static DECODING: Cell<bool> = const { Cell::new(false) };
}

/// Whether the decoding library is running on this thread. Panics are then caught and become errors; a program can
/// suppress their message with [`terminal::hide_decoder_panics`](crate::terminal::hide_decoder_panics).
#[must_use]
pub fn is_decoding() -> bool {
    DECODING.get()
}

/// Calls the decoding library and turns a panic into [`DecodeError::Damaged`], because some damaged files make it
/// panic.
fn catch_panics<T>(work: impl FnOnce() -> Result<T, MediaError>) -> Result<T, DecodeError> {
    DECODING.set(true);
    let result = panic::catch_unwind(AssertUnwindSafe(work));
    DECODING.set(false);
    result.map_or(Err(DecodeError::Damaged), |done| done.map_err(DecodeError::from))
}

/// Sample rate and channel count of a decoded packet.
pub(super) struct AudioFormat {
    pub(super) rate_hz: u32,
    pub(super) channels: usize,
}

/// Open container with the decoder of its audio track.
pub(super) struct Media {
    format: Box<dyn FormatReader>,
    decoder: Box<dyn AudioDecoder>,
    track: u32,
    /// Short name of the container.
    pub(super) container: &'static str,
    /// Short name of the codec.
    pub(super) codec: &'static str,
    /// Stated sample rate, Hz.
    pub(super) rate_hz: Option<u32>,
    /// Stated number of channels.
    pub(super) channels: Option<usize>,
    /// Bits per sample.
    pub(super) bits: Option<u32>,
    /// Bits per coded sample.
    pub(super) coded_bits: Option<u32>,
    /// Length in ticks.
    pub(super) ticks: Option<u64>,
    /// Seconds per tick; `None` if a tick is a frame.
    pub(super) tick_s: Option<f64>,
    /// Whether the container states the encoder delay, which the library then removes.
    pub(super) delay_stated: bool,
}

impl Media {
    /// Detects the format of a file, with its extension as a hint, and opens a decoder.
    pub(super) fn open(file: File, extension: Option<&str>) -> Result<Self, DecodeError> {
        let mut hint = Hint::new();
        if let Some(extension) = extension {
            hint.with_extension(extension);
        }
        let stream = MediaSourceStream::new(Box::new(file), MediaSourceStreamOptions::default());
        let probe = symphonia::default::get_probe();
        let format = catch_panics(|| probe.probe(&hint, stream, FormatOptions::default(), MetadataOptions::default()))
            .map_err(|fault| if matches!(fault, DecodeError::Unsupported) { DecodeError::Damaged } else { fault })?;
        let track = format.default_track(TrackType::Audio).ok_or(DecodeError::NoAudioTrack)?;
        let params = track.codec_params.as_ref().and_then(|p| p.audio()).ok_or(DecodeError::NoAudioTrack)?.clone();
        let (id, ticks, delay_stated) = (track.id, track.num_frames, track.delay.is_some());
        let tick_s = track.time_base.map(|base| f64::from(base.numer.get()) / f64::from(base.denom.get()));
        let codecs = symphonia::default::get_codecs();
        let decoder = catch_panics(|| codecs.make_audio_decoder(&params, &AudioDecoderOptions::default()))?;
        Ok(Self {
            container: format.format_info().short_name,
            codec: decoder.codec_info().short_name,
            track: id,
            rate_hz: params.sample_rate,
            channels: params.channels.as_ref().map(|c| c.count()),
            bits: params.bits_per_sample,
            coded_bits: params.bits_per_coded_sample,
            ticks,
            tick_s,
            delay_stated,
            format,
            decoder,
        })
    }

    /// The `iTunSMPB` comment in which some AAC encoders state delay and length.
    pub(super) fn gapless_comment(&mut self) -> Option<String> {
        let mut metadata = self.format.metadata();
        let revision = metadata.skip_to_latest()?;
        let tag = revision.media.tags.iter().find(|tag| tag.raw.key.contains("iTunSMPB"))?;
        Some(tag.raw.value.to_string())
    }

    /// Next packet of any track; `None` at the end.
    pub(super) fn next_packet(&mut self) -> Result<Option<Packet>, DecodeError> {
        catch_panics(|| self.format.next_packet())
    }

    /// Whether a packet belongs to the audio track.
    pub(super) fn is_audio_packet(&self, packet: &Packet) -> bool {
        packet.track_id == self.track
    }

    /// Decodes a packet and replaces the contents of `samples` by its interleaved samples.
    pub(super) fn decode(&mut self, packet: &Packet, samples: &mut Vec<f32>) -> Result<AudioFormat, DecodeError> {
        catch_panics(|| {
            let buffer = self.decoder.decode(packet)?;
            buffer.copy_to_vec_interleaved(samples);
            Ok(AudioFormat { rate_hz: buffer.spec().rate(), channels: buffer.spec().channels().count() })
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_in_the_library_is_a_damaged_file() {
        let panicking: Result<(), _> = catch_panics(|| {
            assert!(is_decoding());
            panic!("as a decoder would")
        });
        assert!(matches!(panicking, Err(DecodeError::Damaged)));
        assert!(!is_decoding());
    }
}
