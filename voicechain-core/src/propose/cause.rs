//! Finding of a rule.

/// Finding of a rule, not yet attached to a setting.
#[derive(Clone, Copy)]
pub(super) struct Cause {
    pub(super) quantity: &'static str,
    pub(super) frequency_hz: Option<f64>,
    pub(super) measured: f64,
    pub(super) reference_words: &'static str,
    pub(super) reference: f64,
    pub(super) unit: &'static str,
    pub(super) confidence: f64,
    pub(super) source: &'static str,
}

/// Source of a reference value without a publication.
pub(super) const COMMON_PRACTICE: &str = "common practice, no source";

impl Cause {
    /// Creates a finding from a measured value and a typical one, with common practice as the source.
    pub(super) fn new(quantity: &'static str, measured: f64, reference: f64, unit: &'static str) -> Self {
        Self {
            quantity,
            frequency_hz: None,
            measured,
            reference_words: "the typical value is",
            reference,
            unit,
            confidence: 0.8,
            source: COMMON_PRACTICE,
        }
    }
}
