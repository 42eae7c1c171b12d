//! Auditioning one band of the recording: the band alone, or the signal that a bell cut would remove.
//!
//! Measurement locates a resonance; listening decides whether to cut it. Audition is monitoring only: it does not
//! affect the processing.

use crate::blank::{Blank, blank};
use crate::filters::StateVariable;
use crate::filters::cascade::step_state_variable;
use crate::filters::design::{MAX_FREQUENCY_OF_RATE, band_pass, bell};
use crate::frame::{Frame, Lanes};
use crate::math::smooth_step;
use crate::stages::processor::TRANSITION_MS;
use crate::units::SampleRate;

/// The audible part of the unprocessed signal.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum AuditionBand {
    /// The full signal.
    #[default]
    Full,
    /// A single band, with unity gain at its centre and -3.01 dB at its edges.
    BandPass {
        /// Centre frequency, Hz.
        frequency_hz: f64,
        /// Centre frequency divided by bandwidth.
        q: f64,
    },
    /// The signal that a bell cut removes: the input minus the output of the bell.
    BellCut {
        /// Centre frequency of the bell, Hz.
        frequency_hz: f64,
        /// Gain of the bell, dB; negative.
        gain_db: f64,
        /// Q of the bell.
        q: f64,
    },
}

blank!(AuditionBand = Self::Full);

impl AuditionBand {
    /// Filter for this band; `None` for the full signal and for non-finite parameters. Parameters are clamped to the
    /// ranges of the strip's bells and to 0.45 of the sample rate.
    fn filter(self, rate: SampleRate) -> Option<StateVariable> {
        let clamped =
            |hz: f64, q: f64| (hz.clamp(20.0, (MAX_FREQUENCY_OF_RATE * rate.hz()).min(20_000.0)), q.clamp(0.3, 12.0));
        match self {
            Self::Full => None,
            Self::BandPass { frequency_hz, q } => {
                let (hz, q) = clamped(frequency_hz, q);
                (hz.is_finite() && q.is_finite()).then(|| band_pass(hz, q, rate).state_variable())
            }
            Self::BellCut { frequency_hz, gain_db, q } => {
                let (hz, q) = clamped(frequency_hz, q);
                // Slightly below 0 dB: a bell at 0 dB is no filter.
                let gain_db = gain_db.clamp(-18.0, -0.01);
                (hz.is_finite() && q.is_finite() && gain_db.is_finite()).then(|| {
                    let bell = bell(hz, gain_db, q, rate).state_variable();
                    StateVariable { m0: 1.0 - bell.m0, m1: -bell.m1, m2: -bell.m2, ..bell }
                })
            }
        }
    }
}

/// Filters one audition band, with a glide of [`TRANSITION_MS`] between bands.
///
/// All bands use one state-variable filter with different output mixes. It stays stable and free of clicks while its
/// coefficients move, so a new band can start at any sample, even during a glide. With a steady
/// [`AuditionBand::Full`] the output is the input bit for bit. No allocation; the output does not depend on the block
/// size. Tested in tests/properties/audition.rs.
#[derive(Clone, Debug)]
pub struct Audition<const C: usize>
where
    [f32; C]: Frame,
{
    rate: SampleRate,
    band: AuditionBand,
    from: StateVariable,
    to: StateVariable,
    /// Frames until the glide ends.
    remaining: u32,
    length: u32,
    /// True when the input passes unchanged and no glide is in progress.
    bypassed: bool,
    states: [<[f32; C] as Frame>::Lanes; 2],
}

blank! {
    [const C: usize] Audition<C> where [f32; C]: Frame {
        rate, band, from, to, remaining, length, bypassed, states,
    }
}

/// The same filter with an output mix that passes the input.
fn pass_through(filter: StateVariable) -> StateVariable {
    StateVariable { m0: 1.0, m1: 0.0, m2: 0.0, ..filter }
}

impl<const C: usize> Audition<C>
where
    [f32; C]: Frame,
{
    /// Creates a filter with clear state, steady in this band.
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

    /// Current band, or the target of a glide in progress.
    #[must_use]
    pub fn band(&self) -> AuditionBand {
        self.band
    }

    /// Selects a band from the next frame on.
    pub fn set(&mut self, band: AuditionBand) {
        if band == self.band {
            return;
        }
        self.band = band;
        if self.rate == SampleRate::BLANK {
            return;
        }
        let filter = band.filter(self.rate);
        if self.bypassed {
            let Some(filter) = filter else { return };
            // The filter is inaudible so far: start with clear state and an output mix that passes the input.
            self.states = [Lanes::splat(0.0); 2];
            self.from = pass_through(filter);
        } else {
            self.from = self.now();
        }
        self.to = filter.unwrap_or(pass_through(self.from));
        (self.remaining, self.bypassed) = (self.length, false);
    }

    /// Clears the state. A glide in progress completes at once.
    pub fn reset(&mut self) {
        *self = Self::new(self.band, self.rate);
    }

    /// True while the input passes unchanged, until the next call of [`set`](Self::set).
    #[must_use]
    pub fn is_bypassed(&self) -> bool {
        self.bypassed
    }

    /// Filter coefficients at the current position of the glide.
    fn now(&self) -> StateVariable {
        if self.remaining == 0 {
            return self.to;
        }
        self.from.interpolated(&self.to, smooth_step(1.0 - f64::from(self.remaining) / f64::from(self.length)))
    }

    /// Processes one frame.
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
        let output = step_state_variable(&filter, &mut self.states, frame.widen());
        // Keeps the states out of the subnormal range.
        self.states = self.states.map(|s| s.flush_denormals());
        Frame::narrow(output)
    }

    /// Processes any number of frames in place.
    pub fn run(&mut self, frames: &mut [[f32; C]]) {
        for frame in frames {
            *frame = self.next(*frame);
        }
    }
}
