//! Program that compares our processing with other libraries, and the de-reverb with its transforms alone, in
//! interleaved runs.
//!
//! In every round, each candidate of a comparison processes a short signal in turn, so that disturbances of the machine
//! affect all of them. Prints median times, and the median of the ratios within each round.
//!
//!     cargo run --release -p voicechain-benches --bin ratios [-- --rounds N] [-- --json]

use std::process::ExitCode;
use std::time::Instant;
use voicechain_benches::reference_libraries::{self, Stereo};
use voicechain_benches::{RATE_HZ, pass};
use voicechain_core::dsp::RealFft;
use voicechain_core::settings::{DeReverbSettings, SpectralLatency};
use voicechain_core::stages::{DeReverb, DeReverbDesign, Processor, StageCoefs};
use voicechain_core::{SampleRate, SettingError};
use voicechain_examples::timing::{machine, test_signal};

/// Frames that a candidate processes per turn.
const FRAMES_PER_TURN: usize = 48_000 / 4 / 512 * 512;
/// Transforms that a candidate computes per turn.
const TRANSFORMS_PER_TURN: usize = 20;
/// Frames that a meter measures per turn; loudness range needs several seconds.
const METER_FRAMES_PER_TURN: usize = 3 * 48_000;
const DEFAULT_ROUNDS: usize = 201;

/// Result of one candidate.
struct Row {
    comparison: &'static str,
    name: &'static str,
    ns_per_frame: f64,
    /// Time of the candidate divided by ours.
    ratio: f64,
    /// Minimum ratio that our performance target requires.
    target: Option<f64>,
}

struct Candidate<'a> {
    name: &'static str,
    target: Option<f64>,
    turn: Box<dyn FnMut() + 'a>,
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// Measures all candidates of a comparison; the first is ours.
fn compare(comparison: &'static str, frames: usize, rounds: usize, candidates: &mut [Candidate]) -> Vec<Row> {
    let mut times = vec![Vec::with_capacity(rounds); candidates.len()];
    for round in 0..=rounds {
        for (candidate, times) in candidates.iter_mut().zip(&mut times) {
            let start = Instant::now();
            (candidate.turn)();
            let ns = start.elapsed().as_nanos() as f64 / frames as f64;
            // The first round warms up.
            if round > 0 {
                times.push(ns);
            }
        }
    }
    let ours = times[0].clone();
    let rows = candidates.iter().zip(times).map(|(candidate, times)| {
        let ratio = median(times.iter().zip(&ours).map(|(time, ours)| time / ours).collect());
        Row { comparison, name: candidate.name, ns_per_frame: median(times), ratio, target: candidate.target }
    });
    rows.collect()
}

fn cascades<'a>(signal: &'a [[f32; 2]], length: usize, rate: SampleRate) -> Vec<Candidate<'a>> {
    let candidate = |name, target, mut run: Stereo| {
        let mut block = vec![[0.0; 2]; length];
        let turn = move || pass(signal, &mut block, &mut run);
        Candidate { name, target, turn: Box::new(turn) }
    };
    vec![
        candidate("ours", None, reference_libraries::ours(rate)),
        candidate("biquad f64, sample by sample", Some(2.0), reference_libraries::biquad_f64(rate)),
        candidate("biquad f32, sample by sample", Some(2.0), reference_libraries::biquad_f32(rate)),
        candidate("fundsp, f64 states", Some(6.0), reference_libraries::fundsp_f64(rate)),
        candidate("fundsp, f32 states", Some(6.0), reference_libraries::fundsp_f32(rate)),
    ]
}

fn meters(signal: &[[f32; 2]], rate: SampleRate) -> Vec<Candidate<'_>> {
    let ours = move |live| {
        move || {
            std::hint::black_box(reference_libraries::our_meters(signal, 512, live, rate));
        }
    };
    let theirs = move || {
        let _ = std::hint::black_box(reference_libraries::ebur128(signal, 512, rate));
    };
    vec![
        Candidate { name: "ours, peak read every 100 ms", target: None, turn: Box::new(ours(true)) },
        Candidate { name: "ours, peak read at the end", target: None, turn: Box::new(ours(false)) },
        Candidate { name: "ebur128", target: None, turn: Box::new(theirs) },
    ]
}

/// The de-reverb on a stereo voice, and the same number of transforms alone.
fn de_reverb(
    signal: &[[f32; 2]],
    latency: SpectralLatency,
    rate: SampleRate,
) -> Result<Vec<Candidate<'_>>, SettingError> {
    let settings =
        DeReverbDesign { latency, settings: DeReverbSettings { decay_ms: 600.0, ..DeReverbSettings::default() } };
    let coefs = StageCoefs::design(&settings, true, rate)?;
    let mut stage = Box::new(Processor::<DeReverb, 2>::new(&coefs));
    let mut block = vec![[0.0; 2]; 512];
    // The latency is one synthesis window of four hops; each hop needs a forward and an inverse transform per channel.
    let hops = 4 * signal.len() / coefs.latency() as usize;
    let stage = move || pass(signal, &mut block, |frames| stage.run(frames));
    const HALF: usize = 1_024;
    let fft = RealFft::<HALF>::new(2 * HALF);
    let (mut z, mut scratch) = (Box::new([[0.0; HALF]; 2]), Box::new([[0.0; HALF]; 2]));
    let transforms = move || {
        for _ in 0..2 * hops {
            let [re, im] = &mut *z;
            for ((re, im), frame) in re.iter_mut().zip(im).zip(signal) {
                [*re, *im] = *frame;
            }
            fft.forward(&mut z, &mut scratch);
            fft.inverse(&mut z, &mut scratch);
            std::hint::black_box(&mut z);
        }
    };
    Ok(vec![
        Candidate { name: "ours", target: None, turn: Box::new(stage) },
        Candidate { name: "its transforms alone", target: Some(0.5), turn: Box::new(transforms) },
    ])
}

