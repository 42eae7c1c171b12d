//! Cascade of second-order sections whose second half runs one sample behind the first.
//!
//! A recursive section waits for its own previous output, so a single section leaves the processor idle. In the skewed
//! cascade the second half of the sections processes sample `n - 1` while the first half processes sample `n`. Prologue
//! and epilogue stay inside the block: the skew adds no latency, and the output is bit-identical to processing sample
//! by sample. (A larger skew was slower on x86-64 because the intermediate values no longer fit into the registers. The
//! bench `ratios` shows the cost.)
//!
//! With steady coefficients the sections run in transposed direct form with the leading coefficient factored out: four
//! multiplications per section, and the product of the leading coefficients is applied once. During a transition they
//! run as state-variable filters, which stay stable and click-free under any modulation; their updates move in straight
//! lines along each step. The states convert exactly between the two forms.

use super::ramp::Ramp;
use super::response::Response;
use super::section::{MonicForm, Section, StateVariable};
use crate::blank::blank;
use crate::frame::{Frame, Lanes};

/// Coefficients of up to `N` sections (at most 8) in signal order. Identity sections cost nothing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cascade<const N: usize> {
    sections: [Section; N],
    gain: f64,
    /// The sections other than identity, with their leading coefficients factored out into `gain`.
    direct: [Section; N],
    /// Position in `sections` of each of the first `count` direct forms.
    places: [usize; N],
    count: usize,
    /// State-variable forms during a transition from one cascade to another.
    transition: Option<[StateVariable; N]>,
}

blank! { [const N: usize] Cascade<N> { sections, gain, direct, places, count, transition } }

impl<const N: usize> Cascade<N> {
    /// Creates a cascade of `sections` in signal order.
    #[must_use]
    pub fn new(sections: [Section; N]) -> Self {
        const { assert!(N <= 8, "a cascade has at most eight sections") };
        let mut direct = [Section::IDENTITY; N];
        let mut places = [0; N];
        let (mut count, mut gain) = (0, 1.0);
        for (place, s) in sections.iter().enumerate() {
            if !s.is_identity() {
                gain *= s.b0;
                direct[count] = Section { b0: 1.0, b1: s.b1 / s.b0, b2: s.b2 / s.b0, ..*s };
                places[count] = place;
                count += 1;
            }
        }
        Self { sections, gain, direct, places, count, transition: None }
    }

    /// All sections, identity sections included.
    #[must_use]
    pub fn sections(&self) -> &[Section; N] {
        &self.sections
    }

    /// True when the output equals the input bit for bit.
    #[must_use]
    pub fn is_identity(&self) -> bool {
        self.count == 0 && self.transition.is_none()
    }

    /// True when every section is stable; see [`Section::is_stable`].
    #[must_use]
    pub fn is_stable(&self) -> bool {
        self.gain.is_finite() && self.sections.iter().all(Section::is_stable)
    }

    /// Response of the whole cascade at `omega` radians per sample.
    #[must_use]
    pub fn response(&self, omega: f64) -> Response {
        self.sections.iter().fold(Response::ONE, |r, s| r.in_series(s.response(omega)))
    }

    /// Tail length in samples: how long after the last input sample the output can exceed -120 dB relative to the
    /// peak of the impulse response. Never shorter than the true tail and at most twice as long; 0 for the identity.
    /// Cost: a few microseconds for any settings. Tested by `tail_bounds_the_impulse_response`.
    #[must_use]
    pub fn tail(&self) -> u32 {
        super::tail::samples(self.sections.iter())
    }

    /// Cascade at position `t` between `self` (`t = 0`) and `to` (`t = 1`), run in state-variable form. A transition
    /// passes several of them in turn to [`run_step`](Self::run_step).
    ///
    /// Ease `t` in and out, for example with `t^2 (3 - 2t)`: the corners of a linear ramp become audible before any
    /// other part of a transition. Tested by `transitions_do_not_click`.
    #[must_use]
    pub fn interpolated(&self, to: &Self, t: f64) -> Self {
        let (a, b) = (self.transition_forms(to), to.transition_forms(self));
        let transition = core::array::from_fn(|k| a[k].interpolated(&b[k], t));
        Self { transition: Some(transition), ..*to }
    }

