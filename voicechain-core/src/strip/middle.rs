//! The middle stages: those whose order can be set.

use super::StripCoefs;
use super::slot::Slot;
use crate::frame::Frame;
use crate::settings::{MIDDLE, Middle};
use crate::stages::{Compressor, CorrectiveEq, DeEsser, ToneEq};

/// The middle stages, whose order can be set.
pub(super) struct MiddleSlots<const C: usize>
where
    [f32; C]: Frame,
{
    pub(super) order: [Middle; MIDDLE],
    corrective_eq: Slot<CorrectiveEq, C>,
    pub(super) de_esser: Slot<DeEsser, C>,
    pub(super) compressor: Slot<Compressor, C>,
    tone_eq: Slot<ToneEq, C>,
}

impl<const C: usize> Clone for MiddleSlots<C>
where
    [f32; C]: Frame,
{
    fn clone(&self) -> Self {
        Self {
            order: self.order,
            corrective_eq: self.corrective_eq.clone(),
            de_esser: self.de_esser.clone(),
            compressor: self.compressor.clone(),
            tone_eq: self.tone_eq.clone(),
        }
    }
}

impl<const C: usize> MiddleSlots<C>
where
    [f32; C]: Frame,
{
    pub(super) fn fresh(coefs: &StripCoefs<C>) -> Self {
        Self {
            order: coefs.order,
            corrective_eq: Slot::fresh(coefs.corrective_eq, coefs.rate),
            de_esser: Slot::fresh(coefs.de_esser, coefs.rate),
            compressor: Slot::fresh(coefs.compressor, coefs.rate),
            tone_eq: Slot::fresh(coefs.tone_eq, coefs.rate),
        }
    }

    pub(super) fn set(&mut self, coefs: &StripCoefs<C>) {
        self.corrective_eq.set(coefs.corrective_eq);
        self.de_esser.set(coefs.de_esser);
        self.compressor.set(coefs.compressor);
        self.tone_eq.set(coefs.tone_eq);
    }

    pub(super) fn run(&mut self, stage: Middle, frames: &mut [[f32; C]]) {
        match stage {
            Middle::CorrectiveEq => self.corrective_eq.run(frames),
            Middle::DeEsser => self.de_esser.run(frames),
            Middle::Compressor => self.compressor.run(frames),
            Middle::ToneEq => self.tone_eq.run(frames),
        }
    }

    pub(super) fn rests(&self, stage: Middle) -> bool {
        match stage {
            Middle::CorrectiveEq => self.corrective_eq.rests(),
            Middle::DeEsser => self.de_esser.rests(),
            Middle::Compressor => self.compressor.rests(),
            Middle::ToneEq => self.tone_eq.rests(),
        }
    }
}
