//! WAV writer whose files appear only when complete, and a disk spool for long signals between two passes.

use std::fs::File;
use std::io::{self, BufReader, BufWriter, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use crate::error::{JobError, JobErrorKind};

/// Sample format of a WAV file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum WavFormat {
    /// 16-bit integers with triangular dither.
    Int16,
    /// 24-bit integers, rounded.
    #[default]
    Int24,
    /// 32-bit floating point, unchanged.
    Float32,
}

impl WavFormat {
    /// Bits per sample.
    pub const fn bits(self) -> u16 {
        match self {
            Self::Int16 => 16,
            Self::Int24 => 24,
            Self::Float32 => 32,
        }
    }

    /// Name of the format: "16 bit", "24 bit" or "32 bit float".
    pub const fn name(self) -> &'static str {
        match self {
            Self::Int16 => "16 bit",
            Self::Int24 => "24 bit",
            Self::Float32 => "32 bit float",
        }
    }
}

/// Maximum size of the sample data. WAV stores sizes as 32-bit byte counts; 1 024 bytes are reserved for the header.
const MAX_DATA_BYTES: u64 = u32::MAX as u64 - 1_024;

/// Checks that the output fits into a WAV file, to be called before the work starts.
///
/// # Errors
/// The output is longer than a WAV file can hold.
pub fn check_size(frames: u64, channels: u16, format: WavFormat) -> Result<(), JobError> {
    let frame_bytes = u64::from(channels) * u64::from(format.bits() / 8);
    match frames.checked_mul(frame_bytes) {
        Some(bytes) if bytes <= MAX_DATA_BYTES => Ok(()),
        _ => {
            let gib = frames as f64 * frame_bytes as f64 / (1u64 << 30) as f64;
            Err(JobError::new(
                JobErrorKind::TooLong,
                format!("the output needs {gib:.1} GiB, a WAV file holds at most 4 GiB"),
                "use fewer bits or a lower sample rate, or split the recording",
            ))
        }
    }
}

/// Triangular (TPDF) dither, 2 LSB peak to peak: the difference of two uniform random numbers.
///
/// The total quantisation error then has zero mean and a variance of LSB²/4 for any signal (Lipshitz, Wannamaker and
/// Vanderkooy, "Quantization and Dither: A Theoretical Survey", JAES 40(5), 1992; from memory).
///
/// Tested by `dithered_error_has_zero_mean_and_a_quarter_lsb_squared_variance`.
#[derive(Debug, Clone)]
pub struct Dither {
    state: u64,
}

impl Dither {
    /// Deterministic: equal seeds produce equal sequences.
    pub fn new(seed: u64) -> Self {
        Self { state: seed }
    }

    /// Next dither value, LSB, between −1 and 1.
    pub fn next_lsb(&mut self) -> f64 {
        // SplitMix64 (Steele, Lea and Flood 2014): one 64-bit word supplies both uniform numbers.
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^= z >> 31;
        ((z >> 32) as f64 - (z & 0xFFFF_FFFF) as f64) / 4_294_967_296.0
    }
}

/// Fixed dither seed, so that the same job produces the same file.
const DITHER_SEED: u64 = 0x0076_6F69_6365;

/// Quantisation of one file from its first sample. Integer formats clip at full scale and count clipped samples; NaN
/// becomes zero.
///
/// Tested by `a_file_holds_the_quantised_values`.
#[derive(Debug, Clone)]
pub struct Quantiser {
    format: WavFormat,
    dither: Dither,
    clipped: u64,
}

impl Quantiser {
    /// Quantisation of a file in this format.
    pub fn new(format: WavFormat) -> Self {
        Self { format, dither: Dither::new(DITHER_SEED), clipped: 0 }
    }

    /// Replaces samples by the values that the file holds.
    pub fn quantise(&mut self, samples: &mut [f32]) {
        let full_scale = match self.format {
            WavFormat::Int16 => 32_768.0,
            WavFormat::Int24 => 8_388_608.0,
            WavFormat::Float32 => return,
        };
        // Exact: the codes have at most 24 bits.
        samples.iter_mut().for_each(|sample| *sample = self.code(*sample) as f32 / full_scale);
    }

