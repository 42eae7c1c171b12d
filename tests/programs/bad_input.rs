//! Errors: one line, exit code 2, and no files left behind.

use crate::directory::{ProgramOutput, TestDirectory, program, synthetic_voice};
use crate::mix_interview::results;
use std::fs;
use std::process::Command;
use std::time::{Duration, Instant};

/// A directory with one good recording, `good.wav`.
fn directory() -> TestDirectory {
    let directory = TestDirectory::new();
    directory.voice("good.wav", 48_000, 3.0, 150.0);
    directory
}

/// Runs a job that must be refused without any change on the disk.
fn refuse(directory: &TestDirectory, arguments: &[&str], words: &[&str]) {
    let before = directory.names(".");
    directory.run(arguments).refused(words);
    assert_eq!(directory.names("."), before, "{arguments:?} left something behind");
}

#[test]
fn files_that_are_not_audio_are_refused() {
    let directory = directory();
    fs::create_dir(directory.path("folder")).expect("a folder");
    fs::write(directory.path("empty.wav"), "").expect("a file");
    fs::write(directory.path("letter.wav"), "Dear Anna,\nthank you for the recording.\n".repeat(40)).expect("a file");
    let good = fs::read(directory.path("good.wav")).expect("a file");
    fs::write(directory.path("header.wav"), &good[..30]).expect("a file");
    let noise: Vec<u8> = (0..40_000u32).map(|n| (n.wrapping_mul(2_654_435_761) >> 24) as u8).collect();
    for name in ["noise.flac", "noise.mp3", "noise.ogg", "noise.m4a", "noise.wav", "noise"] {
        fs::write(directory.path(name), &noise).expect("a file");
    }
    refuse(&directory, &["nobody.wav"], &["nobody.wav", "no such file"]);
    refuse(&directory, &["good.wav/inside.wav"], &["inside.wav", "no such file"]);
    refuse(&directory, &["good.wav", "--guest", "nobody.wav"], &["nobody.wav", "no such file"]);
    refuse(&directory, &["folder"], &["folder", "a file inside it"]);
    refuse(&directory, &["empty.wav"], &["empty.wav", "empty", "again"]);
    refuse(&directory, &["letter.wav"], &["letter.wav", "not an audio file"]);
    refuse(&directory, &["header.wav"], &["header.wav"]);
    for name in ["noise.flac", "noise.mp3", "noise.ogg", "noise.m4a", "noise.wav", "noise"] {
        refuse(&directory, &["good.wav", name], &[name]);
    }
}

#[test]
fn silent_and_unsupported_recordings_are_refused() {
    let directory = directory();
    directory.wav("silent.wav", 48_000, 1, &[0.0; 96_000]);
    directory.wav("nearly.wav", 48_000, 1, &[1e-6; 96_000]);
    directory.wav("none.wav", 48_000, 1, &[]);
    directory.wav("short.wav", 48_000, 1, &[0.5, -0.5, 0.5]);
    directory.wav("slow.wav", 4_000, 1, &[0.1; 8_000]);
    directory.wav("fast.wav", 384_000, 1, &[0.1; 8_000]);
    directory.wav("three.wav", 48_000, 3, &[0.1; 9_000]);
    refuse(&directory, &["silent.wav"], &["silent.wav", "silent", "check"]);
    refuse(&directory, &["--host", "good.wav", "--guest", "silent.wav"], &["silent.wav", "silent"]);
    refuse(&directory, &["nearly.wav"], &["nearly.wav", "silent"]);
    refuse(&directory, &["none.wav"], &["none.wav", "no samples"]);
    refuse(&directory, &["short.wav"], &["short.wav"]);
    refuse(&directory, &["slow.wav"], &["slow.wav", "4000 Hz", "8000 to 192000"]);
    refuse(&directory, &["good.wav", "fast.wav"], &["fast.wav", "384000 Hz", "8000 to 192000"]);
    refuse(&directory, &["three.wav"], &["three.wav", "3 channels", "stereo"]);
}

