//! A stage in its place: it moves from one setting to the next and is switched on and off without a click.

use crate::error::SettingError;
use crate::frame::{CHUNK, Frame};
use crate::stages::{Stage, Tail};
use crate::units::SampleRate;

/// Every change of a setting, and every switch, takes so long, ms.
pub const MOTION_MS: f64 = 10.0;

/// A way from 0 to 1 that starts and ends gently: `t^2 (3 - 2 t)`. A straight way has two corners that can be heard.
#[inline]
pub(crate) fn gentle(t: f64) -> f64 {
    t * t * (3.0 - 2.0 * t)
}

/// Designed coefficients with their switch.
#[derive(Debug)]
pub(crate) struct SlotCoefs<S: Stage<C>, const C: usize> {
    pub(crate) coefs: S::Coefs,
    pub(crate) on: bool,
}

impl<S: Stage<C>, const C: usize> Clone for SlotCoefs<S, C> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<S: Stage<C>, const C: usize> Copy for SlotCoefs<S, C> {}

impl<S: Stage<C>, const C: usize> SlotCoefs<S, C> {
    pub(crate) fn design(settings: &S::Settings, on: bool, rate: SampleRate) -> Result<Self, SettingError> {
        Ok(Self { coefs: S::design(settings, rate)?, on })
    }

    pub(crate) fn latency(&self) -> u32 {
        S::latency(&self.coefs)
    }

    /// Samples that ring on behind the stage; a stage that is off only delays.
    pub(crate) fn tail(&self) -> u32 {
        if !self.on {
            return S::latency(&self.coefs);
        }
        let Tail::Samples(samples) = S::tail(&self.coefs);
        samples
    }
}

/// A stage of the strip with its state, its motion and its switch.
pub(crate) struct Slot<S: Stage<C>, const C: usize> {
    pub(crate) state: S::State,
    from: S::Coefs,
    to: S::Coefs,
    /// Frames since the motion began; `None` at rest.
    motion: Option<u32>,
    on: bool,
    /// 0 (off) to `length` (on); moves by one per frame.
    fade: u32,
    length: u32,
    rate: SampleRate,
}

impl<S: Stage<C>, const C: usize> Clone for Slot<S, C>
where
    S::State: Clone,
{
    fn clone(&self) -> Self {
        Self { state: self.state.clone(), ..*self }
    }
}

impl<S: Stage<C>, const C: usize> Slot<S, C>
where
    [f32; C]: Frame,
{
    pub(crate) fn fresh(coefs: SlotCoefs<S, C>, rate: SampleRate) -> Self {
        let length = rate.samples(MOTION_MS);
        Self {
            state: S::fresh(rate),
            from: coefs.coefs,
            to: coefs.coefs,
            motion: None,
            on: coefs.on,
            fade: if coefs.on { length } else { 0 },
            length,
            rate,
        }
    }

    /// Begins to move towards new coefficients, from wherever it is.
    pub(crate) fn set(&mut self, new: SlotCoefs<S, C>) {
        if new.on && !self.on && self.fade == 0 && !S::PASS_KEEPS_STATE {
            // Nothing of it is heard: it starts afresh with the new coefficients.
            self.state = S::fresh(self.rate);
            (self.from, self.to, self.motion) = (new.coefs, new.coefs, None);
        }
        self.on = new.on;
        if new.coefs == self.to {
            return;
        }
        if !self.on && self.fade == 0 {
            (self.from, self.to, self.motion) = (new.coefs, new.coefs, None);
            return;
        }
        match self.motion {
            Some(position) => self.from = S::between(&self.from, &self.to, self.progress(position)),
            None => {
                S::loosen(&self.to, &mut self.state);
                self.from = self.to;
            }
        }
        self.to = new.coefs;
        self.motion = Some(0);
    }

    /// True when the output is the input, bit for bit, for as long as nothing is set, and nothing is on its way: a fade goes
    /// on to its end in coefficients that rest, too, or it would end where the caller's block does.
    pub(crate) fn rests(&self) -> bool {
        let fades = self.fade != if self.on { self.length } else { 0 };
        !fades && ((!self.on && !S::PASS_KEEPS_STATE) || (self.motion.is_none() && S::rests(&self.to)))
    }

    /// The latency in the coefficients that it runs with.
    pub(crate) fn latency(&self) -> u32 {
        S::latency(&self.to)
    }

    /// How far the motion has gone, 0 to 1, with a slope of 0 at both ends: on the worst sine that leaves a seventh of the
    /// second difference of a straight line.
    fn progress(&self, position: u32) -> f64 {
        gentle(f64::from(position) / f64::from(self.length))
    }

    /// Is at rest in new coefficients at once; what the sound has left in the stage stays.
    pub(crate) fn jump(&mut self, new: SlotCoefs<S, C>) {
        (self.from, self.to, self.motion) = (new.coefs, new.coefs, None);
        (self.on, self.fade) = (new.on, if new.on { self.length } else { 0 });
    }

    /// Runs at most a chunk of frames in place.
    pub(crate) fn run(&mut self, frames: &mut [[f32; C]]) {
        let mut rest = frames;
        while !rest.is_empty() {
            if self.on && self.fade == self.length {
                return self.run_on(rest, None);
            }
            if !self.on && self.fade == 0 {
                self.motion = None;
                return S::pass(&self.to, &mut self.state, rest);
            }
            // The fade ends at the same frame for any split of the frames.
            let left = if self.on { self.length - self.fade } else { self.fade };
            let (now, later) = rest.split_at_mut(rest.len().min(left as usize));
            self.run_fading(now);
            rest = later;
        }
    }

    fn run_fading(&mut self, frames: &mut [[f32; C]]) {
        let mut passed = [[0.0; C]; CHUNK];
        let n = frames.len().min(CHUNK);
        self.run_on(frames, Some(&mut passed[..n]));
        for (frame, passed) in frames.iter_mut().zip(&passed) {
            self.fade = if self.on { self.fade + 1 } else { self.fade - 1 };
            let share = self.progress(self.fade) as f32;
            for (wet, &dry) in frame.iter_mut().zip(passed) {
                *wet = dry + share * (*wet - dry);
            }
        }
    }

    fn run_on(&mut self, frames: &mut [[f32; C]], mut passed: Option<&mut [[f32; C]]>) {
        let mut at = 0;
        while let Some(position) = self.motion {
            if at == frames.len() {
                return;
            }
            let coefs = S::between(&self.from, &self.to, self.progress(position + 1));
            let frame = &mut frames[at..at + 1];
            match &mut passed {
                Some(passed) => S::run_beside(&coefs, &mut self.state, frame, &mut passed[at..at + 1]),
                None => S::run(&coefs, &mut self.state, frame),
            }
            at += 1;
            self.motion = Some(position + 1);
            if position + 1 == self.length {
                S::settle(&self.to, &mut self.state);
                (self.from, self.motion) = (self.to, None);
            }
        }
        match passed {
            Some(passed) => S::run_beside(&self.to, &mut self.state, &mut frames[at..], &mut passed[at..]),
            None => S::run(&self.to, &mut self.state, &mut frames[at..]),
        }
    }
}
