//! What a strip does with a piece of at most a chunk: the door, every stage, meters and ledger.

use super::{DELAY, LATE_FROM, LOUDEST, MIDDLE_FROM, QUIETEST, Strip, TAPS, Way};
use crate::frame::{CHUNK, Frame};

impl<const C: usize> Strip<C>
where
    [f32; C]: Frame,
{
    /// Silences what is not finite or too small to matter, holds what is absurdly large, and notes the largest sample.
    fn door(&mut self, frames: &mut [[f32; C]]) {
        // As whole numbers, magnitudes of floats are in the same order; what is not finite is above all others.
        let bits = |sample: f32| (sample.to_bits() & 0x7FFF_FFFF) as i32;
        let (quietest, loudest) = (QUIETEST.to_bits() as i32, LOUDEST.to_bits() as i32);
        let mut most = 0;
        for sample in frames.as_flattened_mut() {
            let size = bits(*sample);
            *sample = if size < quietest { 0.0 } else { *sample };
            most = if size > most { size } else { most };
        }
        if most > loudest {
            for sample in frames.as_flattened_mut().iter_mut().filter(|s| bits(**s) > loudest) {
                self.rejected += 1;
                *sample = if sample.is_finite() { LOUDEST.copysign(*sample) } else { 0.0 };
            }
            most = frames.iter().flatten().map(|s| bits(*s)).max().unwrap_or(0);
        }
        self.running_peak = self.running_peak.max(f32::from_bits(most as u32));
    }

    /// Writes frames into the delay line.
    fn remember(&mut self, frames: &[[f32; C]]) {
        let at = self.written;
        let (now, wrapped) = frames.split_at(frames.len().min(DELAY - at));
        self.delay[at..at + now.len()].copy_from_slice(now);
        self.delay[..wrapped.len()].copy_from_slice(wrapped);
        self.written = (at + frames.len()) % DELAY;
    }

    pub(super) fn piece(&mut self, frames: &mut [[f32; C]]) {
        let n = frames.len();
        self.door(frames);
        self.remember(frames);
        self.input_peak.push(frames);
        self.taps[0][..n].copy_from_slice(frames);
        let mut changes = [true; TAPS];

        macro_rules! stages {
            ($($tap:literal $stage:ident),+) => {$(
                changes[$tap] = !self.$stage.rests();
                if changes[$tap] {
                    self.$stage.run(frames);
                }
                self.taps[$tap][..n].copy_from_slice(frames);
            )+};
        }
        stages!(1 trim, 2 hum, 3 high_pass, 4 de_reverb, 5 expander, 6 leveller);

        let mut before = [[0.0; C]; CHUNK];
        if self.former.is_some() {
            before[..n].copy_from_slice(frames);
        }
        for (k, stage) in self.middle.order.into_iter().enumerate() {
            changes[MIDDLE_FROM + k] = !self.middle.rests(stage);
            if changes[MIDDLE_FROM + k] {
                self.middle.run(stage, frames);
            }
            self.taps[MIDDLE_FROM + k][..n].copy_from_slice(frames);
        }
        if self.former.is_some() {
            self.cross_fade_orders(frames, &mut before[..n]);
            changes[LATE_FROM - 1] = true;
            self.taps[LATE_FROM - 1][..n].copy_from_slice(frames);
        }

        self.limiter.run(frames);
        self.taps[LATE_FROM][..n].copy_from_slice(frames);
        changes[LATE_FROM + 1] = !self.output.rests();
        self.output.run(frames);
        for sample in frames.as_flattened_mut() {
            *sample = if sample.abs() < QUIETEST { 0.0 } else { *sample };
        }
        self.taps[LATE_FROM + 1][..n].copy_from_slice(frames);
        self.output_peak.push(frames);

        let done = self.ledger.push(&self.taps, n, &changes);
        if let Some(energies) = done.last {
            self.output_loudness.push_energy(energies);
        }
        if let Some(block) = done.block {
            self.level_match.block(block.input, block.output, core::mem::take(&mut self.recent_peak));
        }
        self.listen(frames);
        if let Some(energies) = done.first {
            self.sub_block(energies);
        }
        // Both may start the ledger afresh: not before it has heard these frames.
        if self.former.as_ref().is_some_and(|&(_, at)| at == self.motion) {
            self.former = None;
            self.reorder();
        }
        self.advance_dip(frames);
    }

    /// Once per 10 ms: voice activity, gain reductions, level match.
    fn sub_block(&mut self, energies: [f64; C]) {
        let frames = self.input_loudness.clock().length() as f64;
        self.activity.tick(energies.iter().sum::<f64>() / frames);
        self.input_loudness.push_energy(energies);
        self.recent_peak = self.recent_peak.max(core::mem::take(&mut self.running_peak));
        let speech = self.activity.is_active();
        let taken = [
            self.de_reverb.state.take_reduction_db(),
            self.expander.state.take_reduction_db(),
            self.leveller.state.take_reduction_db(),
            self.middle.de_esser.state.take_reduction_db(),
            self.middle.compressor.state.take_reduction_db(),
            self.limiter.state.take_reduction_db(),
        ];
        for (meter, db) in self.reductions.iter_mut().zip(taken) {
            meter.push(db, speech);
        }
        let heard = self.heard();
        let matched = heard.matched && heard.way != Way::Processed;
        self.level_match.step(matched, speech, self.target.ceiling_dbtp);
        if self.mix_left == 0 {
            self.glide_mix(self.motion / 2);
        }
    }
}
