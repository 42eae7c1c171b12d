//! How a strip moves to other settings, another order, another latency.

use super::slot::gentle;
use super::{Strip, StripCoefs, delays};
use crate::frame::Frame;

impl<const C: usize> Strip<C>
where
    [f32; C]: Frame,
{
    /// Moves to new coefficients, beginning with the next frame: settings and switches glide within
    /// [`MOTION_MS`](crate::strip::MOTION_MS), a new order cross-fades, a new look-ahead or de-reverb variant (they change the latency) dips for twice that time. Coefficients
    /// of another rate start the strip afresh.
    pub fn set(&mut self, coefs: &StripCoefs<C>) {
        if coefs.rate != self.target.rate {
            return self.start_afresh(coefs);
        }
        self.target = *coefs;
        if coefs.latency() as usize != self.latency {
            // All of it waits for the middle of the dip.
            let at = self.dip.map_or(0, |at| at.min(2 * self.motion - at));
            self.dip = Some(at);
            if at == self.motion {
                self.change_latency();
            }
            return;
        }
        if self.dip.is_none_or(|at| at >= self.motion) {
            self.apply();
        }
    }

    /// Begins at another rate. By itself, so that only this needs the stack that a whole strip takes.
    #[cold]
    #[inline(never)]
    fn start_afresh(&mut self, coefs: &StripCoefs<C>) {
        let (listening, part) = (self.listening, self.audition.part());
        *self = Self::fresh(coefs);
        self.set_listening(listening);
        self.set_audition(part);
    }

    /// Sends the target to every stage.
    fn apply(&mut self) {
        let coefs = self.target;
        self.trim.set(coefs.trim);
        self.hum.set(coefs.hum);
        self.high_pass.set(coefs.high_pass);
        self.de_reverb.set(coefs.de_reverb);
        self.expander.set(coefs.expander);
        self.leveller.set(coefs.leveller);
        self.middle.set(&coefs);
        self.limiter.set(coefs.limiter);
        self.output.set(coefs.output);
        self.reorder();
    }

    /// Begins the cross-fade to the target's order, unless one is under way; then it begins when that one is over.
    pub(super) fn reorder(&mut self) {
        if self.former.is_none() && self.middle.order != self.target.order {
            self.former = Some((self.middle.clone(), 0));
            self.middle.order = self.target.order;
            self.ledger.reset(self.target.rate, delays(&self.target));
            self.input_loudness.reset(self.target.rate);
            self.output_loudness.reset(self.target.rate);
        }
    }

    /// While the order changes: fades from the middle in its former order to the middle as it is.
    pub(super) fn cross_fade_orders(&mut self, frames: &mut [[f32; C]], before: &mut [[f32; C]]) {
        let Some((former, at)) = &mut self.former else { return };
        for stage in former.order {
            former.run(stage, before);
        }
        for (new, old) in frames.iter_mut().zip(before.iter()) {
            *at += 1;
            let share = gentle(f64::from(*at) / f64::from(self.motion)) as f32;
            for (new, &old) in new.iter_mut().zip(old) {
                *new = old + share * (*new - old);
            }
        }
    }

    /// While the latency changes: fades the output out, makes the change, fades in.
    pub(super) fn advance_dip(&mut self, frames: &mut [[f32; C]]) {
        let Some(mut at) = self.dip else { return };
        if self.hold > 0 {
            frames.fill([0.0; C]);
            self.hold -= frames.len() as u32;
            return;
        }
        for frame in frames.iter_mut() {
            at += 1;
            let share = gentle(f64::from(self.motion.abs_diff(at)) / f64::from(self.motion)) as f32;
            frame.iter_mut().for_each(|sample| *sample *= share);
        }
        self.dip = (at < 2 * self.motion).then_some(at);
        if at == self.motion {
            self.change_latency();
        }
    }

    /// In the middle of the dip. De-reverb and limiter keep the sound that they delay, or they would begin with a hole.
    fn change_latency(&mut self) {
        self.latency = self.target.latency() as usize;
        if self.de_reverb.latency() != self.target.de_reverb.latency() {
            self.de_reverb.state.enter(&self.target.de_reverb.coefs);
            self.de_reverb.jump(self.target.de_reverb);
            self.hold = self.limiter.latency().max(self.target.limiter.latency());
        }
        self.limiter.jump(self.target.limiter);
        self.ledger.reset(self.target.rate, delays(&self.target));
        self.input_loudness.reset(self.target.rate);
        self.output_loudness.reset(self.target.rate);
        self.apply();
    }
}
