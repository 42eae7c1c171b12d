//! Bands of the strip's filters, derived from the table of settings.

use crate::draw_context::row_of;
use std::sync::LazyLock;
use voicechain_core::settings::StageId;
use voicechain_core::strip::StripCoefs;

/// Filter band: stage, name, and rows of frequency, gain and Q.
pub(crate) struct Band {
    pub(crate) stage: StageId,
    pub(crate) name: String,
    pub(crate) frequency: usize,
    pub(crate) gain: Option<usize>,
    pub(crate) q: Option<usize>,
}

/// All bands on the frequency axis: in the table of settings, those frequencies that have a gain or a slope.
pub(crate) fn bands() -> &'static [Band] {
    static BANDS: LazyLock<Vec<Band>> = LazyLock::new(|| {
        let of = |&stage: &StageId| {
            let found = move |field: &str| row_of(stage, field).map(|(row, _)| row);
            stage.rows().iter().enumerate().filter_map(move |(frequency, info)| {
                let prefix = info.id.split('.').next_back()?.strip_suffix("frequency_hz")?;
                let gain = found(&format!("{prefix}gain_db"));
                let q = found(&format!("{prefix}q"));
                let name = if prefix.is_empty() { stage.name() } else { info.name.strip_suffix(" frequency")? };
                let band = Band { stage, name: name.to_lowercase(), frequency, gain, q };
                (gain.is_some() || (prefix.is_empty() && found("slope").is_some())).then_some(band)
            })
        };
        StageId::ALL.iter().flat_map(of).collect()
    });
    &BANDS
}

/// Combined gain of all filters at a frequency, without trim and output gain, dB.
pub(crate) fn response_db(coefs: &StripCoefs<2>, hz: f64) -> f64 {
    let mut stages: Vec<StageId> = bands().iter().map(|band| band.stage).collect();
    stages.dedup();
    stages.into_iter().map(|stage| coefs.stage_response(stage, hz).db().max(-120.0)).sum::<f64>().max(-120.0)
}

/// Name of a band with that of its stage; a band named like its stage has the stage's name only.
pub(crate) fn full_name(band: &Band) -> String {
    let stage = band.stage.name();
    if stage.to_lowercase() == band.name { stage.into() } else { format!("{stage} {}", band.name) }
}
