//! Reading a recording as a stream: one chunk of interleaved samples after the other, whatever the file's length.
//!
//! WAV (8 to 32 bit, float, ADPCM, A-law, µ-law), AIFF, FLAC, MP3, AAC and ALAC in MP4/M4A, AAC in ADTS, Ogg Vorbis.
//! What an encoder added before and after the sound is removed where the file states it; where it does not, the reader
//! says so in its [warnings](AudioFile::warnings).

use std::cell::Cell;
use std::fmt;
use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::panic::{self, AssertUnwindSafe};
use std::path::{Path, PathBuf};
use std::sync::Once;

use symphonia::core::codecs::audio::{AudioDecoder, AudioDecoderOptions};
use symphonia::core::errors::Error as MediaError;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatOptions, FormatReader, TrackType};
use symphonia::core::io::{MediaSourceStream, MediaSourceStreamOptions};
use symphonia::core::meta::MetadataOptions;
use symphonia::core::packet::Packet;

use crate::error::{JobError, Trouble, plain};

/// The lowest sample rate that is taken, in Hz.
pub const MIN_RATE_HZ: u32 = 8_000;
/// The highest sample rate that is taken, in Hz.
pub const MAX_RATE_HZ: u32 = 192_000;
/// Below this rate a recording lacks audible treble and a warning says so.
const LOW_RATE_HZ: u32 = 32_000;
/// A chunk is handed out once it holds this many frames; the last packet may carry it somewhat further.
const CHUNK_FRAMES: usize = 4_096;
/// So many samples in a row at full scale make a clipped stretch (common practice, no source).
const CLIPPED_RUN: u32 = 4;
/// So many packets in a row that cannot be decoded, before the first that can, make a file no audio file.
const HOPELESS_PACKETS: u64 = 200;

/// Something about a recording that the person should know, though the job goes on.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Warning {
    /// Stretches of four or more samples in a row at full scale.
    Clipped {
        /// How many stretches there are so far.
        stretches: u64,
        /// Where the first one begins, in seconds.
        first_s: f64,
    },
    /// The sample rate is so low that treble is missing.
    LowRate {
        /// The sample rate in Hz.
        rate_hz: u32,
    },
    /// The format adds silence at the start and this file does not state how much.
    DelayUnknown,
    /// Damaged packets, replaced by silence of the same length.
    Damaged {
        /// How many packets there are so far.
        packets: u64,
        /// Where the first one is, in seconds.
        first_s: f64,
    },
    /// The file ends before the length that it states.
    EndsEarly {
        /// Where it ends, in seconds.
        end_s: f64,
        /// The length that it states, in seconds.
        stated_s: f64,
    },
}

impl fmt::Display for Warning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::Clipped { stretches, first_s } => {
                let noun = if stretches == 1 { "stretch" } else { "stretches" };
                write!(f, "clipped: {stretches} {noun} at full scale, the first at {first_s:.2} s")
            }
            Self::LowRate { rate_hz } => {
                let top_khz = f64::from(rate_hz) / 2_000.0;
                write!(f, "sample rate of {rate_hz} Hz: the recording holds nothing above {top_khz} kHz")
            }
            Self::DelayUnknown => {
                write!(f, "the file does not state the delay of its encoder: the voice may start some 50 ms late")
            }
            Self::Damaged { packets, first_s } => {
                let noun = if packets == 1 { "packet" } else { "packets" };
                write!(f, "damaged: {packets} {noun} replaced by silence, the first at {first_s:.2} s")
            }
            Self::EndsEarly { end_s, stated_s } => {
                write!(f, "ends early: at {end_s:.2} s of the {stated_s:.2} s that the file states")
            }
        }
    }
}

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
    format: Box<dyn FormatReader>,
    decoder: Box<dyn AudioDecoder>,
    track: u32,
    kind: String,
    rate_hz: u32,
    channels: usize,
    /// Length that the file states, after removal of what the encoder added.
    stated: Option<u64>,
    /// Frames per unit of the packets' time base.
    frames_per_tick: f64,
    /// Frames still to be dropped at the start.
    to_drop: u64,
    /// Frames after which the sound ends although packets go on.
    limit: Option<u64>,
    done: u64,
    /// Frames read ahead by `open`.
    ahead: Vec<f32>,
    ended: bool,
    scratch: Vec<f32>,
    clipping: Clipping,
    damaged: Option<(u64, u64)>,
    ends_early: bool,
    delay_unknown: bool,
}

