//! Effect of the strip as proposed on voices that need little: clean recordings, and copies of them that come limited
//! or compressed. Input and output are compared at equal loudness.

use crate::Row;
use crate::subset::{of_subset, profile, share};
use voicechain_core::measure::Profile;
use voicechain_core::propose::{Context, Proposal, propose};
use voicechain_core::settings::StageId;
use voicechain_core::{SampleRate, StripSettings};
use voicechain_tests::faults::{active_level, piece_levels, third_octaves, with_gain};
use voicechain_tests::recordings::{RATE_HZ, Subset, for_each_speaker};
use voicechain_tests::strips::{peak, strip};

/// Name of a copy, and how it is made of a recording.
type Copied = (&'static str, fn(&[f32]) -> Vec<f32>);

/// Centres of the third-octave bands above 4 kHz, and of some in the middle of the voice, Hz.
const HIGH_HZ: [f64; 6] = [5_000.0, 6_300.0, 8_000.0, 10_000.0, 12_500.0, 16_000.0];
const MIDDLE_HZ: [f64; 4] = [250.0, 400.0, 500.0, 630.0];
/// A band this far below the middle of the voice holds no sound of it, dB.
const AUDIBLE_DB: f64 = 50.0;
/// Standard deviation of the speech level up to which a voice is even, dB: that of the proposal.
const EVEN_DB: f64 = 3.0;
/// Minimum number of blocks of 10 ms in pauses.
const MIN_PAUSES: usize = 30;
/// Attenuation of the highest peak of a limited copy, dB.
const LIMITED_DB: f64 = 8.0;
/// Copies of a voice.
const COPIES: [Copied; 3] = [
    ("as recorded", <[f32]>::to_vec),
    ("peak-limited by 8 dB", |samples| limited(samples, LIMITED_DB)),
    ("compressed beforehand", compressed),
];

/// A voice limited to `by_db` below its highest peak: the smallest gain needed within 5 ms, released with 50 ms,
/// averaged over 5 ms.
fn limited(samples: &[f32], by_db: f64) -> Vec<f32> {
    let reach = RATE_HZ as usize / 200;
    let ceiling = peak(samples.as_chunks::<1>().0) * 10_f64.powf(-0.05 * by_db);
    let needed: Vec<f64> = samples.iter().map(|&x| (ceiling / f64::from(x).abs().max(ceiling)).log10()).collect();
    let release = (-1.0 / (0.05 * f64::from(RATE_HZ))).exp();
    let mut held = 0.0_f64;
    let gains: Vec<f64> = (0..samples.len())
        .map(|n| {
            let ahead = needed[n..(n + reach).min(needed.len())].iter().copied().fold(0.0, f64::min);
            held = (held * release).min(ahead);
            held
        })
        .collect();
    let mut sum = 0.0;
    (0..samples.len())
        .map(|n| {
            sum += gains[n] - if n >= reach { gains[n - reach] } else { 0.0 };
            (f64::from(samples[n]) * 10_f64.powf(sum / reach as f64)) as f32
        })
        .collect()
}

/// A voice compressed 4:1 above 6 dB below its active level, by its power over some 10 ms, with 100 ms of release.
fn compressed(samples: &[f32]) -> Vec<f32> {
    let threshold_db = active_level(samples) - 6.0;
    let keep = |seconds: f64| (-1.0 / (seconds * f64::from(RATE_HZ))).exp();
    let (mut power, mut reduction) = (0.0, 0.0_f64);
    samples
        .iter()
        .map(|&x| {
            let x = f64::from(x);
            power += (1.0 - keep(0.01)) * (x * x - power);
            let over = (10.0 * (power + 1e-20).log10() - threshold_db).max(0.0) * 0.75;
            let smoothing = if over > reduction { keep(0.005) } else { keep(0.1) };
            reduction = smoothing * reduction + (1.0 - smoothing) * over;
            (x * 10_f64.powf(-0.05 * reduction)) as f32
        })
        .collect()
}

/// Blocks of 10 ms that belong to a pause: at least 0.15 s after and 0.1 s before every block within 15.9 dB of the
/// active level.
fn pauses(samples: &[f32]) -> Vec<usize> {
    let (levels, least) = (piece_levels(samples), active_level(samples) - 15.9);
    let speech: Vec<bool> = levels.iter().map(|db| *db > least).collect();
    let quiet = |at: usize| !speech[at.saturating_sub(15)..(at + 11).min(speech.len())].iter().any(|speech| *speech);
    (0..speech.len()).filter(|&at| quiet(at)).collect()
}

/// Effect of the strip as proposed on one copy.
#[derive(Clone, Copy)]
struct Effect {
    /// Even level, as measured.
    even: bool,
    /// Stages that the proposal switches on or sets, besides trim and limiter.
    acting: usize,
    /// Change of the crest factor, dB.
    crest_db: f64,
    /// The compressor's 95th-percentile gain reduction during speech, dB; 0 if it is off.
    reduction_db: f64,
    /// Rise of the pauses against speech, dB; unknown without pauses.
    pauses_db: Option<f64>,
    /// Largest rise of a band above 4 kHz through dynamics, dB; unknown if the recording ends lower.
    high_db: Option<f64>,
}

/// Runs the strip; returns its output at the loudness of its input, and the compressor's gain reduction.
fn through(settings: &StripSettings, samples: &[f32]) -> (Vec<f32>, f64) {
    let rate = SampleRate::new(f64::from(RATE_HZ)).expect("an allowed rate");
    let mut strip = strip::<1>(settings, rate);
    let latency = strip.latency() as usize;
    let mut out = samples.to_vec();
    out.resize(samples.len() + latency, 0.0);
    strip.run(out.as_chunks_mut::<1>().0);
    let reduction = strip.reduction(StageId::Compressor).and_then(|meter| meter.percentile_db(95.0));
    let [before, after] = [strip.input_loudness(), strip.output_loudness()].map(|meter| meter.integrated());
    let change = before.zip(after).map_or(0.0, |(before, after)| before - after);
    (with_gain(&out[latency..], change), reduction.unwrap_or(0.0))
}

fn power_db(levels: &[f64], at: &[usize]) -> f64 {
    10.0 * (at.iter().map(|&at| 10_f64.powf(0.1 * levels[at])).sum::<f64>() / at.len() as f64).log10()
}

/// Number of stages, besides trim and limiter, that change the sound.
fn acting(settings: &StripSettings) -> usize {
    let switched = ["hum", "high_pass", "de_reverb", "expander", "leveller", "de_esser", "compressor"];
    let on = switched.iter().filter(|stage| settings.get(&format!("{stage}.on")) == Some(1.0)).count();
    let idle = Proposal::idle().settings;
    on + usize::from(settings.corrective_eq != idle.corrective_eq) + usize::from(settings.tone_eq != idle.tone_eq)
}

fn effect(samples: &[f32]) -> Effect {
    let profile: Profile = profile(samples);
    let settings = propose(&profile, Context::default()).settings;
    let mut linear = settings;
    for stage in ["expander", "leveller", "de_esser", "compressor", "limiter"] {
        linear.set(&format!("{stage}.on"), 0.0).expect("a switch");
    }
    let (on, reduction_db) = through(&settings, samples);
    let (off, _) = through(&linear, samples);
    let crest_db = 20.0 * (peak(on.as_chunks::<1>().0) / peak(samples.as_chunks::<1>().0)).log10();
    let quiet = pauses(samples);
    let rise = || power_db(&piece_levels(&on), &quiet) - power_db(&piece_levels(samples), &quiet);
    let [high, before] = [&on, &off].map(|samples| third_octaves(samples, &HIGH_HZ));
    let middle = third_octaves(&off, &MIDDLE_HZ).into_iter().fold(f64::NEG_INFINITY, f64::max);
    let rises = high.iter().zip(before).filter(|(_, before)| before > &(middle - AUDIBLE_DB));
    Effect {
        even: profile.level_consistency.is_ok_and(|consistency| consistency.standard_deviation_db <= EVEN_DB),
        acting: acting(&settings),
        crest_db,
        reduction_db,
        pauses_db: (quiet.len() > MIN_PAUSES).then(rise),
        high_db: rises.map(|(after, before)| after - before).max_by(f64::total_cmp),
    }
}

/// Median and extremes of the values, and the share inside the range.
fn cell(mut values: Vec<f64>, range: std::ops::RangeInclusive<f64>) -> String {
    values.sort_by(f64::total_cmp);
    let (Some(first), Some(last)) = (values.first(), values.last()) else { return "none".into() };
    let inside = values.iter().filter(|value| range.contains(value)).count();
    let median = values[values.len() / 2];
    format!("median {median:+.1}, {first:+.1} to {last:+.1} dB; {}", share(inside, values.len()))
}

pub(crate) fn rows() -> Vec<Row> {
    let read = for_each_speaker(|speaker| COPIES.map(|(_, copy)| effect(&copy(&speaker.samples))));
    let mut rows = Vec::new();
    for (at, (copy, _)) in COPIES.iter().enumerate() {
        let all: Vec<(Subset, Effect)> = read.iter().map(|&(_, subset, effects)| (subset, effects[at])).collect();
        let mut row = |words: String, required, cell: &dyn Fn(&[Effect]) -> String| {
            let [development, evaluation] =
                [Subset::Development, Subset::Evaluation].map(|subset| cell(&of_subset(&all, subset)));
            rows.push(Row { quantity: format!("good voices, {copy}: {words}"), required, development, evaluation });
        };
        row("stages of nine that act besides trim and limiter: median, most".into(), "none", &|all| {
            let mut acting: Vec<usize> = all.iter().map(|effect| effect.acting).collect();
            acting.sort_unstable();
            format!("{}, {}", acting[acting.len() / 2], acting[acting.len() - 1])
        });
        let limit = if at == 1 { "all up to 1 dB" } else { "none (1 dB)" };
        row("rise of the crest factor".into(), limit, &|all| {
            cell(all.iter().map(|effect| effect.crest_db).collect(), f64::NEG_INFINITY..=1.0)
        });
        for (even, words) in [(true, "even"), (false, "uneven")] {
            let of = |all: &[Effect]| all.iter().filter(|effect| effect.even == even).copied().collect::<Vec<_>>();
            let required = if even { "all from 0 to 3 dB" } else { "95 % from 3 to 6 dB" };
            row(format!("compressor's 95th-percentile gain reduction, {words} level"), required, &|all| {
                let range = if even { 0.0..=3.0 } else { 3.0..=6.0 };
                cell(of(all).iter().map(|effect| effect.reduction_db).collect(), range)
            });
            let required = if even { "all up to 1 dB" } else { "all up to 2.5 dB" };
            row(format!("rise of the pauses against speech, {words} level"), required, &|all| {
                let most = if even { 1.0 } else { 2.5 };
                cell(of(all).iter().filter_map(|effect| effect.pauses_db).collect(), f64::NEG_INFINITY..=most)
            });
        }
        row("largest rise of a third above 4 kHz through dynamics".into(), "all up to 1 dB", &|all| {
            cell(all.iter().filter_map(|effect| effect.high_db).collect(), f64::NEG_INFINITY..=1.0)
        });
    }
    rows
}
