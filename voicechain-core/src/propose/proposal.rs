//! Proposal: settings, the evidence for each, and warnings.

use super::cause::Cause;
use super::evidence::Evidence;
use super::left_off::LeftOff;
use super::reasons::Reasons;
use super::warning::Warning;
use crate::settings::{MakeUp, StageId, StripSettings, row};

/// Maximum number of evidence entries: more than the settings that rules can change.
pub const MAX_EVIDENCE: usize = 40;
/// Maximum number of causes for which stages are left off: one for each stage, two for
/// the filters of the tone EQ.
pub const MAX_LEFT_OFF: usize = 10;
/// Maximum number of warnings.
pub const MAX_WARNINGS: usize = 12;

/// Proposed settings with the evidence for each and with warnings about the recording. [`propose`](super::propose)
/// creates it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Proposal {
    /// Proposed settings: valid and on the table's steps.
    pub settings: StripSettings,
    evidence: [Option<Evidence>; MAX_EVIDENCE],
    left_off: [Option<LeftOff>; MAX_LEFT_OFF],
    warnings: [Option<Warning>; MAX_WARNINGS],
}

impl Proposal {
    /// Proposal without any rule: only the limiter can act. No evidence, no warnings.
    ///
    /// Hum, high-pass, de-reverb, expander, leveller, de-esser and compressor are off, both EQs are flat, and both
    /// trims are at 0 dB. Make-up is automatic.
    #[must_use]
    pub fn idle() -> Self {
        let mut settings = StripSettings::default();
        settings.high_pass.on = false;
        settings.de_esser.on = false;
        settings.compressor.on = false;
        settings.compressor.make_up = MakeUp::Automatic;
        Self {
            settings,
            evidence: [None; MAX_EVIDENCE],
            left_off: [None; MAX_LEFT_OFF],
            warnings: [None; MAX_WARNINGS],
        }
    }

    /// Evidence in the order in which the rules decide: one entry for every setting that a rule has set. Every setting
    /// that differs from [`idle`](Self::idle) has one.
    pub fn evidence(&self) -> impl Iterator<Item = &Evidence> {
        self.evidence.iter().flatten()
    }

    /// Evidence in groups: the settings of one stage with the same cause form one sentence.
    #[must_use]
    pub fn reasons(&self) -> Reasons<'_> {
        Reasons::new(&self.evidence)
    }

    /// Stages, and filters of the tone EQ, that rules could have switched on but left off, each with its cause, in the
    /// order in which the rules decide. Empty if the signal is not a voice: no rule is asked then.
    pub fn left_off(&self) -> impl Iterator<Item = &LeftOff> {
        self.left_off.iter().flatten()
    }

    /// Warnings about the recording and the limits of the proposal.
    pub fn warnings(&self) -> impl Iterator<Item = &Warning> {
        self.warnings.iter().flatten()
    }

    pub(super) fn warn(&mut self, warning: Warning) {
        if let Some(free) = self.warnings.iter_mut().find(|w| w.is_none()) {
            *free = Some(warning);
        }
    }

    /// Records why a rule leaves its stage off.
    pub(super) fn leave_off(&mut self, stage: StageId, cause: Cause) {
        self.leave_flat(stage, "", cause);
    }

    /// Records why a rule leaves a filter of an EQ flat.
    pub(super) fn leave_flat(&mut self, stage: StageId, filter: &'static str, cause: Cause) {
        if let Some(free) = self.left_off.iter_mut().find(|entry| entry.is_none()) {
            *free = Some(LeftOff { stage, filter, cause });
        }
    }

    /// Changes a setting to `value`, rounded to the table's step, and records the evidence. Rules change settings only
    /// through this function, so that no change lacks its evidence.
    pub(super) fn decide(&mut self, cause: Cause, setting: &'static str, value: f64) {
        let (Some(info), Some(free)) = (row(setting), self.evidence.iter_mut().find(|e| e.is_none())) else { return };
        let proposed = info.on_step(value);
        if self.settings.set(setting, proposed).is_err() {
            return;
        }
        *free = Some(Evidence { setting, proposed, cause });
    }
}
