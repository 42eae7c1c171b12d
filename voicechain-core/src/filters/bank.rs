//! Parallel band-pass filters that report the energy per band.

use super::response::Response;
use super::section::{DirectForm, Section};
use crate::blank::blank;
use crate::frame::{Frame, Lanes};

/// Bank of `BANDS` parallel filters of two cascaded sections each. It reports the energy (sum of squares) per band.
///
/// The bands run together so that their recurrences hide each other's latency. Sections are in transposed direct form
/// with fixed coefficients. Cost: 20 operations per band and frame. Tested by `bank_energies_equal_those_of_the_filtered_signals`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EnergyBank<const BANDS: usize> {
    bands: [[Section; 2]; BANDS],
}

blank! { [const BANDS: usize] EnergyBank<BANDS> { bands } }

/// Filter states and energy sums of an [`EnergyBank`].
#[derive(Clone, Copy, Debug)]
pub struct EnergyBankState<const C: usize, const BANDS: usize>
where
    [f32; C]: Frame,
{
    states: [[[<[f32; C] as Frame>::Lanes; 2]; 2]; BANDS],
    sums: [<[f32; C] as Frame>::Lanes; BANDS],
}

blank! { [const C: usize, const BANDS: usize] EnergyBankState<C, BANDS> where [f32; C]: Frame { states, sums } }

impl<const C: usize, const BANDS: usize> Default for EnergyBankState<C, BANDS>
where
    [f32; C]: Frame,
{
    fn default() -> Self {
        Self::new()
    }
}

impl<const C: usize, const BANDS: usize> EnergyBankState<C, BANDS>
where
    [f32; C]: Frame,
{
    /// Creates a cleared state.
    #[must_use]
    pub fn new() -> Self {
        Self { states: [[[Lanes::splat(0.0); 2]; 2]; BANDS], sums: [Lanes::splat(0.0); BANDS] }
    }

    /// Returns the energy of each band since the last call, summed over the channels, and resets it. Flushes denormal
    /// states.
    pub fn take_energies(&mut self) -> [f64; BANDS] {
        for state in self.states.iter_mut().flatten().flatten() {
            *state = state.flush_denormals();
        }
        let sums = core::mem::replace(&mut self.sums, [Lanes::splat(0.0); BANDS]);
        sums.map(|sum| {
            let [left, right] = sum.to_pair();
            if C == 1 { left } else { left + right }
        })
    }
}

impl<const BANDS: usize> EnergyBank<BANDS> {
    /// True when every section is stable; see [`Section::is_stable`].
    #[must_use]
    pub fn is_stable(&self) -> bool {
        self.bands.iter().flatten().all(Section::is_stable)
    }

    /// Creates a bank with two sections per band, in signal order.
    #[must_use]
    pub const fn new(bands: [[Section; 2]; BANDS]) -> Self {
        Self { bands }
    }

    /// Response of one band at `omega` radians per sample; 1 when `band` is out of range.
    #[must_use]
    pub fn response(&self, band: usize, omega: f64) -> Response {
        let sections = self.bands.get(band).map_or(&[][..], |sections| sections);
        sections.iter().fold(Response::ONE, |r, s| r.in_series(s.response(omega)))
    }

    /// Filters frames and accumulates the band energies. Results are bit-identical for any block size.
    pub fn run<const C: usize>(&self, state: &mut EnergyBankState<C, BANDS>, frames: &[[f32; C]])
    where
        [f32; C]: Frame,
    {
        type L<const C: usize> = <[f32; C] as Frame>::Lanes;
        let ready = self.bands.map(|band| band.map(|s| DirectForm::<L<C>>::new(&s)));
        let (mut states, mut sums) = (state.states, state.sums);
        for frame in frames {
            let x = frame.widen();
            for ((sections, states), sum) in ready.iter().zip(&mut states).zip(&mut sums) {
                let mut value = x;
                for (section, states) in sections.iter().zip(states) {
                    value = section.step(states, value);
                }
                *sum = *sum + value * value;
            }
        }
        (state.states, state.sums) = (states, sums);
    }
}
