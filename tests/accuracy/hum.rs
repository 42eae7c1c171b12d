//! Mains hum of known frequency and level mixed with every voice, and voices without hum.

use crate::Row;
use crate::subset::{of_subset, share};
use voicechain_core::measure::hum::HumMeter;
use voicechain_core::measure::profile::Hum;
use voicechain_tests::faults::{active_level, with_gain, with_hum};
use voicechain_tests::recordings::{RATE_HZ, Speaker, Subset, for_each_speaker};
use voicechain_tests::spectra::{Noise, fourier};

/// Active level of the voices, dBov.
const VOICE_DBOV: f64 = -26.0;
/// Levels of the hum, dBFS.
const LEVELS_DBFS: [f64; 5] = [-45.0, -50.0, -55.0, -60.0, -65.0];
/// Lengths, s.
const LENGTHS_S: [usize; 2] = [10, 30];
/// Frequency error within which hum counts as found, Hz.
const CLOSE_HZ: f64 = 0.2;
/// Largest deviation of the mains frequency, Hz.
const OFF_HZ: f64 = 0.4;

/// A hum harmonic is real if it exceeds the neighbouring spectrum by this much, dB.
const REAL_DB: f64 = 15.0;

/// Power at a frequency over the mean power from 0.4 to 2 Hz beside it, dB, over a whole recording.
fn prominence_db(samples: &[f32], hz: f64) -> f64 {
    let length = samples.len() as f64;
    let window = |n: usize| 0.5 - 0.5 * (std::f64::consts::TAU * n as f64 / length).cos();
    let signal: Vec<f64> = samples.iter().enumerate().map(|(n, x)| f64::from(*x) * window(n)).collect();
    let power = |hz: f64| {
        let [re, im] = fourier(&signal, std::f64::consts::TAU * hz / f64::from(RATE_HZ));
        re * re + im * im
    };
    let beside: f64 = (4..=20).map(|k| power(hz - 0.1 * f64::from(k)) + power(hz + 0.1 * f64::from(k))).sum();
    10.0 * (power(hz) / (beside / 34.0)).log10()
}

/// Whether any found harmonic is real by [`prominence_db`], which shares no code with the meter.
fn is_real(samples: &[f32], hum: &Hum) -> bool {
    let mut lines = (1..).zip(hum.harmonics_dbfs).filter(|(_, level)| level.is_some());
    lines.any(|(k, _)| prominence_db(samples, hum.frequency_hz * f64::from(k)) >= REAL_DB)
}

/// One case: indices of its length and level, the true frequency, and the result.
#[derive(Clone, Copy)]
struct Case {
    length: usize,
    level: usize,
    mains_hz: f64,
    found: Option<Hum>,
}

/// Results for one speaker: with hum, and for each piece of ten seconds without.
struct Read {
    cases: Vec<Case>,
    clean: Vec<Option<Hum>>,
    /// Whether the hum found in the first piece is real.
    real: bool,
}

fn read(speaker: &Speaker) -> Read {
    let voice = with_gain(&speaker.samples, VOICE_DBOV - active_level(&speaker.samples));
    let hum = |samples: &[f32]| {
        let mut meter = HumMeter::new(f64::from(RATE_HZ));
        meter.push(samples);
        meter.hum(VOICE_DBOV).ok().flatten()
    };
    let mut random = Noise::new(speaker.name.bytes().fold(1, |sum, byte| sum * 31 % 65_521 + u64::from(byte)));
    let mut cases = Vec::new();
    for (length, seconds) in LENGTHS_S.iter().enumerate() {
        let Some(part) = voice.get(..seconds * RATE_HZ as usize) else { continue };
        for mains_hz in [50.0, 60.0] {
            let mains_hz = mains_hz + random.between(-OFF_HZ, OFF_HZ);
            let alone = with_hum(&vec![0.0; part.len()], mains_hz, 0.0);
            for (level, dbfs) in LEVELS_DBFS.iter().enumerate() {
                let under = with_gain(&alone, *dbfs);
                let mixed: Vec<f32> = part.iter().zip(under).map(|(voice, hum)| voice + hum).collect();
                let found = hum(&mixed).filter(|hum| (hum.frequency_hz - mains_hz).abs() < CLOSE_HZ);
                cases.push(Case { length, level, mains_hz, found });
            }
        }
    }
    let clean: Vec<_> = voice.chunks_exact(LENGTHS_S[0] * RATE_HZ as usize).map(hum).collect();
    let first = &voice[..voice.len().min(LENGTHS_S[0] * RATE_HZ as usize)];
    let real = clean.first().is_some_and(|found| found.is_some_and(|hum| is_real(first, &hum)));
    Read { cases, clean, real }
}

