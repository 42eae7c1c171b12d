//! What a strip learns from a recording before it plays it.

use super::Strip;
use super::input_sanitiser::sanitised_frame;
use crate::frame::{CHUNK, Frame};
use crate::settings::StageId;
use crate::stages::hum;

/// How much of a recording's beginning is learnt from, s: what is known of a room forgets over half a minute, and in one
/// minute everybody pauses.
pub const ANALYSED_AHEAD_S: f64 = 60.0;

impl<const C: usize> Strip<C>
where
    [f32; C]: Frame,
{
    /// Learns hum and room from the beginning of a recording ([`ANALYSED_AHEAD_S`] of it; what is longer is left out) before any of it
    /// is run: for files. As it plays, hum under a voice that speaks at once is only known in its first pauses, and what a
    /// room adds takes some seconds. Settings and trim are those that are set; stages that are off learn nothing, and with hum
    /// and de-reverb off nothing happens. Otherwise the strip is [`reset`](Self::reset) first, so that changes on their way have
    /// arrived.
    ///
    /// Hum is heard backwards, ten seconds of it, so that what is known at last is how it stands at the first sample. Then
    /// trim, hum, high-pass and de-reverb run, and what the de-reverb has found of room and noise stays in it.
    ///
    /// Cost: that of these stages for these frames. Tested by `hum_is_analysed_ahead_for_files` and
    /// `reverberation_is_analysed_ahead_for_files`.
    pub fn analyse_ahead(&mut self, beginning: &[[f32; C]]) {
        let most = (ANALYSED_AHEAD_S * self.target.rate.hz()) as usize;
        let beginning = &beginning[..beginning.len().min(most)];
        let hum = self.target.hum.on();
        let room = self.target.de_reverb.on() && !self.target.de_reverb.coefs().is_bypassed();
        if beginning.is_empty() || !(hum || room) {
            return;
        }
        self.reset();
        if hum {
            self.analyse_hum(beginning);
        }
        if room {
            self.analyse_reverberation(beginning);
        }
    }

    fn analyse_hum(&mut self, beginning: &[[f32; C]]) {
        let most = (hum::ANALYSED_AHEAD_S * self.target.rate.hz()) as usize;
        let mut frames = [[0.0; C]; CHUNK];
        for piece in beginning[..beginning.len().min(most)].rchunks(CHUNK) {
            let frames = &mut frames[..piece.len()];
            frames.iter_mut().zip(piece.iter().rev()).for_each(|(frame, heard)| *frame = sanitised_frame(heard));
            self.path.run_up_to(StageId::Hum, frames);
        }
        self.path.hum.state_mut().reverse_time(self.target.hum.coefs());
    }

    fn analyse_reverberation(&mut self, beginning: &[[f32; C]]) {
        // These two play on from the first sample.
        let (hum, high_pass) = (self.path.hum.clone(), self.path.high_pass.clone());
        self.path.de_reverb.state_mut().begin_analysis(self.target.de_reverb.coefs());
        let mut frames = [[0.0; C]; CHUNK];
        for piece in beginning.chunks(CHUNK) {
            let frames = &mut frames[..piece.len()];
            frames.iter_mut().zip(piece).for_each(|(frame, heard)| *frame = sanitised_frame(heard));
            self.path.run_up_to(StageId::DeReverb, frames);
        }
        self.path.de_reverb.state_mut().end_analysis();
        (self.path.hum, self.path.high_pass) = (hum, high_pass);
    }
}
