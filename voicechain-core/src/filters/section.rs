//! Second-order section in two forms: direct form for steady coefficients, state-variable filter for transitions.

use super::response::Response;
use crate::blank::{Blank, blank};
use crate::frame::Lanes;

/// Coefficients of a second-order section `H(z) = (b0 + b1 z^-1 + b2 z^-2) / (1 + a1 z^-1 + a2 z^-2)`.
///
/// The sign convention is that of the difference equation
/// `y[n] = b0 x[n] + b1 x[n-1] + b2 x[n-2] - a1 y[n-1] - a2 y[n-2]`. A first-order section has `b2 = a2 = 0`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Section {
    /// Coefficient of `x[n]`.
    pub b0: f64,
    /// Coefficient of `x[n-1]`.
    pub b1: f64,
    /// Coefficient of `x[n-2]`.
    pub b2: f64,
    /// Coefficient of `-y[n-1]`.
    pub a1: f64,
    /// Coefficient of `-y[n-2]`.
    pub a2: f64,
}

blank! { Section { b0, b1, b2, a1, a2 } }

impl Section {
    /// Identity section: the output equals the input.
    pub const IDENTITY: Self = Self { b0: 1.0, b1: 0.0, b2: 0.0, a1: 0.0, a2: 0.0 };

    /// True when numerator and denominator are equal, so that the output equals the input.
    #[must_use]
    pub fn is_identity(&self) -> bool {
        self.b0 == 1.0 && self.b1 == self.a1 && self.b2 == self.a2
    }

    /// True when all coefficients are finite and both poles lie inside the unit circle
    /// (`|a2| < 1` and `|a1| < 1 + a2`, the stability triangle). Tested by `filters_are_stable_over_the_whole_settings_space`.
    #[must_use]
    pub fn is_stable(&self) -> bool {
        let all = [self.b0, self.b1, self.b2, self.a1, self.a2];
        all.iter().all(|v| v.is_finite()) && self.a2.abs() < 1.0 && self.a1.abs() < 1.0 + self.a2
    }

    /// Complex response at `omega` radians per sample (`2 pi f / rate`).
    #[must_use]
    pub fn response(&self, omega: f64) -> Response {
        let (sin1, cos1) = libm::sincos(omega);
        let (sin2, cos2) = libm::sincos(2.0 * omega);
        let above = Response { re: self.b0 + self.b1 * cos1 + self.b2 * cos2, im: -(self.b1 * sin1 + self.b2 * sin2) };
        let below = Response { re: 1.0 + self.a1 * cos1 + self.a2 * cos2, im: -(self.a1 * sin1 + self.a2 * sin2) };
        above.divided_by(below)
    }

    /// Both poles. A first-order section has one pole and a second one at 0.
    pub(super) fn poles(&self) -> [Response; 2] {
        let middle = -0.5 * self.a1;
        let discriminant = middle * middle - self.a2;
        let root = libm::sqrt(discriminant.abs());
        if discriminant < 0.0 {
            [Response { re: middle, im: root }, Response { re: middle, im: -root }]
        } else {
            // The outer pole comes from the sum, the inner one from the product, which avoids cancellation.
            let outer = middle + libm::copysign(root, middle);
            let inner = if outer == 0.0 { 0.0 } else { self.a2 / outer };
            [Response { re: outer, im: 0.0 }, Response { re: inner, im: 0.0 }]
        }
    }

    /// Converts to a state-variable filter with the same transfer function.
    ///
    /// `g = sqrt((1 + a1 + a2) / (1 - a1 + a2))`, `k = 2 (1 - a2) g / (1 + a1 + a2)`; the mix follows from the zeros.
    /// Any stable section has `g > 0` and `k > 0`. Tested by `direct_and_state_variable_form_have_the_same_impulse_response`.
    #[must_use]
    pub fn state_variable(&self) -> StateVariable {
        let at_dc = 1.0 + self.a1 + self.a2;
        let at_nyquist = 1.0 - self.a1 + self.a2;
        let g = libm::sqrt(at_dc / at_nyquist);
        let k = 2.0 * (1.0 - self.a2) * g / at_dc;
        let m0 = (self.b0 - self.b1 + self.b2) / at_nyquist;
        let m1 = 2.0 * (self.b0 - self.b2) * g / at_dc - m0 * k;
        let m2 = (self.b0 + self.b1 + self.b2) / at_dc - m0;
        StateVariable { g, k, m0, m1, m2 }
    }
}

/// Section with leading coefficient 1 in transposed direct form II, its coefficients in every lane.
///
/// With the output `y = x + s0` substituted into the updates, each state depends on the previous `s0` through one
/// multiplication and one addition: `s0' = ((b1 - a1) x + s1) - a1 s0`, `s1' = (b2 - a2) x - a2 s0`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct MonicForm<L> {
    c1: L,
    c2: L,
    a1: L,
    a2: L,
}

blank! { [L: Blank] MonicForm<L> { c1, c2, a1, a2 } }

impl<L: Lanes> MonicForm<L> {
    /// Ignores `b0`, which counts as 1.
    pub(crate) fn new(s: &Section) -> Self {
        Self { c1: L::splat(s.b1 - s.a1), c2: L::splat(s.b2 - s.a2), a1: L::splat(s.a1), a2: L::splat(s.a2) }
    }

    /// Updates the states and returns their contribution to the output.
    #[inline(always)]
    fn update(&self, states: &mut [L; 2], x: L) -> L {
        let first = states[0];
        states[0] = (self.c1 * x + states[1]) - self.a1 * first;
        states[1] = self.c2 * x - self.a2 * first;
        first
    }

