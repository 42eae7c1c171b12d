//! Proposal and its context in their JSON form.

use super::rounded::{to, two};
use super::validity::validity;
use serde::Serialize;
use voicechain_core::StripSettings;
use voicechain_core::propose::{self, ContextReason, Role, VocalStyle};

const OVER_MUSIC: &str = "over_music";
const SUNG: &str = "sung";

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
                Role::OverMusic => OVER_MUSIC,
            },
            vocal_style: match context.vocal_style {
                VocalStyle::Spoken => "spoken",
                VocalStyle::Sung => SUNG,
            },
        }
    }
}

#[derive(Serialize)]
pub(super) struct Proposal {
    settings: StripSettings,
    evidence: Vec<Evidence>,
    left_off: Vec<LeftOff>,
    warnings: Vec<String>,
}

impl From<&propose::Proposal> for Proposal {
    fn from(proposal: &propose::Proposal) -> Self {
        Self {
            settings: proposal.settings,
            evidence: proposal.evidence().map(Evidence::from).collect(),
            left_off: proposal.left_off().map(LeftOff::from).collect(),
            warnings: proposal.warnings().map(ToString::to_string).collect(),
        }
    }
}

#[derive(Serialize)]
struct Evidence {
    setting: &'static str,
    proposed: f64,
    #[serde(flatten)]
    cause: Cause,
    sentence: String,
}

impl From<&propose::Evidence> for Evidence {
    fn from(e: &propose::Evidence) -> Self {
        Self { setting: e.setting, proposed: e.proposed, cause: (&e.cause).into(), sentence: e.to_string() }
    }
}

#[derive(Serialize)]
struct LeftOff {
    stage: &'static str,
    filter: &'static str,
    #[serde(flatten)]
    cause: Cause,
    sentence: String,
}

impl From<&propose::LeftOff> for LeftOff {
    fn from(off: &propose::LeftOff) -> Self {
        Self { stage: off.stage.id(), filter: off.filter, cause: (&off.cause).into(), sentence: off.to_string() }
    }
}

#[derive(Serialize)]
struct Cause {
    context: Option<&'static str>,
    quantity: &'static str,
    frequency_hz: Option<f64>,
    measured: Option<f64>,
    validity: &'static str,
    reference_words: &'static str,
    reference: Option<f64>,
    difference: Option<f64>,
    unit: &'static str,
    confidence: Option<f64>,
    source: &'static str,
}

impl From<&propose::Cause> for Cause {
    fn from(cause: &propose::Cause) -> Self {
        Self {
            context: cause.context.map(|context| match context {
                ContextReason::OverMusic => OVER_MUSIC,
                ContextReason::Sung => SUNG,
            }),
            quantity: cause.quantity,
            frequency_hz: cause.frequency_hz.and_then(two),
            measured: cause.measured.ok().flatten().and_then(two),
            validity: validity(&cause.measured),
            reference_words: cause.reference_words,
            reference: cause.reference.and_then(two),
            difference: cause.difference().and_then(two),
            unit: cause.unit,
            confidence: to(4, cause.confidence),
            source: cause.source,
        }
    }
}
