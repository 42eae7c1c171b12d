//! The designed strip: coefficients of every stage, the order and the switches.

use super::stage_list::with_stages;
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
        /// Everything that a [`Strip`](super::Strip) needs to run: designed once, plain data, made by
        /// [`design`](StripCoefs::design).
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

        impl<const C: usize> StripCoefs<C>
        where
            [f32; C]: Frame,
        {
            /// Designs the whole strip. `Ok` means finite coefficients and poles inside the unit circle.
            ///
            /// # Errors
            /// The first setting outside its range, with its id, its value and what is allowed; nothing else can fail. Tested
            /// by `any_settings_in_range_are_designed_and_stable`.
            pub fn design(settings: &StripSettings, rate: SampleRate) -> Result<Self, SettingError> {
                settings.check()?;
                Ok(Self {
                    rate,
                    order: settings.order,
                    ceiling_dbtp: settings.limiter.ceiling_dbtp,
                    $($field: StageCoefs::design(&settings.into(), settings.$field.is_on(), rate)?,)+
                })
            }

            /// Delay of a stage, in samples; the same whether it is on or off.
            #[must_use]
            pub fn stage_latency(&self, stage: StageId) -> u32 {
                match stage { $(StageId::$variant => self.$field.latency(),)+ }
            }

            /// What one stage does to a steady tone at `frequency_hz`; a stage that is off, or a dynamics stage, does nothing.
            #[must_use]
            pub fn stage_response(&self, stage: StageId, frequency_hz: f64) -> Response {
                match stage { $(StageId::$variant => self.$field.response(frequency_hz),)+ }
            }

            /// The static gain of a dynamics stage, in dB, at a level of what drives it: dB of full scale for the compressor,
            /// dBTP for the limiter, the ratio of sibilant to voiced band for the de-esser, the distance to the noise floor for
            /// the expander, LUFS for the leveller. 0 for any other stage, and when off.
            #[must_use]
            pub fn stage_gain_db(&self, stage: StageId, level_db: f64) -> f64 {
                match stage { $(StageId::$variant => self.$field.gain_db(level_db),)+ }
            }

            /// The gain of the level compensation of an EQ stage, or the make-up gain of the compressor, in dB, also while it is
            /// off; 0 for any other.
            #[must_use]
            pub fn compensation_db(&self, stage: StageId) -> f64 {
                match stage { $(StageId::$variant => <$type as Stage<C>>::compensation_db(self.$field.coefs()),)+ }
            }

            /// The filters of a stage that is on, and the samples that it rings besides them.
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
    /// The rate that the strip was designed for.
    #[must_use]
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    /// All stages in the order in which the sound passes them.
    #[must_use]
    pub fn signal_order(&self) -> [StageId; StageId::COUNT] {
        signal_order(self.order)
    }

    /// Delay of the output against the input, in samples: that of all stages, whether they are on or off. Only `spectral.latency`
    /// and the limiter's look-ahead set it.
    #[must_use]
    pub fn latency(&self) -> u32 {
        StageId::ALL.iter().map(|&stage| self.stage_latency(stage)).sum()
    }

    /// By how many samples the sound is delayed when it comes to a stage.
    #[must_use]
    pub fn latency_before(&self, stage: StageId) -> u32 {
        let before = self.signal_order().into_iter().take_while(|&other| other != stage);
        before.map(|stage| self.stage_latency(stage)).sum()
    }

    /// Samples until the impulse response stays under -120 dB of its peak, the latency included. All filters count as one
    /// chain: behind a stage that raises or lowers its ringing, a stage rings longer or shorter than alone. Tested by
    /// `latency_and_tail_are_exact`.
    #[must_use]
    pub fn tail(&self) -> u32 {
        let stages = StageId::ALL.iter().map(|&stage| self.sections_and_tail(stage));
        crate::filters::tail::samples(stages.clone().flat_map(|(sections, _)| sections))
            + stages.map(|(_, samples)| samples).sum::<u32>()
    }

    /// What all linear stages together do to a steady tone at `frequency_hz`.
    #[must_use]
    pub fn response(&self, frequency_hz: f64) -> Response {
        StageId::ALL.iter().fold(Response::ONE, |r, &stage| r.in_series(self.stage_response(stage, frequency_hz)))
    }

    /// The response of the band that the de-esser listens to, at `frequency_hz`.
    #[must_use]
    pub fn sibilant_response(&self, frequency_hz: f64) -> Response {
        self.de_esser.coefs().detector_response(frequency_hz)
    }

    /// The response of the de-esser at `frequency_hz` while it takes `reduction_db`; 1 when it is off.
    #[must_use]
    pub fn de_esser_response(&self, frequency_hz: f64, reduction_db: f64) -> Response {
        let de_esser = &self.de_esser;
        if de_esser.on() { de_esser.coefs().response_at(frequency_hz, reduction_db) } else { Response::ONE }
    }

    /// What the de-reverb takes for the late sound of the room, and how much of it; `None` when it is off or without latency.
    #[must_use]
    pub fn late_reverberation(&self) -> Option<LateReverberation> {
        if self.de_reverb.on() { self.de_reverb.coefs().late_reverberation() } else { None }
    }

    /// True when every coefficient is finite and every pole lies inside the unit circle; always so after
    /// [`design`](Self::design), and here so that it can be tested.
    #[must_use]
    pub fn is_stable(&self) -> bool {
        StageId::ALL.iter().all(|&stage| self.stage_is_stable(stage))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The defining property of second-order Butterworth edges: 3 dB down at either, 12 dB per octave beyond, 0 dB between.
    #[test]
    fn the_drawn_band_is_the_detector_band() {
        let rate = SampleRate::new(96_000.0).unwrap();
        let coefs = StripCoefs::<2>::design(&StripSettings::default(), rate).unwrap();
        let db = |hz: f64| coefs.sibilant_response(hz).db();
        assert!((db(4_000.0) + 3.01).abs() < 0.15 && (db(10_000.0) + 3.01).abs() < 0.15);
        assert!(db(6_300.0) > -1.5, "{}", db(6_300.0));
        assert!((db(500.0) - db(1_000.0) + 12.04).abs() < 0.2);
        assert!(db(1_000.0) < -23.0 && db(30_000.0) < -18.0);
        // The stage itself takes its range from the highs and leaves the lows.
        assert!((coefs.de_esser_response(15_000.0, 6.0).db() + 6.0).abs() < 0.5);
        assert!(coefs.de_esser_response(500.0, 6.0).db().abs() < 0.1);
        let mut off = StripSettings::default();
        off.de_esser.on = false;
        let coefs = StripCoefs::<2>::design(&off, rate).unwrap();
        assert_eq!(coefs.de_esser_response(15_000.0, 6.0), Response::ONE);
        assert!(coefs.sibilant_response(6_300.0).db() > -1.5, "it is drawn while it is off, too");
    }
}