impl fmt::Debug for AudioFile {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("AudioFile")
            .field("path", &self.path)
            .field("kind", &self.kind)
            .field("rate_hz", &self.rate_hz)
            .field("channels", &self.channels)
            .field("frames", &self.stated)
            .finish_non_exhaustive()
    }
}

impl AudioFile {
    /// Opens a recording and reads its first packets, so that a file without sound is refused here and not later.
    pub fn open(path: impl AsRef<Path>) -> Result<Self, JobError> {
        let path = path.as_ref();
        let fail = |trouble, what: String, advice: &str| JobError::new(trouble, what, advice).at(path);
        let facts = std::fs::metadata(path).map_err(|e| JobError::opening(path, &e))?;
        if facts.is_dir() {
            return Err(JobError::opening(path, &io::Error::from(io::ErrorKind::IsADirectory)));
        }
        if !facts.is_file() {
            return Err(fail(Trouble::NotAudio, "this is not a regular file".into(), "name an audio file"));
        }
        if facts.len() == 0 {
            return Err(fail(
                Trouble::EmptyFile,
                "the file is empty (0 bytes)".into(),
                "export or copy the recording again",
            ));
        }
        let mut file = File::open(path).map_err(|e| JobError::opening(path, &e))?;
        let edit = mp4_edit(&mut file).unwrap_or_default();
        file.rewind().map_err(|e| JobError::opening(path, &e))?;

        let mut hint = Hint::new();
        if let Some(extension) = path.extension().and_then(|e| e.to_str()) {
            hint.with_extension(extension);
        }
        let stream = MediaSourceStream::new(Box::new(file), MediaSourceStreamOptions::default());
        let unreadable = |e: MediaError| match e {
            MediaError::IoError(e) if e.kind() != io::ErrorKind::UnexpectedEof => JobError::opening(path, &e),
            _ if path_is_rf64(path) => {
                fail(Trouble::NotAudio, "64-bit WAV files (RF64, BW64) are not read".into(), "convert it to FLAC")
            }
            _ => fail(
                Trouble::NotAudio,
                "not an audio file that can be read, or damaged".into(),
                "use WAV, AIFF, FLAC, MP3, M4A or Ogg Vorbis, or export it again",
            ),
        };
        let probe = symphonia::default::get_probe();
        let mut format = guarded(|| probe.probe(&hint, stream, FormatOptions::default(), MetadataOptions::default()))
            .map_err(unreadable)?;
        let container = format.format_info().short_name;
        let stated_in_tag = if container == "isomp4" { gapless_tag(&mut *format) } else { None };

        let no_track = || fail(Trouble::NoSound, "the file has no audio track".into(), "name a file with sound");
        let track = format.default_track(TrackType::Audio).ok_or_else(no_track)?;
        let params = track.codec_params.as_ref().and_then(|p| p.audio()).ok_or_else(no_track)?.clone();
        let (track_id, time_base) = (track.id, track.time_base);
        let (ticks, delay) = (track.num_frames, track.delay);
        let codecs = symphonia::default::get_codecs();
        let mut decoder =
            guarded(|| codecs.make_audio_decoder(&params, &AudioDecoderOptions::default())).map_err(|e| match e {
                MediaError::Unsupported(_) => fail(
                    Trouble::NotAudio,
                    "the audio is coded in a way that is not read".into(),
                    "convert it to WAV or FLAC",
                ),
                e => unreadable(e),
            })?;
        let codec = decoder.codec_info().short_name;
        let kind = describe(container, codec, params.bits_per_sample.or(params.bits_per_coded_sample));

        // The stated rate and channels, or those of the first packet that decodes.
        let (mut rate, mut channels) = (params.sample_rate, params.channels.as_ref().map(|c| c.count()));
        let mut ahead = Vec::new();
        let mut first = None;
        if rate.is_none() || channels.is_none() {
            for _ in 0..HOPELESS_PACKETS {
                let Ok(Some(packet)) = guarded(|| format.next_packet()) else { break };
                if packet.track_id != track_id {
                    continue;
                }
                let mut samples = Vec::new();
                if let Ok(shape) = guarded(|| decode(&mut *decoder, &packet, &mut samples)) {
                    (rate, channels) = (Some(shape.rate_hz), Some(shape.channels));
                    first = Some(samples);
                    break;
                }
            }
        }
        let (Some(rate_hz), Some(channels)) = (rate, channels) else {
            return Err(unreadable(MediaError::DecodeError("no packet tells rate and channels")));
        };
        if !(MIN_RATE_HZ..=MAX_RATE_HZ).contains(&rate_hz) {
            return Err(fail(
                Trouble::Rate,
                format!("the sample rate is {rate_hz} Hz"),
                "rates from 8000 to 192000 Hz are taken: check the file, or convert it",
            ));
        }
        if !(1..=2).contains(&channels) {
            return Err(fail(
                Trouble::Channels,
                format!("the file has {channels} channels"),
                "one voice is mono or stereo: export each voice on its own",
            ));
        }

        let frames_per_tick = match time_base {
            Some(base) => f64::from(base.numer.get()) / f64::from(base.denom.get()) * f64::from(rate_hz),
            None => 1.0,
        };
        let coded = ticks.map(|t| (t as f64 * frames_per_tick).round() as u64).filter(|&n| n > 0);
        let (mut to_drop, mut limit) = (0, None);
        let mut delay_unknown = false;
        if container == "isomp4" {
            match (stated_in_tag, edit.start_s, codec) {
                (Some((start, length)), _, _) => (to_drop, limit) = (start, Some(length)),
                (None, Some(start_s), _) => {
                    // No AAC encoder is without delay: a start of zero states nothing.
                    delay_unknown = codec == "aac" && start_s == 0.0;
                    to_drop = (start_s * f64::from(rate_hz)).round() as u64;
                    limit = edit.length_s.map(|s| (s * f64::from(rate_hz)).round() as u64);
                }
                (None, None, "aac") => delay_unknown = true,
                _ => {}
            }
        } else if matches!(codec, "aac" | "mp1" | "mp2" | "mp3") && delay.is_none() {
            delay_unknown = true;
        }
        let after_drop = coded.map(|n| n.saturating_sub(to_drop));
        let stated = match (after_drop, limit) {
            (Some(a), Some(b)) => Some(a.min(b)),
            (a, b) => a.or(b),
        };
        let bits = if is_integer_pcm(codec) { params.bits_per_sample.unwrap_or(16) } else { 16 };
        let mut opened = Self {
            path: path.to_owned(),
            format,
            decoder,
            track: track_id,
            kind,
            rate_hz,
            channels,
            stated,
            frames_per_tick,
            to_drop,
            limit,
            done: 0,
            ahead: Vec::new(),
            ended: false,
            scratch: Vec::new(),
            clipping: Clipping::new(bits, channels),
            damaged: None,
            ends_early: false,
            delay_unknown,
        };
        if let Some(samples) = first {
            opened.scratch = samples;
            opened.take_scratch(&mut ahead);
        }
        while !opened.ended && ahead.is_empty() {
            opened.next_packet(&mut ahead)?;
        }
        if ahead.is_empty() {
            return Err(if opened.damaged.is_some() {
                unreadable(MediaError::DecodeError("nothing decodes"))
            } else {
                fail(Trouble::NoSound, "the recording has a length of zero".into(), "export or copy it again")
            });
        }
        opened.ahead = ahead;
        Ok(opened)
    }

