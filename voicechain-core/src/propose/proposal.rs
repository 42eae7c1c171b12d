//! What is proposed: settings, the evidence for each, and warnings.

use super::cause::Cause;
use super::evidence::Evidence;
use super::reasons::Reasons;
use super::warning::Warning;
use crate::settings::{MakeUp, StripSettings, row};

/// The most evidence: one for each setting that a rule can reach.
pub const MAX_EVIDENCE: usize = 40;
/// The most warnings.
pub const MAX_WARNINGS: usize = 12;

/// Settings, why, and what to beware of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Proposal {
    /// The settings.
    pub settings: StripSettings,
    evidence: [Option<Evidence>; MAX_EVIDENCE],
    warnings: [Option<Warning>; MAX_WARNINGS],
}

impl Proposal {
    /// The strip at rest: every stage that changes a voice is off or flat. The limiter stays on and waits.
    #[must_use]
    pub fn idle() -> Self {
        let mut settings = StripSettings::default();
        settings.high_pass.on = false;
        settings.de_esser.on = false;
        settings.compressor.on = false;
        settings.compressor.make_up = MakeUp::Automatic;
        Self { settings, evidence: [None; MAX_EVIDENCE], warnings: [None; MAX_WARNINGS] }
    }

    /// Why, in the order in which the rules decide: one for every setting that is not [`idle`](Self::idle).
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

    pub(super) fn warn(&mut self, warning: Warning) {
        if let Some(free) = self.warnings.iter_mut().find(|w| w.is_none()) {
            *free = Some(warning);
        }
    }

    /// Sets what a rule asks for, on the table's step: the only way in which a rule changes a setting, so that none
    /// is changed without its evidence.
    pub(super) fn decide(&mut self, cause: Cause, setting: &'static str, value: f64) {
        let (Some(info), Some(free)) = (row(setting), self.evidence.iter_mut().find(|e| e.is_none())) else { return };
        let proposed = info.on_step(value);
        if self.settings.set(setting, proposed).is_err() {
            return;
        }
        *free = Some(Evidence {
            setting,
            proposed,
            quantity: cause.quantity,
            frequency_hz: cause.frequency_hz,
            measured: cause.measured,
            reference_words: cause.reference_words,
            reference: cause.reference,
            difference: cause.measured - cause.reference,
            unit: cause.unit,
            confidence: cause.confidence,
            source: cause.source,
        });
    }
}
