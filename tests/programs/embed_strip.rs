//! The embedding example: output aligned with the input and as long.

use crate::directory::program;
use std::io::Write;
use std::process::{Command, Stdio};

/// Runs the example on stereo frames.
fn embed(arguments: &[&str], frames: &[[f32; 2]]) -> (Vec<[f32; 2]>, String) {
    let mut child = Command::new(program("embed_strip"))
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    let bytes: Vec<u8> = frames.as_flattened().iter().flat_map(|sample| sample.to_le_bytes()).collect();
    let mut input = child.stdin.take().expect("an input");
    let writer = std::thread::spawn(move || input.write_all(&bytes).expect("the program reads all of its input"));
    let output = child.wait_with_output().expect("the program ends");
    writer.join().expect("all is written");
    let errors = String::from_utf8(output.stderr).expect("UTF-8");
    assert!(output.status.success(), "{errors}");
    assert_eq!(output.stdout.len() % 8, 0);
    let samples: Vec<f32> = output.stdout.as_chunks().0.iter().map(|four| f32::from_le_bytes(*four)).collect();
    (samples.as_chunks::<2>().0.to_vec(), errors)
}

/// Noise in syllables, with a different level and content in each channel, up to the last sample.
fn syllables(count: usize) -> Vec<[f32; 2]> {
    let mut state = 7u64;
    let mut noise = move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as f32 / (1u32 << 30) as f32 - 1.0
    };
    let loud = |n: usize| 0.1 + 0.1 * (n as f32 * 0.0004).sin().abs();
    (0..count).map(|n| [loud(n) * noise(), 0.5 * loud(n) * noise()]).collect()
}

/// Correlation coefficient of the output with the input `lag` frames earlier, over frames of the input.
fn correlation(
    input: &[[f32; 2]],
    output: &[[f32; 2]],
    channel: usize,
    frames: std::ops::Range<usize>,
    lag: isize,
) -> f64 {
    let (mut cross, mut of_input, mut of_output) = (0.0, 0.0, 0.0);
    for n in frames {
        let Some(out) = n.checked_add_signed(lag).and_then(|at| output.get(at)) else { continue };
        let (x, y) = (f64::from(input[n][channel]), f64::from(out[channel]));
        (cross, of_input, of_output) = (cross + x * y, of_input + x * x, of_output + y * y);
    }
    cross / (of_input * of_output).sqrt().max(1e-30)
}

#[test]
fn the_output_is_aligned_with_the_input_and_as_long() {
    let cases: [(&[&str], u32); 3] =
        [(&[], 150), (&["spectral.latency=1", "de_reverb.on=1"], 500), (&["spectral.latency=2"], 1_000)];
    for (arguments, least) in cases {
        let input = syllables(60_137);
        let (output, errors) = embed(arguments, &input);
        assert_eq!(output.len(), input.len(), "{arguments:?}");
        // The latency that is compensated: 150 samples of the limiter, and more with a spectral latency.
        let words: Vec<&str> = errors.split_whitespace().collect();
        let latency: u32 = words[1].parse().expect("a latency");
        assert!(latency >= least, "{errors}");
        for channel in 0..2 {
            let middle = 24_000..32_000;
            let at = |lag: isize| correlation(&input, &output, channel, middle.clone(), lag);
            let best = (-2_400..=2_400).max_by(|a, b| at(*a).total_cmp(&at(*b))).expect("a lag");
            assert!(best == 0 && at(0) > 0.6, "{arguments:?}, channel {channel}: lag {best}, {}", at(best));
            // The last samples arrive too.
            let end = correlation(&input, &output, channel, input.len() - 150..input.len(), 0);
            assert!(end > 0.5, "{arguments:?}, channel {channel}: {end} at the end");
        }
    }
}

#[test]
fn recordings_shorter_than_the_latency_keep_their_length() {
    for count in [0, 1, 149, 511, 512, 513] {
        assert_eq!(embed(&["spectral.latency=2"], &syllables(count)).0.len(), count);
    }
}
