//! What is heard: the processed side, the unprocessed side or a part of it, or what is removed, at one loudness.

use super::audition::{Audition, Part};
use super::listening::{LevelMatch, Listening, Way};
use super::stage_list::LONGEST_LATENCY;
use crate::frame::{CHUNK, Frame};
use crate::math::smooth_step;
use crate::meters::ledger::BlockPair;
use crate::units::SampleRate;

/// Frames in the delay line of the unprocessed side: the longest latency and a chunk.
const DELAY: usize = LONGEST_LATENCY + CHUNK;

/// Delays the unprocessed side, matches its loudness, and mixes what is heard.
pub(super) struct Monitor<const C: usize>
where
    [f32; C]: Frame,
{
    delay: [[f32; C]; DELAY],
    written: usize,
    latency: usize,
    listening: Listening,
    level_match: LevelMatch,
    /// Which part of the unprocessed side is heard.
    audition: Audition<C>,
    /// Largest peak at the input since the last gating block, up to the last complete sub-block.
    recent_peak: f32,
    /// The same since the last sub-block.
    running_peak: f32,
    /// Gains of the processed and the unprocessed signal: now, and where they are going.
    mix: [f32; 2],
    mix_from: [f32; 2],
    mix_to: [f32; 2],
    mix_left: u32,
    mix_length: u32,
    motion: u32,
}

