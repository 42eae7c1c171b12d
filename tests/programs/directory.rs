//! A temporary folder for every test, with recordings, and the built program run in it.

use std::f64::consts::TAU;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use tempfile::TempDir;

/// Path of an example program that `cargo test --workspace` has built.
pub(crate) fn program(name: &str) -> PathBuf {
    let test = std::env::current_exe().expect("the test knows its own path");
    let profile = test.parent().and_then(Path::parent).expect("tests lie in target/PROFILE/deps");
    let path = profile.join("examples").join(format!("{name}{}", std::env::consts::EXE_SUFFIX));
    assert!(path.is_file(), "{} is not built: run 'cargo test --workspace', which builds it", path.display());
    path
}

/// Exit code and output of a run.
pub(crate) struct ProgramOutput {
    pub(crate) code: Option<i32>,
    pub(crate) out: String,
    pub(crate) err: String,
}

impl From<Output> for ProgramOutput {
    fn from(output: Output) -> Self {
        Self {
            code: output.status.code(),
            out: String::from_utf8(output.stdout).expect("UTF-8"),
            err: String::from_utf8(output.stderr).expect("UTF-8"),
        }
    }
}

impl ProgramOutput {
    /// Asserts success without any text on the error output.
    pub(crate) fn done(self) -> Self {
        assert_eq!(self.code, Some(0), "stderr: {}", self.err);
        assert_eq!(self.err, "", "no error output is expected");
        self
    }

    /// Asserts a refusal: exit code 2 and one line on the error output that contains all of these words.
    pub(crate) fn refused(self, words: &[&str]) {
        assert_eq!(self.code, Some(2), "stdout: {}\nstderr: {}", self.out, self.err);
        assert_eq!(self.out, "");
        let line = self.err.strip_suffix('\n').unwrap_or_else(|| panic!("no line: {:?}", self.err));
        assert!(!line.contains('\n') && !line.contains('\r'), "more than one line: {line}");
        assert!(line.starts_with("error: "), "{line}");
        for word in words {
            assert!(line.contains(word), "'{word}' is missing in: {line}");
        }
        // The error comes first, then advice.
        assert!(line.contains("; "), "no advice in: {line}");
        assert!(!line.contains("os error") && !line.contains("panicked"), "{line}");
    }
}

/// A temporary folder, removed after the test.
pub(crate) struct TestDirectory(TempDir);

impl TestDirectory {
    pub(crate) fn new() -> Self {
        Self(tempfile::tempdir().expect("a folder for temporary files"))
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    /// Writes a 24-bit WAV file.
    pub(crate) fn wav(&self, name: &str, rate_hz: u32, channels: u16, samples: &[f64]) -> PathBuf {
        let path = self.path(name);
        let spec = hound::WavSpec {
            channels,
            sample_rate: rate_hz,
            bits_per_sample: 24,
            sample_format: hound::SampleFormat::Int,
        };
        let mut writer = hound::WavWriter::create(&path, spec).expect("a new file");
        for sample in samples {
            writer.write_sample((sample.clamp(-1.0, 1.0) * 8_388_607.0).round() as i32).expect("a writable file");
        }
        writer.finalize().expect("a writable file");
        path
    }

    /// Writes a synthetic voice, mono.
    pub(crate) fn voice(&self, name: &str, rate_hz: u32, seconds: f64, pitch_hz: f64) -> PathBuf {
        let frames = (seconds * f64::from(rate_hz)).round() as usize;
        let samples: Vec<f64> = (0..frames).map(|n| speech(n as f64 / f64::from(rate_hz), pitch_hz)).collect();
        self.wav(name, rate_hz, 1, &samples)
    }

    pub(crate) fn run(&self, arguments: &[&str]) -> ProgramOutput {
        self.command(arguments).output().expect("the program starts").into()
    }

    pub(crate) fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(program("mix_interview"));
        command.args(arguments).current_dir(self.0.path());
        command
    }

    /// All names in a folder, hidden ones included, sorted.
    pub(crate) fn names(&self, folder: &str) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(self.path(folder))
            .expect("a folder")
            .map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }
}

/// A synthetic voice as a function of continuous time: harmonics up to about 2.5 kHz with syllables and pauses. Its
/// value is known between samples and at any sample rate.
pub(crate) fn synthetic_voice(seconds: f64, pitch_hz: f64) -> f64 {
    let syllables = 0.5 - 0.5 * (TAU * 2.7 * seconds).cos();
    let phrases = ((TAU * 0.31 * seconds + 0.4).sin() * 4.0 + 1.5).tanh() * 0.5 + 0.5;
    let top = (2_500.0 / pitch_hz) as u32;
    let voice: f64 = (1..=top)
        .map(|k| (TAU * f64::from(k) * pitch_hz * seconds + f64::from(k * k)).sin() / f64::from(k).powf(0.8))
        .sum();
    0.08 * syllables * phrases * voice
}

/// The same voice with a pitch and a tempo that vary by a tenth, and with a stressed syllable every 3.1 s: with a
/// constant pitch it would be classified as a tone, and with even peaks as a limited voice.
pub(crate) fn speech(seconds: f64, pitch_hz: f64) -> f64 {
    let glide = |share: f64, hz: f64| share * (TAU * hz * seconds).sin() / (TAU * hz);
    let from_stress = (seconds % 3.1 - 1.3) / 0.04;
    let stress = if from_stress.abs() < 1.0 { 0.5 + 0.5 * (0.5 * TAU * from_stress).cos() } else { 0.0 };
    (1.0 + 0.5 * stress) * synthetic_voice(seconds + glide(0.06, 0.41) + glide(0.05, 1.13), pitch_hz)
}
