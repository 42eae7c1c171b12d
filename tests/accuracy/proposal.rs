//! Effect of the proposed settings on every voice, measured by running the strip.

use crate::Row;
use crate::subset::{of_subset, profile, share};
use voicechain_core::propose::{Context, propose};
use voicechain_core::{SampleRate, StripSettings};
use voicechain_tests::faults::{
    active_level, band, fricatives, piece_levels, with_gain, with_level_steps, with_more_sibilance, with_transients,
};
use voicechain_tests::recordings::{RATE_HZ, Speaker, Subset, for_each_speaker};
use voicechain_tests::strips::{run_file, strip};

/// Added sibilance, dB.
const SIBILANCE_DB: f64 = 8.0;
/// Band in which it is measured, Hz.
const SIBILANT_HZ: [f64; 2] = [5_000.0, 9_000.0];
/// Step of proposed thresholds, dB.
const STEP_DB: f64 = 0.5;
/// Step of a proposed ceiling, with rounding, dB.
const CEILING_STEP_DB: f64 = 0.1001;
/// Level of the second of two voices below the first, dB.
const QUIETER_DB: f64 = 12.0;

fn proposed(samples: &[f32]) -> StripSettings {
    propose(&profile(samples), Context::default()).settings
}

/// Runs a strip; returns its output and the output loudness.
fn through(settings: &StripSettings, samples: &[f32]) -> (Vec<f32>, f64) {
    let rate = SampleRate::new(f64::from(RATE_HZ)).expect("an allowed rate");
    let mut strip = strip::<1>(settings, rate);
    let latency = strip.latency() as usize;
    let mut out = samples.to_vec();
    out.resize(samples.len() + latency, 0.0);
    strip.run(out.as_chunks_mut::<1>().0);
    out.drain(..latency);
    (out, strip.output_loudness().integrated().unwrap_or(f64::NAN))
}

/// Level change from `before` to `after`, dB, as the mean of power over the blocks that `is` selects.
fn change_db(before: &[f32], after: &[f32], is: impl Fn(usize, f64) -> bool) -> Option<f64> {
    let (mut sums, mut count) = ([0.0; 2], 0);
    for (at, (from, to)) in piece_levels(before).into_iter().zip(piece_levels(after)).enumerate() {
        if is(at, from) {
            sums[0] += 10_f64.powf(0.1 * from);
            sums[1] += 10_f64.powf(0.1 * to);
            count += 1;
        }
    }
    (count > 30).then(|| 10.0 * (sums[1] / sums[0]).log10())
}

/// Level change by the proposed de-esser for sharpened fricatives: of these fricatives and of vowels, dB; `None` if the
/// de-esser is off.
fn reductions_db(samples: &[f32]) -> Option<[f64; 2]> {
    let sharp = with_more_sibilance(samples, SIBILANCE_DB);
    let on = proposed(&sharp);
    if !on.de_esser.on {
        return None;
    }
    let mut off = on;
    off.de_esser.on = false;
    // Without the compressor behind, which compensates part of the attenuation.
    let [on, off] = [on, off].map(|mut settings| {
        settings.compressor.on = false;
        through(&settings, &sharp).0
    });
    let open = fricatives(samples);
    let piece = RATE_HZ as usize / 100;
    let share = |at: usize| {
        let all = open[at * piece..].iter().take(piece);
        all.sum::<f32>() / piece as f32
    };
    let active = active_level(&off) - 15.9;
    let most = piece_levels(&off).into_iter().fold(f64::NEG_INFINITY, f64::max);
    let [before, after] = [&off, &on].map(|samples| band(samples, SIBILANT_HZ[0], SIBILANT_HZ[1]));
    let sharp = change_db(&before, &after, |at, db| share(at) == 1.0 && db > most - 60.0)?;
    let vowels = change_db(&off, &on, |at, db| share(at) == 0.0 && db > active)?;
    Some([sharp, vowels])
}

/// Phrases of a clean voice, in blocks of 10 ms: level above the active level less 15.9 dB, gaps of at least a quarter
/// of a second, length of at least a third of a second.
fn phrases(clean: &[f32]) -> Vec<std::ops::Range<usize>> {
    let levels = piece_levels(clean);
    let least = active_level(clean) - 15.9;
    let mut all: Vec<std::ops::Range<usize>> = Vec::new();
    for at in (0..levels.len()).filter(|at| levels[*at] > least) {
        match all.last_mut() {
            Some(last) if at <= last.end + 25 => last.end = at + 1,
            _ => all.push(at..at + 1),
        }
    }
    all.retain(|phrase| phrase.len() > 33);
    all
}

/// Standard deviation of the phrase levels, weighted by length, without the loudest 15 % of each phrase, dB. The
/// phrases come from the clean voice, because after a compressor a meter would find others.
fn spread(samples: &[f32], phrases: &[std::ops::Range<usize>]) -> f64 {
    let levels = piece_levels(samples);
    let known: Vec<[f64; 2]> = phrases
        .iter()
        .map(|phrase| {
            let mut pieces = levels[phrase.clone()].to_vec();
            pieces.sort_by(f64::total_cmp);
            pieces.truncate(pieces.len() * 85 / 100);
            let power = pieces.iter().map(|db| 10_f64.powf(0.1 * db)).sum::<f64>() / pieces.len() as f64;
            [10.0 * power.log10(), phrase.len() as f64]
        })
        .collect();
    let whole: f64 = known.iter().map(|[_, weight]| weight).sum();
    let mean = known.iter().map(|[level, weight]| level * weight).sum::<f64>() / whole;
    (known.iter().map(|[level, weight]| weight * (level - mean).powi(2)).sum::<f64>() / whole).sqrt()
}