    /// The file's path.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Container, coding and word length in words, for tables and reports: "WAV, 24 bit".
    pub fn kind(&self) -> &str {
        &self.kind
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
        if self.rate_hz < LOW_RATE_HZ {
            found.push(Warning::LowRate { rate_hz: self.rate_hz });
        }
        if self.delay_unknown {
            found.push(Warning::DelayUnknown);
        }
        if let Some(first) = self.clipping.first {
            found.push(Warning::Clipped { stretches: self.clipping.stretches, first_s: seconds(first) });
        }
        if let Some((packets, first)) = self.damaged {
            found.push(Warning::Damaged { packets, first_s: seconds(first) });
        }
        if let (true, Some(stated)) = (self.ends_early, self.stated) {
            found.push(Warning::EndsEarly { end_s: seconds(self.done), stated_s: seconds(stated) });
        }
        found
    }

    fn seconds(&self) -> f64 {
        self.done as f64 / f64::from(self.rate_hz)
    }

    /// Decodes one packet onto the end of `out`.
    fn next_packet(&mut self, out: &mut Vec<f32>) -> Result<(), JobError> {
        let packet = match guarded(|| self.format.next_packet()) {
            Ok(Some(packet)) => packet,
            Ok(None) => {
                self.end();
                return Ok(());
            }
            Err(MediaError::IoError(e)) if e.kind() == io::ErrorKind::UnexpectedEof => {
                self.end();
                return Ok(());
            }
            Err(MediaError::IoError(e)) => {
                let what = format!("reading failed at {:.1} s ({})", self.seconds(), plain(&e));
                return Err(JobError::new(Trouble::Read, what, "check the disk, or copy the file").at(&self.path));
            }
            Err(MediaError::ResetRequired) => return Err(self.changes()),
            Err(_) => {
                // The container is damaged from here on: what was read stands.
                self.note_damage();
                self.end();
                return Ok(());
            }
        };
        if packet.track_id != self.track {
            return Ok(());
        }
        match guarded(|| decode(&mut *self.decoder, &packet, &mut self.scratch)) {
            Ok(shape) => {
                let same = shape.rate_hz == self.rate_hz && shape.channels == self.channels;
                if !same && !self.scratch.is_empty() {
                    return Err(self.changes());
                }
            }
            Err(MediaError::ResetRequired) => return Err(self.changes()),
            Err(MediaError::IoError(e)) if e.kind() != io::ErrorKind::UnexpectedEof => {
                let what = format!("reading failed at {:.1} s ({})", self.seconds(), plain(&e));
                return Err(JobError::new(Trouble::Read, what, "check the disk, or copy the file").at(&self.path));
            }
            Err(_) => {
                self.note_damage();
                let hopeless = self.damaged.is_some_and(|(packets, first)| first == 0 && packets >= HOPELESS_PACKETS);
                if hopeless && self.done == 0 && out.is_empty() {
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
        let dropped = self.to_drop.min(frames as u64);
        self.to_drop -= dropped;
        let mut keep = frames as u64 - dropped;
        if let Some(limit) = self.limit {
            keep = keep.min(limit.saturating_sub(self.done));
            if self.done + keep >= limit {
                self.ended = true;
            }
        }
        let from = dropped as usize * self.channels;
        let kept = &self.scratch[from..from + keep as usize * self.channels];
        self.clipping.look(kept, self.done);
        out.extend_from_slice(kept);
        self.done += keep;
    }

    fn end(&mut self) {
        self.ended = true;
        // Containers round their length to packets or milliseconds; a tenth of a second short is worth a word.
        if let Some(stated) = self.stated {
            self.ends_early = self.done + u64::from(self.rate_hz / 10) < stated;
        }
    }

    fn note_damage(&mut self) {
        let at = self.done;
        let (packets, _) = self.damaged.get_or_insert((0, at));
        *packets += 1;
    }

    fn changes(&self) -> JobError {
        let what = format!("the sample rate or the number of channels changes at {:.1} s", self.seconds());
        JobError::new(Trouble::Read, what, "split the file there, or convert it to WAV").at(&self.path)
    }
}

/// What a decoded packet says about itself.
struct Shape {
    rate_hz: u32,
    channels: usize,
}

fn decode(decoder: &mut dyn AudioDecoder, packet: &Packet, samples: &mut Vec<f32>) -> Result<Shape, MediaError> {
    let buffer = decoder.decode(packet)?;
    buffer.copy_to_vec_interleaved(samples);
    Ok(Shape { rate_hz: buffer.spec().rate(), channels: buffer.spec().channels().count() })
}

/// Runs a part of the decoding library. Damaged files have been seen to make it panic; to the person that is a damaged
/// file like any other, so the panic becomes an error and its message is not printed.
fn guarded<T>(work: impl FnOnce() -> Result<T, MediaError>) -> Result<T, MediaError> {
    thread_local! {
        static QUIET: Cell<bool> = const { Cell::new(false) };
    }
    static HOOK: Once = Once::new();
    HOOK.call_once(|| {
        let usual = panic::take_hook();
        panic::set_hook(Box::new(move |info| {
            if !QUIET.get() {
                usual(info);
            }
        }));
    });
    QUIET.set(true);
    let result = panic::catch_unwind(AssertUnwindSafe(work));
    QUIET.set(false);
    result.unwrap_or(Err(MediaError::DecodeError("the decoder panicked")))
}

/// Counts stretches at full scale.
struct Clipping {
    full_scale: f32,
    runs: Vec<i64>,
    stretches: u64,
    first: Option<u64>,
}

impl Clipping {
    fn new(bits: u32, channels: usize) -> Self {
        // The largest positive code of the format, and of 16 bits for anything finer: recordings that were clipped in
        // 16 bits and converted later are found as well.
        let full_scale = 1.0 - 1.0 / f32::from(1u16 << (bits.clamp(8, 16) - 1));
        Self { full_scale, runs: vec![0; channels], stretches: 0, first: None }
    }

    fn look(&mut self, samples: &[f32], position: u64) {
        let channels = self.runs.len();
        for (index, &sample) in samples.iter().enumerate() {
            let run = &mut self.runs[index % channels];
            let sign = if sample >= self.full_scale {
                1
            } else if sample <= -self.full_scale {
                -1
            } else {
                *run = 0;
                continue;
            };
            *run = if *run * sign > 0 { *run + sign } else { sign };
            if run.abs() == i64::from(CLIPPED_RUN) {
                self.stretches += 1;
                let end = position + (index / channels) as u64;
                self.first.get_or_insert(end + 1 - u64::from(CLIPPED_RUN));
            }
        }
    }
}

fn describe(container: &str, codec: &str, bits: Option<u32>) -> String {
    let name = match (container, codec) {
        ("wave", _) => "WAV",
        ("aiff", _) => "AIFF",
        ("flac", _) => "FLAC",
        ("ogg", _) => "Ogg",
        ("isomp4", _) => "MP4",
        ("aac", _) => "AAC",
        (_, "mp3") => "MP3",
        (other, _) => other,
    };
    let coding = match codec {
        "flac" if container == "flac" => bits.map(|b| format!("{b} bit")),
        "aac" if container == "aac" => None,
        "mp3" => None,
        "pcm_mulaw" => Some("µ-law".to_owned()),
        "pcm_alaw" => Some("A-law".to_owned()),
        "vorbis" => Some("Vorbis".to_owned()),
        _ if codec.starts_with("adpcm") => Some("ADPCM".to_owned()),
        _ if codec.starts_with("pcm_f64") => Some("64 bit float".to_owned()),
        _ if codec.starts_with("pcm_f") => bits.map(|b| format!("{b} bit float")),
        _ if is_integer_pcm(codec) => bits.map(|b| format!("{b} bit")),
        other => Some(other.replace('_', " ").to_uppercase()),
    };
    match coding {
        Some(coding) => format!("{name}, {coding}"),
        None => name.to_owned(),
    }
}

fn is_integer_pcm(codec: &str) -> bool {
    codec.starts_with("pcm_s") || codec.starts_with("pcm_u")
}

fn path_is_rf64(path: &Path) -> bool {
    let mut head = [0; 4];
    let read = File::open(path).and_then(|mut f| f.read_exact(&mut head));
    read.is_ok() && matches!(&head, b"RF64" | b"BW64")
}

/// The comment in which some encoders state delay and length of AAC: hexadecimal words, the second the delay, the fourth
/// the length in frames.
fn gapless_tag(format: &mut dyn FormatReader) -> Option<(u64, u64)> {
    let mut metadata = format.metadata();
    let revision = metadata.skip_to_latest()?;
    let tag = revision.media.tags.iter().find(|tag| tag.raw.key.contains("iTunSMPB"))?;
    parse_gapless(&tag.raw.value.to_string())
}

fn parse_gapless(text: &str) -> Option<(u64, u64)> {
    let words: Vec<u64> = text.split_whitespace().map_while(|w| u64::from_str_radix(w, 16).ok()).collect();
    match words[..] {
        [_, delay, _, length, ..] if delay < 1 << 20 && length > 0 => Some((delay, length)),
        _ => None,
    }
}

/// What the edit list of an MP4 file (ISO/IEC 14496-12, box `elst`) says about the audio track.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
struct Mp4Edit {
    start_s: Option<f64>,
    length_s: Option<f64>,
}

/// Finds `moov/mvhd` and, in the first track of sound, `edts/elst` and `mdia/mdhd`.
fn mp4_edit<R: Read + Seek>(file: &mut R) -> io::Result<Mp4Edit> {
    let end = file.seek(SeekFrom::End(0))?;
    file.rewind()?;
    let mut head = [0; 8];
    file.read_exact(&mut head)?;
    if &head[4..] != b"ftyp" {
        return Ok(Mp4Edit::default());
    }
    let Some((from, to)) = find_box(file, 0, end, b"moov")? else { return Ok(Mp4Edit::default()) };
    let movie_scale = match find_box(file, from, to, b"mvhd")? {
        Some((start, _)) => time_scale(file, start)?,
        None => return Ok(Mp4Edit::default()),
    };
    let mut cursor = from;
    while let Some((start, stop)) = find_box(file, cursor, to, b"trak")? {
        cursor = stop;
        let Some((media, media_end)) = find_box(file, start, stop, b"mdia")? else { continue };
        let Some((handler, _)) = find_box(file, media, media_end, b"hdlr")? else { continue };
        let mut words = [0; 12];
        file.seek(SeekFrom::Start(handler))?;
        file.read_exact(&mut words)?;
        if &words[8..] != b"soun" {
            continue;
        }
        let Some((header, _)) = find_box(file, media, media_end, b"mdhd")? else { break };
        let media_scale = time_scale(file, header)?;
        let Some((edits, edits_end)) = find_box(file, start, stop, b"edts")? else { break };
        let Some((list, _)) = find_box(file, edits, edits_end, b"elst")? else { break };
        return read_edits(file, list, movie_scale, media_scale);
    }
    Ok(Mp4Edit::default())
}

fn read_edits<R: Read + Seek>(file: &mut R, at: u64, movie_scale: u32, media_scale: u32) -> io::Result<Mp4Edit> {
    file.seek(SeekFrom::Start(at))?;
    let wide = read_u32(file)? >> 24 == 1;
    let count = read_u32(file)?.min(64);
    let mut sounding = Vec::new();
    for _ in 0..count {
        let (length, start) = if wide {
            (read_u64(file)?, read_u64(file)? as i64)
        } else {
            (u64::from(read_u32(file)?), i64::from(read_u32(file)? as i32))
        };
        read_u32(file)?;
        if start >= 0 {
            sounding.push((length, start));
        }
    }
    // Several edits are a cut programme, not an encoder's delay.
    let ([(length, start)], true) = (&sounding[..], movie_scale > 0 && media_scale > 0) else {
        return Ok(Mp4Edit::default());
    };
    let length_s = (*length > 0).then(|| *length as f64 / f64::from(movie_scale));
    Ok(Mp4Edit { start_s: Some(*start as f64 / f64::from(media_scale)), length_s })
}

/// The first box of a kind between two positions: where its contents begin and end.
fn find_box<R: Read + Seek>(file: &mut R, from: u64, to: u64, kind: &[u8; 4]) -> io::Result<Option<(u64, u64)>> {
    let mut at = from;
    while at + 8 <= to {
        file.seek(SeekFrom::Start(at))?;
        let size = u64::from(read_u32(file)?);
        let mut name = [0; 4];
        file.read_exact(&mut name)?;
        let (header, size) = match size {
            0 => (8, to - at),
            1 => (16, read_u64(file)?),
            size => (8, size),
        };
        if size < header || size > to - at {
            return Ok(None);
        }
        if &name == kind {
            return Ok(Some((at + header, at + size)));
        }
        at += size;
    }
    Ok(None)
}

/// The time scale of an `mvhd` or `mdhd` box.
fn time_scale<R: Read + Seek>(file: &mut R, at: u64) -> io::Result<u32> {
    file.seek(SeekFrom::Start(at))?;
    let wide = read_u32(file)? >> 24 == 1;
    file.seek(SeekFrom::Start(at + if wide { 20 } else { 12 }))?;
    read_u32(file)
}

fn read_u32<R: Read>(file: &mut R) -> io::Result<u32> {
    let mut bytes = [0; 4];
    file.read_exact(&mut bytes)?;
    Ok(u32::from_be_bytes(bytes))
}

fn read_u64<R: Read>(file: &mut R) -> io::Result<u64> {
    let mut bytes = [0; 8];
    file.read_exact(&mut bytes)?;
    Ok(u64::from_be_bytes(bytes))
}

#[cfg(test)]
mod tests {
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
                assert_eq!(file.read(&mut chunk).unwrap(), 0, "the end stays the end");
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
                    file.kind(),
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
    fn flac_gives_back_the_integers() {
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
        // This encoder counts the short last block as the smallest block, which the format does not (RFC 9639, 8.2).
        bytes.copy_within(10..12, 8);
        std::fs::write(&path, &bytes).unwrap();
        let (file, all) = read_all(&path);
        assert_eq!((file.kind(), file.rate_hz(), file.channels()), ("FLAC, 24 bit", 48_000, 2));
        assert!(all.iter().map(|s| (s * 8_388_608.0) as i32).eq(codes));
        assert!(file.warnings().is_empty());
        // Half a file: what is there is read, and the warning says where it ends.
        std::fs::write(&path, &bytes[..bytes.len() / 2]).unwrap();
        let (file, all) = read_all(&path);
        assert!(all.len() > 8_000 && all.len() < 20_000, "{}", all.len());
        assert!(file.warnings().iter().any(|w| matches!(w, Warning::EndsEarly { .. })), "{:?}", file.warnings());
    }

    #[test]
    fn what_is_no_number_is_passed_on() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.wav");
        wav(&path, 1, 48_000, 32, true, &[0.1, f64::NAN, f64::INFINITY, -7.5, 0.2]);
        let (_, all) = read_all(&path);
        assert!(all[1].is_nan());
        assert_eq!([all[0], all[2], all[3], all[4]], [0.1, f32::INFINITY, -7.5, 0.2]);
    }

    fn refusal(path: &Path) -> Trouble {
        let error = AudioFile::open(path).unwrap_err();
        let line = error.to_string();
        assert!(line.lines().count() == 1 && line.starts_with(&path.display().to_string()), "{line}");
        assert!(!error.advice().is_empty());
        error.trouble()
    }

    #[test]
    fn bad_files_are_refused_in_one_line() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.wav");
        assert_eq!(refusal(&path), Trouble::Missing);
        assert_eq!(refusal(folder.path()), Trouble::IsFolder);
        std::fs::write(&path, "").unwrap();
        assert_eq!(refusal(&path), Trouble::EmptyFile);
        std::fs::write(&path, "Dear diary, today the lamp went out. ".repeat(500)).unwrap();
        assert_eq!(refusal(&path), Trouble::NotAudio);
        std::fs::write(&path, [0; 100_000]).unwrap();
        assert_eq!(refusal(&path), Trouble::NotAudio);
        wav(&path, 1, 48_000, 16, false, &[]);
        assert_eq!(refusal(&path), Trouble::NoSound);
        wav(&path, 1, 4_000, 16, false, &wave(500));
        assert_eq!(refusal(&path), Trouble::Rate);
        wav(&path, 1, 384_000, 16, false, &wave(500));
        assert_eq!(refusal(&path), Trouble::Rate);
        wav(&path, 3, 48_000, 16, false, &wave(600));
        assert_eq!(refusal(&path), Trouble::Channels);
        wav(&path, 1, 48_000, 16, false, &wave(600));
        let mut bytes = std::fs::read(&path).unwrap();
        bytes.truncate(30);
        std::fs::write(&path, &bytes).unwrap();
        assert_eq!(refusal(&path), Trouble::NotAudio);
        bytes[..4].copy_from_slice(b"RF64");
        std::fs::write(&path, &bytes).unwrap();
        assert!(AudioFile::open(&path).unwrap_err().to_string().contains("RF64"));
    }

    #[test]
    fn a_wav_that_was_cut_off_is_read_with_a_warning() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.wav");
        wav(&path, 1, 48_000, 16, false, &wave(96_000));
        let bytes = std::fs::read(&path).unwrap();
        std::fs::write(&path, &bytes[..44 + 96_000]).unwrap();
        let (file, all) = read_all(&path);
        assert!((46_000..=48_000).contains(&all.len()), "{}", all.len());
        assert!(matches!(file.warnings()[..], [Warning::EndsEarly { stated_s: 2.0, .. }]), "{:?}", file.warnings());
    }