    /// Code of the next sample in an integer format.
    fn code(&mut self, sample: f32) -> i32 {
        let sample = f64::from(sample);
        let (value, top) = match self.format {
            WavFormat::Int16 => (sample * 32_768.0 + self.dither.next_lsb(), 32_767),
            WavFormat::Int24 | WavFormat::Float32 => (sample * 8_388_608.0, 8_388_607),
        };
        quantise(value, top, &mut self.clipped)
    }
}

/// WAV file being written under a temporary name until [`finish`](Self::finish). Dropping it earlier removes the file.
pub struct WavFile {
    path: PathBuf,
    // Declared before `temporary`, so that the file is closed before it is removed.
    writer: Option<hound::WavWriter<BufWriter<File>>>,
    temporary: tempfile::TempPath,
    quantiser: Quantiser,
    channels: u16,
    frames: u64,
}

impl std::fmt::Debug for WavFile {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("WavFile")
            .field("path", &self.path)
            .field("format", &self.quantiser.format)
            .field("frames", &self.frames)
            .finish_non_exhaustive()
    }
}

impl WavFile {
    /// Begins a file. An existing file at `path` is replaced atomically by [`finish`](Self::finish).
    pub fn create(path: impl AsRef<Path>, rate_hz: u32, channels: u16, format: WavFormat) -> Result<Self, JobError> {
        let path = path.as_ref();
        if path.is_dir() {
            return Err(JobError::writing(path, &io::Error::from(io::ErrorKind::IsADirectory)));
        }
        let folder = match path.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        };
        let mut builder = tempfile::Builder::new();
        builder.prefix(".unfinished-").suffix(".wav");
        // Temporary files are private by default; a delivered file needs normal permissions.
        #[cfg(unix)]
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
        let (file, temporary) = builder.tempfile_in(folder).map_err(|e| JobError::writing(path, &e))?.into_parts();
        let spec = hound::WavSpec {
            channels,
            sample_rate: rate_hz,
            bits_per_sample: format.bits(),
            sample_format: match format {
                WavFormat::Float32 => hound::SampleFormat::Float,
                _ => hound::SampleFormat::Int,
            },
        };
        let writer =
            hound::WavWriter::new(BufWriter::with_capacity(1 << 16, file), spec).map_err(|e| failed(path, e))?;
        Ok(Self {
            path: path.to_owned(),
            writer: Some(writer),
            temporary,
            quantiser: Quantiser::new(format),
            channels,
            frames: 0,
        })
    }

    /// Appends interleaved samples, quantised by a [`Quantiser`].
    pub fn write(&mut self, samples: &[f32]) -> Result<(), JobError> {
        debug_assert_eq!(samples.len() % usize::from(self.channels), 0);
        let (frames, format) = ((samples.len() / usize::from(self.channels)) as u64, self.quantiser.format);
        check_size(self.frames + frames, self.channels, format).map_err(|e| e.at(&self.path))?;
        let Some(writer) = &mut self.writer else { return Ok(()) };
        let written = match format {
            WavFormat::Float32 => samples.iter().try_for_each(|&sample| writer.write_sample(sample)),
            WavFormat::Int16 | WavFormat::Int24 => {
                samples.iter().try_for_each(|&sample| writer.write_sample(self.quantiser.code(sample)))
            }
        };
        written.map_err(|e| failed(&self.path, e))?;
        self.frames += frames;
        Ok(())
    }

    /// Number of frames written.
    pub fn frames(&self) -> u64 {
        self.frames
    }

    /// Number of clipped samples.
    pub fn clipped(&self) -> u64 {
        self.quantiser.clipped
    }

    /// Completes and renames the file. Returns its number of frames.
    pub fn finish(self) -> Result<u64, JobError> {
        let frames = self.frames;
        self.complete()?.commit()?;
        Ok(frames)
    }

    /// Completes the file under its temporary name.
    pub fn complete(mut self) -> Result<PendingFile, JobError> {
        if let Some(writer) = self.writer.take() {
            writer.finalize().map_err(|e| failed(&self.path, e))?;
        }
        // Some file systems report a full disk only on sync.
        let synced = File::options().write(true).open(&self.temporary).and_then(|file| file.sync_all());
        synced.map_err(|e| JobError::writing(&self.path, &e))?;
        Ok(PendingFile { path: self.path, temporary: self.temporary })
    }
}

