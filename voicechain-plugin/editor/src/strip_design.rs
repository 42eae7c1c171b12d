//! Coefficients and frequency response of the strip for the displayed settings.

use crate::axes;
use crate::bands::response_db;
use voicechain_core::strip::StripCoefs;
use voicechain_core::{SampleRate, StripSettings};

/// Coefficients and response curve for the displayed settings, cached until these change.
pub(crate) struct StripDesign {
    pub(crate) settings: StripSettings,
    pub(crate) rate: SampleRate,
    pub(crate) coefs: Box<StripCoefs<2>>,
    pub(crate) curve: Vec<f32>,
}

/// Updates the design if settings or sample rate have changed.
pub(crate) fn update_design(design: &mut Option<StripDesign>, settings: &StripSettings, rate: SampleRate) {
    if design.as_ref().is_some_and(|old| old.settings == *settings && old.rate == rate) {
        return;
    }
    *design = StripCoefs::design(settings, rate).ok().map(|coefs| {
        let curve = axes::curve_points().map(|hz| response_db(&coefs, f64::from(hz)) as f32).collect();
        StripDesign { settings: *settings, rate, coefs: Box::new(coefs), curve }
    });
}
