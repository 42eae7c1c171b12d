//! The designed strip: coefficients of every stage, the order and the switches.

use super::slot::SlotCoefs;
use crate::error::SettingError;
use crate::filters::{Response, Section};
use crate::frame::Frame;
use crate::settings::{MIDDLE, Middle, StageId, StripSettings};
use crate::stages::{
    Compressor, CorrectiveEq, DeEsser, DeReverb, Dynamic, Expander, HighPass, Hum, LateSound, Leveller, Limiter,
    Linear, OutputTrim, ToneEq, Trim,
};
use crate::units::SampleRate;

/// Everything that a [`Strip`](super::Strip) needs to run: designed once, plain data, made by
/// [`design`](StripCoefs::design).
#[derive(Clone, Copy, Debug)]
pub struct StripCoefs<const C: usize>
where
    [f32; C]: Frame,
{
    pub(super) rate: SampleRate,
    pub(super) order: [Middle; MIDDLE],
    pub(super) trim: SlotCoefs<Trim, C>,
    pub(super) hum: SlotCoefs<Hum, C>,
    pub(super) high_pass: SlotCoefs<HighPass, C>,
    pub(super) de_reverb: SlotCoefs<DeReverb, C>,
    pub(super) expander: SlotCoefs<Expander, C>,
    pub(super) leveller: SlotCoefs<Leveller, C>,
    pub(super) corrective_eq: SlotCoefs<CorrectiveEq, C>,
    pub(super) de_esser: SlotCoefs<DeEsser, C>,
    pub(super) compressor: SlotCoefs<Compressor, C>,
    pub(super) tone_eq: SlotCoefs<ToneEq, C>,
    pub(super) limiter: SlotCoefs<Limiter, C>,
    pub(super) output: SlotCoefs<OutputTrim, C>,
    pub(super) ceiling_dbtp: f64,
}

