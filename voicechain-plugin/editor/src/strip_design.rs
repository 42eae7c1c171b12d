//! The strip's coefficients for the settings that are shown, and its curve.

use crate::axes;
use crate::bands::response_db;
use voicechain_core::strip::StripCoefs;
use voicechain_core::{SampleRate, StripSettings};

/// The strip's coefficients for the settings that are shown: designed again only when these change.
pub(crate) struct StripDesign {
    pub(crate) settings: StripSettings,
    pub(crate) rate: SampleRate,
    pub(crate) coefs: Box<StripCoefs<2>>,
    pub(crate) curve: Vec<f32>,
}

/// Designs again if the settings are others than before.
pub(crate) fn update_design(design: &mut Option<StripDesign>, settings: &StripSettings, rate: SampleRate) {
    if design.as_ref().is_some_and(|old| old.settings == *settings && old.rate == rate) {
        return;
    }
    *design = StripCoefs::design(settings, rate).ok().map(|coefs| {
        let curve = axes::curve_points().map(|hz| response_db(&coefs, f64::from(hz)) as f32).collect();
        StripDesign { settings: *settings, rate, coefs: Box::new(coefs), curve }
    });
}
