//! Coefficients of the strip: all stages, their order and their switches.

use super::stage_list::with_stages;
use crate::blank::blank;
use crate::error::SettingError;
use crate::filters::{Response, Section};
use crate::frame::Frame;
use crate::settings::{REORDERABLE_STAGES, ReorderableStage, StageId, StripSettings, signal_order};
use crate::stages::{
    Compressor, CorrectiveEq, DeEsser, DeReverb, Expander, HighPass, Hum, LateReverberation, Leveller, Limiter,
    OutputTrim, Stage, StageCoefs, ToneEq, Trim,
};
use crate::units::SampleRate;

macro_rules! strip_coefs {
    (
        fixed { $($fixed:ident $fixed_field:ident: $fixed_type:ident,)+ }
        reorderable { $($reorderable:ident $reorderable_field:ident: $reorderable_type:ident,)+ }
    ) => {
        strip_coefs! { $($fixed $fixed_field: $fixed_type,)+ $($reorderable $reorderable_field: $reorderable_type,)+ }
    };
    ($($variant:ident $field:ident: $type:ident,)+) => {
        /// Coefficients of a complete strip at one sample rate.
        ///
        /// Plain data without audio state. Designed once by [`design`](StripCoefs::design), then passed to
        /// [`Strip::new`](super::Strip::new) or [`Strip::set`](super::Strip::set). Also returns response, static
        /// gains, latency and tail without running audio.
        ///
        /// ```
        /// use voicechain_core::{SampleRate, StripCoefs, StripSettings};
        ///
        /// let mut settings = StripSettings::default();
        /// settings.tone_eq.bell_gain_db = 3.0;
        /// settings.tone_eq.level_compensation = false;
        /// let coefs = StripCoefs::<2>::design(&settings, SampleRate::new(48_000.0)?)?;
        /// let centre_hz = settings.tone_eq.bell_frequency_hz;
        /// assert!((coefs.response(centre_hz).db() - 3.0).abs() < 0.1);
        /// settings.compressor.ratio = 0.5;
        /// let error = StripCoefs::<2>::design(&settings, SampleRate::new(48_000.0)?).unwrap_err();
        /// assert_eq!(error.setting, "compressor.ratio");
        /// # Ok::<(), voicechain_core::SettingError>(())
        /// ```
        #[derive(Clone, Copy, Debug)]
        pub struct StripCoefs<const C: usize>
        where
            [f32; C]: Frame,
        {
            pub(super) rate: SampleRate,
            pub(super) order: [ReorderableStage; REORDERABLE_STAGES],
            pub(super) ceiling_dbtp: f64,
            $(pub(super) $field: StageCoefs<$type, C>,)+
        }

        blank! {
            [const C: usize] StripCoefs<C> where [f32; C]: Frame { rate, order, ceiling_dbtp, $($field),+ }
        }

        impl<const C: usize> StripCoefs<C>
        where
            [f32; C]: Frame,
        {
            /// Designs all stages. The coefficients are finite and every pole lies inside the unit circle. Tested by
            /// `any_settings_in_range_give_stable_coefficients`.
            ///
            /// # Errors
            /// Returns the first setting that is not allowed, with its id, its value and the accepted values: a value
            /// outside its range, or an order that does not contain every reorderable stage once.
            pub fn design(settings: &StripSettings, rate: SampleRate) -> Result<Self, SettingError> {
                settings.check()?;
                Ok(Self {
                    rate,
                    order: settings.order,
                    ceiling_dbtp: settings.limiter.ceiling_dbtp,
                    $($field: StageCoefs::design(&settings.into(), settings.$field.is_on(), rate)?,)+
                })
            }

            /// Latency of one stage, in samples. It is the same whether the stage is on or off.
            #[must_use]
            pub fn stage_latency(&self, stage: StageId) -> u32 {
                match stage { $(StageId::$variant => self.$field.latency(),)+ }
            }

            /// Response of one stage to a steady tone at `frequency_hz`. Unity for a nonlinear stage and for a stage
            /// that is off.
            #[must_use]
            pub fn stage_response(&self, stage: StageId, frequency_hz: f64) -> Response {
                match stage { $(StageId::$variant => self.$field.response(frequency_hz),)+ }
            }

            /// Static gain of a dynamics stage, in dB, at a detector level of `level_db`. Returns 0 for any other
            /// stage and for a stage that is off.
            ///
            /// | stage | detector level |
            /// |---|---|
            /// | compressor | peak level, dBFS |
            /// | limiter | true peak, dBTP |
            /// | de-esser | ratio of sibilant to voiced band, dB |
            /// | expander | level above the noise floor, dB |
            /// | leveller | loudness of one channel (mean of the channels), LUFS |
            #[must_use]
            pub fn stage_gain_db(&self, stage: StageId, level_db: f64) -> f64 {
                match stage { $(StageId::$variant => self.$field.gain_db(level_db),)+ }
            }

            /// Gain of an EQ stage's level compensation or of the compressor's make-up, in dB, whether the stage is
            /// on or off. Returns 0 for any other stage.
            #[must_use]
            pub fn compensation_db(&self, stage: StageId) -> f64 {
                match stage { $(StageId::$variant => <$type as Stage<C>>::compensation_db(self.$field.coefs()),)+ }
            }

            /// Second-order sections of a stage that is on, and the samples of its tail besides their ringing.
            fn sections_and_tail(&self, stage: StageId) -> (&[Section], u32) {
                match stage { $(StageId::$variant => (self.$field.sections(), self.$field.tail_without_sections()),)+ }
            }

            fn stage_is_stable(&self, stage: StageId) -> bool {
                match stage { $(StageId::$variant => self.$field.is_stable(),)+ }
            }
        }
    };
}
with_stages!(strip_coefs);

