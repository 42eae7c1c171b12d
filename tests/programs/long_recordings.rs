//! Long recordings need hardly more memory than short ones: less than 8 MB more for 30 minutes.

use crate::directory::{TestDirectory, synthetic_voice};
use std::path::Path;
use std::process::Stdio;
use std::time::Duration;

/// Writes a recording of `minutes`: twenty seconds of a voice, repeated.
fn record(path: &Path, rate_hz: u32, minutes: u32) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: rate_hz,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec).expect("a file");
    let frames = rate_hz * 20;
    let repeated: Vec<i16> =
        (0..frames).map(|n| (synthetic_voice(f64::from(n) / f64::from(rate_hz), 130.0) * 32_767.0) as i16).collect();
    for _ in 0..3 * minutes {
        let mut samples = writer.get_i16_writer(frames);
        repeated.iter().for_each(|s| samples.write_sample(*s));
        samples.flush().expect("a writable file");
    }
    writer.finalize().expect("a writable file");
}

/// Peak resident memory of a run, bytes.
fn memory(directory: &TestDirectory, arguments: &[&str]) -> u64 {
    let mut child =
        directory.command(arguments).stdout(Stdio::null()).stderr(Stdio::null()).spawn().expect("the program starts");
    let status = format!("/proc/{}/status", child.id());
    let mut most = 0;
    loop {
        // The kernel keeps the high-water mark; polling misses at most the last 20 ms.
        let text = std::fs::read_to_string(&status).unwrap_or_default();
        let mark =
            text.lines().find_map(|line| line.strip_prefix("VmHWM:")).and_then(|rest| rest.trim().split(' ').next());
        most = most.max(mark.and_then(|kib| kib.parse::<u64>().ok()).unwrap_or(0) * 1_024);
        if let Some(status) = child.try_wait().expect("a state") {
            assert!(status.success());
            return most;
        }
        std::thread::sleep(Duration::from_millis(20));
    }
}

#[cfg(target_os = "linux")]
#[test]
#[ignore = "long: tests/run runs it in release"]
fn memory_does_not_grow_with_length() {
    let directory = TestDirectory::new();
    record(&directory.path("short.wav"), 48_000, 10);
    record(&directory.path("long.wav"), 48_000, 40);
    let [short, long] =
        ["short.wav", "long.wav"].map(|name| memory(&directory, &[name, "--out", &format!("{name}.mixed")]));
    println!("10 minutes: {:.1} MB, 40 minutes: {:.1} MB", short as f64 / 1e6, long as f64 / 1e6);
    assert!(short > 1_000_000, "no memory was measured");
    assert!(long < short + 8_000_000, "10 minutes take {short} bytes, 40 take {long}");
    assert!(long < 120_000_000, "{long} bytes");
}
