//! The decoding library: a file's container, the decoder of its track of sound, and what goes wrong in either.

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

/// Why the library gives nothing.
#[derive(Debug)]
pub(super) enum DecodeError {
    /// The file ends in the middle.
    UnexpectedEnd,
    /// The disk.
    Io(io::Error),
    /// Another rate or other channels from here on.
    FormatChanged,
    /// A coding that is not read, in a container that is.
    Unsupported,
    /// There is no track of sound.
    NoAudioTrack,
    /// What is read makes no sense.
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

/// True while the decoding library is at work on this thread. Whatever panics then is caught and becomes an error; a
/// program can leave out the message ([`terminal::hide_decoder_panics`](crate::terminal::hide_decoder_panics)).
#[must_use]
pub fn is_decoding() -> bool {
    DECODING.get()
}

/// Runs a part of the decoding library. Damaged files have been seen to make it panic; to the person that is a damaged
/// file like any other.
fn catch_panics<T>(work: impl FnOnce() -> Result<T, MediaError>) -> Result<T, DecodeError> {
    DECODING.set(true);
    let result = panic::catch_unwind(AssertUnwindSafe(work));
    DECODING.set(false);
    result.map_or(Err(DecodeError::Damaged), |done| done.map_err(DecodeError::from))
}

/// Rate and channels of a decoded packet.
pub(super) struct AudioFormat {
    pub(super) rate_hz: u32,
    pub(super) channels: usize,
}

/// An open container and the decoder of its track of sound.
pub(super) struct Media {
    format: Box<dyn FormatReader>,
    decoder: Box<dyn AudioDecoder>,
    track: u32,
    /// Short name of the container.
    pub(super) container: &'static str,
    /// Short name of the coding.
    pub(super) codec: &'static str,
    /// The sample rate that the container states, Hz.
    pub(super) rate_hz: Option<u32>,
    /// The number of channels that it states.
    pub(super) channels: Option<usize>,
    /// Bits per sample.
    pub(super) bits: Option<u32>,
    /// Bits per coded sample.
    pub(super) coded_bits: Option<u32>,
    /// Length in ticks.
    pub(super) ticks: Option<u64>,
    /// Seconds per tick; none where a tick is a frame.
    pub(super) tick_s: Option<f64>,
    /// The container states the encoder's delay and removes it.
    pub(super) delay_stated: bool,
}

impl Media {
    /// Finds out what a file is. Its extension helps.
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

    /// The comment in which some encoders of AAC state delay and length.
    pub(super) fn gapless_comment(&mut self) -> Option<String> {
        let mut metadata = self.format.metadata();
        let revision = metadata.skip_to_latest()?;
        let tag = revision.media.tags.iter().find(|tag| tag.raw.key.contains("iTunSMPB"))?;
        Some(tag.raw.value.to_string())
    }

    /// The next packet, of whatever track; none at the end.
    pub(super) fn next_packet(&mut self) -> Result<Option<Packet>, DecodeError> {
        catch_panics(|| self.format.next_packet())
    }

    /// Whether a packet belongs to the track of sound.
    pub(super) fn is_audio_packet(&self, packet: &Packet) -> bool {
        packet.track_id == self.track
    }

    /// Decodes a packet, interleaved, in place of what was in `samples`.
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