impl<const C: usize> StripCoefs<C>
where
    [f32; C]: Frame,
{
    /// Sample rate of the design.
    #[must_use]
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    /// All stages in signal order.
    #[must_use]
    pub fn signal_order(&self) -> [StageId; StageId::COUNT] {
        signal_order(self.order)
    }

    /// Delay of the output relative to the input, in samples: the sum over all stages, on or off. Only
    /// `spectral.latency` and the limiter's look-ahead change it.
    #[must_use]
    pub fn latency(&self) -> u32 {
        StageId::ALL.iter().map(|&stage| self.stage_latency(stage)).sum()
    }

    /// Delay of the signal at the input of a stage, in samples.
    #[must_use]
    pub fn latency_before(&self, stage: StageId) -> u32 {
        let before = self.signal_order().into_iter().take_while(|&other| other != stage);
        before.map(|stage| self.stage_latency(stage)).sum()
    }

    /// Bound on the number of samples after which the impulse response stays at least 120 dB below its peak, latency
    /// included. Never shorter than the true tail and at most twice as long.
    ///
    /// All second-order sections count as one cascade, because gain after a section lengthens or shortens its
    /// ringing. Tested by `stated_tail_bounds_the_impulse_response`.
    #[must_use]
    pub fn tail(&self) -> u32 {
        let stages = StageId::ALL.iter().map(|&stage| self.sections_and_tail(stage));
        crate::filters::tail::samples(stages.clone().flat_map(|(sections, _)| sections))
            + stages.map(|(_, samples)| samples).sum::<u32>()
    }

    /// Combined response of all linear stages to a steady tone at `frequency_hz`.
    #[must_use]
    pub fn response(&self, frequency_hz: f64) -> Response {
        StageId::ALL.iter().fold(Response::ONE, |r, &stage| r.in_series(self.stage_response(stage, frequency_hz)))
    }

    /// Response of the de-esser's detector band at `frequency_hz`, whether the stage is on or off.
    #[must_use]
    pub fn sibilant_response(&self, frequency_hz: f64) -> Response {
        self.de_esser.coefs().detector_response(frequency_hz)
    }

    /// Response of the de-esser at `frequency_hz` during a gain reduction of `reduction_db`. Unity when the stage is
    /// off.
    #[must_use]
    pub fn de_esser_response(&self, frequency_hz: f64, reduction_db: f64) -> Response {
        let de_esser = &self.de_esser;
        if de_esser.on() { de_esser.coefs().response_at(frequency_hz, reduction_db) } else { Response::ONE }
    }

    /// The de-reverb's model of late reverberation, with its maximum attenuation. `None` when the stage is off or its
    /// latency is none.
    #[must_use]
    pub fn late_reverberation(&self) -> Option<LateReverberation> {
        if self.de_reverb.on() { self.de_reverb.coefs().late_reverberation() } else { None }
    }

    /// True when every coefficient is finite and every pole lies inside the unit circle. Always true after
    /// [`design`](Self::design); public for tests.
    #[must_use]
    pub fn is_stable(&self) -> bool {
        StageId::ALL.iter().all(|&stage| self.stage_is_stable(stage))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Second-order Butterworth edges: -3 dB at both edges, 12 dB per octave outside, 0 dB between.
    #[test]
    fn sibilant_response_matches_the_detector_band() {
        let rate = SampleRate::new(96_000.0).unwrap();
        let coefs = StripCoefs::<2>::design(&StripSettings::default(), rate).unwrap();
        let db = |hz: f64| coefs.sibilant_response(hz).db();
        assert!((db(4_000.0) + 3.01).abs() < 0.15 && (db(10_000.0) + 3.01).abs() < 0.15);
        assert!(db(6_300.0) > -1.5, "{}", db(6_300.0));
        assert!((db(500.0) - db(1_000.0) + 12.04).abs() < 0.2);
        assert!(db(1_000.0) < -23.0 && db(30_000.0) < -18.0);
        // The stage applies its range to high frequencies and leaves low frequencies unchanged.
        assert!((coefs.de_esser_response(15_000.0, 6.0).db() + 6.0).abs() < 0.5);
        assert!(coefs.de_esser_response(500.0, 6.0).db().abs() < 0.1);
        let mut off = StripSettings::default();
        off.de_esser.on = false;
        let coefs = StripCoefs::<2>::design(&off, rate).unwrap();
        assert_eq!(coefs.de_esser_response(15_000.0, 6.0), Response::ONE);
        assert!(coefs.sibilant_response(6_300.0).db() > -1.5, "also while the stage is off");
    }
}