    /// State-variable forms of the sections. An identity section takes the tuning of its counterpart in `other`.
    fn transition_forms(&self, other: &Self) -> [StateVariable; N] {
        if let Some(transition) = self.transition {
            return transition;
        }
        core::array::from_fn(|k| {
            if self.sections[k].is_identity() {
                let tuning = match other.transition {
                    Some(transition) => transition[k],
                    None => other.sections[k].state_variable(),
                };
                StateVariable { m0: 1.0, m1: 0.0, m2: 0.0, ..tuning }
            } else {
                self.sections[k].state_variable()
            }
        })
    }

    /// Ratio of the direct-form states to those of the plain sections: the product of the leading coefficients of all
    /// later sections.
    fn scales(&self) -> [f64; N] {
        let mut scales = [1.0; N];
        let mut product = 1.0;
        for at in (0..self.count).rev() {
            scales[at] = product;
            product *= self.sections[self.places[at]].b0;
        }
        scales
    }

    /// Filters frames in place. Results are bit-identical for any block size. Tested by
    /// `cascade_is_independent_of_block_size` and `cascade_agrees_with_an_independent_one`.
    ///
    /// Cost with steady coefficients: 8 operations per section and frame, mono or stereo; see the bench `cascade`.
    pub fn run<const C: usize>(&self, state: &mut CascadeState<C, N>, frames: &mut [[f32; C]])
    where
        [f32; C]: Frame,
    {
        if self.transition.is_some() {
            return self.run_step(self, Ramp::END, state, frames);
        }
        let mut left = frames;
        while !left.is_empty() {
            let (now, later) = left.split_at_mut(left.len().min((FLUSH_INTERVAL - state.clock) as usize));
            match self.count {
                0 => {}
                1 => self.run_direct::<C, 1>(state, now),
                2 => self.run_direct::<C, 2>(state, now),
                3 => self.run_direct::<C, 3>(state, now),
                4 => self.run_direct::<C, 4>(state, now),
                5 => self.run_direct::<C, 5>(state, now),
                6 => self.run_direct::<C, 6>(state, now),
                7 => self.run_direct::<C, 7>(state, now),
                _ => self.run_direct::<C, 8>(state, now),
            }
            state.advance(now.len() as u32);
            left = later;
        }
    }

    /// Filters frames of one step of a transition in place: from the cascade `from` to this one along `ramp`. The frames
    /// lie inside the ramp. Both cascades may be steady or interpolated; the states are in state-variable form.
    ///
    /// The update of the states moves in a straight line from that of `from` to that of this cascade. Every update on
    /// the way is a weighted mean of two that do not raise the energy of the states, so none of them raises it. Results
    /// are bit-identical for any block size. Cost: about 30 operations per section and frame. Tested by
    /// `a_step_moves_in_a_straight_line`.
    pub fn run_step<const C: usize>(
        &self,
        from: &Self,
        ramp: Ramp,
        state: &mut CascadeState<C, N>,
        frames: &mut [[f32; C]],
    ) where
        [f32; C]: Frame,
    {
        let (from, to) = (from.transition_forms(self), self.transition_forms(from));
        // A section that is the identity at both ends costs nothing and keeps no state.
        let mut lines: [Option<Line<<[f32; C] as Frame>::Lanes>>; N] = core::array::from_fn(|k| {
            let moves = !(from[k].is_identity() && to[k].is_identity());
            moves.then(|| Line::new(&from[k], &to[k], ramp))
        });
        let mut rest = frames;
        while !rest.is_empty() {
            let n = rest.len().min((FLUSH_INTERVAL - state.clock) as usize);
            let (now, later) = rest.split_at_mut(n);
            let mut values = [Lanes::splat(0.0); FLUSH_INTERVAL as usize];
            let values = &mut values[..n];
            values.iter_mut().zip(now.iter()).for_each(|(value, frame)| *value = frame.widen());
            for (line, states) in lines.iter_mut().zip(&mut state.states) {
                match line {
                    Some(line) => line.run(states, values),
                    None => *states = [Lanes::splat(0.0); 2],
                }
            }
            now.iter_mut().zip(values).for_each(|(frame, value)| *frame = Frame::narrow(*value));
            state.advance(n as u32);
            rest = later;
        }
    }

