//! Evidence in groups: one measurement and the settings that follow from it, in one sentence.

use super::evidence::{Evidence, section_name};
use crate::format::InSentence;
use crate::settings::SectionId;
use core::fmt;

/// Iterator over the groups of a proposal's evidence, in the order in which the rules decide.
#[derive(Clone, Debug)]
pub struct Reasons<'a> {
    rest: &'a [Option<Evidence>],
}

impl<'a> Reasons<'a> {
    pub(super) fn new(all: &'a [Option<Evidence>]) -> Self {
        Self { rest: all }
    }
}

fn is_stage(section: &str) -> bool {
    matches!(SectionId::from_id(section), Some(SectionId::Stage(_)))
}

impl<'a> Iterator for Reasons<'a> {
    type Item = Reason<'a>;

    fn next(&mut self) -> Option<Reason<'a>> {
        let first = self.rest.first()?.as_ref()?;
        let belongs = |e: &Evidence| e.section() == first.section() || !is_stage(e.section());
        let together = |e: &Option<Evidence>| e.as_ref().is_some_and(|e| belongs(e) && e.has_the_cause_of(first));
        let count = self.rest.iter().take_while(|e| together(e)).count();
        let (evidence, rest) = self.rest.split_at(count);
        self.rest = rest;
        Some(Reason { first, evidence })
    }
}

/// One finding and the settings that follow from it: settings of one stage, and shared settings such as
/// `spectral.latency`.
///
/// Displays as one sentence that states the measurement once. Where the settings have different sources, each source
/// follows the last setting that it applies to. Tested by `settings_with_one_cause_form_one_sentence`.
#[derive(Clone, Copy, Debug)]
pub struct Reason<'a> {
    first: &'a Evidence,
    evidence: &'a [Option<Evidence>],
}

impl<'a> Reason<'a> {
    /// Evidence of the group: at least one entry.
    pub fn evidence(&self) -> impl Iterator<Item = &'a Evidence> + use<'a> {
        self.evidence.iter().flatten()
    }

    /// Id of the stage of the group.
    #[must_use]
    pub fn stage(&self) -> &'static str {
        self.first.section()
    }

    /// Confidence of the first entry, 0 to 1.
    #[must_use]
    pub fn confidence(&self) -> f64 {
        self.first.cause.confidence
    }
}

impl fmt::Display for Reason<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {} ", self.first.cause, InSentence(section_name(self.stage())))?;
        let mut all = self.evidence().peekable();
        while let Some(evidence) = all.next() {
            evidence.write_setting(f, self.stage())?;
            if all.peek().is_none_or(|next| next.cause.source != evidence.cause.source) {
                write!(f, " ({})", evidence.cause.source)?;
            }
            f.write_str(if all.peek().is_some() { ", " } else { "." })?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::propose::cause::Cause;
    use crate::settings::row;
    extern crate std;
    use std::string::ToString;
    use std::vec::Vec;

    fn evidence(setting: &'static str, proposed: f64, source: &'static str) -> Option<Evidence> {
        assert!(row(setting).is_some(), "{setting}");
        Some(Evidence {
            setting,
            proposed,
            cause: Cause {
                reference_words: "the high-pass cutoff is set to",
                source,
                ..Cause::new("the lowest pitch", 120.0, 84.0, "Hz")
            },
        })
    }

    #[test]
    fn settings_with_one_cause_form_one_sentence() {
        let mut other = evidence("high_pass.slope", 2.0, "practice");
        if let Some(other) = &mut other {
            other.cause.quantity = "the rumble";
        }
        let all = [
            evidence("high_pass.on", 1.0, "a trial"),
            evidence("high_pass.frequency_hz", 84.0, "practice"),
            other,
            evidence("de_esser.on", 1.0, "practice"),
            evidence("de_esser.range_db", 6.0, "practice"),
            None,
        ];
        let reasons: Vec<_> = Reasons::new(&all).collect();
        let sentences: Vec<_> = reasons.iter().map(ToString::to_string).collect();
        assert_eq!(
            sentences[0],
            "The lowest pitch is 120 Hz; the high-pass cutoff is set to 84 Hz: high-pass on (a trial), frequency 84 Hz \
             (practice)."
        );
        // Another cause or another stage starts a new sentence.
        assert!(sentences[1].starts_with("The rumble is 120 Hz"));
        assert_eq!(
            sentences[2],
            "The lowest pitch is 120 Hz; the high-pass cutoff is set to 84 Hz: de-esser on, range 6.0 dB (practice)."
        );
        assert_eq!(reasons.iter().map(Reason::stage).collect::<Vec<_>>(), ["high_pass", "high_pass", "de_esser"]);
        assert_eq!(reasons.iter().map(|r| r.evidence().count()).sum::<usize>(), 5);
        assert_eq!(Reasons::new(&[None]).count(), 0);
    }
}
