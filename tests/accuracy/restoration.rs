//! Effect of hum, expander and leveller stages on recorded voices with known faults.

use crate::Row;
use crate::subset::{of_subset, share};
use std::f64::consts::TAU;
use voicechain_core::{SampleRate, StripSettings};
use voicechain_tests::recordings::{RATE_HZ, Subset, for_each_speaker};
use voicechain_tests::signals::{gain, mono, pinkish, rms_db, sine};
use voicechain_tests::strips::{all_off, run, run_file, strip};

const HZ: f64 = RATE_HZ as f64;
/// Frames of 20 ms, samples.
const FRAME: usize = RATE_HZ as usize / 50;
const MAX_LENGTH: usize = 30 * RATE_HZ as usize;

fn through(change: impl Fn(&mut StripSettings), signal: &[f64]) -> Vec<f64> {
    let mut settings = all_off();
    change(&mut settings);
    let mut strip = strip::<1>(&settings, SampleRate::new(HZ).expect("an allowed rate"));
    let latency = strip.latency() as usize;
    let mut frames = mono(signal);
    frames.resize(signal.len() + latency, [0.0]);
    run(&mut strip, &frames)[latency..].iter().map(|frame| f64::from(frame[0])).collect()
}

/// Runs the strip as a program for files does.
fn for_file(change: impl Fn(&mut StripSettings), signal: &[f64]) -> Vec<f64> {
    let mut settings = all_off();
    change(&mut settings);
    let mut strip = strip::<1>(&settings, SampleRate::new(HZ).expect("an allowed rate"));
    run_file(&mut strip, &settings, &mono(signal)).iter().map(|frame| f64::from(frame[0])).collect()
}

fn levels(signal: &[f64]) -> Vec<f64> {
    signal.chunks_exact(FRAME).map(rms_db).collect()
}

/// Mean power of the chosen frames, dB.
fn mean_db(levels: &[f64], chosen: &[usize]) -> f64 {
    10.0 * (chosen.iter().map(|&k| 10f64.powf(0.1 * levels[k])).sum::<f64>() / chosen.len() as f64).log10()
}

fn percentile(values: &[f64], percent: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted[((sorted.len() - 1) as f64 * percent * 0.01).round() as usize]
}

/// Error of a least-squares fit of hum harmonics at a known frequency caused by the voice, as a level in dB. All
/// samples of the piece have equal weight; a fit that weights quiet moments more can be better.
fn least_squares_error_db(voice: &[f64], hz: f64, lines: u32) -> f64 {
    let power: f64 = (1..=lines)
        .map(|k| {
            let turn = TAU * hz * f64::from(k) / HZ;
            let [re, im] = [f64::cos, f64::sin].map(|wave| {
                voice.iter().enumerate().map(|(n, x)| x * wave(turn * n as f64)).sum::<f64>() * 2.0 / voice.len() as f64
            });
            0.5 * (re * re + im * im)
        })
        .sum();
    10.0 * power.log10()
}

/// Results for one voice; `None` without pauses.
#[derive(Clone, Copy)]
struct Found {
    pause: Option<f64>,
    active: f64,
    /// Residual of the hum, dB relative to it. Voice from the first sample on: after one second, after five. Voice
    /// after one second of hum alone: after that second. Bound by least squares over one second. Voice from the first
    /// sample on, hum analysed ahead as for files.
    hum: [f64; 5],
    /// Whether the voice is active for more than 0.55 of the time, as in running speech rather than in lists of letters
    /// or words. The limit was chosen with all voices in view.
    running: bool,
    /// Share of the spread left: level steps every 2 s, every 5 s, every 5 s with a gain curve.
    spread: [f64; 3],
    steady: f64,
}