    #[inline(never)]
    fn run_direct<const C: usize, const K: usize>(&self, state: &mut CascadeState<C, N>, frames: &mut [[f32; C]])
    where
        [f32; C]: Frame,
    {
        type L<const C: usize> = <[f32; C] as Frame>::Lanes;
        let Some(forms) = self.direct.first_chunk::<K>() else { return };
        let forms = forms.each_ref().map(MonicForm::<L<C>>::new);
        let Some(stored) = state.states.first_chunk_mut::<K>() else { return };
        let mut states = *stored;
        let gain = L::<C>::splat(self.gain);
        // The second half of the sections runs one sample behind the first, so that two samples are in flight at once.
        let half = K / 2;
        let (first, second) = forms.split_at(half);
        let (first_states, second_states) = states.split_at_mut(half);
        let through = |forms: &[MonicForm<L<C>>], states: &mut [[L<C>; 2]], x: L<C>| {
            forms.iter().zip(states).fold(x, |value, (form, states)| form.step(states, value))
        };
        let Some(newest) = frames.first() else { return };
        let mut between = through(first, first_states, gain * newest.widen());
        for n in 1..frames.len() {
            let next = through(first, first_states, gain * frames[n].widen());
            frames[n - 1] = Frame::narrow(through(second, second_states, between));
            between = next;
        }
        if let Some(last) = frames.last_mut() {
            *last = Frame::narrow(through(second, second_states, between));
        }
        *stored = states;
    }
}

/// Frames between two flushes of denormal states.
const FLUSH_INTERVAL: u32 = 64;

/// Filter states of a [`Cascade`].
#[derive(Clone, Copy, Debug)]
pub struct CascadeState<const C: usize, const N: usize>
where
    [f32; C]: Frame,
{
    states: [[<[f32; C] as Frame>::Lanes; 2]; N],
    clock: u32,
}

blank! { [const C: usize, const N: usize] CascadeState<C, N> where [f32; C]: Frame { states, clock } }

impl<const C: usize, const N: usize> Default for CascadeState<C, N>
where
    [f32; C]: Frame,
{
    fn default() -> Self {
        Self::new()
    }
}

impl<const C: usize, const N: usize> CascadeState<C, N>
where
    [f32; C]: Frame,
{
    /// Creates a cleared state.
    #[must_use]
    pub fn new() -> Self {
        Self { states: [[Lanes::splat(0.0); 2]; N], clock: 0 }
    }

    fn advance(&mut self, frames: u32) {
        self.clock += frames;
        if self.clock >= FLUSH_INTERVAL {
            self.clock = 0;
            for value in self.states.iter_mut().flatten() {
                *value = value.flush_denormals();
            }
        }
    }

    /// Converts the states from direct form to state-variable form at the start of a transition. `coefs` is the cascade
    /// that produced the states. Tested, together with [`leave_transition`](Self::leave_transition), by
    /// `states_are_converted_exactly_between_the_forms`.
    pub fn enter_transition(&mut self, coefs: &Cascade<N>) {
        let scales = coefs.scales();
        let direct = self.states;
        self.states = [[Lanes::splat(0.0); 2]; N];
        for at in 0..coefs.count {
            let section = &coefs.sections[coefs.places[at]];
            let form = section.state_variable();
            let unscaled = direct[at].map(|s| s * Lanes::splat(1.0 / scales[at]));
            self.states[coefs.places[at]] = convert::<C>(unscaled, |s| form.from_direct(section, s));
        }
    }

    /// Converts the states from state-variable form to direct form at the end of a transition. `coefs` is the cascade
    /// that runs from now on.
    pub fn leave_transition(&mut self, coefs: &Cascade<N>) {
        let scales = coefs.scales();
        let in_transition = self.states;
        self.states = [[Lanes::splat(0.0); 2]; N];
        for at in 0..coefs.count {
            let section = &coefs.sections[coefs.places[at]];
            let form = section.state_variable();
            let direct = convert::<C>(in_transition[coefs.places[at]], |s| form.to_direct(section, s));
            self.states[at] = direct.map(|s| s * Lanes::splat(scales[at]));
        }
    }
}

