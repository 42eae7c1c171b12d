//! Auditioning a band of the recording: the band alone, or what a bell cut would remove.
//!
//! A resonance can be located from one recording, not sized: whether it is a fault, an ear decides. A part is for that ear.
//! It is monitoring, not processing: the strip is not changed by it.

use crate::filters::StateVariable;
use crate::filters::cascade::step_state_variable;
use crate::filters::design::{MAX_FREQUENCY_OF_RATE, band_pass, bell};
use crate::frame::{Frame, Lanes};
use crate::math::smooth_step;
use crate::stages::processor::TRANSITION_MS;
use crate::units::SampleRate;

/// A part of what there is to hear.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum AuditionBand {
    /// All of it.
    #[default]
    Full,
    /// One band alone, with gain 1 at its middle and -3.01 dB at its edges.
    BandPass {
        /// Its middle, Hz.
        frequency_hz: f64,
        /// Middle over width.
        q: f64,
    },
    /// What a bell that cuts would take away: the input minus what comes through the bell.
    BellCut {
        /// The bell's frequency, Hz.
        frequency_hz: f64,
        /// The bell's gain, dB: below 0.
        gain_db: f64,
        /// The bell's Q.
        q: f64,
    },
}

impl AuditionBand {
    /// The filter that leaves only this part; `None` for all of it, and for numbers that are none. What lies outside the
    /// ranges of the strip's bells is held at their ends, and under 0.45 of the rate.
    fn filter(self, rate: SampleRate) -> Option<StateVariable> {
        let held =
            |hz: f64, q: f64| (hz.clamp(20.0, (MAX_FREQUENCY_OF_RATE * rate.hz()).min(20_000.0)), q.clamp(0.3, 12.0));
        match self {
            Self::Full => None,
            Self::BandPass { frequency_hz, q } => {
                let (hz, q) = held(frequency_hz, q);
                (hz.is_finite() && q.is_finite()).then(|| band_pass(hz, q, rate).state_variable())
            }
            Self::BellCut { frequency_hz, gain_db, q } => {
                let (hz, q) = held(frequency_hz, q);
                // Not quite 0 dB: that bell is no filter at all.
                let gain_db = gain_db.clamp(-18.0, -0.01);
                (hz.is_finite() && q.is_finite() && gain_db.is_finite()).then(|| {
                    let bell = bell(hz, gain_db, q, rate).state_variable();
                    StateVariable { m0: 1.0 - bell.m0, m1: -bell.m1, m2: -bell.m2, ..bell }
                })
            }
        }
    }
}

/// Leaves only a part of what runs through it, and glides from one part to the next within [`TRANSITION_MS`].
///
/// All parts are one state-variable filter with different mixes, and the filter stays stable and free of clicks while its
/// numbers move, so a part can be chosen at any sample, also while the change before is under way. At rest in
/// [`AuditionBand::Full`] the input passes bit for bit. Nothing allocates; any split into blocks gives the same bits. Tested by
/// `properties::audition`.
#[derive(Clone, Debug)]
pub struct Audition<const C: usize>
where
    [f32; C]: Frame,
{
    rate: SampleRate,
    band: AuditionBand,
    from: StateVariable,
    to: StateVariable,
    /// Frames until the glide is over.
    remaining: u32,
    length: u32,
    /// True when nothing is taken away and nothing moves.
    bypassed: bool,
    states: [<[f32; C] as Frame>::Lanes; 2],
}

/// The same filter, but all of the input passes.
fn pass_through(filter: StateVariable) -> StateVariable {
    StateVariable { m0: 1.0, m1: 0.0, m2: 0.0, ..filter }
}

impl<const C: usize> Audition<C>
where
    [f32; C]: Frame,
{
    /// At rest in this part, with nothing heard before.
    #[must_use]
    pub fn new(band: AuditionBand, rate: SampleRate) -> Self {
        let filter = band.filter(rate);
        let to = filter.unwrap_or(StateVariable { g: 1.0, k: 1.0, m0: 1.0, m1: 0.0, m2: 0.0 });
        Self {
            rate,
            band,
            from: to,
            to,
            remaining: 0,
            length: rate.samples(TRANSITION_MS),
            bypassed: filter.is_none(),
            states: [Lanes::splat(0.0); 2],
        }
    }

    /// The part that is heard, or about to be.
    #[must_use]
    pub fn band(&self) -> AuditionBand {
        self.band
    }

    /// Chooses a part, from the next frame on.
    pub fn set(&mut self, band: AuditionBand) {
        if band == self.band {
            return;
        }
        self.band = band;
        let filter = band.filter(self.rate);
        if self.bypassed {
            let Some(filter) = filter else { return };
            // Nothing of the filter is heard yet: it starts afresh, with all of the input in its mix.
            self.states = [Lanes::splat(0.0); 2];
            self.from = pass_through(filter);
        } else {
            self.from = self.now();
        }
        self.to = filter.unwrap_or(pass_through(self.from));
        (self.remaining, self.bypassed) = (self.length, false);
    }

    /// Is where it was going at once, with nothing heard before.
    pub fn reset(&mut self) {
        *self = Self::new(self.band, self.rate);
    }

    /// True when the input passes as it is, for as long as nothing is set.
    #[must_use]
    pub fn is_bypassed(&self) -> bool {
        self.bypassed
    }

    /// The filter at this moment of the glide.
    fn now(&self) -> StateVariable {
        if self.remaining == 0 {
            return self.to;
        }
        self.from.interpolated(&self.to, smooth_step(1.0 - f64::from(self.remaining) / f64::from(self.length)))
    }

    /// One frame.
    pub(super) fn next(&mut self, frame: [f32; C]) -> [f32; C] {
        if self.bypassed {
            return frame;
        }
        if self.remaining > 0 {
            self.remaining -= 1;
            if self.remaining == 0 && self.band.filter(self.rate).is_none() {
                self.bypassed = true;
                return frame;
            }
        }
        let filter = self.now();
        let heard = step_state_variable(&filter, &mut self.states, frame.widen());
        // Far below anything that is heard: states never sink into the subnormal range.
        self.states = self.states.map(|s| s.flush_denormals());
        Frame::narrow(heard)
    }

    /// Processes frames in place, as many as there are.
    pub fn run(&mut self, frames: &mut [[f32; C]]) {
        for frame in frames {
            *frame = self.next(*frame);
        }
    }
}
