//! The monitor output: processed signal, unprocessed signal or a band of it, or removed signal, at matched loudness.

use super::audition::{Audition, AuditionBand};
use super::monitoring::{LoudnessMatch, MonitorMode, Monitoring};
use super::stage_list::MAX_LATENCY;
use crate::blank::{Blank, blank};
use crate::frame::{CHUNK, Frame};
use crate::math::smooth_step;
use crate::meters::ledger::BlockPair;
use crate::stages::input_sanitiser::flush_denormals;
use crate::units::SampleRate;

/// Length of the unprocessed signal's delay line, frames: the maximum latency plus one chunk.
const DELAY: usize = MAX_LATENCY + CHUNK;

/// Length of a window of the input's true peak: the hop of the gating blocks, 100 ms.
const SUB_BLOCKS_PER_WINDOW: u32 = 10;

/// Delays the unprocessed signal, matches its loudness and mixes the monitor output.
pub(super) struct Monitor<const C: usize>
where
    [f32; C]: Frame,
{
    delay: [[f32; C]; DELAY],
    written: usize,
    latency: usize,
    monitoring: Monitoring,
    loudness_match: LoudnessMatch,
    /// Filter for the auditioned band of the unprocessed signal.
    audition: Audition<C>,
    /// True peak of the input in the windows of 100 ms that ended since the last gating block.
    recent_true_peak: f64,
    /// Sub-blocks of the current window.
    sub_blocks: u32,
    /// Gains of the processed and the unprocessed signal: current value, start and end of the glide.
    mix: [f32; 2],
    mix_from: [f32; 2],
    mix_to: [f32; 2],
    mix_remaining: u32,
    mix_length: u32,
    transition: u32,
}

blank! {
    [const C: usize] Monitor<C> where [f32; C]: Frame {
        delay, written, latency, monitoring, loudness_match, audition, recent_true_peak, sub_blocks, mix, mix_from,
        mix_to, mix_remaining, mix_length, transition,
    }
}

impl<const C: usize> Monitor<C>
where
    [f32; C]: Frame,
{
    /// Clears the audio state, for any sample rate. Monitor mode and audition stay; a transition in progress completes
    /// at once.
    pub(super) fn restart(&mut self, rate: SampleRate, latency: u32, transition: u32) {
        self.delay.fill([0.0; C]);
        self.transition = transition;
        (self.written, self.latency) = (0, latency as usize);
        self.loudness_match = LoudnessMatch::BLANK;
        (self.recent_true_peak, self.sub_blocks) = (0.0, 0);
        self.audition = Audition::new(self.audition.band(), rate);
        self.mix = self.loudness_match.gains(self.effective_monitoring());
        (self.mix_from, self.mix_to, self.mix_remaining, self.mix_length) = (self.mix, self.mix, 0, 1);
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

    /// Forgets the measured loudness; the match gains stay where they are.
    pub(super) fn forget_loudness(&mut self) {
        self.loudness_match.forget();
        (self.recent_true_peak, self.sub_blocks) = (0.0, 0);
    }

    pub(super) fn loudness_match(&self) -> &LoudnessMatch {
        &self.loudness_match
    }

    /// Effective monitor mode: the unprocessed side during an audition.
    fn effective_monitoring(&self) -> Monitoring {
        match self.audition.band() {
            AuditionBand::Full => self.monitoring,
            _ => Monitoring { mode: MonitorMode::Unprocessed, ..self.monitoring },
        }
    }

    fn glide_mix(&mut self, frames: u32) {
        let target = self.loudness_match.gains(self.effective_monitoring());
        if target != self.mix_to {
            (self.mix_from, self.mix_to) = (self.mix, target);
            (self.mix_remaining, self.mix_length) = (frames, frames);
        }
    }

    /// Stores at most one chunk of input frames.
    pub(super) fn push_input(&mut self, frames: &[[f32; C]]) {
        let at = self.written;
        let (now, wrapped) = frames.split_at(frames.len().min(DELAY - at));
        self.delay[at..at + now.len()].copy_from_slice(now);
        self.delay[..wrapped.len()].copy_from_slice(wrapped);
        self.written = (at + frames.len()) % DELAY;
    }

    /// Passes a complete gating block to the loudness match.
    pub(super) fn gating_block(&mut self, block: BlockPair) {
        self.loudness_match.block(block.input, block.output, core::mem::take(&mut self.recent_true_peak));
    }

    /// Mixes the monitor output from the processed frames and the delayed input stored last.
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
                    // The unprocessed signal is now inaudible.
                    self.audition.reset();
                }
            }
            let age = self.latency + n - i;
            let dry = self.audition.next(self.delay[(self.written + DELAY - age) % DELAY]);
            for (sample, dry) in frame.iter_mut().zip(dry) {
                *sample = self.mix[0] * *sample + self.mix[1] * dry;
            }
        }
        // Both sides are zero or normal, but their sum and a fade of them need not be.
        flush_denormals(frames);
    }

    /// Moves the loudness match once per 10 ms. `true_peak` returns that of the input since its last call. It is called
    /// once per 100 ms, because the meter skips audio that cannot exceed the peak so far.
    pub(super) fn step(&mut self, speech: bool, ceiling_dbtp: f64, true_peak: impl FnOnce() -> f64) {
        self.sub_blocks += 1;
        if self.sub_blocks == SUB_BLOCKS_PER_WINDOW {
            self.sub_blocks = 0;
            self.recent_true_peak = self.recent_true_peak.max(true_peak());
        }
        let monitoring = self.effective_monitoring();
        let matched = monitoring.loudness_matched && monitoring.mode != MonitorMode::Processed;
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
        let mut monitor = Box::new(Monitor::BLANK);
        monitor.restart(SampleRate::new(48_000.0).unwrap(), LATENCY as u32, 480);
        monitor
    }

    fn input(n: usize) -> [f32; 2] {
        [(n as f32 * 0.37).sin(), 0.5 - (n % 7) as f32 * 0.1]
    }

    /// Passes the monitor output to `each`, with a constant processed signal.
    fn run(monitor: &mut Monitor<2>, from: usize, until: usize, mut each: impl FnMut(usize, [f32; 2])) {
        for start in (from..until).step_by(50) {
            let mut frames: [[f32; 2]; 50] = core::array::from_fn(|k| input(start + k));
            monitor.push_input(&frames);
            frames.fill([0.25, -0.25]);
            monitor.mix(&mut frames);
            frames.into_iter().enumerate().for_each(|(k, frame)| each(start + k, frame));
        }
    }

    /// The smallest samples that the input and the signal path let through, faded out and passed through a narrow band.
    #[test]
    fn fades_of_negligible_samples_are_zero_or_normal() {
        let mut monitor = monitor();
        let mut fade = |monitoring, band| {
            monitor.set_monitoring(monitoring);
            monitor.set_audition(band);
            for _ in 0..20 {
                let mut frames = [[2e-30, -1.5e-30]; 50];
                monitor.push_input(&frames);
                monitor.mix(&mut frames);
                assert!(frames.iter().flatten().all(|x: &f32| *x == 0.0 || x.abs() >= 1e-30), "{frames:?}");
            }
        };
        for mode in [MonitorMode::Removed, MonitorMode::Processed, MonitorMode::Unprocessed] {
            let monitoring = Monitoring { mode, loudness_matched: false };
            fade(monitoring, AuditionBand::Full);
            fade(monitoring, AuditionBand::BandPass { frequency_hz: 300.0, q: 8.0 });
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
