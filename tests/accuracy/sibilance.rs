//! Excessive sibilance, made by boosting only the fricatives of every voice from 4 to 10 kHz.

use crate::Row;
use crate::subset::{exceeded_by, mean_and_sd, of_subset, profile, share_over};
use voicechain_tests::faults::with_more_sibilance;
use voicechain_tests::recordings::{Subset, for_each_speaker};

/// Share of unchanged voices in which excessive sibilance may be found.
const FALSE: f64 = 0.1;

/// Excess unchanged, with +4 dB and with +8 dB; `None` without fricatives or with a narrow bandwidth.
type Excess = [f64; 3];

pub(crate) fn rows() -> Vec<Row> {
    let read = for_each_speaker(|speaker| -> Option<(Excess, bool)> {
        let of = |samples: &[f32]| profile(samples);
        let clean = of(&speaker.samples);
        let narrow = clean.bandwidth.is_ok_and(|bandwidth| bandwidth.high_hz < 9_000.0);
        let excess = [
            clean.sibilance.ok()?.excess_db,
            of(&with_more_sibilance(&speaker.samples, 4.0)).sibilance.ok()?.excess_db,
            of(&with_more_sibilance(&speaker.samples, 8.0)).sibilance.ok()?.excess_db,
        ];
        Some((excess, narrow))
    });
    let mut rows = Vec::new();
    for (words, narrow) in [("9 kHz and more", false), ("7 to 9 kHz", true)] {
        let known: Vec<(Subset, Excess)> = read
            .iter()
            .filter_map(|&(_, subset, found)| found.filter(|(_, is)| *is == narrow).map(|(excess, _)| (subset, excess)))
            .collect();
        let column =
            |subset, at: usize| -> Vec<f64> { of_subset(&known, subset).iter().map(|excess| excess[at]).collect() };
        let subsets = [Subset::Development, Subset::Evaluation];
        if subsets.iter().any(|&subset| column(subset, 0).len() < 3) {
            continue;
        }
        let threshold = exceeded_by(&column(Subset::Development, 0), FALSE);
        let both = |cell: &dyn Fn(Subset) -> String| subsets.map(cell);
        for (quantity, required, [development, evaluation]) in [
            (
                "excess of unchanged fricatives: mean, SD",
                "none",
                both(&|subset| {
                    let [mean, sd] = mean_and_sd(&column(subset, 0));
                    format!("{mean:+.1}, {sd:.1} dB of {}", column(subset, 0).len())
                }),
            ),
            (
                "increase with 8 dB more: mean",
                "none",
                both(&|subset| {
                    let more: Vec<f64> = of_subset(&known, subset).iter().map(|excess| excess[2] - excess[0]).collect();
                    format!("{:+.1} dB", mean_and_sd(&more)[0])
                }),
            ),
            ("false alarms, unchanged", "10 %", both(&|subset| share_over(&column(subset, 0), threshold))),
            ("found with 4 dB more", "none", both(&|subset| share_over(&column(subset, 1), threshold))),
            ("found with 8 dB more", "60 %", both(&|subset| share_over(&column(subset, 2), threshold))),
        ] {
            let quantity = format!("sibilance, {words}, threshold {threshold:+.1} dB: {quantity}");
            rows.push(Row { quantity, required, development, evaluation });
        }
    }
    rows
}
