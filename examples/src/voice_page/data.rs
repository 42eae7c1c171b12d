//! The measured voice as data. Its JSON Schema is [`SCHEMA`].
//!
//! Numbers have two decimals, shares of full scale and confidences four. What is not known is `null` (for resonances an
//! empty list), and `validity` says of every quantity that it is `known` or why not; hum that is known and `null` is
//! none.

use super::page::acted_on;
use super::{VoicePage, words};
use crate::report::data::round;
use serde::Serialize;
use voicechain_core::StripSettings;
use voicechain_core::measure::profile::Measured;
use voicechain_core::propose::{Delivery, Role};
use voicechain_core::speech::BYRNE_1994_COMBINED;

/// Number of the format, written as `format`.
pub const FORMAT: u32 = 1;

/// The JSON Schema (draft 2020-12) of one voice.
pub const SCHEMA: &str = include_str!("schema.json");

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

#[derive(Serialize)]
struct Clipping {
    stretches: u32,
    samples: u64,
}

#[derive(Serialize)]
struct Spikes {
    count: u32,
    per_10_s: Option<f64>,
    max_excess_db: Option<f64>,
}

#[derive(Serialize)]
struct Hum {
    frequency_hz: Option<f64>,
    level_dbfs: Option<f64>,
}

#[derive(Serialize)]
struct Pitch {
    low: Option<f64>,
    median: Option<f64>,
    high: Option<f64>,
}

#[derive(Serialize)]
struct Band {
    frequency_hz: f64,
    level_dbfs: Option<f64>,
    deviation_db: Option<f64>,
}

#[derive(Serialize)]
struct Resonance {
    frequency_hz: Option<f64>,
    prominence_db: Option<f64>,
    q: Option<f64>,
    confidence: Option<f64>,
    acted_on: bool,
}

#[derive(Serialize)]
struct Sibilance {
    frequency_hz: Option<f64>,
    excess_db: Option<f64>,
    share_percent: Option<f64>,
}

/// `known`, or why not.
#[derive(Serialize)]
struct Validity {
    integrated_lufs: &'static str,
    loudness_range_lu: &'static str,
    active_level_dbov: &'static str,
    crest_db: &'static str,
    phrase_spread_db: &'static str,
    spikes: &'static str,
    noise_floor_dbfs: &'static str,
    snr_db: &'static str,
    hum: &'static str,
    pitch_hz: &'static str,
    bandwidth_hz: &'static str,
    third_octaves: &'static str,
    low_end_db: &'static str,
    presence_db: &'static str,
    top_end_db: &'static str,
    resonances: &'static str,
    sibilance: &'static str,
    decay_time_s: &'static str,
}

#[derive(Serialize)]
struct Context {
    role: &'static str,
    delivery: &'static str,
}

#[derive(Serialize)]
struct Proposal {
    settings: StripSettings,
    evidence: Vec<Evidence>,
    warnings: Vec<String>,
}

#[derive(Serialize)]
struct Evidence {
    setting: &'static str,
    proposed: f64,
    quantity: &'static str,
    place_hz: Option<f64>,
    measured: Option<f64>,
    reference_words: &'static str,
    reference: Option<f64>,
    difference: Option<f64>,
    unit: &'static str,
    confidence: Option<f64>,
    source: &'static str,
    sentence: String,
}

fn to(decimals: i32, value: f64) -> Option<f64> {
    value.is_finite().then(|| round(value, decimals))
}

fn two(value: f64) -> Option<f64> {
    to(2, value)
}

fn known(value: Measured<f64>) -> Option<f64> {
    value.ok().and_then(two)
}

fn validity<T>(value: &Measured<T>) -> &'static str {
    value.as_ref().map_or_else(|&why| words::doubt_id(why), |_| "known")
}

