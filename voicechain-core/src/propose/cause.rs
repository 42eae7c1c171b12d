//! What a rule has found.

/// What a rule has found, before it is said of a setting.
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

/// Where no published number exists.
pub(super) const COMMON_PRACTICE: &str = "common practice, no source";

impl Cause {
    /// A measured value against a usual one, by common practice.
    pub(super) fn new(quantity: &'static str, measured: f64, reference: f64, unit: &'static str) -> Self {
        Self {
            quantity,
            frequency_hz: None,
            measured,
            reference_words: "usual is",
            reference,
            unit,
            confidence: 0.8,
            source: COMMON_PRACTICE,
        }
    }
}
