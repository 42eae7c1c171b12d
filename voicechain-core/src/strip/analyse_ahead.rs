//! Analysis of a recording before playback.

use super::Strip;
use crate::frame::{CHUNK, Frame};
use crate::settings::StageId;
use crate::stages::hum;
use crate::stages::input_sanitiser::sanitised_frame;

/// Seconds at the start of a recording that are analysed ahead. The reverberation model forgets within half a minute,
/// and every talker pauses within a minute.
pub const ANALYSED_AHEAD_S: f64 = 60.0;

impl<const C: usize> Strip<C>
where
    [f32; C]: Frame,
{
    /// Analyses hum and reverberation at the start of a recording before it is processed. Intended for files.
    ///
    /// In real time, hum under continuous speech is known only after the first pauses, and the reverberation model
    /// needs some seconds. Analysis ahead makes both available from the first sample. It reads up to
    /// [`ANALYSED_AHEAD_S`] of `beginning` with the current settings. Stages that are off analyse nothing; with hum
    /// and de-reverb both off the call has no effect. Otherwise it [resets](Self::reset) the strip first, so that
    /// transitions in progress complete.
    ///
    /// Hum analysis runs backwards over the first ten seconds, so that its final estimate belongs to the first
    /// sample. Then trim, hum, high-pass and de-reverb run forwards. The de-reverb keeps its estimates of
    /// reverberation and background noise.
    ///
    /// Cost: that of these stages for these frames. Tested by `hum_is_analysed_ahead_for_files` and
    /// `reverberation_is_analysed_ahead_for_files`.
    pub fn analyse_ahead(&mut self, beginning: &[[f32; C]]) {
        let max_frames = (ANALYSED_AHEAD_S * self.target.rate.hz()) as usize;
        let beginning = &beginning[..beginning.len().min(max_frames)];
        let hum = self.target.hum.on();
        let reverberation = self.target.de_reverb.on() && !self.target.de_reverb.coefs().is_bypassed();
        if beginning.is_empty() || !(hum || reverberation) {
            return;
        }
        self.reset();
        if hum {
            self.analyse_hum(beginning);
        }
        if reverberation {
            self.analyse_reverberation(beginning);
        }
    }

    fn analyse_hum(&mut self, beginning: &[[f32; C]]) {
        let max_frames = (hum::ANALYSED_AHEAD_S * self.target.rate.hz()) as usize;
        let mut frames = [[0.0; C]; CHUNK];
        for chunk in beginning[..beginning.len().min(max_frames)].rchunks(CHUNK) {
            let frames = &mut frames[..chunk.len()];
            frames.iter_mut().zip(chunk.iter().rev()).for_each(|(frame, input)| *frame = sanitised_frame(input));
            self.path.run_up_to(StageId::Hum, frames);
        }
        self.path.hum.state_mut().reverse_time(self.target.hum.coefs());
    }

    fn analyse_reverberation(&mut self, beginning: &[[f32; C]]) {
        // Hum and high-pass continue from the first sample.
        let (hum, high_pass) = (self.path.hum.clone(), self.path.high_pass.clone());
        self.path.de_reverb.state_mut().begin_analysis(self.target.de_reverb.coefs());
        let mut frames = [[0.0; C]; CHUNK];
        for chunk in beginning.chunks(CHUNK) {
            let frames = &mut frames[..chunk.len()];
            frames.iter_mut().zip(chunk).for_each(|(frame, input)| *frame = sanitised_frame(input));
            self.path.run_up_to(StageId::DeReverb, frames);
        }
        self.path.de_reverb.state_mut().end_analysis();
        (self.path.hum, self.path.high_pass) = (hum, high_pass);
    }
}
