//! Static gains: the trim at the input of the strip and the output trim at its end.

use super::{Stage, StageContext};
use crate::blank::blank;
use crate::error::SettingError;
use crate::filters::{Ramp, Response};
use crate::frame::Frame;
use crate::math::from_db;
use crate::settings::{OutputSettings, TrimSettings};
use crate::units::SampleRate;

/// Input gain that brings a recording to the working level. Latency 0, tail 0. At 0 dB the output is the input bit
/// for bit.
#[derive(Clone, Copy, Debug)]
pub struct Trim;

/// Output gain after the limiter. Latency 0, tail 0. At 0 dB the output is the input bit for bit.
#[derive(Clone, Copy, Debug)]
pub struct OutputTrim;

/// Linear gain of a trim.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GainCoefs {
    gain: f64,
}

blank! { GainCoefs { gain } }

impl GainCoefs {
    fn new(gain_db: f64) -> Self {
        Self { gain: from_db(gain_db) }
    }

    fn interpolated(&self, to: &Self, t: f64) -> Self {
        Self { gain: self.gain + (to.gain - self.gain) * t }
    }

    fn is_stable(&self) -> bool {
        self.gain.is_finite()
    }

    fn run<const C: usize>(&self, step: Option<(&Self, Ramp)>, frames: &mut [[f32; C]]) {
        if let Some((from, ramp)) = step {
            for (frame, gain) in frames.iter_mut().zip(ramp.values(from.gain as f32, self.gain as f32)) {
                frame.iter_mut().for_each(|sample| *sample *= gain);
            }
            return;
        }
        if self.gain == 1.0 {
            return;
        }
        let gain = self.gain as f32;
        for sample in frames.as_flattened_mut() {
            *sample *= gain;
        }
    }
}

macro_rules! gain_stage {
    ($stage:ident, $settings:ty) => {
        impl<const C: usize> Stage<C> for $stage
        where
            [f32; C]: Frame,
        {
            type Settings = $settings;
            type Coefs = GainCoefs;
            type State = ();

            fn design(settings: &$settings, _rate: SampleRate) -> Result<GainCoefs, SettingError> {
                settings.check()?;
                Ok(GainCoefs::new(settings.gain_db))
            }

            fn clear(_state: &mut (), _rate: SampleRate) {}

            fn run(context: StageContext<'_, Self, C>, frames: &mut [[f32; C]]) {
                context.coefs.run(context.step, frames);
            }

            fn interpolated(from: &GainCoefs, to: &GainCoefs, t: f64) -> GainCoefs {
                from.interpolated(to, t)
            }

            fn is_idle(coefs: &GainCoefs) -> bool {
                coefs.gain == 1.0
            }

            fn is_stable(coefs: &GainCoefs) -> bool {
                coefs.is_stable()
            }

            fn response(coefs: &GainCoefs, _frequency_hz: f64) -> Response {
                Response::ONE.scaled(coefs.gain)
            }
        }
    };
}

gain_stage!(Trim, TrimSettings);
gain_stage!(OutputTrim, OutputSettings);

#[cfg(test)]
mod tests {
    use super::*;

    every_number_is_checked! {
        Trim,
        TrimSettings::default(),
        gain = f64::NAN,
        gain = f64::INFINITY,
    }
}
