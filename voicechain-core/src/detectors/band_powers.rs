//! The mean powers of a few bands, once per tick.

use super::TICK;
use crate::filters::{EnergyBank, EnergyBankState};
use crate::frame::Frame;

/// Band filters that are read every [`TICK`] frames, however the frames come. Channels are averaged.
#[derive(Clone, Copy, Debug)]
pub(super) struct BandPowers<const C: usize, const N: usize>
where
    [f32; C]: Frame,
{
    bank: EnergyBankState<C, N>,
    frames: u32,
}

impl<const C: usize, const N: usize> BandPowers<C, N>
where
    [f32; C]: Frame,
{
    /// Bands that have heard nothing.
    pub(super) fn fresh() -> Self {
        Self { bank: EnergyBankState::fresh(), frames: 0 }
    }

    /// The frames until the next powers; [`run`](Self::run) takes at most so many at once.
    pub(super) fn left(&self) -> usize {
        (TICK - self.frames) as usize
    }

    /// Takes frames; the powers of the bands when a tick is full.
    #[inline(always)]
    pub(super) fn run(&mut self, bank: &EnergyBank<N>, frames: &[[f32; C]]) -> Option<[f64; N]> {
        bank.run(&mut self.bank, frames);
        self.frames += frames.len() as u32;
        if self.frames < TICK {
            return None;
        }
        self.frames = 0;
        Some(self.bank.take_energies().map(|sum| sum * (1.0 / (f64::from(TICK) * C as f64))))
    }
}