/// Complete file under a temporary name. Dropping it before [`commit`](Self::commit) removes the file.
#[derive(Debug)]
pub struct PendingFile {
    path: PathBuf,
    temporary: tempfile::TempPath,
}

impl PendingFile {
    /// Wraps a complete temporary file in the folder of its final name.
    pub(crate) fn new(path: PathBuf, temporary: tempfile::TempPath) -> Self {
        Self { path, temporary }
    }

    /// Final path of the file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Path of the complete file before it is renamed.
    pub fn temporary_path(&self) -> &Path {
        &self.temporary
    }

    /// Renames the file to its final name, atomically replacing an existing file.
    pub fn commit(self) -> Result<(), JobError> {
        self.temporary.persist(&self.path).map_err(|e| JobError::writing(&self.path, &e.error))
    }
}

fn quantise(value: f64, top: i32, clipped: &mut u64) -> i32 {
    if value.is_nan() {
        return 0;
    }
    let code = value.round_ties_even();
    let (low, high) = (-f64::from(top) - 1.0, f64::from(top));
    if code < low - 1.0 || code > high + 1.0 {
        *clipped += 1;
    }
    code.clamp(low, high) as i32
}

fn failed(path: &Path, error: hound::Error) -> JobError {
    match error {
        hound::Error::IoError(e) => JobError::writing(path, &e),
        other => JobError::new(
            JobErrorKind::Unwritable,
            format!("cannot be written as WAV ({other})"),
            "choose another sample format",
        )
        .at(path),
    }
}

/// Writing side of a disk spool: 32-bit floats in an unnamed temporary file. The system removes the file when the spool
/// is dropped or the program ends for any reason.
#[derive(Debug)]
pub struct Spool {
    folder: PathBuf,
    file: BufWriter<File>,
    channels: usize,
    samples: u64,
    bytes: Vec<u8>,
}

impl Spool {
    /// An empty spool on the disk of `folder`.
    pub fn create(folder: impl AsRef<Path>, channels: usize) -> Result<Self, JobError> {
        let folder = folder.as_ref();
        let file = tempfile::tempfile_in(folder).map_err(|e| JobError::writing(folder, &e))?;
        Ok(Self {
            folder: folder.to_owned(),
            file: BufWriter::with_capacity(1 << 16, file),
            channels,
            samples: 0,
            bytes: Vec::new(),
        })
    }

    /// Appends interleaved samples.
    pub fn write(&mut self, samples: &[f32]) -> Result<(), JobError> {
        self.bytes.clear();
        self.bytes.extend(samples.iter().flat_map(|s| s.to_le_bytes()));
        self.file.write_all(&self.bytes).map_err(|e| JobError::writing(&self.folder, &e))?;
        self.samples += samples.len() as u64;
        Ok(())
    }

    /// Number of frames written.
    pub fn frames(&self) -> u64 {
        self.samples / self.channels as u64
    }

    /// Ends writing and returns a reader at frame 0.
    pub fn into_reader(self) -> Result<SpoolReader, JobError> {
        let Self { folder, file, channels, samples, bytes } = self;
        let file = file.into_inner().map_err(|e| JobError::writing(&folder, e.error()))?;
        let file = BufReader::with_capacity(1 << 16, file);
        let mut reader = SpoolReader { folder, file, channels, samples, remaining_samples: samples, bytes };
        reader.rewind()?;
        Ok(reader)
    }
}

/// Reading side of a [`Spool`].
#[derive(Debug)]
pub struct SpoolReader {
    folder: PathBuf,
    file: BufReader<File>,
    channels: usize,
    samples: u64,
    remaining_samples: u64,
    bytes: Vec<u8>,
}

impl SpoolReader {
    /// Seeks to frame 0.
    pub fn rewind(&mut self) -> Result<(), JobError> {
        self.seek(0)
    }

    /// Seeks to `frame`, or to the end if the spool is shorter.
    pub fn seek(&mut self, frame: u64) -> Result<(), JobError> {
        let sample = (frame.saturating_mul(self.channels as u64)).min(self.samples);
        self.file.seek(SeekFrom::Start(sample * 4)).map_err(|e| self.broken(&e))?;
        self.remaining_samples = self.samples - sample;
        Ok(())
    }