/// The value below which this share of the values lies.
fn percentile(mut values: Vec<f64>, share: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get((share * values.len() as f64) as usize).copied().unwrap_or(f64::NAN)
}

pub(crate) fn rows() -> Vec<Row> {
    let all = for_each_speaker(read);
    let subsets = [Subset::Development, Subset::Evaluation];
    let mut rows = Vec::new();
    let mut row = |quantity: String, required, cell: &dyn Fn(Subset) -> String| {
        let [development, evaluation] = subsets.map(cell);
        rows.push(Row { quantity, required, development, evaluation });
    };
    let cases: Vec<(Subset, Case)> =
        all.iter().flat_map(|(_, subset, read)| read.cases.iter().map(|case| (*subset, *case))).collect();
    for (length, seconds) in LENGTHS_S.iter().enumerate().rev() {
        for (level, dbfs) in LEVELS_DBFS.iter().enumerate() {
            let required = match (seconds, level) {
                (30, 2) => "95 %",
                (30, 3) => "none, 95 %",
                _ => "none",
            };
            row(
                format!("hum at {dbfs} dBFS with a voice at {VOICE_DBOV} dBov, {seconds} s: found"),
                required,
                &|subset| {
                    let mut of = of_subset(&cases, subset);
                    of.retain(|case| case.length == length && case.level == level);
                    share(of.iter().filter(|case| case.found.is_some()).count(), of.len())
                },
            );
        }
    }
    let found: Vec<(Subset, (f64, f64))> = cases
        .iter()
        .filter_map(|(subset, case)| {
            let hum = case.found?;
            Some((*subset, ((hum.frequency_hz - case.mains_hz).abs(), hum.level_dbfs - LEVELS_DBFS[case.level])))
        })
        .collect();
    row("hum, frequency error: median, 95th percentile".into(), "none", &|subset| {
        let errors: Vec<f64> = of_subset(&found, subset).iter().map(|found| found.0).collect();
        format!("{:.3}, {:.3} Hz", percentile(errors.clone(), 0.5), percentile(errors, 0.95))
    });
    row("hum, level error: 5th, 50th, 95th percentile".into(), "none", &|subset| {
        let errors: Vec<f64> = of_subset(&found, subset).iter().map(|found| found.1).collect();
        let [low, median, high] = [0.05, 0.5, 0.95].map(|share| percentile(errors.clone(), share));
        format!("{low:+.1}, {median:+.1}, {high:+.1} dB")
    });
    let clean: Vec<(Subset, (bool, bool, usize, usize))> = all
        .iter()
        .filter_map(|(_, subset, read)| {
            let first = read.clean.first()?.is_some();
            Some((*subset, (first, read.real, read.clean.iter().flatten().count(), read.clean.len())))
        })
        .collect();
    row("hum, first 10 s of unchanged voices: found".into(), "none", &|subset| {
        let of = of_subset(&clean, subset);
        share(of.iter().filter(|(first, ..)| *first).count(), of.len())
    });
    row(
        "hum, first 10 s of unchanged voices: found without a harmonic 15 dB above its neighbours".into(),
        "0",
        &|subset| {
            let of = of_subset(&clean, subset);
            share(of.iter().filter(|(first, real, ..)| *first && !real).count(), of.len())
        },
    );
    row("hum, all pieces of 10 s of unchanged voices: found".into(), "none", &|subset| {
        let of = of_subset(&clean, subset);
        share(of.iter().map(|(.., count, _)| count).sum(), of.iter().map(|(.., whole)| whole).sum())
    });
    rows
}
