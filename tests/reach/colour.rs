//! How voices differ from published speech, band by band.

use crate::Row;
use crate::half::{mean_and_sd, of_half, profile};
use voicechain_core::measure::profile::Colour;
use voicechain_core::speech::BYRNE_1994_COMBINED;
use voicechain_tests::recordings::{Half, for_each_speaker};

/// Voices that are less clean do not count, dB.
const LEAST_SNR_DB: f64 = 28.0;

pub(crate) fn rows() -> Vec<Row> {
    let read = for_each_speaker(|speaker| {
        let profile = profile(&speaker.samples);
        let clean = !speaker.roomy && profile.ground.snr_db.is_ok_and(|snr| snr >= LEAST_SNR_DB);
        profile.colour.ok().filter(|_| clean)
    });
    let known: Vec<(Half, Colour)> =
        read.iter().filter_map(|&(_, half, colour)| colour.map(|colour| (half, colour))).collect();
    let mut rows = Vec::new();
    let mut row = |what: String, of: &dyn Fn(&Colour) -> Option<f64>| {
        let cell = |half| {
            let values: Vec<f64> = of_half(&known, half).iter().filter_map(of).collect();
            let [mean, sd] = mean_and_sd(&values);
            format!("{mean:+.1}, {sd:.1} dB of {}", values.len())
        };
        rows.push(Row {
            quantity: format!("colour, {what}, against published speech: mean, SD"),
            reach: "none",
            chosen: cell(Half::Chooses),
            scored: cell(Half::Scores),
        });
    };
    row("low end".to_owned(), &|colour| colour.low_end_db.ok());
    row("presence".to_owned(), &|colour| colour.presence_db.ok());
    row("top end".to_owned(), &|colour| colour.top_end_db.ok());
    for (band, (hz, _)) in BYRNE_1994_COMBINED.iter().enumerate() {
        row(format!("{hz} Hz"), &|colour| colour.deviation_db[band]);
    }
    rows
}
