//! Bandwidth of recordings resampled through a lower rate, and of unchanged recordings.

use crate::Row;
use crate::subset::{of_subset, profile, share};
use voicechain_core::measure::profile::Bandwidth;
use voicechain_tests::faults::resampled_through;
use voicechain_tests::recordings::{RATE_HZ, Speaker, Subset, for_each_speaker};
use voicechain_tests::spectra::fourier;

/// Sample rates through which the recordings are resampled, Hz.
const RATES_HZ: [u32; 3] = [8_000, 16_000, 22_050];
/// Relative error within which an upper limit counts as found.
const CLOSE: f64 = 0.12;

/// A flagged limit is a cliff if the level falls by this much across it, dB. No voice falls so steeply by itself.
const CLIFF_DB: f64 = 20.0;

/// Level from 75 to 93 % of a frequency over that from 108 to 126 %, dB, in the loudest tenth of the blocks of 43 ms.
/// The Fourier sums share no code with the meter.
fn cliff_db(samples: &[f32], hz: f64) -> f64 {
    const PIECE: usize = 2_048;
    let mut pieces: Vec<&[f32]> = samples.chunks_exact(PIECE).collect();
    let energy = |piece: &[f32]| piece.iter().map(|x| x * x).sum::<f32>();
    pieces.sort_by(|a, b| energy(b).total_cmp(&energy(a)));
    pieces.truncate((pieces.len() / 10).clamp(1, 100));
    let power = |low: f64, high: f64| -> f64 {
        let mut sum = 0.0;
        for piece in &pieces {
            let window = |n: usize| 0.5 - 0.5 * (std::f64::consts::TAU * n as f64 / PIECE as f64).cos();
            let signal: Vec<f64> = piece.iter().enumerate().map(|(n, x)| f64::from(*x) * window(n)).collect();
            for step in 0..12 {
                let at = hz * (low + (high - low) * f64::from(step) / 11.0);
                let [re, im] = fourier(&signal, std::f64::consts::TAU * at / f64::from(RATE_HZ));
                sum += re * re + im * im;
            }
        }
        sum
    };
    10.0 * (power(0.75, 0.93) / power(1.08, 1.26)).log10()
}

/// Untouched, and through each rate that is not above the recording's own.
type Found = [Option<Bandwidth>; 4];
/// The recordings' own rates, what was found, and the cliff at the untouched one's end: how many of how many.
type Count<'a> = &'a dyn Fn(&[(u32, Found, f64)]) -> (usize, usize);

fn found(speaker: &Speaker) -> Found {
    let bandwidth = |samples: &[f32]| profile(samples).bandwidth.ok();
    core::array::from_fn(|i| match i.checked_sub(1).map(|i| RATES_HZ[i]) {
        None => bandwidth(&speaker.samples),
        Some(rate_hz) if rate_hz < speaker.native_rate_hz => bandwidth(&resampled_through(&speaker.samples, rate_hz)),
        Some(_) => None,
    })
}

pub(crate) fn rows() -> Vec<Row> {
    let read = for_each_speaker(|speaker| {
        let found = found(speaker);
        let cliff_db = found[0].map_or(0.0, |bandwidth| cliff_db(&speaker.samples, bandwidth.high_hz));
        (speaker.native_rate_hz, found, cliff_db)
    });
    let mut rows = Vec::new();
    let mut row = |quantity: String, required, counts: Count| {
        let cell = |subset| {
            let all: Vec<_> = read.iter().map(|&(_, subset, found)| (subset, found)).collect();
            let (count, whole) = counts(&of_subset(&all, subset));
            share(count, whole)
        };
        rows.push(Row {
            quantity,
            required,
            development: cell(Subset::Development),
            evaluation: cell(Subset::Evaluation),
        });
    };
    let count = |of: &[Bandwidth], is: &dyn Fn(&Bandwidth) -> bool| (of.iter().filter(|b| is(b)).count(), of.len());
    for (at, rate_hz) in (1..).zip(RATES_HZ) {
        let own = format!("bandwidth, through {} kHz", f64::from(rate_hz) / 1_000.0);
        let of = move |all: &[(u32, Found, f64)]| all.iter().filter_map(|(_, found, _)| found[at]).collect::<Vec<_>>();
        row(format!("{own}: flagged"), "98 %, 100 %", &|all| count(&of(all), &|b| b.limited));
        let close = move |b: &Bandwidth| (b.high_hz / (0.5 * f64::from(rate_hz)) - 1.0).abs() < CLOSE;
        row(format!("{own}: limit within 12 %"), "none", &|all| count(&of(all), &close));
        row(format!("{own}: narrowband"), "none", &|all| count(&of(all), &|b| b.narrowband));
    }
    for (words, from, to) in [("at 44.1 kHz and above", 44_100, u32::MAX), ("at lower rates", 0, 44_099)] {
        let of = move |all: &[(u32, Found, f64)]| -> Vec<(Bandwidth, f64)> {
            let of_rate = all.iter().filter(|(rate, ..)| (from..=to).contains(rate));
            of_rate.filter_map(|&(_, found, cliff_db)| Some((found[0]?, cliff_db))).collect()
        };
        let quantity = format!("bandwidth, unchanged files {words}");
        let count = |of: &[(Bandwidth, f64)], is: &dyn Fn(&Bandwidth, f64) -> bool| {
            (of.iter().filter(|(bandwidth, cliff_db)| is(bandwidth, *cliff_db)).count(), of.len())
        };
        row(format!("{quantity}: flagged"), "none", &|all| count(&of(all), &|b, _| b.limited));
        let required = if from > 0 { "4 %" } else { "none" };
        row(format!("{quantity}: flagged without a fall of 20 dB"), required, &|all| {
            count(&of(all), &|b, cliff_db| b.limited && cliff_db < CLIFF_DB)
        });
        row(format!("{quantity}: narrowband"), "none", &|all| count(&of(all), &|b, _| b.narrowband));
    }
    rows
}
