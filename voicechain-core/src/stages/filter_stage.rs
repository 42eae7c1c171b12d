//! Shared parts of the filter stages: cascade, level compensation and sample rate.

use crate::blank::blank;
use crate::filters::{Cascade, CascadeState, Ramp, Response, Section};
use crate::frame::Frame;
use crate::math::from_db;
use crate::speech;
use crate::units::SampleRate;
use core::f64::consts::PI;

/// Coefficients of a filter stage with up to `N` second-order sections.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FilterCoefs<const N: usize> {
    cascade: Cascade<N>,
    compensation: f64,
    rate_hz: f64,
}

blank! { [const N: usize] FilterCoefs<N> { cascade, compensation, rate_hz } }

impl<const N: usize> FilterCoefs<N> {
    /// Builds coefficients from sections. `level_compensation` adds a static gain that keeps the loudness of average
    /// speech constant.
    pub(super) fn new(sections: [Section; N], level_compensation: bool, rate: SampleRate) -> Self {
        let cascade = Cascade::new(sections);
        let compensation = if level_compensation && !cascade.is_identity() {
            from_db(-speech::loudness_change_lu(|omega| cascade.response(omega).power(), rate))
        } else {
            1.0
        };
        Self { cascade, compensation, rate_hz: rate.hz() }
    }

    /// Gain of the level compensation, dB.
    #[must_use]
    pub fn compensation_db(&self) -> f64 {
        crate::math::to_db(self.compensation)
    }

    /// True when every section is stable and the gains are finite.
    #[must_use]
    pub fn is_stable(&self) -> bool {
        let Self { cascade, compensation, rate_hz } = self;
        cascade.is_stable() && compensation.is_finite() && rate_hz.is_finite()
    }

    pub(super) fn interpolated(&self, to: &Self, t: f64) -> Self {
        Self {
            cascade: self.cascade.interpolated(&to.cascade, t),
            compensation: self.compensation + (to.compensation - self.compensation) * t,
            rate_hz: to.rate_hz,
        }
    }

    pub(super) fn run<const C: usize>(
        &self,
        step: Option<(&Self, Ramp)>,
        state: &mut CascadeState<C, N>,
        frames: &mut [[f32; C]],
    ) where
        [f32; C]: Frame,
    {
        if let Some((from, ramp)) = step {
            self.cascade.run_step(&from.cascade, ramp, state, frames);
            let gains = ramp.values(from.compensation as f32, self.compensation as f32);
            for (frame, gain) in frames.iter_mut().zip(gains) {
                frame.iter_mut().for_each(|sample| *sample *= gain);
            }
            return;
        }
        self.cascade.run(state, frames);
        if self.compensation != 1.0 {
            let gain = self.compensation as f32;
            for sample in frames.as_flattened_mut() {
                *sample *= gain;
            }
        }
    }

    pub(super) fn enter_transition<const C: usize>(&self, state: &mut CascadeState<C, N>)
    where
        [f32; C]: Frame,
    {
        state.enter_transition(&self.cascade);
    }

    pub(super) fn leave_transition<const C: usize>(&self, state: &mut CascadeState<C, N>)
    where
        [f32; C]: Frame,
    {
        state.leave_transition(&self.cascade);
    }

    pub(super) fn is_idle(&self) -> bool {
        self.cascade.is_identity() && self.compensation == 1.0
    }

    /// All sections, identity sections included.
    pub(crate) fn sections(&self) -> &[Section; N] {
        self.cascade.sections()
    }

    /// Response to a steady tone at `frequency_hz`, level compensation included.
    #[must_use]
    pub fn response(&self, frequency_hz: f64) -> Response {
        self.cascade.response(2.0 * PI * frequency_hz / self.rate_hz).scaled(self.compensation)
    }
}

/// Implements [`Stage`] for a cascade of `$n` sections designed by the stage's function `coefs`.
macro_rules! filter_stage {
    ($stage:ident, $settings:ty, $n:literal) => {
        impl<const C: usize> Stage<C> for $stage
        where
            [f32; C]: Frame,
        {
            type Settings = $settings;
            type Coefs = FilterCoefs<$n>;
            type State = CascadeState<C, $n>;

            fn design(settings: &$settings, rate: SampleRate) -> Result<FilterCoefs<$n>, SettingError> {
                settings.check()?;
                Ok(Self::coefs(settings, rate))
            }

            fn clear(state: &mut CascadeState<C, $n>, _rate: SampleRate) {
                *state = CascadeState::new();
            }

            fn run(context: StageContext<'_, Self, C>, frames: &mut [[f32; C]]) {
                context.coefs.run(context.step, context.state, frames);
            }

            fn interpolated(from: &FilterCoefs<$n>, to: &FilterCoefs<$n>, t: f64) -> FilterCoefs<$n> {
                from.interpolated(to, t)
            }

            fn enter_transition(context: StageContext<'_, Self, C>) {
                context.coefs.enter_transition(context.state);
            }

            fn leave_transition(context: StageContext<'_, Self, C>) {
                context.coefs.leave_transition(context.state);
            }

            fn is_idle(coefs: &FilterCoefs<$n>) -> bool {
                coefs.is_idle()
            }

            fn is_stable(coefs: &FilterCoefs<$n>) -> bool {
                coefs.is_stable()
            }

            fn sections(coefs: &FilterCoefs<$n>) -> &[Section] {
                coefs.sections()
            }

            fn response(coefs: &FilterCoefs<$n>, frequency_hz: f64) -> Response {
                coefs.response(frequency_hz)
            }

            fn compensation_db(coefs: &FilterCoefs<$n>) -> f64 {
                coefs.compensation_db()
            }
        }
    };
}
pub(super) use filter_stage;
