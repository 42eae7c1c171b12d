//! Measured voice as JSON, defined by the JSON Schema [`SCHEMA`].
//!
//! Numbers are rounded to two decimals, DC offset and confidences to four. An unavailable quantity is `null`
//! (resonances: an empty list), and `validity` contains `known` or the reason for every quantity. If hum is `known` and
//! `null`, the recording has no hum.

mod parts;
mod proposed;
mod rounded;
mod validity;

use super::page::acted_on;
use super::{MeasuredVoice, words};
use crate::report::data::round;
use parts::{Band, Clipping, Hum, Pitch, Resonance, Sibilance, Transients, third_octaves};
use proposed::{Context, Proposal};
use rounded::{known, to, two};
use serde::Serialize;
use validity::Validity;
use voicechain_core::measure::profile;

/// Format number, written as `format`.
pub const FORMAT: u32 = 1;

/// JSON Schema (draft 2020-12) of one voice.
pub const SCHEMA: &str = include_str!("../schema.json");

/// JSON text: one object for one recording, a list of objects in the given order for several.
///
/// # Errors
/// Never for results of [`MeasuredVoice::measure`].
pub fn to_json(voices: &[MeasuredVoice]) -> Result<String, serde_json::Error> {
    let all: Vec<Voice<'_>> = voices.iter().map(voice).collect();
    let text = match &all[..] {
        [one] => serde_json::to_string_pretty(one),
        all => serde_json::to_string_pretty(all),
    }?;
    Ok(text + "\n")
}

#[derive(Serialize)]
struct Voice<'a> {
    format: u32,
    file: &'a str,
    file_format: &'a str,
    sample_rate_hz: f64,
    channels: usize,
    duration_s: f64,
    signal_class: &'static str,
    integrated_lufs: Option<f64>,
    loudness_range_lu: Option<f64>,
    true_peak_dbtp: Option<f64>,
    sample_peak_dbfs: Option<f64>,
    clipping: Clipping,
    active_level_dbov: Option<f64>,
    activity_percent: Option<f64>,
    active_s: Option<f64>,
    crest_db: Option<f64>,
    level_standard_deviation_db: Option<f64>,
    transients: Option<Transients>,
    noise_floor_dbfs: Option<f64>,
    snr_db: Option<f64>,
    hum: Option<Hum>,
    rumble_dbfs: Option<f64>,
    dc_offset: Option<f64>,
    pitch_hz: Option<Pitch>,
    bandwidth_hz: Option<f64>,
    third_octaves: Option<Vec<Band>>,
    low_end_db: Option<f64>,
    presence_db: Option<f64>,
    top_end_db: Option<f64>,
    resonances: Vec<Resonance>,
    sibilance: Option<Sibilance>,
    decay_time_s: Option<f64>,
    dry: Option<bool>,
    validity: Validity,
    context: Context,
    proposal: Proposal,
    file_warnings: Vec<String>,
}

fn voice(page: &MeasuredVoice) -> Voice<'_> {
    let p = &page.profile;
    let (level, background_noise) = (&p.level, &p.background_noise);
    let resonance = |found: &profile::Resonance| Resonance::new(found, acted_on(&page.proposal, found.frequency_hz));
    Voice {
        format: FORMAT,
        file: &page.file,
        file_format: &page.file_format,
        sample_rate_hz: p.rate_hz,
        channels: p.channels,
        duration_s: round(p.duration_s, 3),
        signal_class: words::signal_class_id(p.signal_class),
        integrated_lufs: known(level.integrated_lufs),
        loudness_range_lu: known(level.loudness_range_lu),
        true_peak_dbtp: two(level.true_peak_dbtp),
        sample_peak_dbfs: two(level.sample_peak_dbfs),
        clipping: level.clipping.into(),
        active_level_dbov: known(level.active_level_dbov),
        activity_percent: two(level.activity_percent),
        active_s: two(level.active_s),
        crest_db: known(level.crest_db),
        level_standard_deviation_db: known(p.level_consistency.map(|consistency| consistency.standard_deviation_db)),
        transients: p.transients.ok().map(Transients::from),
        noise_floor_dbfs: known(background_noise.noise_floor_dbfs),
        snr_db: known(background_noise.snr_db),
        hum: p.hum.ok().flatten().map(Hum::from),
        rumble_dbfs: two(background_noise.rumble_dbfs),
        dc_offset: to(4, background_noise.dc_offset),
        pitch_hz: p.pitch.ok().map(Pitch::from),
        bandwidth_hz: known(p.bandwidth.map(|band| band.high_hz)),
        third_octaves: p.tonal_balance.ok().map(|tonal_balance| third_octaves(&tonal_balance)),
        low_end_db: known(p.tonal_balance.and_then(|tonal_balance| tonal_balance.low_end_db)),
        presence_db: known(p.tonal_balance.and_then(|tonal_balance| tonal_balance.presence_db)),
        top_end_db: known(p.tonal_balance.and_then(|tonal_balance| tonal_balance.top_end_db)),
        resonances: p.resonances.iter().flatten().flatten().map(resonance).collect(),
        sibilance: p.sibilance.ok().map(Sibilance::from),
        decay_time_s: known(p.reverberation.map(|reverberation| reverberation.decay_time_s)),
        dry: p.reverberation.ok().map(|reverberation| reverberation.dry),
        validity: Validity::of(p),
        context: page.context.into(),
        proposal: (&page.proposal).into(),
        file_warnings: page.file_warnings.iter().map(ToString::to_string).collect(),
    }
}
