//! Fricatives that stand out, made by raising 4 to 10 kHz of every voice's fricatives, and only of these.

use crate::Row;
use crate::half::{exceeded_by, mean_and_sd, of_half, profile, share_over};
use voicechain_tests::faults::sharper;
use voicechain_tests::recordings::{Half, for_each_speaker};

/// Share of untouched voices that may be taken for too sharp.
const FALSE: f64 = 0.1;

/// Excess untouched, with 4 dB and with 8 dB; `None` where no fricatives are heard or the recording is narrow.
type Excess = [f64; 3];

pub(crate) fn rows() -> Vec<Row> {
    let read = for_each_speaker(|speaker| -> Option<(Excess, bool)> {
        let of = |samples: &[f32]| profile(samples);
        let clean = of(&speaker.samples);
        let narrow = clean.bandwidth.is_ok_and(|bandwidth| bandwidth.high_hz < 9_000.0);
        let excess = [
            clean.sibilance.ok()?.excess_db,
            of(&sharper(&speaker.samples, 4.0)).sibilance.ok()?.excess_db,
            of(&sharper(&speaker.samples, 8.0)).sibilance.ok()?.excess_db,
        ];
        Some((excess, narrow))
    });
    let mut rows = Vec::new();
    for (words, narrow) in [("9 kHz and more", false), ("7 to 9 kHz", true)] {
        let known: Vec<(Half, Excess)> = read
            .iter()
            .filter_map(|&(_, half, found)| found.filter(|(_, is)| *is == narrow).map(|(excess, _)| (half, excess)))
            .collect();
        let column = |half, at: usize| -> Vec<f64> { of_half(&known, half).iter().map(|excess| excess[at]).collect() };
        let halves = [Half::Chooses, Half::Scores];
        if halves.iter().any(|&half| column(half, 0).len() < 3) {
            continue;
        }
        let threshold = exceeded_by(&column(Half::Chooses, 0), FALSE);
        let both = |cell: &dyn Fn(Half) -> String| halves.map(cell);
        for (quantity, reach, [chosen, scored]) in [
            (
                "fricatives over the usual, untouched: mean, SD",
                "none",
                both(&|half| {
                    let [mean, sd] = mean_and_sd(&column(half, 0));
                    format!("{mean:+.1}, {sd:.1} dB of {}", column(half, 0).len())
                }),
            ),
            (
                "the same with 8 dB more: mean of what it adds",
                "none",
                both(&|half| {
                    let more: Vec<f64> = of_half(&known, half).iter().map(|excess| excess[2] - excess[0]).collect();
                    format!("{:+.1} dB", mean_and_sd(&more)[0])
                }),
            ),
            ("false alarms, untouched", "10 %", both(&|half| share_over(&column(half, 0), threshold))),
            ("found with 4 dB more", "none", both(&|half| share_over(&column(half, 1), threshold))),
            ("found with 8 dB more", "60 %", both(&|half| share_over(&column(half, 2), threshold))),
        ] {
            let quantity = format!("sibilance, {words}, over {threshold:+.1} dB: {quantity}");
            rows.push(Row { quantity, reach, chosen, scored });
        }
    }
    rows
}
