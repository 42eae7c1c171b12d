//! Mean band powers, once per tick.

use super::TICK;
use crate::blank::blank;
use crate::filters::{EnergyBank, EnergyBankState};
use crate::frame::Frame;

/// Band filters that report mean powers once per [`TICK`] frames, for any block size. Channels are averaged.
#[derive(Clone, Copy, Debug)]
pub(super) struct BandPowers<const C: usize, const N: usize>
where
    [f32; C]: Frame,
{
    bank: EnergyBankState<C, N>,
    frames: u32,
}

blank! { [const C: usize, const N: usize] BandPowers<C, N> where [f32; C]: Frame { bank, frames } }

impl<const C: usize, const N: usize> BandPowers<C, N>
where
    [f32; C]: Frame,
{
    /// Creates cleared filters.
    pub(super) fn new() -> Self {
        Self { bank: EnergyBankState::new(), frames: 0 }
    }

    /// Frames until the next update.
    pub(super) fn remaining(&self) -> usize {
        (TICK - self.frames) as usize
    }

    /// Filters frames from the front of the slice up to the next tick. Returns the band powers when the tick is
    /// complete.
    #[inline(always)]
    pub(super) fn run(&mut self, bank: &EnergyBank<N>, frames: &mut &[[f32; C]]) -> Option<[f64; N]> {
        let (now, later) = frames.split_at(frames.len().min(self.remaining()));
        *frames = later;
        bank.run(&mut self.bank, now);
        self.frames += now.len() as u32;
        if self.frames < TICK {
            return None;
        }
        self.frames = 0;
        Some(self.bank.take_energies().map(|sum| sum * (1.0 / (f64::from(TICK) * C as f64))))
    }
}