    /// Replaces the contents of `chunk` by up to `frames` interleaved frames. Returns the number of frames, 0 at the
    /// end.
    pub fn read(&mut self, chunk: &mut Vec<f32>, frames: usize) -> Result<usize, JobError> {
        let samples = ((frames * self.channels) as u64).min(self.remaining_samples);
        self.bytes.resize(samples as usize * 4, 0);
        let result = self.file.read_exact(&mut self.bytes);
        result.map_err(|e| self.broken(&e))?;
        self.remaining_samples -= samples;
        chunk.clear();
        let (words, _) = self.bytes.as_chunks::<4>();
        chunk.extend(words.iter().map(|&word| f32::from_le_bytes(word)));
        Ok(samples as usize / self.channels)
    }

    /// Number of frames in the spool.
    pub fn frames(&self) -> u64 {
        self.samples / self.channels as u64
    }

    /// Number of channels.
    pub fn channels(&self) -> usize {
        self.channels
    }

    fn broken(&self, error: &io::Error) -> JobError {
        let what = format!("a temporary file cannot be read back ({})", crate::error::without_error_number(error));
        JobError::new(JobErrorKind::Read, what, "check the disk, then run again").at(&self.folder)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Lipshitz, Wannamaker, Vanderkooy 1992 (from memory): with TPDF dither of 2 LSB peak to peak, mean (0) and
    // variance (LSB²/4) of the total error do not depend on the signal.
    #[test]
    fn dithered_error_has_zero_mean_and_a_quarter_lsb_squared_variance() {
        const CASES: u64 = 96;
        for case in 0..CASES {
            // Levels over the whole range, each at a different offset between two codes.
            let place = (case as f64 + (case as f64 * 0.618_034).fract()) / CASES as f64;
            let (level, seed) = (60_000.0 * place - 30_000.0, case.wrapping_mul(0x9E37_79B9_7F4A_7C15));
            let mut dither = Dither::new(seed);
            let (mut sum, mut squares, count) = (0.0, 0.0, 200_000);
            for _ in 0..count {
                let error = f64::from(quantise(level + dither.next_lsb(), 32_767, &mut 0)) - level;
                sum += error;
                squares += error * error;
            }
            // Tolerances are five standard errors: 0.5/√n = 0.0011 and about 0.25·√(2/n) = 0.0008.
            let (mean, variance) = (sum / f64::from(count), squares / f64::from(count));
            assert!(mean.abs() < 0.0056, "level {level}, seed {seed}: mean {mean}");
            assert!((variance - 0.25).abs() < 0.004, "level {level}, seed {seed}: variance {variance}");
        }
    }

    #[test]
    fn a_file_holds_the_quantised_values() {
        let folder = tempfile::tempdir().unwrap();
        // Beyond full scale, between codes, and tiny.
        let samples: Vec<f32> = (0..2_000).map(|n| 1.1 * (0.37 * n as f32).sin() * (0.001 * n as f32)).collect();
        for format in [WavFormat::Int16, WavFormat::Int24, WavFormat::Float32] {
            let path = folder.path().join("x.wav");
            let mut file = WavFile::create(&path, 48_000, 2, format).unwrap();
            samples.chunks(94).for_each(|chunk| file.write(chunk).unwrap());
            file.finish().unwrap();
            let mut quantised = samples.clone();
            let mut quantiser = Quantiser::new(format);
            quantised.chunks_mut(10).for_each(|chunk| quantiser.quantise(chunk));
            let mut reader = hound::WavReader::open(&path).unwrap();
            let scale = 2f64.powi(i32::from(format.bits()) - 1);
            let stored: Vec<f64> = match format {
                WavFormat::Float32 => reader.samples::<f32>().map(|s| f64::from(s.unwrap())).collect(),
                _ => reader.samples::<i32>().map(|s| f64::from(s.unwrap()) / scale).collect(),
            };
            assert!(stored.iter().eq(quantised.iter().map(|&s| f64::from(s)).collect::<Vec<_>>().iter()), "{format:?}");
        }
    }
}
