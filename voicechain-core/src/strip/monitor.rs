//! What is heard: the processed side, the unprocessed side or a part of it, or what is removed, at one loudness.

use super::audition::{Audition, AuditionBand};
use super::monitoring::{LoudnessMatch, MonitorMode, Monitoring};
use super::stage_list::MAX_LATENCY;
use crate::frame::{CHUNK, Frame};
use crate::math::smooth_step;
use crate::meters::ledger::BlockPair;
use crate::units::SampleRate;

/// Frames in the delay line of the unprocessed side: the longest latency and a chunk.
const DELAY: usize = MAX_LATENCY + CHUNK;

/// Delays the unprocessed side, matches its loudness, and mixes what is heard.
pub(super) struct Monitor<const C: usize>
where
    [f32; C]: Frame,
{
    delay: [[f32; C]; DELAY],
    written: usize,
    latency: usize,
    monitoring: Monitoring,
    loudness_match: LoudnessMatch,
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
    mix_remaining: u32,
    mix_length: u32,
    transition: u32,
}

impl<const C: usize> Monitor<C>
where
    [f32; C]: Frame,
{
    /// Listens to the processed side; the unprocessed one is delayed by `latency` samples.
    #[inline(always)]
    pub(super) fn new(rate: SampleRate, latency: u32, transition: u32) -> Self {
        Self {
            delay: [[0.0; C]; DELAY],
            written: 0,
            latency: latency as usize,
            monitoring: Monitoring::default(),
            loudness_match: LoudnessMatch::new(),
            audition: Audition::new(AuditionBand::Full, rate),
            recent_peak: 0.0,
            running_peak: 0.0,
            mix: [1.0, 0.0],
            mix_from: [1.0, 0.0],
            mix_to: [1.0, 0.0],
            mix_remaining: 0,
            mix_length: 1,
            transition,
        }
    }

    /// Forgets the sound; the monitor mode stays, a change on its way arrives at once.
    pub(super) fn reset(&mut self, latency: u32) {
        self.delay.fill([0.0; C]);
        (self.written, self.latency) = (0, latency as usize);
        self.loudness_match = LoudnessMatch::new();
        (self.recent_peak, self.running_peak) = (0.0, 0.0);
        self.audition.reset();
        self.mix = self.loudness_match.gains(self.effective_monitoring());
        (self.mix_from, self.mix_to, self.mix_remaining) = (self.mix, self.mix, 0);
    }

    pub(super) fn monitoring(&self) -> Monitoring {
        self.monitoring
    }

    pub(super) fn set_monitoring(&mut self, monitoring: Monitoring) {
        self.monitoring = monitoring;
        self.glide_mix(self.transition);
    }

    pub(super) fn audition(&self) -> AuditionBand {
        self.audition.band()
    }

    pub(super) fn set_audition(&mut self, band: AuditionBand) {
        self.audition.set(band);
        self.glide_mix(self.transition);
    }

    pub(super) fn latency(&self) -> u32 {
        self.latency as u32
    }

    pub(super) fn set_latency(&mut self, latency: u32) {
        self.latency = latency as usize;
    }

    pub(super) fn loudness_match(&self) -> &LoudnessMatch {
        &self.loudness_match
    }

    /// What is heard: of the unprocessed side while a part of it is played.
    fn effective_monitoring(&self) -> Monitoring {
        match self.audition.band() {
            AuditionBand::Full => self.monitoring,
            _ => Monitoring { mode: MonitorMode::Unprocessed, ..self.monitoring },
        }
    }

    fn glide_mix(&mut self, frames: u32) {
        let wanted = self.loudness_match.gains(self.effective_monitoring());
        if wanted != self.mix_to {
            (self.mix_from, self.mix_to) = (self.mix, wanted);
            (self.mix_remaining, self.mix_length) = (frames, frames);
        }
    }

    /// Takes at most a chunk of input frames and their largest magnitude.
    pub(super) fn push_input(&mut self, frames: &[[f32; C]], largest: f32) {
        let at = self.written;
        let (now, wrapped) = frames.split_at(frames.len().min(DELAY - at));
        self.delay[at..at + now.len()].copy_from_slice(now);
        self.delay[..wrapped.len()].copy_from_slice(wrapped);
        self.written = (at + frames.len()) % DELAY;
        self.running_peak = self.running_peak.max(largest);
    }

    /// Takes a complete gating block into the loudness match.
    pub(super) fn gating_block(&mut self, block: BlockPair) {
        self.loudness_match.block(block.input, block.output, core::mem::take(&mut self.recent_peak));
    }

    /// Mixes what is heard from the processed frames and the delayed input that was taken last.
    pub(super) fn mix(&mut self, frames: &mut [[f32; C]]) {
        if self.mix_remaining == 0 && self.mix == [1.0, 0.0] {
            return;
        }
        let n = frames.len();
        for (i, frame) in frames.iter_mut().enumerate() {
            if self.mix_remaining > 0 {
                self.mix_remaining -= 1;
                let left = smooth_step(f64::from(self.mix_remaining) / f64::from(self.mix_length)) as f32;
                self.mix = core::array::from_fn(|k| self.mix_to[k] + left * (self.mix_from[k] - self.mix_to[k]));
                if self.mix_remaining == 0 && self.mix[1] == 0.0 {
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
        let heard = self.effective_monitoring();
        let matched = heard.loudness_matched && heard.mode != MonitorMode::Processed;
        self.loudness_match.step(matched, speech, ceiling_dbtp);
        if self.mix_remaining == 0 {
            self.glide_mix(self.transition / 2);
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
            monitor.push_input(&frames, 1.0);
            frames.fill([0.25, -0.25]);
            monitor.mix(&mut frames);
            frames.into_iter().enumerate().for_each(|(k, frame)| each(start + k, frame));
        }
    }

    #[test]
    fn the_unprocessed_side_is_the_delayed_input_bit_for_bit() {
        let mut monitor = monitor();
        run(&mut monitor, 0, 1_000, |_, frame| assert_eq!(frame, [0.25, -0.25]));
        monitor.set_monitoring(Monitoring { mode: MonitorMode::Unprocessed, loudness_matched: false });
        run(&mut monitor, 1_000, 5_000, |n, frame| {
            if n >= 1_500 {
                assert_eq!(frame, input(n - LATENCY));
            }
        });
        monitor.set_monitoring(Monitoring { mode: MonitorMode::Removed, loudness_matched: false });
        run(&mut monitor, 5_000, 9_000, |n, frame| {
            if n >= 5_500 {
                let [left, right] = input(n - LATENCY);
                assert_eq!(frame, [left - 0.25, right + 0.25]);
            }
        });
    }
}
