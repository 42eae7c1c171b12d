//! What of a strip is heard: processed, unprocessed, removed, or a part of the unprocessed side.

use super::slot::gentle;
use super::{DELAY, Listening, Part, Strip, Way};
use crate::frame::Frame;

impl<const C: usize> Strip<C>
where
    [f32; C]: Frame,
{
    /// Chooses what is heard, from the next frame on, with a cross-fade of [`MOTION_MS`](crate::strip::MOTION_MS).
    pub fn set_listening(&mut self, listening: Listening) {
        self.listening = listening;
        self.glide_mix(self.motion);
    }

    /// What is heard.
    #[must_use]
    pub fn listening(&self) -> Listening {
        self.listening
    }

    /// Plays a part of the unprocessed side instead of what is listened to, from the next frame on, with a glide of
    /// [`MOTION_MS`](crate::strip::MOTION_MS); [`Part::Whole`] goes back. With [`Listening::matched`] it has the gain that the whole unprocessed side
    /// would have. The processing goes on unheard: meters, ledger and match do not know of it.
    pub fn set_audition(&mut self, part: Part) {
        self.audition.set(part);
        self.glide_mix(self.motion);
    }

    /// The part of the unprocessed side that is played; [`Part::Whole`] when none is.
    #[must_use]
    pub fn audition(&self) -> Part {
        self.audition.part()
    }

    /// What is heard: of the unprocessed side while a part of it is played.
    pub(super) fn heard(&self) -> Listening {
        match self.audition.part() {
            Part::Whole => self.listening,
            _ => Listening { way: Way::Unprocessed, ..self.listening },
        }
    }

    pub(super) fn glide_mix(&mut self, frames: u32) {
        let wanted = self.level_match.gains(self.heard());
        if wanted != self.mix_to {
            (self.mix_from, self.mix_to) = (self.mix, wanted);
            (self.mix_left, self.mix_length) = (frames, frames);
        }
    }

    /// Mixes what is heard from the processed frames and the delayed input.
    pub(super) fn listen(&mut self, frames: &mut [[f32; C]]) {
        if self.mix_left == 0 && self.mix == [1.0, 0.0] {
            return;
        }
        let n = frames.len();
        for (i, frame) in frames.iter_mut().enumerate() {
            if self.mix_left > 0 {
                self.mix_left -= 1;
                let left = gentle(f64::from(self.mix_left) / f64::from(self.mix_length)) as f32;
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
}
