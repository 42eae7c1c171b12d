//! A change of latency: the output fades out, the latency changes, the output fades in.

use crate::blank::blank;
use crate::math::smooth_step;
use crate::stages::input_sanitiser::flush_denormals;

/// Progress of a latency change.
#[derive(Clone, Copy, Debug)]
pub(super) struct LatencyChange {
    /// Elapsed frames of the fades; `None` when no change is in progress.
    at: Option<u32>,
    /// Remaining muted frames between the fades.
    mute: u32,
    /// Length of each fade, frames.
    transition: u32,
}

blank! { LatencyChange { at, mute, transition } }

impl LatencyChange {
    pub(super) fn new(transition: u32) -> Self {
        Self { at: None, mute: 0, transition }
    }

    /// Starts the fade-out at the current fade gain. Returns true if the output is already silent.
    pub(super) fn begin(&mut self) -> bool {
        let at = self.at.map_or(0, |at| at.min(2 * self.transition - at));
        self.at = Some(at);
        at == self.transition
    }

    /// True during the fade-out: new coefficients wait for the midpoint.
    pub(super) fn is_fading_out(&self) -> bool {
        self.at.is_some_and(|at| at < self.transition)
    }

    /// Mutes the output for `frames` from the midpoint on; 0 changes nothing.
    pub(super) fn mute_for(&mut self, frames: u32) {
        self.mute = if frames > 0 { frames } else { self.mute };
    }

    /// Maximum length of the next segment: midpoint and end lie at the end of a segment.
    pub(super) fn remaining(&self) -> usize {
        let Some(at) = self.at else { return usize::MAX };
        let left = match at {
            _ if self.mute > 0 => self.mute,
            _ if at < self.transition => self.transition - at,
            _ => 2 * self.transition - at,
        };
        left as usize
    }

    /// Fades one segment. Returns true when it ends at the midpoint, where the latency changes.
    pub(super) fn run<const C: usize>(&mut self, frames: &mut [[f32; C]]) -> bool {
        let Some(mut at) = self.at else { return false };
        if self.mute > 0 {
            frames.fill([0.0; C]);
            self.mute -= frames.len() as u32;
            return false;
        }
        for frame in frames.iter_mut() {
            at += 1;
            let share = smooth_step(f64::from(self.transition.abs_diff(at)) / f64::from(self.transition)) as f32;
            frame.iter_mut().for_each(|sample| *sample *= share);
        }
        flush_denormals(frames);
        self.at = (at < 2 * self.transition).then_some(at);
        at == self.transition
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    extern crate std;
    use std::vec::Vec;

    /// Runs frames of ones in short segments. Returns the output and the positions of the midpoints.
    fn through(change: &mut LatencyChange, frames: usize, mute: u32) -> (Vec<f32>, Vec<usize>) {
        let (mut out, mut midpoints) = (Vec::new(), Vec::new());
        while out.len() < frames {
            let mut piece = std::vec![[1.0f32]; change.remaining().min(7).min(frames - out.len())];
            let midpoint = change.run(&mut piece);
            out.extend(piece.iter().map(|frame| frame[0]));
            if midpoint {
                change.mute_for(mute);
                midpoints.push(out.len());
            }
        }
        (out, midpoints)
    }

    #[test]
    fn the_output_is_muted_while_the_latency_changes() {
        let mut change = LatencyChange::new(20);
        assert!(!change.begin() && change.is_fading_out());
        let (out, midpoints) = through(&mut change, 100, 15);
        assert_eq!(midpoints, [20]);
        assert!(out[..19].iter().all(|&x| x > 0.0) && out[19..35].iter().all(|&x| x == 0.0), "{out:?}");
        assert!(out[36] > 0.0 && out[55..].iter().all(|&x| x == 1.0), "{out:?}");
        assert!(
            out[..20].windows(2).all(|pair| pair[1] < pair[0]) && out[35..55].windows(2).all(|pair| pair[1] > pair[0])
        );
    }

    #[test]
    fn the_fade_of_negligible_samples_is_zero_or_normal() {
        let mut change = LatencyChange::new(1_920);
        change.begin();
        for _ in 0..1_920 {
            let mut piece = [[1.5e-30, -2e-33]];
            change.run(&mut piece);
            assert!(piece[0].iter().all(|x: &f32| *x == 0.0 || x.abs() >= 1e-30), "{piece:?}");
        }
    }

    #[test]
    fn a_second_change_continues_from_the_current_fade() {
        let mut change = LatencyChange::new(20);
        change.begin();
        through(&mut change, 30, 0);
        // Half-way through the fade-in the fade reverses. The midpoint follows after as many frames.
        assert!(!change.begin());
        let (_, midpoints) = through(&mut change, 60, 0);
        assert_eq!(midpoints, [10]);
        let mut silent = LatencyChange::new(20);
        silent.begin();
        through(&mut silent, 20, 0);
        assert!(silent.begin(), "at the midpoint the next change applies at once");
    }
}
