//! The measured voice as data. Its JSON Schema is [`SCHEMA`].
//!
//! Numbers have two decimals, shares of full scale and confidences four. What is not known is `null` (for resonances an
//! empty list), and `validity` says of every quantity that it is `known` or why not; hum that is known and `null` is
//! none.

mod parts;
mod proposed;
mod rounded;
mod validity;

use super::page::acted_on;
use super::{VoicePage, words};
use crate::report::data::round;
use parts::{Band, Clipping, Hum, Pitch, Resonance, Sibilance, Spikes, third_octaves};
use proposed::{Context, Proposal};
use rounded::{known, to, two};
use serde::Serialize;
use validity::Validity;
use voicechain_core::measure::profile;

/// Number of the format, written as `format`.
pub const FORMAT: u32 = 1;

/// The JSON Schema (draft 2020-12) of one voice.
pub const SCHEMA: &str = include_str!("../schema.json");

/// The text for one recording: an object; for several: a list of objects, in their order.
///
/// # Errors
/// Never for what [`VoicePage::measure`] made.
pub fn to_json(voices: &[VoicePage]) -> Result<String, serde_json::Error> {
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
    kind: &'a str,
    sample_rate_hz: f64,
    channels: usize,
    duration_s: f64,
    subject: &'static str,
    integrated_lufs: Option<f64>,
    loudness_range_lu: Option<f64>,
    true_peak_dbtp: Option<f64>,
    sample_peak_dbfs: Option<f64>,
    clipping: Clipping,
    active_level_dbov: Option<f64>,
    activity_percent: Option<f64>,
    active_s: Option<f64>,
    crest_db: Option<f64>,
    phrase_spread_db: Option<f64>,
    spikes: Option<Spikes>,
    noise_floor_dbfs: Option<f64>,
    snr_db: Option<f64>,
    hum: Option<Hum>,
    rumble_dbfs: Option<f64>,
    offset: Option<f64>,
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

fn voice(page: &VoicePage) -> Voice<'_> {
    let p = &page.profile;
    let (level, ground) = (&p.level, &p.ground);
    let resonance = |found: &profile::Resonance| Resonance::new(found, acted_on(&page.proposal, found.frequency_hz));
    Voice {
        format: FORMAT,
        file: &page.file,
        kind: &page.kind,
        sample_rate_hz: p.rate_hz,
        channels: p.channels,
        duration_s: round(p.duration_s, 3),
        subject: words::subject_id(p.subject),
        integrated_lufs: known(level.integrated_lufs),
        loudness_range_lu: known(level.loudness_range_lu),
        true_peak_dbtp: two(level.true_peak_dbtp),
        sample_peak_dbfs: two(level.sample_peak_dbfs),
        clipping: level.clipping.into(),
        active_level_dbov: known(level.active_level_dbov),
        activity_percent: two(level.activity_percent),
        active_s: two(level.active_s),
        crest_db: known(level.crest_db),
        phrase_spread_db: known(p.phrases.map(|phrases| phrases.spread_db)),
        spikes: p.spikes.ok().map(Spikes::from),
        noise_floor_dbfs: known(ground.noise_floor_dbfs),
        snr_db: known(ground.snr_db),
        hum: p.hum.ok().flatten().map(Hum::from),
        rumble_dbfs: two(ground.rumble_dbfs),
        offset: to(4, ground.offset),
        pitch_hz: p.pitch.ok().map(Pitch::from),
        bandwidth_hz: known(p.bandwidth.map(|band| band.high_hz)),
        third_octaves: p.colour.ok().map(|colour| third_octaves(&colour)),
        low_end_db: known(p.colour.and_then(|colour| colour.low_end_db)),
        presence_db: known(p.colour.and_then(|colour| colour.presence_db)),
        top_end_db: known(p.colour.and_then(|colour| colour.top_end_db)),
        resonances: p.resonances.iter().flatten().flatten().map(resonance).collect(),
        sibilance: p.sibilance.ok().map(Sibilance::from),
        decay_time_s: known(p.room.map(|room| room.decay_time_s)),
        dry: p.room.ok().map(|room| room.dry),
        validity: Validity::of(p),
        context: page.context.into(),
        proposal: (&page.proposal).into(),
        file_warnings: page.file_warnings.iter().map(ToString::to_string).collect(),
    }
}
