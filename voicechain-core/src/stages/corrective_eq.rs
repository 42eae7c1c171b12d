//! The corrective EQ: four bells, by default before the dynamics.

use super::filter_stage::{FilterCoefs, filter_stage};
use super::{Stage, StageContext};
use crate::error::SettingError;
use crate::filters::design::bell;
use crate::filters::{CascadeState, Response, Section};
use crate::frame::Frame;
use crate::settings::CorrectiveEqSettings;
use crate::units::SampleRate;

/// Four-band equaliser that cuts resonances.
///
/// Latency 0. Bells at 0 dB or above 0.45 of the sample rate are bypassed at no cost. The program `stage_latency`
/// measures the cost of four active bells.
#[derive(Clone, Copy, Debug)]
pub struct CorrectiveEq;

impl CorrectiveEq {
    fn coefs(settings: &CorrectiveEqSettings, rate: SampleRate) -> FilterCoefs<4> {
        let s = settings;
        let sections = [
            bell(s.bell_1_frequency_hz, s.bell_1_gain_db, s.bell_1_q, rate),
            bell(s.bell_2_frequency_hz, s.bell_2_gain_db, s.bell_2_q, rate),
            bell(s.bell_3_frequency_hz, s.bell_3_gain_db, s.bell_3_q, rate),
            bell(s.bell_4_frequency_hz, s.bell_4_gain_db, s.bell_4_q, rate),
        ];
        FilterCoefs::new(sections, s.level_compensation, rate)
    }
}

filter_stage!(CorrectiveEq, CorrectiveEqSettings, 4);