impl<const C: usize> Monitor<C>
where
    [f32; C]: Frame,
{
    /// Listens to the processed side; the unprocessed one is delayed by `latency` samples.
    #[inline(always)]
    pub(super) fn new(rate: SampleRate, latency: u32, motion: u32) -> Self {
        Self {
            delay: [[0.0; C]; DELAY],
            written: 0,
            latency: latency as usize,
            listening: Listening::default(),
            level_match: LevelMatch::new(),
            audition: Audition::new(Part::Whole, rate),
            recent_peak: 0.0,
            running_peak: 0.0,
            mix: [1.0, 0.0],
            mix_from: [1.0, 0.0],
            mix_to: [1.0, 0.0],
            mix_left: 0,
            mix_length: 1,
            motion,
        }
    }

    /// Forgets the sound; the way of listening stays, a change on its way arrives at once.
    pub(super) fn reset(&mut self, latency: u32) {
        self.delay.fill([0.0; C]);
        (self.written, self.latency) = (0, latency as usize);
        self.level_match = LevelMatch::new();
        (self.recent_peak, self.running_peak) = (0.0, 0.0);
        self.audition.reset();
        self.mix = self.level_match.gains(self.heard());
        (self.mix_from, self.mix_to, self.mix_left) = (self.mix, self.mix, 0);
    }

    pub(super) fn listening(&self) -> Listening {
        self.listening
    }

    pub(super) fn set_listening(&mut self, listening: Listening) {
        self.listening = listening;
        self.glide_mix(self.motion);
    }

    pub(super) fn audition(&self) -> Part {
        self.audition.part()
    }

    pub(super) fn set_audition(&mut self, part: Part) {
        self.audition.set(part);
        self.glide_mix(self.motion);
    }

    pub(super) fn latency(&self) -> u32 {
        self.latency as u32
    }

    pub(super) fn set_latency(&mut self, latency: u32) {
        self.latency = latency as usize;
    }

    pub(super) fn level_match(&self) -> &LevelMatch {
        &self.level_match
    }

    /// What is heard: of the unprocessed side while a part of it is played.
    fn heard(&self) -> Listening {
        match self.audition.part() {
            Part::Whole => self.listening,
            _ => Listening { way: Way::Unprocessed, ..self.listening },
        }
    }

    fn glide_mix(&mut self, frames: u32) {
        let wanted = self.level_match.gains(self.heard());
        if wanted != self.mix_to {
            (self.mix_from, self.mix_to) = (self.mix, wanted);
            (self.mix_left, self.mix_length) = (frames, frames);
        }
    }

    /// Takes at most a chunk of input frames and their largest magnitude.
    pub(super) fn hear(&mut self, frames: &[[f32; C]], largest: f32) {
        let at = self.written;
        let (now, wrapped) = frames.split_at(frames.len().min(DELAY - at));
        self.delay[at..at + now.len()].copy_from_slice(now);
        self.delay[..wrapped.len()].copy_from_slice(wrapped);
        self.written = (at + frames.len()) % DELAY;
        self.running_peak = self.running_peak.max(largest);
    }

    /// Takes a complete gating block into the loudness match.
    pub(super) fn gating_block(&mut self, block: BlockPair) {
        self.level_match.block(block.input, block.output, core::mem::take(&mut self.recent_peak));
    }

    /// Mixes what is heard from the processed frames and the delayed input that was taken last.
    pub(super) fn mix(&mut self, frames: &mut [[f32; C]]) {
        if self.mix_left == 0 && self.mix == [1.0, 0.0] {
            return;
        }
        let n = frames.len();
        for (i, frame) in frames.iter_mut().enumerate() {
            if self.mix_left > 0 {
                self.mix_left -= 1;
                let left = smooth_step(f64::from(self.mix_left) / f64::from(self.mix_length)) as f32;
                self.mix = core::array::from_fn(|k| self.mix_to[k] + left * (self.mix_from[k] - self.mix_to[k]));
                if self.mix_left == 0 && self.mix[1] == 0.0 {
                    // Nothing of it is heard any more.
                    self.audition.reset();
                }
            }
            let age = self.latency + n - i;
            let dry = self.audition.next(self.delay[(self.written + DELAY - age) % DELAY]);
            for (sample, dry) in frame.iter_mut().zip(dry) {
                *sample = self.mix[0] * *sample + self.mix[1] * dry;
            }
        }
    }

    /// Once per 10 ms: the loudness match moves.
    pub(super) fn step(&mut self, speech: bool, ceiling_dbtp: f64) {
        self.recent_peak = self.recent_peak.max(core::mem::take(&mut self.running_peak));
        let heard = self.heard();
        let matched = heard.matched && heard.way != Way::Processed;
        self.level_match.step(matched, speech, ceiling_dbtp);
        if self.mix_left == 0 {
            self.glide_mix(self.motion / 2);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    extern crate std;
    use std::boxed::Box;

    const LATENCY: usize = 37;

    fn monitor() -> Box<Monitor<2>> {
        Box::new(Monitor::new(SampleRate::new(48_000.0).unwrap(), LATENCY as u32, 480))
    }

    fn input(n: usize) -> [f32; 2] {
        [(n as f32 * 0.37).sin(), 0.5 - (n % 7) as f32 * 0.1]
    }

    /// What is heard while the processed side is a constant of its own.
    fn run(monitor: &mut Monitor<2>, from: usize, until: usize, mut each: impl FnMut(usize, [f32; 2])) {
        for start in (from..until).step_by(50) {
            let mut frames: [[f32; 2]; 50] = core::array::from_fn(|k| input(start + k));
            monitor.hear(&frames, 1.0);
            frames.fill([0.25, -0.25]);
            monitor.mix(&mut frames);
            frames.into_iter().enumerate().for_each(|(k, frame)| each(start + k, frame));
        }
    }

    #[test]
    fn the_unprocessed_side_is_the_delayed_input_bit_for_bit() {
        let mut monitor = monitor();
        run(&mut monitor, 0, 1_000, |_, frame| assert_eq!(frame, [0.25, -0.25]));
        monitor.set_listening(Listening { way: Way::Unprocessed, matched: false });
        run(&mut monitor, 1_000, 5_000, |n, frame| {
            if n >= 1_500 {
                assert_eq!(frame, input(n - LATENCY));
            }
        });
        monitor.set_listening(Listening { way: Way::Removed, matched: false });
        run(&mut monitor, 5_000, 9_000, |n, frame| {
            if n >= 5_500 {
                let [left, right] = input(n - LATENCY);
                assert_eq!(frame, [left - 0.25, right + 0.25]);
            }
        });
    }
}