/// Power spectrum of a frame by our transform and by `microfft`; the time is per sample of the frame.
fn transforms(frame: &[f32]) -> Vec<Candidate<'_>> {
    let candidate = |name, mut powers: reference_libraries::PowerSpectrum| {
        let mut to = vec![0.0; frame.len() / 2];
        let turn = move || {
            for _ in 0..TRANSFORMS_PER_TURN {
                powers(std::hint::black_box(frame), &mut to);
                std::hint::black_box(&mut to);
            }
        };
        Candidate { name, target: None, turn: Box::new(turn) }
    };
    vec![
        candidate("ours", reference_libraries::our_power_spectrum(frame.len())),
        candidate("microfft", reference_libraries::microfft_power_spectrum(frame.len())),
    ]
}

fn print_table(rows: &[Row], rounds: usize) {
    println!("{}", machine::processor());
    println!("{}", machine::build());
    println!("stereo, {RATE_HZ} Hz, medians of {rounds} interleaved rounds\n");
    println!("{:<28} {:<30} {:>8} {:>12} {:>7}", "comparison", "candidate", "ns/frame", "time/ours", "target");
    for row in rows {
        let target = row.target.map_or(String::new(), |t| format!(">= {t}"));
        let (comparison, name) = (row.comparison, row.name);
        println!("{comparison:<28} {name:<30} {:>8.2} {:>12.2} {target:>7}", row.ns_per_frame, row.ratio);
    }
}

fn print_json(rows: &[Row], rounds: usize) {
    let rows: Vec<String> = rows
        .iter()
        .map(|r| {
            let target = r.target.map_or("null".to_owned(), |t| t.to_string());
            format!(
                "{{\"comparison\": {:?}, \"candidate\": {:?}, \"ns_per_frame\": {:.3}, \"ratio\": {:.3}, \"target\": {target}}}",
                r.comparison, r.name, r.ns_per_frame, r.ratio
            )
        })
        .collect();
    println!(
        "{{\"format\": 1, \"processor\": {:?}, \"build\": {:?}, \"rounds\": {rounds}, \"rows\": [\n  {}\n]}}",
        machine::processor(),
        machine::build(),
        rows.join(",\n  ")
    );
}

fn main() -> ExitCode {
    let (mut rounds, mut json) = (DEFAULT_ROUNDS, false);
    let mut arguments = std::env::args().skip(1);
    while let Some(argument) = arguments.next() {
        match argument.as_str() {
            "--json" => json = true,
            "--rounds" => match arguments.next().and_then(|n| n.parse().ok()).filter(|&n: &usize| n > 0) {
                Some(n) => rounds = n,
                None => return refuse("--rounds needs a whole number above 0"),
            },
            other => return refuse(&format!("unknown argument {other:?}; use --rounds N or --json")),
        }
    }
    let Ok(rate) = SampleRate::new(RATE_HZ) else { return refuse("the sample rate is out of range") };
    let signal = test_signal::speech_like(METER_FRAMES_PER_TURN, rate);
    // From the middle of a phrase, so that no stage is idle.
    let piece = &signal[24_000..24_000 + FRAMES_PER_TURN];
    let mut rows = compare("8 bells, blocks of 64", FRAMES_PER_TURN, rounds, &mut cascades(piece, 64, rate));
    rows.extend(compare("8 bells, blocks of 512", FRAMES_PER_TURN, rounds, &mut cascades(piece, 512, rate)));
    rows.extend(compare(
        "loudness and true peak",
        METER_FRAMES_PER_TURN,
        rounds.div_ceil(4),
        &mut meters(&signal, rate),
    ));
    let mono: Vec<f32> = piece.iter().map(|&[left, _]| left).collect();
    for (comparison, length) in [("spectrum, 1024", 1_024), ("spectrum, 2048", 2_048), ("spectrum, 4096", 4_096)] {
        let frame = &mono[..length];
        rows.extend(compare(comparison, TRANSFORMS_PER_TURN * length, rounds, &mut transforms(frame)));
    }
    let latencies =
        [("de-reverb, high latency", SpectralLatency::High), ("de-reverb, low latency", SpectralLatency::Low)];
    for (comparison, latency) in latencies {
        let Ok(mut candidates) = de_reverb(piece, latency, rate) else { return refuse("a setting is out of range") };
        rows.extend(compare(comparison, FRAMES_PER_TURN, rounds, &mut candidates));
    }
    if json {
        print_json(&rows, rounds)
    } else {
        print_table(&rows, rounds)
    }
    ExitCode::SUCCESS
}

fn refuse(why: &str) -> ExitCode {
    eprintln!("ratios: {why}");
    ExitCode::from(2)
}
