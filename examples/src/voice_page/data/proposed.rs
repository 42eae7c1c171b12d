//! Proposal and its context in their JSON form.

use super::rounded::{to, two};
use serde::Serialize;
use voicechain_core::StripSettings;
use voicechain_core::propose::{self, Role, VocalStyle};

#[derive(Serialize)]
pub(super) struct Context {
    role: &'static str,
    vocal_style: &'static str,
}

impl From<propose::Context> for Context {
    fn from(context: propose::Context) -> Self {
        Self {
            role: match context.role {
                Role::SoloVoice => "solo_voice",
                Role::OverMusic => "over_music",
            },
            vocal_style: match context.vocal_style {
                VocalStyle::Spoken => "spoken",
                VocalStyle::Sung => "sung",
            },
        }
    }
}

#[derive(Serialize)]
pub(super) struct Proposal {
    settings: StripSettings,
    evidence: Vec<Evidence>,
    warnings: Vec<String>,
}

impl From<&propose::Proposal> for Proposal {
    fn from(proposal: &propose::Proposal) -> Self {
        Self {
            settings: proposal.settings,
            evidence: proposal.evidence().map(Evidence::from).collect(),
            warnings: proposal.warnings().map(ToString::to_string).collect(),
        }
    }
}

#[derive(Serialize)]
struct Evidence {
    setting: &'static str,
    proposed: f64,
    quantity: &'static str,
    frequency_hz: Option<f64>,
    measured: Option<f64>,
    reference_words: &'static str,
    reference: Option<f64>,
    difference: Option<f64>,
    unit: &'static str,
    confidence: Option<f64>,
    source: &'static str,
    sentence: String,
}

impl From<&propose::Evidence> for Evidence {
    fn from(e: &propose::Evidence) -> Self {
        Self {
            setting: e.setting,
            proposed: e.proposed,
            quantity: e.quantity,
            frequency_hz: e.frequency_hz.and_then(two),
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
}