    /// Processes one sample.
    #[inline(always)]
    pub(crate) fn step(&self, states: &mut [L; 2], x: L) -> L {
        x + self.update(states, x)
    }
}

/// Section with any leading coefficient in transposed direct form II: `y = b0 x + s0`, with `b1 - a1 b0` and
/// `b2 - a2 b0` in the updates.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct DirectForm<L> {
    b0: L,
    states: MonicForm<L>,
}

blank! { [L: Blank] DirectForm<L> { b0, states } }

impl<L: Lanes> DirectForm<L> {
    pub(crate) fn new(s: &Section) -> Self {
        let states = MonicForm {
            c1: L::splat(s.b1 - s.a1 * s.b0),
            c2: L::splat(s.b2 - s.a2 * s.b0),
            a1: L::splat(s.a1),
            a2: L::splat(s.a2),
        };
        Self { b0: L::splat(s.b0), states }
    }

    /// Processes one sample.
    #[inline(always)]
    pub(crate) fn step(&self, states: &mut [L; 2], x: L) -> L {
        self.b0 * x + self.states.update(states, x)
    }
}

/// Trapezoidal state-variable filter with integrator gain `g`, damping `k` and output mix
/// `y = m0 x + m1 band + m2 low`.
///
/// For any `g > 0` and `k > 0`, even if they change at every sample, the energy of the two states never grows without
/// input (it changes by `-4 g k v1^2` per step). A direct form does not guarantee this. Source of the structure: Simper
/// 2013, "Solving the continuous SVF equations using trapezoidal integration and equivalent currents"; proof of
/// stability: Wishnick, DAFx-14. Tested by `energy_never_grows_under_any_motion`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StateVariable {
    /// Integrator gain, `tan(pi f / rate)`.
    pub g: f64,
    /// Damping, `1/Q`.
    pub k: f64,
    /// Mix of the input.
    pub m0: f64,
    /// Mix of the band-pass output.
    pub m1: f64,
    /// Mix of the low-pass output.
    pub m2: f64,
}

blank! { StateVariable { g, k, m0, m1, m2 } }

impl StateVariable {
    /// True when the output equals the input, whatever the states.
    #[must_use]
    pub fn is_identity(&self) -> bool {
        self.m0 == 1.0 && self.m1 == 0.0 && self.m2 == 0.0
    }

    /// True when every coefficient is finite and the poles lie inside the unit circle: `g > 0` and `k > 0`.
    #[must_use]
    pub fn is_stable(&self) -> bool {
        let Self { g, k, m0, m1, m2 } = self;
        [g, k, m0, m1, m2].iter().all(|value| value.is_finite()) && *g > 0.0 && *k > 0.0
    }

    /// Linear interpolation of every coefficient from `self` (`t = 0`) to `to` (`t = 1`).
    #[must_use]
    pub fn interpolated(&self, to: &Self, t: f64) -> Self {
        let mix = |a: f64, b: f64| a + (b - a) * t;
        Self {
            g: mix(self.g, to.g),
            k: mix(self.k, to.k),
            m0: mix(self.m0, to.m0),
            m1: mix(self.m1, to.m1),
            m2: mix(self.m2, to.m2),
        }
    }

    /// First and second output sample that the states produce from zero input, as rows
    /// `[weight of the first state, weight of the second]`.
    fn observation(&self) -> [[f64; 2]; 2] {
        let Self { g, k, m1, m2, .. } = *self;
        let p = 1.0 / (1.0 + g * (g + k));
        let c = [(m1 + m2 * g) * p, m2 * (1.0 - g * g * p) - m1 * g * p];
        let a = [[2.0 * p - 1.0, -2.0 * p * g], [2.0 * p * g, 1.0 - 2.0 * g * g * p]];
        [c, [c[0] * a[0][0] + c[1] * a[1][0], c[0] * a[0][1] + c[1] * a[1][1]]]
    }

    /// Converts states of this form to transposed direct form states of `section`, which must be the same filter. The
    /// output continues without a step.
    #[must_use]
    pub fn to_direct(&self, section: &Section, states: [f64; 2]) -> [f64; 2] {
        let [now, next] = self.observation();
        let y0 = now[0] * states[0] + now[1] * states[1];
        let y1 = next[0] * states[0] + next[1] * states[1];
        [y0, y1 + section.a1 * y0]
    }

    /// Converts transposed direct form states of `section`, which must be the same filter, to states of this form. The
    /// output continues without a step.
    ///
    /// A first-order section has only one observable state: the pair of states with the smallest norm is used. A filter
    /// without observable states (0 dB everywhere) starts from a cleared state.
    #[must_use]
    pub fn from_direct(&self, section: &Section, states: [f64; 2]) -> [f64; 2] {
        let [now, next] = self.observation();
        let y0 = states[0];
        let found = if section.a2 == 0.0 && section.b2 == 0.0 {
            now.map(|c| y0 * c / (now[0] * now[0] + now[1] * now[1]))
        } else {
            let y1 = states[1] - section.a1 * y0;
            let determinant = now[0] * next[1] - now[1] * next[0];
            [(y0 * next[1] - y1 * now[1]) / determinant, (y1 * now[0] - y0 * next[0]) / determinant]
        };
        if found.iter().all(|s| s.is_finite()) { found } else { [0.0; 2] }
    }
}