/// Applies a conversion of two states to every channel.
fn convert<const C: usize>(
    states: [<[f32; C] as Frame>::Lanes; 2],
    map: impl Fn([f64; 2]) -> [f64; 2],
) -> [<[f32; C] as Frame>::Lanes; 2]
where
    [f32; C]: Frame,
{
    let [first, second] = states.map(Lanes::to_pair);
    let left = map([first[0], second[0]]);
    let right = map([first[1], second[1]]);
    [Lanes::from_pair([left[0], right[0]]), Lanes::from_pair([left[1], right[1]])]
}

/// A state-variable filter whose update moves in a straight line.
///
/// With `p = 1/(1 + g (g + k))`: `s0' = (2p - 1) s0 + 2pg (x - s1)`, `s1' = s1 + 2pg s0 + 2pg^2 (x - s1)`, and
/// `y = m0 x + m1 (s0 + s0')/2 + m2 (s1 + s1')/2`.
#[derive(Clone, Copy)]
struct Line<L> {
    /// `2p - 1`, `2pg`, `2pg^2`, `m0`, `m1/2`, `m2/2`.
    values: [L; 6],
    /// Their change per frame.
    slopes: [L; 6],
}

impl<L: Lanes> Line<L> {
    fn new(from: &StateVariable, to: &StateVariable, ramp: Ramp) -> Self {
        let values = |section: &StateVariable| {
            let StateVariable { g, k, m0, m1, m2 } = *section;
            let double = 2.0 / (1.0 + g * (g + k));
            [double - 1.0, double * g, double * g * g, m0, 0.5 * m1, 0.5 * m2]
        };
        let (from, to) = (values(from), values(to));
        let share = 1.0 / f64::from(ramp.length);
        let slopes = core::array::from_fn(|k| L::splat((to[k] - from[k]) * share));
        let mut line = Self { values: from.map(L::splat), slopes };
        // Added one by one, as in `run`, so that the bits do not depend on where a block begins.
        for _ in 0..ramp.at {
            line.step();
        }
        line
    }

    #[inline(always)]
    fn step(&mut self) {
        for (value, slope) in self.values.iter_mut().zip(self.slopes) {
            *value = *value + slope;
        }
    }

    #[inline(never)]
    fn run(&mut self, states: &mut [L; 2], values: &mut [L]) {
        let mut line = *self;
        let [mut first, mut second] = *states;
        for value in values {
            line.step();
            let [decay, across, down, input, band, low] = line.values;
            let x = *value;
            let difference = x - second;
            let next_first = decay * first + across * difference;
            let next_second = (second + across * first) + down * difference;
            *value = input * x + (band * (first + next_first) + low * (second + next_second));
            (first, second) = (next_first, next_second);
        }
        *states = [first, second];
        *self = line;
    }
}

/// One step of the trapezoidal state-variable filter.
#[inline(always)]
pub(crate) fn step_state_variable<L: Lanes>(section: &StateVariable, states: &mut [L; 2], x: L) -> L {
    let StateVariable { g, k, m0, m1, m2 } = *section;
    let first = L::splat(1.0 / (1.0 + g * (g + k)));
    let band = first * (states[0] + L::splat(g) * (x - states[1]));
    let low = states[1] + L::splat(g) * band;
    advance_state_variable(section, states, x);
    L::splat(m0) * x + (L::splat(m1) * band + L::splat(m2) * low)
}

/// Updates the states of the trapezoidal state-variable filter: `s0' = 2 band - s0`, `s1' = 2 low - s1`. Computed
/// directly from the previous states, which is a shorter dependency chain than through the outputs.
#[inline(always)]
pub(crate) fn advance_state_variable<L: Lanes>(section: &StateVariable, states: &mut [L; 2], x: L) {
    let StateVariable { g, k, .. } = *section;
    let first = 1.0 / (1.0 + g * (g + k));
    let across = 2.0 * first * g;
    let (last, difference) = (states[0], x - states[1]);
    states[0] = L::splat(2.0 * first - 1.0) * last + L::splat(across) * difference;
    states[1] = (states[1] + L::splat(across) * last) + L::splat(across * g) * difference;
}