#[test]
fn the_same_file_twice_is_refused_under_any_name() {
    let directory = directory();
    fs::create_dir(directory.path("folder")).expect("a folder");
    refuse(&directory, &["good.wav", "good.wav"], &["good.wav", "twice"]);
    refuse(&directory, &["--host", "good.wav", "--guest", "./folder/../good.wav"], &["twice", "host and guest"]);
    let whole = directory.path("good.wav");
    refuse(&directory, &["good.wav", whole.to_str().expect("UTF-8")], &["twice"]);
    fs::hard_link(&whole, directory.path("hard.wav")).expect("a link");
    refuse(&directory, &["good.wav", "hard.wav"], &["twice"]);
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink(&whole, directory.path("soft.wav")).expect("a link");
        refuse(&directory, &["soft.wav", "good.wav"], &["twice"]);
        std::os::unix::fs::symlink("nowhere.wav", directory.path("dangling.wav")).expect("a link");
        refuse(&directory, &["dangling.wav"], &["dangling.wav", "no such file"]);
    }
}

#[test]
fn invalid_options_are_refused() {
    let directory = directory();
    fs::write(directory.path("wrong.toml"), "format = 1\n[compressor]\nwarmth = 3.0\n").expect("a file");
    fs::write(directory.path("range.toml"), "format = 1\n[compressor]\nratio = 0.2\n").expect("a file");
    fs::write(directory.path("future.toml"), "format = 2\n").expect("a file");
    fs::write(directory.path("no.toml"), "[[[\nx").expect("a file");
    fs::write(directory.path("bytes.toml"), [0xff, 0xfe, 0x00, 0x81]).expect("a file");
    let cases: &[(&[&str], &[&str])] = &[
        (&["--loudness", "-3"], &["-3 LUFS", "-40 to -8"]),
        (&["--loudness", "NaN"], &["NaN", "-40 to -8"]),
        (&["--loudness", "loud"], &["'loud'", "--loudness"]),
        (&["--ceiling", "1"], &["1 dBTP", "-9 to 0"]),
        (&["--ceiling", "-90"], &["-90 dBTP", "-9 to 0"]),
        (&["--rate", "96000"], &["96000 Hz", "44100 or 48000"]),
        (&["--rate", "-1"], &["-1", "--help"]),
        (&["--format", "8"], &["'8'", "16, 24, float"]),
        (&["--starting-point", "opera"], &["'opera'", "spoken-close", "sung-alone"]),
        (&["--target", "nowhere"], &["'nowhere'", "ebu-r128"]),
        (&["--settings", "nothing.toml"], &["nothing.toml", "no such file"]),
        (&["--settings", "."], &["folder"]),
        (&["--settings", "wrong.toml"], &["wrong.toml", "warmth"]),
        (&["--settings", "range.toml"], &["range.toml", "compressor.ratio", "0.2"]),
        (&["--settings", "future.toml"], &["future.toml", "format 2"]),
        (&["--settings", "no.toml"], &["no.toml"]),
        (&["--settings", "bytes.toml"], &["bytes.toml"]),
        (&["--settings", "wrong.toml", "--starting-point", "remote-call"], &["--settings", "--starting-point"]),
        (&["--volume", "11"], &["--volume", "--help"]),
        (&["--host"], &["--host"]),
        (&["--host", "good.wav", "--host", "good.wav"], &["--host"]),
        (&["--out", ""], &["--out"]),
        (&["--out", "good.wav"], &["good.wav", "a file has its name"]),
        (&["--out", "good.wav/deeper/still"], &["good.wav/deeper", "file, not a folder"]),
        (&["--lou\ndness"], &["--lou"]),
    ];
    for (options, words) in cases {
        let arguments: Vec<&str> = if options[0] == "--host" { vec![] } else { vec!["good.wav"] };
        refuse(&directory, &[&arguments[..], options].concat(), words);
    }
}

/// Not even root can make a folder here.
#[cfg(target_os = "linux")]
#[test]
fn an_output_folder_that_cannot_be_made_is_refused() {
    refuse(&directory(), &["good.wav", "--out", "/proc/voicechain/mixed"], &["/proc/voicechain", "cannot be written"]);
    refuse(&directory(), &["good.wav", "--out", "/proc"], &["/proc", "cannot be written"]);
}

/// Runs the program with a limit on file size of `blocks` half kilobytes, as on a full disk.
#[cfg(unix)]
fn limited(directory: &TestDirectory, blocks: u32, arguments: &[&str]) -> ProgramOutput {
    let script = format!("ulimit -f {blocks}; exec \"$0\" \"$@\"");
    let mut command = Command::new("sh");
    command.args(["-c", &script]).arg(program("mix_interview")).args(arguments).current_dir(directory.path("."));
    command.output().expect("a shell").into()
}

