//! Signal-to-noise ratio with known noise mixed with every voice; level consistency with added transients and level
//! steps.

use crate::Row;
use crate::subset::{of_subset, share};
use voicechain_core::SampleRate;
use voicechain_core::measure::levels::{LevelMeter, LevelReadings};
use voicechain_tests::faults::{NoiseKind, with_level_steps, with_noise, with_transients};
use voicechain_tests::recordings::{RATE_HZ, Speaker, Subset, for_each_speaker, speakers};

/// Length of every voice that is mixed with noise, s.
const LENGTH_S: usize = 20;
/// Signal-to-noise ratios, dB; every voice is mixed at every second ratio with every noise.
const SNRS_DB: [f64; 6] = [5.0, 10.0, 15.0, 20.0, 25.0, 30.0];
/// Least distance of the recording's own noise below the added noise, dB.
const CLEARER_DB: f64 = 10.0;
/// Error within which a ratio counts as right, dB.
const CLOSE_DB: f64 = 2.0;
/// Added transients: gain in dB, and number in ten seconds.
const TRANSIENTS: (f64, f64) = (14.0, 5.0);
/// Added level steps, dB.
const JUMPS_DB: f64 = 12.0;

/// Index of the noise, the true ratio and the measured one, dB.
type Ratio = (usize, f64, Option<f64>);

/// Results for one speaker.
struct Read {
    ratios: Vec<Ratio>,
    /// Transients in ten seconds: unchanged, with added transients.
    transients: Option<[f64; 2]>,
    /// Spread and median step of the phrase levels, dB: unchanged, with transients, with level steps.
    level_consistency: Option<[[f64; 2]; 3]>,
}

/// Level readings of one channel.
fn levels(samples: &[f32]) -> LevelReadings {
    let mut levels = LevelMeter::new(SampleRate::new(f64::from(RATE_HZ)).expect("an allowed rate"));
    levels.push(samples);
    levels.result()
}

fn read(speaker: &Speaker) -> Read {
    let number = speakers().iter().position(|other| other.name == speaker.name).unwrap_or(0);
    let seed = number as u64;
    let others: Vec<&[f32]> = (speakers().iter().cycle().skip(number + 1).take(speakers().len() - 1))
        .filter(|other| other.subset == speaker.subset)
        .map(|other| &other.samples[..])
        .collect();
    let part = &speaker.samples[..speaker.samples.len().min(LENGTH_S * RATE_HZ as usize)];
    let own = levels(part).noise_floor.snr_db.unwrap_or(0.0);
    let mut ratios = Vec::new();
    for (at, kind) in NoiseKind::ALL.into_iter().enumerate() {
        for snr_db in SNRS_DB.into_iter().skip((number + at) % 2).step_by(2) {
            if own >= snr_db + CLEARER_DB {
                let (mixed, _) = with_noise(part, kind, snr_db, &others, seed);
                let found = levels(&mixed).noise_floor.snr_db.ok();
                ratios.push((at, snr_db, found));
            }
        }
    }
    let whole = &speaker.samples;
    let [clean, transients, jumps] = [
        whole.clone(),
        with_transients(whole, TRANSIENTS.0, TRANSIENTS.1, seed),
        with_level_steps(whole, JUMPS_DB, seed),
    ]
    .map(|s| levels(&s));
    let phrases = [clean, transients, jumps].map(|p| {
        p.level_consistency.map(|consistency| [consistency.standard_deviation_db, consistency.median_step_db])
    });
    let number = [clean, transients].map(|p| p.transients.map(|transients| transients.per_10_s));
    Read {
        ratios,
        transients: if let [Ok(clean), Ok(faulty)] = number { Some([clean, faulty]) } else { None },
        level_consistency: if let [Ok(a), Ok(b), Ok(c)] = phrases { Some([a, b, c]) } else { None },
    }
}

/// The threshold that separates both kinds best, midway between two neighbouring values.
fn best_threshold(low: &[f64], high: &[f64]) -> f64 {
    let mut places: Vec<f64> = low.iter().chain(high).copied().collect();
    places.sort_by(f64::total_cmp);
    let right = |threshold: f64| {
        let below = low.iter().filter(|value| **value <= threshold).count();
        let above = high.iter().filter(|value| **value > threshold).count();
        below * high.len() + above * low.len()
    };
    places.windows(2).map(|pair| 0.5 * (pair[0] + pair[1])).max_by_key(|threshold| right(*threshold)).unwrap_or(0.0)
}

