//! The high-pass filter: Butterworth, 6 to 48 dB/octave.

use super::filter_stage::{FilterCoefs, filter_stage};
use super::{Stage, StageContext};
use crate::error::SettingError;
use crate::filters::design::butterworth_high_pass;
use crate::filters::{CascadeState, Response, Section};
use crate::frame::Frame;
use crate::settings::{HighPassSettings, Slope};
use crate::units::SampleRate;

/// Butterworth high-pass that attenuates everything below the voice.
///
/// Latency 0. Cost: one second-order section per 12 dB/octave, measured by the program `stage_latency`.
#[derive(Clone, Copy, Debug)]
pub struct HighPass;

impl HighPass {
    fn coefs(settings: &HighPassSettings, rate: SampleRate) -> FilterCoefs<4> {
        let order = match settings.slope {
            Slope::Db6 => 1,
            Slope::Db12 => 2,
            Slope::Db18 => 3,
            Slope::Db24 => 4,
            Slope::Db48 => 8,
        };
        FilterCoefs::new(butterworth_high_pass(order, settings.frequency_hz, rate), false, rate)
    }
}

filter_stage!(HighPass, HighPassSettings, 4);