/// Wherever the space ends, in the first temporary file, in a result or in the page, no file is left behind, and the
/// results of an earlier run stay complete.
#[cfg(unix)]
#[test]
fn a_full_disk_leaves_no_partial_files() {
    let directory = directory();
    directory.voice("other.wav", 44_100, 6.0, 210.0);
    let before = directory.names(".");
    // The mix as 32-bit floats has 6 s · 48 000 · 8 bytes = 2.3 MB; each voice has half of it; the page is about as
    // large.
    for blocks in [0, 1, 16, 400, 1_400, 3_000, 4_400] {
        let ran = limited(&directory, blocks, &["good.wav", "other.wav", "--format", "float", "--out", "new/mixed"]);
        ran.refused(&["new/mixed", "cannot be written"]);
        assert_eq!(directory.names("."), before, "with {blocks} blocks");
    }
    directory.run(&["other.wav", "good.wav"]).done();
    let names = results(&["good", "other"]);
    let contents: Vec<Vec<u8>> =
        names.iter().map(|n| fs::read(directory.path("mixed").join(n)).expect("a result")).collect();
    for blocks in [16, 3_000] {
        limited(&directory, blocks, &["good.wav", "other.wav", "--format", "float"]).refused(&["cannot be written"]);
        assert_eq!(directory.names("mixed"), names, "with {blocks} blocks");
        for (name, content) in names.iter().zip(&contents) {
            assert!(*content == fs::read(directory.path("mixed").join(name)).expect("a result"), "{name} was changed");
        }
    }
}

/// A job stopped by a signal removes what it has written.
#[cfg(unix)]
#[test]
fn a_stopped_job_leaves_no_files() {
    let directory = TestDirectory::new();
    directory.voice("long.wav", 48_000, 60.0, 150.0);
    for signal in ["INT", "TERM"] {
        let mut child = directory
            .command(&["long.wav", "--out", "new"])
            .stderr(std::process::Stdio::piped())
            .stdout(std::process::Stdio::piped())
            .spawn()
            .expect("the program starts");
        let began = Instant::now();
        // The folder exists once the job has started.
        while !directory.path("new").exists() {
            assert!(began.elapsed() < Duration::from_secs(60), "the job does not start");
            std::thread::sleep(Duration::from_millis(5));
        }
        std::thread::sleep(Duration::from_millis(300));
        assert!(child.try_wait().expect("a state").is_none(), "the job is too short for this test");
        let killed = Command::new("kill").args(["-s", signal, &child.id().to_string()]).status().expect("kill");
        assert!(killed.success());
        let ran = ProgramOutput::from(child.wait_with_output().expect("the program ends"));
        assert_eq!((ran.code, ran.out.as_str()), (Some(130), ""), "{}", ran.err);
        assert_eq!(ran.err, "error: stopped; nothing was written\n");
        assert_eq!(directory.names("."), ["long.wav"]);
    }
}

/// A closed standard output is no error.
#[cfg(unix)]
#[test]
fn a_closed_standard_output_is_no_error() {
    let directory = directory();
    let script = "exec \"$0\" good.wav >&-";
    let ran: ProgramOutput = Command::new("sh")
        .args(["-c", script])
        .arg(program("mix_interview"))
        .current_dir(directory.path("."))
        .output()
        .expect("a shell")
        .into();
    assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""));
    assert_eq!(directory.names("mixed"), results(&["good"]));
}

#[test]
fn a_truncated_recording_is_used_up_to_its_end() {
    let directory = directory();
    let good = fs::read(directory.path("good.wav")).expect("a file");
    fs::write(directory.path("cut.wav"), &good[..good.len() * 3 / 4]).expect("a file");
    let ran = directory.run(&["cut.wav"]).done();
    assert!(ran.out.contains("warning: cut: ends early"), "{}", ran.out);
}

#[test]
fn control_characters_in_names_do_not_reach_the_terminal() {
    let directory = TestDirectory::new();
    let samples: Vec<f64> = (0..96_000).map(|n| synthetic_voice(f64::from(n) / 48_000.0, 150.0)).collect();
    if cfg!(unix) {
        directory.wav("a\n\u{1b}[2Jb.wav", 48_000, 1, &samples);
        let ran = directory.run(&["a\n\u{1b}[2Jb.wav"]).done();
        assert!(!ran.out.contains('\u{1b}'), "{:?}", ran.out);
        assert_eq!(directory.names("mixed"), results(&["a-2jb"]));
        refuse(&directory, &["c\n\u{1b}[2J.wav"], &["c\\n\\u{1b}[2J.wav", "no such file"]);
    }
}
