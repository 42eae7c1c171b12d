//! A change of latency: the output fades out, the change is made, the output fades in.

use crate::math::smooth_step;

/// Where a change of latency is.
#[derive(Clone, Copy, Debug)]
pub(super) struct LatencyChange {
    /// Frames since it began; `None` when there is none.
    at: Option<u32>,
    /// Frames for which the output stays silent in the middle.
    mute: u32,
    /// Frames of each fade.
    transition: u32,
}

impl LatencyChange {
    pub(super) fn new(transition: u32) -> Self {
        Self { at: None, mute: 0, transition }
    }

    /// Drops a change that is under way.
    pub(super) fn reset(&mut self) {
        (self.at, self.mute) = (None, 0);
    }

    /// Begins to fade out, from wherever a fade is; true if the output is silent already.
    pub(super) fn begin(&mut self) -> bool {
        let at = self.at.map_or(0, |at| at.min(2 * self.transition - at));
        self.at = Some(at);
        at == self.transition
    }

    /// True while the output still fades out: what is set waits for the middle.
    pub(super) fn is_fading_out(&self) -> bool {
        self.at.is_some_and(|at| at < self.transition)
    }

    /// Keeps the output silent for so many frames, from the middle on; 0 leaves it as it is.
    pub(super) fn mute_for(&mut self, frames: u32) {
        self.mute = if frames > 0 { frames } else { self.mute };
    }

    /// The most frames that may be run at once: the middle and the end lie at the end of a piece.
    pub(super) fn remaining(&self) -> usize {
        let Some(at) = self.at else { return usize::MAX };
        let left = match at {
            _ if self.mute > 0 => self.mute,
            _ if at < self.transition => self.transition - at,
            _ => 2 * self.transition - at,
        };
        left as usize
    }

    /// Fades frames; true when they end in the middle, where the change is to be made.
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
        self.at = (at < 2 * self.transition).then_some(at);
        at == self.transition
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    extern crate std;
    use std::vec::Vec;

    /// Runs frames of ones in pieces of what is left; the middle is reported once.
    fn through(change: &mut LatencyChange, frames: usize, mute: u32) -> (Vec<f32>, Vec<usize>) {
        let (mut out, mut middles) = (Vec::new(), Vec::new());
        while out.len() < frames {
            let mut piece = std::vec![[1.0f32]; change.remaining().min(7).min(frames - out.len())];
            let middle = change.run(&mut piece);
            out.extend(piece.iter().map(|frame| frame[0]));
            if middle {
                change.mute_for(mute);
                middles.push(out.len());
            }
        }
        (out, middles)
    }

    #[test]
    fn the_output_is_muted_while_the_latency_changes() {
        let mut change = LatencyChange::new(20);
        assert!(!change.begin() && change.is_fading_out());
        let (out, middles) = through(&mut change, 100, 15);
        assert_eq!(middles, [20]);
        assert!(out[..19].iter().all(|&x| x > 0.0) && out[19..35].iter().all(|&x| x == 0.0), "{out:?}");
        assert!(out[36] > 0.0 && out[55..].iter().all(|&x| x == 1.0), "{out:?}");
        assert!(
            out[..20].windows(2).all(|pair| pair[1] < pair[0]) && out[35..55].windows(2).all(|pair| pair[1] > pair[0])
        );
    }

    #[test]
    fn a_second_change_goes_on_from_where_the_fade_is() {
        let mut change = LatencyChange::new(20);
        change.begin();
        through(&mut change, 30, 0);
        // Half of the way in: the fade turns round, and the middle comes after as many frames.
        assert!(!change.begin());
        let (_, middles) = through(&mut change, 60, 0);
        assert_eq!(middles, [10]);
        let mut silent = LatencyChange::new(20);
        silent.begin();
        through(&mut silent, 20, 0);
        assert!(silent.begin(), "in the middle the next change is made at once");
    }
}
