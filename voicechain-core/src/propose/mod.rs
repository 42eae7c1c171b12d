//! From a profile to settings, each with its evidence; and from one voice's settings to another's.
//!
//! Deterministic and bounded: whatever the profile holds, the settings are valid and lie on the table's steps, and every
//! setting that is not that of the strip at rest has its evidence.

mod carry_over;
mod colour;
mod dynamics;
pub mod evidence;
mod ground;
mod mending;
pub mod reasons;
#[cfg(test)]
mod tests;
mod warnings;

pub use carry_over::carry_over;
pub use colour::trial_bell;
pub use evidence::{Evidence, Warning};

use crate::measure::profile::{Measured, Profile, Subject};
use crate::settings::{MakeUp, StripSettings, row};
use reasons::Reasons;

/// Where the voice is heard.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Role {
    /// Alone.
    #[default]
    SoloVoice,
    /// With music under it.
    OverMusic,
}

/// How the voice is used.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Delivery {
    /// Spoken.
    #[default]
    Spoken,
    /// Sung.
    Sung,
}

/// What the profile cannot tell: what the voice is for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Context {
    /// Where it is heard.
    pub role: Role,
    /// How it is used.
    pub delivery: Delivery,
}

/// The most evidence: one for each setting that a rule can reach.
pub const MOST_EVIDENCE: usize = 40;
/// The most warnings.
pub const MOST_WARNINGS: usize = 12;

/// Settings, why, and what to beware of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Proposal {
    /// The settings.
    pub settings: StripSettings,
    evidence: [Option<Evidence>; MOST_EVIDENCE],
    warnings: [Option<Warning>; MOST_WARNINGS],
}

impl Proposal {
    /// The strip at rest: every stage that changes a voice is off or flat. The limiter stays on and waits.
    #[must_use]
    pub fn at_rest() -> Self {
        let mut settings = StripSettings::default();
        settings.high_pass.on = false;
        settings.de_esser.on = false;
        settings.compressor.on = false;
        settings.compressor.make_up = MakeUp::Automatic;
        Self { settings, evidence: [None; MOST_EVIDENCE], warnings: [None; MOST_WARNINGS] }
    }

    /// Why, in the order in which the rules decide: one for every setting that is not [`at_rest`](Self::at_rest).
    pub fn evidence(&self) -> impl Iterator<Item = &Evidence> {
        self.evidence.iter().flatten()
    }

    /// The same, with all settings of one stage that have the same reason together, each group as one sentence.
    #[must_use]
    pub fn reasons(&self) -> Reasons<'_> {
        Reasons::new(&self.evidence)
    }

    /// What to beware of.
    pub fn warnings(&self) -> impl Iterator<Item = &Warning> {
        self.warnings.iter().flatten()
    }

    fn warn(&mut self, warning: Warning) {
        if let Some(free) = self.warnings.iter_mut().find(|w| w.is_none()) {
            *free = Some(warning);
        }
    }

    /// Sets what the reason asks for, on the table's step: the only way in which a rule changes a setting, so that none
    /// is changed without its evidence.
    fn decide(&mut self, reason: Reason, setting: &'static str, value: f64) {
        let (Some(info), Some(free)) = (row(setting), self.evidence.iter_mut().find(|e| e.is_none())) else { return };
        let proposed = info.on_step(value);
        if self.settings.set(setting, proposed).is_err() {
            return;
        }
        *free = Some(Evidence {
            setting,
            proposed,
            quantity: reason.quantity,
            place_hz: reason.place_hz,
            measured: reason.measured,
            reference_words: reason.reference_words,
            reference: reason.reference,
            difference: reason.measured - reason.reference,
            unit: reason.unit,
            confidence: reason.confidence,
            source: reason.source,
        });
    }
}

/// What a rule has found, before it is said of a setting.
#[derive(Clone, Copy)]
struct Reason {
    quantity: &'static str,
    place_hz: Option<f64>,
    measured: f64,
    reference_words: &'static str,
    reference: f64,
    unit: &'static str,
    confidence: f64,
    source: &'static str,
}

/// Where no published number exists.
const PRACTICE: &str = "common practice, no source";

impl Reason {
    /// A measured value against a usual one, by common practice.
    fn new(quantity: &'static str, measured: f64, reference: f64, unit: &'static str) -> Self {
        Self {
            quantity,
            place_hz: None,
            measured,
            reference_words: "usual is",
            reference,
            unit,
            confidence: 0.8,
            source: PRACTICE,
        }
    }
}

/// A number that can be reckoned with.
fn known(value: Measured<f64>) -> Option<f64> {
    value.ok().filter(|v| v.is_finite())
}

/// Proposes settings for a voice.
///
/// What is no voice gets the strip [`at_rest`](Proposal::at_rest). Tested by `any_profile_gives_a_valid_proposal`.
#[must_use]
pub fn propose(profile: &Profile, context: Context) -> Proposal {
    let mut proposal = Proposal::at_rest();
    warnings::recording(profile, &mut proposal);
    if !matches!(profile.subject, Subject::Voice | Subject::SeveralVoices) {
        return proposal;
    }
    ground::trim(profile, &mut proposal);
    mending::hum(profile, &mut proposal);
    ground::high_pass(profile, context, &mut proposal);
    mending::de_reverb(profile, &mut proposal);
    mending::expander(profile, &mut proposal);
    mending::leveller(profile, &mut proposal);
    colour::stand_outs(profile, &mut proposal);
    dynamics::de_esser(profile, &mut proposal);
    dynamics::compressor(profile, context, &mut proposal);
    colour::tone(profile, context, &mut proposal);
    proposal
}
