//! Recordings that were once at a low rate, and those that were not.

use crate::Row;
use crate::half::{of_half, profile, share};
use voicechain_core::voice::profile::Bandwidth;
use voicechain_tests::faults::through_rate;
use voicechain_tests::recordings::{Half, Speaker, for_each_speaker};

/// Rates through which the recordings are sent, Hz.
const RATES_HZ: [u32; 3] = [8_000, 16_000, 22_050];
/// An end is found when it is so close, as a share.
const CLOSE: f64 = 0.12;

/// Untouched, and through each rate that is not above the recording's own.
type Found = [Option<Bandwidth>; 4];
/// The recordings' own rates and what was found: how many of how many.
type Count<'a> = &'a dyn Fn(&[(u32, Found)]) -> (usize, usize);

fn found(speaker: &Speaker) -> Found {
    let bandwidth = |samples: &[f32]| profile(samples).bandwidth.ok();
    core::array::from_fn(|i| match i.checked_sub(1).map(|i| RATES_HZ[i]) {
        None => bandwidth(&speaker.samples),
        Some(rate_hz) if rate_hz < speaker.native_rate_hz => bandwidth(&through_rate(&speaker.samples, rate_hz)),
        Some(_) => None,
    })
}

pub(crate) fn rows() -> Vec<Row> {
    let read = for_each_speaker(|speaker| (speaker.native_rate_hz, found(speaker)));
    let mut rows = Vec::new();
    let mut row = |quantity: String, reach, counts: Count| {
        let cell = |half| {
            let all: Vec<_> = read.iter().map(|&(_, half, found)| (half, found)).collect();
            let (count, whole) = counts(&of_half(&all, half));
            share(count, whole)
        };
        rows.push(Row { quantity, reach, chosen: cell(Half::Chooses), scored: cell(Half::Scores) });
    };
    let count = |of: &[Bandwidth], is: &dyn Fn(&Bandwidth) -> bool| (of.iter().filter(|b| is(b)).count(), of.len());
    for (at, rate_hz) in (1..).zip(RATES_HZ) {
        let own = format!("bandwidth, through {} kHz", f64::from(rate_hz) / 1_000.0);
        let of = move |all: &[(u32, Found)]| all.iter().filter_map(|(_, found)| found[at]).collect::<Vec<_>>();
        row(format!("{own}: flagged"), "95 %", &|all| count(&of(all), &|b| b.limited));
        let close = move |b: &Bandwidth| (b.high_hz / (0.5 * f64::from(rate_hz)) - 1.0).abs() < CLOSE;
        row(format!("{own}: end within 12 %"), "none", &|all| count(&of(all), &close));
        row(format!("{own}: called a telephone"), "none", &|all| count(&of(all), &|b| b.telephone));
    }
    for (words, from, to) in [("of 44.1 kHz and more", 44_100, u32::MAX), ("of lower rates", 0, 44_099)] {
        let of = move |all: &[(u32, Found)]| -> Vec<Bandwidth> {
            all.iter().filter(|(rate, _)| (from..=to).contains(rate)).filter_map(|(_, found)| found[0]).collect()
        };
        let quantity = format!("bandwidth, untouched files {words}");
        row(format!("{quantity}: flagged"), "none", &|all| count(&of(all), &|b| b.limited));
        row(format!("{quantity}: called a telephone"), "none", &|all| count(&of(all), &|b| b.telephone));
    }
    rows
}
