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
    pub(super) fn new() -> Self {
        Self { bank: EnergyBankState::new(), frames: 0 }
    }

    /// The frames until the next powers.
    pub(super) fn remaining(&self) -> usize {
        (TICK - self.frames) as usize
    }

    /// Takes frames from the front, as many as the tick lacks; the powers of the bands when it is full.
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