pub(crate) fn rows() -> Vec<Row> {
    let all = for_each_speaker(read);
    let subsets = [Subset::Development, Subset::Evaluation];
    let mut rows = Vec::new();
    let mut row = |quantity: String, required, cell: &dyn Fn(Subset) -> String| {
        let [development, evaluation] = subsets.map(cell);
        rows.push(Row { quantity, required, development, evaluation });
    };
    let ratios: Vec<(Subset, Ratio)> =
        all.iter().flat_map(|(_, subset, read)| read.ratios.iter().map(|ratio| (*subset, *ratio))).collect();
    let mut ratio_row = |words: String, required, wanted: &dyn Fn(&Ratio) -> bool| {
        row(format!("signal-to-noise ratio within 2 dB, {words}"), required, &|subset| {
            let mut of = of_subset(&ratios, subset);
            of.retain(wanted);
            let right = |(_, is, found): &&Ratio| found.is_some_and(|found| (found - is).abs() <= CLOSE_DB);
            let mut errors: Vec<f64> = of.iter().filter_map(|(_, is, found)| Some((*found)? - is)).collect();
            errors.sort_by(f64::total_cmp);
            let median = errors.get(errors.len() / 2).copied().unwrap_or(f64::NAN);
            format!("{}, median {median:+.1} dB", share(of.iter().filter(right).count(), of.len()))
        });
    };
    ratio_row("5 to 30 dB of four kinds of noise".into(), "87 %, 93 %", &|_| true);
    for (at, kind) in ["pink noise", "ventilation", "buzz", "babble"].into_iter().enumerate() {
        ratio_row(kind.into(), "none", &|(noise, ..)| *noise == at);
    }
    for snr_db in SNRS_DB {
        ratio_row(format!("{snr_db} dB"), "none", &|(_, is, _)| *is == snr_db);
    }
    let transients: Vec<(Subset, [f64; 2])> =
        all.iter().filter_map(|(_, subset, read)| Some((*subset, read.transients?))).collect();
    let phrases: Vec<(Subset, [[f64; 2]; 3])> =
        all.iter().filter_map(|(_, subset, read)| Some((*subset, read.level_consistency?))).collect();
    let mut separation_row =
        |words: &str, required, low: &dyn Fn(Subset) -> Vec<f64>, high: &dyn Fn(Subset) -> Vec<f64>| {
            let threshold = best_threshold(&low(Subset::Development), &high(Subset::Development));
            row(format!("{words}, threshold {threshold:.1}: right"), required, &|subset| {
                let (low, high) = (low(subset), high(subset));
                let right =
                    low.iter().filter(|v| **v <= threshold).count() + high.iter().filter(|v| **v > threshold).count();
                share(right, low.len() + high.len())
            });
        };
    let of_transients = |at: usize| {
        let transients = &transients;
        move |subset| of_subset(transients, subset).iter().map(|values| values[at]).collect::<Vec<f64>>()
    };
    let of_phrases = |at: usize, which: usize| {
        let phrases = &phrases;
        move |subset| of_subset(phrases, subset).iter().map(|values| values[at][which]).collect::<Vec<f64>>()
    };
    separation_row(
        "voices with and without transients of 14 dB, by transients per 10 s",
        "97 %, 99 %",
        &of_transients(0),
        &of_transients(1),
    );
    separation_row(
        "voices with and without level steps of 12 dB, by the spread",
        "97 %, 99 %",
        &of_phrases(0, 0),
        &of_phrases(2, 0),
    );
    separation_row(
        "voices with and without level steps of 12 dB, by the step",
        "none",
        &of_phrases(0, 1),
        &of_phrases(2, 1),
    );
    row("spread, increase by transients of 14 dB: largest".into(), "none", &|subset| {
        let more = of_subset(&phrases, subset).iter().map(|of| of[1][0] - of[0][0]).fold(f64::NEG_INFINITY, f64::max);
        format!("{more:+.1} dB")
    });
    rows
}
