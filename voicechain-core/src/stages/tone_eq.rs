//! The tone EQ: low shelf, bell and high shelf, by default after the dynamics.

use super::filter_stage::{FilterCoefs, filter_stage};
use super::{Stage, StageContext};
use crate::error::SettingError;
use crate::filters::design::{bell, high_shelf, low_shelf};
use crate::filters::{CascadeState, Response, Section};
use crate::frame::Frame;
use crate::settings::ToneEqSettings;
use crate::units::SampleRate;

/// Three-band equaliser for tonal balance: low shelf, bell and high shelf.
///
/// Latency 0. Bands at 0 dB or above 0.45 of the sample rate are bypassed at no cost. The program `stage_latency`
/// measures the cost of three active bands.
#[derive(Clone, Copy, Debug)]
pub struct ToneEq;

impl ToneEq {
    fn coefs(settings: &ToneEqSettings, rate: SampleRate) -> FilterCoefs<3> {
        let s = settings;
        let sections = [
            low_shelf(s.low_shelf_frequency_hz, s.low_shelf_gain_db, rate),
            bell(s.bell_frequency_hz, s.bell_gain_db, s.bell_q, rate),
            high_shelf(s.high_shelf_frequency_hz, s.high_shelf_gain_db, rate),
        ];
        FilterCoefs::new(sections, s.level_compensation, rate)
    }
}

filter_stage!(ToneEq, ToneEqSettings, 3);
