//! Deviation of the voices from the published long-term average of speech, band by band.

use crate::Row;
use crate::subset::{mean_and_sd, of_subset, profile};
use voicechain_core::measure::profile::TonalBalance;
use voicechain_core::speech::BYRNE_1994_COMBINED;
use voicechain_tests::recordings::{Subset, for_each_speaker};

/// Least signal-to-noise ratio of a voice that counts, dB.
const MIN_SNR_DB: f64 = 28.0;

pub(crate) fn rows() -> Vec<Row> {
    let read = for_each_speaker(|speaker| {
        let profile = profile(&speaker.samples);
        let clean = !speaker.reverberant && profile.background_noise.snr_db.is_ok_and(|snr| snr >= MIN_SNR_DB);
        profile.tonal_balance.ok().filter(|_| clean)
    });
    let known: Vec<(Subset, TonalBalance)> = read
        .iter()
        .filter_map(|&(_, subset, tonal_balance)| tonal_balance.map(|tonal_balance| (subset, tonal_balance)))
        .collect();
    let mut rows = Vec::new();
    let mut row = |what: String, of: &dyn Fn(&TonalBalance) -> Option<f64>| {
        let cell = |subset| {
            let values: Vec<f64> = of_subset(&known, subset).iter().filter_map(of).collect();
            let [mean, sd] = mean_and_sd(&values);
            format!("{mean:+.1}, {sd:.1} dB of {}", values.len())
        };
        rows.push(Row {
            quantity: format!("tonal balance, {what}, against published speech: mean, SD"),
            required: "none",
            development: cell(Subset::Development),
            evaluation: cell(Subset::Evaluation),
        });
    };
    row("low end".to_owned(), &|tonal_balance| tonal_balance.low_end_db.ok());
    row("presence".to_owned(), &|tonal_balance| tonal_balance.presence_db.ok());
    row("top end".to_owned(), &|tonal_balance| tonal_balance.top_end_db.ok());
    for (band, (hz, _)) in BYRNE_1994_COMBINED.iter().enumerate() {
        row(format!("{hz} Hz"), &|tonal_balance| tonal_balance.deviation_db[band]);
    }
    rows
}