fn found(samples: &[f32]) -> Found {
    let voice: Vec<f64> = samples.iter().take(MAX_LENGTH).map(|&x| f64::from(x)).collect();
    // Scaled to -23 dB over the active frames.
    let raw = levels(&voice);
    let loudest = percentile(&raw, 95.0);
    let is_active = |k: &usize| raw[*k] > loudest - 20.0;
    let all: Vec<usize> = (0..raw.len()).collect();
    let active: Vec<usize> = all.iter().copied().filter(is_active).collect();
    let scale = gain(-23.0 - mean_db(&raw, &active));
    let voice: Vec<f64> = voice.iter().map(|x| x * scale).collect();
    let clean = levels(&voice);
    let speaks = clean.iter().filter(|db| **db > -23.0 - 15.9).count();
    let late = |k: &usize| *k > 200;
    let active: Vec<usize> = active.into_iter().filter(late).collect();
    // A frame is in a pause if the 0.3 s before it are quiet too.
    let pauses: Vec<usize> = all.into_iter().filter(late).filter(|&k| (k - 15..=k).all(|j| clean[j] < -48.0)).collect();

    let noise = pinkish(-33.0, voice.len(), 3);
    let scale = gain(-33.0 - rms_db(&noise));
    let noisy: Vec<f64> = voice.iter().zip(&noise).map(|(v, n)| v + scale * n).collect();
    let expanded = levels(&through(|s| s.expander.on = true, &noisy));
    let noisy = levels(&noisy);
    let change = |at: &[usize]| mean_db(&expanded, at) - mean_db(&noisy, at);

    let mut hum = vec![0.0; voice.len()];
    for k in 1..=6 {
        let line = sine(50.13 * f64::from(k), -50.0, HZ, voice.len());
        hum.iter_mut().zip(&line).for_each(|(sum, x)| *sum += x);
    }
    let second = RATE_HZ as usize;
    let residual_db = |before: usize, after: usize, ahead: bool| -> f64 {
        let hummed: Vec<f64> =
            std::iter::repeat_n(0.0, before).chain(voice.iter().copied()).zip(&hum).map(|(v, h)| v + h).collect();
        let cleaned =
            if ahead { for_file(|s| s.hum.on = true, &hummed) } else { through(|s| s.hum.on = true, &hummed) };
        let clean = std::iter::repeat_n(0.0, before).chain(voice.iter().copied());
        let residual: Vec<f64> = cleaned.iter().zip(clean).skip(after).map(|(c, v)| c - v).collect();
        rms_db(&residual) - rms_db(&hum)
    };
    let known = least_squares_error_db(&voice[..second], 50.13, 6) - rms_db(&hum);
    let hum = [
        residual_db(0, second, false),
        residual_db(0, 5 * second, false),
        residual_db(second, second, false),
        known,
        residual_db(0, second, true),
    ];

    // For steps every 2 s, the mean over four starting points.
    let spread_share = |seconds: f64, start: f64, ahead: bool| {
        let block = (seconds * HZ) as usize;
        let start = (start * HZ) as usize;
        let jumping: Vec<f64> = voice
            .iter()
            .enumerate()
            .map(|(n, x)| x * gain(if ((n + start) / block).is_multiple_of(2) { 6.0 } else { -6.0 }))
            .collect();
        let out = levels(&if ahead {
            for_file(|s| s.leveller.on = true, &jumping)
        } else {
            through(|s| s.leveller.on = true, &jumping)
        });
        let jumping = levels(&jumping);
        let of = |levels: &[f64]| {
            let blocks: Vec<f64> = active
                .chunk_by(|a, b| (a * FRAME + start) / block == (b * FRAME + start) / block)
                .filter(|piece| piece.len() > 15)
                .map(|piece| mean_db(levels, piece))
                .collect();
            percentile(&blocks, 90.0) - percentile(&blocks, 10.0)
        };
        of(&out) / of(&jumping)
    };
    let often = [0.0, 0.5, 1.0, 1.5].map(|start| spread_share(2.0, start, false)).iter().sum::<f64>() / 4.0;
    let spread = [often, spread_share(5.0, 0.0, false), spread_share(5.0, 0.0, true)];
    let levelled = levels(&through(|s| s.leveller.on = true, &voice));
    let changes: Vec<f64> = active.iter().map(|&k| levelled[k] - clean[k]).collect();
    let usual = percentile(&changes, 50.0);
    Found {
        pause: (pauses.len() > 25).then(|| change(&pauses)),
        active: change(&active),
        hum,
        running: speaks as f64 > 0.55 * clean.len() as f64,
        spread,
        steady: changes.iter().map(|change| (change - usual).abs()).sum::<f64>() / changes.len() as f64,
    }
}

pub(crate) fn rows() -> Vec<Row> {
    let read = for_each_speaker(|speaker| found(&speaker.samples));
    let of = |subset, value: &dyn Fn(&Found) -> Option<f64>| -> Vec<f64> {
        let known: Vec<(Subset, f64)> =
            read.iter().filter_map(|(_, subset, f)| value(f).map(|v| (*subset, v))).collect();
        of_subset(&known, subset)
    };
    let row =
        |quantity: &str, required: &'static str, value: &dyn Fn(&Found) -> Option<f64>, good: &dyn Fn(f64) -> bool| {
            let cell = |subset| {
                let values = of(subset, value);
                let kept = values.iter().filter(|v| good(**v)).count();
                let [median, high] = [50.0, 90.0].map(|p| percentile(&values, p));
                format!("median {median:+.2}, 90 % {high:+.2}; {}", share(kept, values.len()))
            };
            Row {
                quantity: quantity.into(),
                required,
                development: cell(Subset::Development),
                evaluation: cell(Subset::Evaluation),
            }
        };
    vec![
        row("restoration: pink noise at 10 dB, level change of pauses, dB", "-10", &|f| f.pause, &|v| v <= -10.0),
        row(
            "restoration: pink noise at 10 dB, level change of active speech, dB",
            "within 0.5",
            &|f| Some(f.active),
            &|v| v.abs() <= 0.5,
        ),
        row(
            "restoration: hum, six harmonics of -50 dBFS, after 1 s without voice, dB",
            "-25",
            &|f| Some(f.hum[2]),
            &|v| v <= -25.0,
        ),
        row("restoration: the same, after 1 s with voice, dB", "-25", &|f| Some(f.hum[0]), &|v| v <= -25.0),
        row("restoration: the same, after 5 s with voice, dB", "none", &|f| Some(f.hum[1]), &|v| v <= -25.0),
        row("restoration: the same, after 1 s with voice, analysed ahead, dB", "-25", &|f| Some(f.hum[4]), &|v| {
            v <= -25.0
        }),
        row(
            "restoration: the same, least squares over 1 s at the known frequency, dB",
            "none",
            &|f| Some(f.hum[3]),
            &|v| v <= -25.0,
        ),
        row(
            "restoration: level steps of 12 dB every 2 s, running speech, share of the spread left",
            "0.62",
            &|f| f.running.then_some(f.spread[0]),
            &|v| v <= 0.62,
        ),
        row("restoration: the same, with lists of letters and words", "0.62", &|f| Some(f.spread[0]), &|v| v <= 0.62),
        row(
            "restoration: level steps of 12 dB every 5 s, share of the spread left",
            "0.62",
            &|f| Some(f.spread[1]),
            &|v| v <= 0.62,
        ),
        row("restoration: the same, with a gain curve", "0.5", &|f| Some(f.spread[2]), &|v| v <= 0.5),
        row("restoration: mean gain change of a steady voice, dB", "1", &|f| Some(f.steady), &|v| v < 1.0),
    ]
}