impl<const C: usize> StripCoefs<C>
where
    [f32; C]: Frame,
{
    /// Designs the whole strip. `Ok` means finite coefficients and poles inside the unit circle.
    ///
    /// # Errors
    /// The first setting outside its range, with its id, its value and what is allowed; nothing else can fail. Tested by
    /// `any_settings_in_range_are_designed_and_stable`.
    pub fn design(settings: &StripSettings, rate: SampleRate) -> Result<Self, SettingError> {
        settings.check()?;
        let s = settings;
        Ok(Self {
            rate,
            order: s.order,
            trim: SlotCoefs::design(&s.trim, true, rate)?,
            hum: SlotCoefs::design(&s.hum, s.hum.on, rate)?,
            high_pass: SlotCoefs::design(&s.high_pass, s.high_pass.on, rate)?,
            de_reverb: SlotCoefs::design(&s.de_reverb, s.de_reverb.on, rate)?,
            expander: SlotCoefs::design(&s.expander, s.expander.on, rate)?,
            leveller: SlotCoefs::design(&s.leveller, s.leveller.on, rate)?,
            corrective_eq: SlotCoefs::design(&s.corrective_eq, s.corrective_eq.on, rate)?,
            de_esser: SlotCoefs::design(&s.de_esser, s.de_esser.on, rate)?,
            compressor: SlotCoefs::design(&s.compressor, s.compressor.on, rate)?,
            tone_eq: SlotCoefs::design(&s.tone_eq, s.tone_eq.on, rate)?,
            limiter: SlotCoefs::design(&s.limiter, s.limiter.on, rate)?,
            output: SlotCoefs::design(&s.output, true, rate)?,
            ceiling_dbtp: s.limiter.ceiling_dbtp,
        })
    }

    /// The rate that the strip was designed for.
    #[must_use]
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    /// Delay of the output against the input, in samples: that of the de-reverb's variant and that of the limiter, whether
    /// they are on or off.
    #[must_use]
    pub fn latency(&self) -> u32 {
        self.de_reverb.latency() + self.limiter.latency()
    }

    /// Samples until the impulse response stays under -120 dB of its peak, the latency included. All filters count as one
    /// chain: behind a stage that raises or lowers its ringing, a stage rings longer or shorter than alone. Tested by
    /// `latency_and_tail_are_exact`.
    #[must_use]
    pub fn tail(&self) -> u32 {
        fn running<const N: usize>(on: bool, sections: &[Section; N]) -> &[Section] {
            if on { sections } else { &[] }
        }
        let high_pass = running(self.high_pass.on, self.high_pass.coefs.sections());
        let corrective_eq = running(self.corrective_eq.on, self.corrective_eq.coefs.sections());
        let tone_eq = running(self.tone_eq.on, self.tone_eq.coefs.sections());
        let filters = high_pass.iter().chain(corrective_eq).chain(tone_eq);
        crate::filters::tail::samples(filters)
            + self.hum.tail()
            + self.de_reverb.tail()
            + self.expander.tail()
            + self.leveller.tail()
            + self.de_esser.tail()
            + self.compressor.tail()
            + self.limiter.tail()
    }

    /// What one stage does to a steady tone at `frequency_hz`; a stage that is off, or a dynamics stage, does nothing.
    #[must_use]
    pub fn stage_response(&self, stage: StageId, frequency_hz: f64) -> Response {
        match stage {
            StageId::Trim => self.trim.coefs.response(frequency_hz),
            StageId::HighPass if self.high_pass.on => self.high_pass.coefs.response(frequency_hz),
            StageId::CorrectiveEq if self.corrective_eq.on => self.corrective_eq.coefs.response(frequency_hz),
            StageId::ToneEq if self.tone_eq.on => self.tone_eq.coefs.response(frequency_hz),
            StageId::Output => self.output.coefs.response(frequency_hz),
            _ => Response::ONE,
        }
    }

    /// What all linear stages together do to a steady tone at `frequency_hz`.
    #[must_use]
    pub fn response(&self, frequency_hz: f64) -> Response {
        StageId::ALL.iter().fold(Response::ONE, |r, &stage| r.then(self.stage_response(stage, frequency_hz)))
    }

    /// The static gain of a dynamics stage, in dB, at a level of what drives it: dB of full scale for the compressor, dBTP
    /// for the limiter, the ratio of sibilant to voiced band for the de-esser, the distance
    /// to the noise floor for the expander, LUFS for the leveller. 0 for any other stage, and when off.
    #[must_use]
    pub fn stage_gain_db(&self, stage: StageId, level_db: f64) -> f64 {
        match stage {
            StageId::Expander if self.expander.on => self.expander.coefs.gain_db(level_db),
            StageId::Leveller if self.leveller.on => self.leveller.coefs.gain_db(level_db),
            StageId::DeEsser if self.de_esser.on => self.de_esser.coefs.gain_db(level_db),
            StageId::Compressor if self.compressor.on => self.compressor.coefs.gain_db(level_db),
            StageId::Limiter if self.limiter.on => self.limiter.coefs.gain_db(level_db),
            _ => 0.0,
        }
    }

    /// The response of the band that the de-esser listens to, at `frequency_hz`.
    #[must_use]
    pub fn sibilant_response(&self, frequency_hz: f64) -> Response {
        self.de_esser.coefs.detector_response(frequency_hz)
    }

    /// The response of the de-esser at `frequency_hz` while it takes `reduction_db`; 1 when it is off.
    #[must_use]
    pub fn de_esser_response(&self, frequency_hz: f64, reduction_db: f64) -> Response {
        if self.de_esser.on { self.de_esser.coefs.response_at(frequency_hz, reduction_db) } else { Response::ONE }
    }

    /// What the de-reverb takes for the late sound of the room, and how much of it; `None` when it is off or absent.
    #[must_use]
    pub fn late_sound(&self) -> Option<LateSound> {
        if self.de_reverb.on { self.de_reverb.coefs.late_sound() } else { None }
    }

    /// The gain of the level compensation of an EQ stage, or the make-up gain of the compressor, in dB; 0 for any other.
    #[must_use]
    pub fn compensation_db(&self, stage: StageId) -> f64 {
        match stage {
            StageId::CorrectiveEq => self.corrective_eq.coefs.compensation_db(),
            StageId::ToneEq => self.tone_eq.coefs.compensation_db(),
            StageId::Compressor => self.compressor.coefs.make_up_db(),
            _ => 0.0,
        }
    }

    /// True when every coefficient is finite and every pole lies inside the unit circle; always so after
    /// [`design`](Self::design), and here so that it can be tested.
    #[must_use]
    pub fn is_stable(&self) -> bool {
        self.high_pass.coefs.is_stable()
            && self.hum.coefs.is_stable()
            && self.de_reverb.coefs.is_stable()
            && self.expander.coefs.is_stable()
            && self.leveller.coefs.is_stable()
            && self.corrective_eq.coefs.is_stable()
            && self.tone_eq.coefs.is_stable()
            && self.compressor.coefs.is_stable()
            && self.de_esser.coefs.is_stable()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The defining property of second-order Butterworth edges: 3 dB down at either, 12 dB per octave beyond, 0 dB between.
    #[test]
    fn what_is_drawn_is_what_it_listens_to() {
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