/// Spread of the phrases, dB: clean; with transients and level steps; these after the proposed strip in real time and
/// as in a program for files.
fn spreads(samples: &[f32], seed: u64) -> Option<[f64; 4]> {
    let faulty = with_transients(&with_level_steps(samples, 12.0, seed), 14.0, 4.0, seed);
    let phrases = phrases(samples);
    (phrases.len() >= 6).then(|| {
        let settings = proposed(&faulty);
        let behind = through(&settings, &faulty).0;
        let mut strip = strip::<1>(&settings, SampleRate::new(f64::from(RATE_HZ)).expect("an allowed rate"));
        let file = run_file(&mut strip, &settings, faulty.as_chunks::<1>().0);
        [samples, &faulty, &behind, file.as_flattened()].map(|samples| spread(samples, &phrases))
    })
}

#[derive(Clone, Copy)]
struct Found {
    lufs: f64,
    quieter_lufs: f64,
    level_alone: bool,
    reductions_db: Option<[f64; 2]>,
    spreads: Option<[f64; 4]>,
}

fn found(speaker: &Speaker) -> Found {
    let clean = &speaker.samples;
    let settings = proposed(clean);
    let (_, lufs) = through(&settings, clean);
    let quieter = with_gain(clean, -QUIETER_DB);
    let mut same = proposed(&quieter);
    let (_, quieter_lufs) = through(&same, &quieter);
    same.trim = settings.trim;
    // Thresholds derived from the trim are rounded to half a decibel, so a tiny difference may move them by one step.
    if (same.compressor.threshold_db - settings.compressor.threshold_db).abs() <= STEP_DB {
        same.compressor.threshold_db = settings.compressor.threshold_db;
    }
    if (same.de_esser.threshold_db - settings.de_esser.threshold_db).abs() <= STEP_DB {
        same.de_esser.threshold_db = settings.de_esser.threshold_db;
    }
    if (same.limiter.ceiling_dbtp - settings.limiter.ceiling_dbtp).abs() <= CEILING_STEP_DB {
        same.limiter.ceiling_dbtp = settings.limiter.ceiling_dbtp;
    }
    let seed = speaker.name.bytes().map(u64::from).sum();
    Found {
        lufs,
        quieter_lufs,
        level_alone: same == settings,
        reductions_db: reductions_db(clean),
        spreads: spreads(clean, seed),
    }
}

/// The value below which this share of the values lies.
fn percentile(mut values: Vec<f64>, share: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    if values.is_empty() { f64::NAN } else { values[((values.len() - 1) as f64 * share).round() as usize] }
}

pub(crate) fn rows() -> Vec<Row> {
    let read = for_each_speaker(|speaker| (speaker.reverberant, found(speaker)));
    let all: Vec<(Subset, Found)> = read.iter().map(|&(_, subset, (_, found))| (subset, found)).collect();
    let mut rows = Vec::new();
    let mut row = |quantity: &str, required, cell: &dyn Fn(&[Found]) -> String| {
        let [development, evaluation] =
            [Subset::Development, Subset::Evaluation].map(|subset| cell(&of_subset(&all, subset)));
        rows.push(Row { quantity: format!("proposal: {quantity}"), required, development, evaluation });
    };
    row("attenuation of fricatives of +8 dB where the de-esser is on: mean", "4 dB, 5 dB", &|all| {
        let taken: Vec<f64> = all.iter().filter_map(|f| f.reductions_db).map(|[sharp, _]| -sharp).collect();
        format!("{:.1} dB of {}", taken.iter().sum::<f64>() / taken.len() as f64, taken.len())
    });
    row("... level change of their vowels: mean, largest", "0.5 dB", &|all| {
        let changes: Vec<f64> = all.iter().filter_map(|f| f.reductions_db).map(|[_, vowels]| vowels.abs()).collect();
        let most = changes.iter().copied().fold(0.0, f64::max);
        format!("{:.2}, {most:.2} dB", changes.iter().sum::<f64>() / changes.len() as f64)
    });
    let mut spread_row = |words: &str, after: usize| {
        let words = format!(
            "phrase spread with +14 dB transients and 12 dB level steps, share left after the {words}: median, 90th \
             percentile"
        );
        row(&words, "0.5, 0.33", &|all| {
            let shares: Vec<f64> = all.iter().filter_map(|f| f.spreads).map(|db| db[after] / db[1]).collect();
            let [median, high] = [0.5, 0.9].map(|share| percentile(shares.clone(), share));
            format!("{median:.2}, {high:.2} of {}", shares.len())
        });
    };
    spread_row("strip in real time", 2);
    spread_row("strip with the leveller's gain curve", 3);
    // Each voice with the next of its subset, 12 dB quieter.
    row(
        "loudness difference of two voices 12 dB apart after their strips: median, largest",
        "0.5 LU, 0.3 LU",
        &|all| {
            let pairs = all.iter().zip(all.iter().cycle().skip(1));
            let apart: Vec<f64> = pairs.map(|(one, other)| (one.lufs - other.quieter_lufs).abs()).collect();
            format!("{:.1}, {:.1} LU", percentile(apart.clone(), 0.5), percentile(apart, 1.0))
        },
    );
    row(
        "a voice 12 dB quieter gets the same settings except the trim and one step of a threshold or the ceiling",
        "all",
        &|all| share(all.iter().filter(|f| f.level_alone).count(), all.len()),
    );
    rows
}