fn voice(page: &VoicePage) -> Voice<'_> {
    let p = &page.profile;
    let (level, ground) = (&p.level, &p.ground);
    let end = |pick: fn(&voicechain_core::measure::profile::Colour) -> Measured<f64>| p.colour.and_then(|c| pick(&c));
    let ends = [end(|c| c.low_end_db), end(|c| c.presence_db), end(|c| c.top_end_db)];
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
        clipping: Clipping { stretches: level.clipping.stretches, samples: level.clipping.samples },
        active_level_dbov: known(level.active_level_dbov),
        activity_percent: two(level.activity_percent),
        active_s: two(level.active_s),
        crest_db: known(level.crest_db),
        phrase_spread_db: known(p.phrases.map(|phrases| phrases.spread_db)),
        spikes: p.spikes.ok().map(|s| Spikes {
            count: s.count,
            per_10_s: two(s.per_10_s),
            max_excess_db: two(s.max_excess_db),
        }),
        noise_floor_dbfs: known(ground.noise_floor_dbfs),
        snr_db: known(ground.snr_db),
        hum: p
            .hum
            .ok()
            .flatten()
            .map(|hum| Hum { frequency_hz: two(hum.frequency_hz), level_dbfs: two(hum.level_dbfs) }),
        rumble_dbfs: two(ground.rumble_dbfs),
        offset: to(4, ground.offset),
        pitch_hz: p.pitch.ok().map(|pitch| Pitch {
            low: two(pitch.low_hz),
            median: two(pitch.median_hz),
            high: two(pitch.high_hz),
        }),
        bandwidth_hz: known(p.bandwidth.map(|band| band.high_hz)),
        third_octaves: p.colour.ok().map(|colour| {
            let bands = BYRNE_1994_COMBINED.iter().zip(colour.bands_dbfs).zip(colour.deviation_db);
            bands
                .map(|((&(frequency_hz, _), level), deviation)| Band {
                    frequency_hz,
                    level_dbfs: level.and_then(two),
                    deviation_db: deviation.and_then(two),
                })
                .collect()
        }),
        low_end_db: known(ends[0]),
        presence_db: known(ends[1]),
        top_end_db: known(ends[2]),
        resonances: p
            .resonances
            .map_or_else(|_| Vec::new(), |all| all.iter().flatten().map(|found| resonance(page, found)).collect()),
        sibilance: p.sibilance.ok().map(|s| Sibilance {
            frequency_hz: two(s.frequency_hz),
            excess_db: two(s.excess_db),
            share_percent: two(s.share_percent),
        }),
        decay_time_s: known(p.room.map(|room| room.decay_time_s)),
        dry: p.room.ok().map(|room| room.dry),
        validity: Validity {
            integrated_lufs: validity(&level.integrated_lufs),
            loudness_range_lu: validity(&level.loudness_range_lu),
            active_level_dbov: validity(&level.active_level_dbov),
            crest_db: validity(&level.crest_db),
            phrase_spread_db: validity(&p.phrases),
            spikes: validity(&p.spikes),
            noise_floor_dbfs: validity(&ground.noise_floor_dbfs),
            snr_db: validity(&ground.snr_db),
            hum: validity(&p.hum),
            pitch_hz: validity(&p.pitch),
            bandwidth_hz: validity(&p.bandwidth),
            third_octaves: validity(&p.colour),
            low_end_db: validity(&ends[0]),
            presence_db: validity(&ends[1]),
            top_end_db: validity(&ends[2]),
            resonances: validity(&p.resonances),
            sibilance: validity(&p.sibilance),
            decay_time_s: validity(&p.room),
        },
        context: Context {
            role: match page.context.role {
                Role::SoloVoice => "solo_voice",
                Role::OverMusic => "over_music",
            },
            delivery: match page.context.delivery {
                Delivery::Spoken => "spoken",
                Delivery::Sung => "sung",
            },
        },
        proposal: Proposal {
            settings: page.proposal.settings,
            evidence: page.proposal.evidence().map(evidence).collect(),
            warnings: page.proposal.warnings().map(ToString::to_string).collect(),
        },
        file_warnings: page.file_warnings.iter().map(ToString::to_string).collect(),
    }
}

fn resonance(page: &VoicePage, found: &voicechain_core::measure::profile::Resonance) -> Resonance {
    Resonance {
        frequency_hz: two(found.frequency_hz),
        prominence_db: two(found.prominence_db),
        q: two(found.q),
        confidence: to(4, found.confidence),
        acted_on: acted_on(&page.proposal, found.frequency_hz),
    }
}

fn evidence(e: &voicechain_core::propose::Evidence) -> Evidence {
    Evidence {
        setting: e.setting,
        proposed: e.proposed,
        quantity: e.quantity,
        place_hz: e.place_hz.and_then(two),
        measured: two(e.measured),
        reference_words: e.reference_words,
        reference: two(e.reference),
        difference: two(e.difference),
        unit: e.unit,
        confidence: to(4, e.confidence),
        source: e.source,
        sentence: e.to_string(),
    }
}