    #[test]
    fn clipped_stretches_are_counted_per_channel_from_four_samples_on() {
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
            let expected = Warning::Clipped { stretches: 2, first_s: 10_000.0 / 48_000.0 };
            assert_eq!(file.warnings(), [expected], "{bits} bit");
        }
    }

    #[test]
    fn a_low_rate_is_told() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.wav");
        wav(&path, 1, 16_000, 16, false, &wave(1_000));
        let (file, _) = read_all(&path);
        assert_eq!(file.warnings(), [Warning::LowRate { rate_hz: 16_000 }]);
        let words = file.warnings()[0].to_string();
        assert_eq!(words, "sample rate of 16000 Hz: the recording holds nothing above 8 kHz");
    }

    fn boxed(kind: &[u8; 4], contents: &[&[u8]]) -> Vec<u8> {
        let contents = contents.concat();
        [&(contents.len() as u32 + 8).to_be_bytes()[..], kind, &contents].concat()
    }

    fn words(words: &[u32]) -> Vec<u8> {
        words.iter().flat_map(|w| w.to_be_bytes()).collect()
    }

    fn movie(edits: &[u8]) -> Vec<u8> {
        let track = |handler: &[u8; 4], scale: u32| {
            boxed(
                b"trak",
                &[
                    &boxed(b"edts", &[&boxed(b"elst", &[edits])]),
                    &boxed(
                        b"mdia",
                        &[
                            &boxed(b"mdhd", &[&words(&[0, 0, 0, scale, 0])]),
                            &boxed(b"hdlr", &[&[0; 8], handler, &[0; 12]]),
                        ],
                    ),
                ],
            )
        };
        let header = boxed(b"mvhd", &[&words(&[0, 0, 0, 600, 0])]);
        let moov = boxed(b"moov", &[&header, &track(b"vide", 90_000), &track(b"soun", 44_100)]);
        [boxed(b"ftyp", &[b"M4A "]), boxed(b"mdat", &[&[9; 333]]), moov].concat()
    }

    #[test]
    fn the_edit_list_states_delay_and_length() {
        let read = |edits: &[u8]| mp4_edit(&mut io::Cursor::new(movie(edits))).unwrap();
        // ISO/IEC 14496-12 box layout (from memory): version and flags, count, then length, start, rate.
        let one = read(&words(&[0, 1, 1_200, 2_112, 0x10000]));
        assert_eq!(one, Mp4Edit { start_s: Some(2_112.0 / 44_100.0), length_s: Some(2.0) });
        let wide = read(&words(&[0x0100_0000, 1, 0, 600, 0, 1_024, 0x10000]));
        assert_eq!(wide, Mp4Edit { start_s: Some(1_024.0 / 44_100.0), length_s: Some(1.0) });
        let after_pause = read(&words(&[0, 2, 60, u32::MAX, 0x10000, 0, 1_024, 0x10000]));
        assert_eq!(after_pause, Mp4Edit { start_s: Some(1_024.0 / 44_100.0), length_s: None });
        assert_eq!(read(&words(&[0, 2, 60, 0, 0x10000, 60, 9_000, 0x10000])), Mp4Edit::default());
        assert_eq!(parse_gapless(" 00000000 00000840 000001CA 00000000003F31F6 00000000"), Some((2_112, 4_141_558)));
        assert_eq!(parse_gapless("no numbers"), None);
    }

    #[test]
    fn a_panic_in_the_decoding_library_is_a_damaged_file() {
        // 34 channels with a channel mask: the library shifts by more than 31 bits, in builds that check it.
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.wav");
        wav(&path, 2, 48_000, 32, true, &wave(4_000));
        let mut bytes = std::fs::read(&path).unwrap();
        bytes[22] = 34;
        std::fs::write(&path, &bytes).unwrap();
        if cfg!(debug_assertions) {
            assert!(matches!(refusal(&path), Trouble::NotAudio | Trouble::Channels));
        } else {
            // Whatever the library makes of it then, it comes back.
            let _ = AudioFile::open(&path);
        }
        let panicking: Result<(), _> = guarded(|| panic!("as a decoder would"));
        assert!(matches!(panicking, Err(MediaError::DecodeError(_))));
    }
}
