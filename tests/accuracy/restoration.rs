//! What hum, expander and leveller achieve on recorded voices that they are given with known faults.

use crate::Row;
use crate::subset::{of_subset, share};
use std::f64::consts::TAU;
use voicechain_core::{SampleRate, StripSettings};
use voicechain_tests::recordings::{RATE_HZ, Subset, for_each_speaker};
use voicechain_tests::signals::{gain, mono, pinkish, rms_db, sine};
use voicechain_tests::strips::{all_off, run, run_file, strip};

const HZ: f64 = RATE_HZ as f64;
/// Frames of 20 ms.
const FRAME: usize = RATE_HZ as usize / 50;
const LONGEST: usize = 30 * RATE_HZ as usize;

fn through(change: impl Fn(&mut StripSettings), signal: &[f64]) -> Vec<f64> {
    let mut settings = all_off();
    change(&mut settings);
    let mut strip = strip::<1>(&settings, SampleRate::new(HZ).expect("a rate of recordings"));
    let latency = strip.latency() as usize;
    let mut frames = mono(signal);
    frames.resize(signal.len() + latency, [0.0]);
    run(&mut strip, &frames)[latency..].iter().map(|frame| f64::from(frame[0])).collect()
}

/// Through the form for files.
fn for_file(change: impl Fn(&mut StripSettings), signal: &[f64]) -> Vec<f64> {
    let mut settings = all_off();
    change(&mut settings);
    let mut strip = strip::<1>(&settings, SampleRate::new(HZ).expect("a rate of recordings"));
    run_file(&mut strip, &settings, &mono(signal)).iter().map(|frame| f64::from(frame[0])).collect()
}

fn levels(signal: &[f64]) -> Vec<f64> {
    signal.chunks_exact(FRAME).map(rms_db).collect()
}

/// Mean power of chosen frames, dB.
fn mean_db(levels: &[f64], chosen: &[usize]) -> f64 {
    10.0 * (chosen.iter().map(|&k| 10f64.powf(0.1 * levels[k])).sum::<f64>() / chosen.len() as f64).log10()
}

fn percentile(values: &[f64], percent: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted[((sorted.len() - 1) as f64 * percent * 0.01).round() as usize]
}

/// What the voice makes of the amplitudes of lines at multiples of a known frequency, fitted by least squares over a piece
/// of it in which every sample counts alike, as a level in dB. A fit that counts quiet moments more can be nearer.
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

/// What was found on one voice; `None` where it has no pauses.
#[derive(Clone, Copy)]
struct Found {
    pause: Option<f64>,
    active: f64,
    /// What is left where the voice speaks from the first sample on: after one second, after five; where a second of the room
    /// came first, after that; what least squares could know after a second; and where it speaks from the first sample on, but
    /// its hum is learnt beforehand, as for files.
    hum: [f64; 5],
    /// Whether it speaks for more than 0.55 of the time: hardly a list of letters or words. The limit was picked by looking at
    /// all voices.
    running: bool,
    /// With jumps every 2 s, every 5 s; with those the leveller's form for files.
    spread: [f64; 3],
    steady: f64,
}

fn found(samples: &[f32]) -> Found {
    let voice: Vec<f64> = samples.iter().take(LONGEST).map(|&x| f64::from(x)).collect();
    // To -23 dB over what is within 15.9 dB of the mean (ITU-T P.56 in kind).
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
    // A pause is 0.3 s after the last active frame.
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
    let left = |before: usize, after: usize, ahead: bool| -> f64 {
        let hummed: Vec<f64> =
            std::iter::repeat_n(0.0, before).chain(voice.iter().copied()).zip(&hum).map(|(v, h)| v + h).collect();
        let cleaned =
            if ahead { for_file(|s| s.hum.on = true, &hummed) } else { through(|s| s.hum.on = true, &hummed) };
        let clean = std::iter::repeat_n(0.0, before).chain(voice.iter().copied());
        let left: Vec<f64> = cleaned.iter().zip(clean).skip(after).map(|(c, v)| c - v).collect();
        rms_db(&left) - rms_db(&hum)
    };
    let known = least_squares_error_db(&voice[..second], 50.13, 6) - rms_db(&hum);
    let hum =
        [left(0, second, false), left(0, 5 * second, false), left(second, second, false), known, left(0, second, true)];

    // Of the jumps that come every 2 s, those from four starts on.
    let spread_left = |seconds: f64, start: f64, ahead: bool| {
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
    let often = [0.0, 0.5, 1.0, 1.5].map(|start| spread_left(2.0, start, false)).iter().sum::<f64>() / 4.0;
    let spread = [often, spread_left(5.0, 0.0, false), spread_left(5.0, 0.0, true)];
    let levelled = levels(&through(|s| s.leveller.on = true, &voice));
    let moves: Vec<f64> = active.iter().map(|&k| levelled[k] - clean[k]).collect();
    let usual = percentile(&moves, 50.0);
    Found {
        pause: (pauses.len() > 25).then(|| change(&pauses)),
        active: change(&active),
        hum,
        running: speaks as f64 > 0.55 * clean.len() as f64,
        spread,
        steady: moves.iter().map(|m| (m - usual).abs()).sum::<f64>() / moves.len() as f64,
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
        row("mending: pink noise at 10 dB, pauses, dB", "-10", &|f| f.pause, &|v| v <= -10.0),
        row("mending: pink noise at 10 dB, active speech, dB", "within 0.5", &|f| Some(f.active), &|v| v.abs() <= 0.5),
        row(
            "mending: hum, six lines of -50 dBFS, after 1 s, room before the voice, dB",
            "-25",
            &|f| Some(f.hum[2]),
            &|v| v <= -25.0,
        ),
        row(
            "mending: the same where the voice speaks from the first sample on, dB",
            "-25",
            &|f| Some(f.hum[0]),
            &|v| v <= -25.0,
        ),
        row("mending: the same, after 5 s, dB", "none", &|f| Some(f.hum[1]), &|v| v <= -25.0),
        row("mending: the same, after 1 s, form for files, dB", "-25", &|f| Some(f.hum[4]), &|v| v <= -25.0),
        row(
            "mending: the same by least squares over 1 s with the frequency known, dB",
            "none",
            &|f| Some(f.hum[3]),
            &|v| v <= -25.0,
        ),
        row(
            "mending: jumps of 12 dB every 2 s of running speech, spread left",
            "0.62",
            &|f| f.running.then_some(f.spread[0]),
            &|v| v <= 0.62,
        ),
        row("mending: the same, lists of letters and words among them", "0.62", &|f| Some(f.spread[0]), &|v| v <= 0.62),
        row("mending: jumps of 12 dB every 5 s, spread left", "0.62", &|f| Some(f.spread[1]), &|v| v <= 0.62),
        row("mending: jumps of 12 dB every 5 s, form for files", "0.5", &|f| Some(f.spread[2]), &|v| v <= 0.5),
        row("mending: steady voice moved by, mean dB", "1", &|f| Some(f.steady), &|v| v < 1.0),
    ]
}
