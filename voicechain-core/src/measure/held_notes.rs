//! Held notes: stretches of a voice that stay on one pitch, as singing does and speech hardly ever.

use crate::blank::blank;

/// Width of a held note, octaves: a semitone and a half, a note with a vibrato of up to 0.75 semitones each way.
const WIDTH: f32 = 0.125;
/// Minimum length of a held note, hops of 20 ms: 0.3 s. With this and the width, notes last for half of the voiced time
/// of synthetic singing at least, and for a third of all recorded readings but one at most (24 and 47 voices; computed
/// with the pitches of both halves).
const HOPS: u16 = 15;

/// Counts the frames inside held notes, for each bin of a level histogram. Memory 0.5 kB.
#[derive(Clone, Debug)]
pub(super) struct HeldNotes<const LEVELS: usize> {
    /// log2 of the lowest and the highest pitch of the current stretch.
    range: [f32; 2],
    /// Frames of the stretch, as long as it is shorter than a note, by level.
    stretch: [u16; LEVELS],
    length: u16,
    counts: [u32; LEVELS],
}

blank! { [const LEVELS: usize] HeldNotes<LEVELS> { range, stretch, length, counts } }

impl<const LEVELS: usize> HeldNotes<LEVELS> {
    /// Processes the pitch of the next hop and the histogram bin of its level.
    pub(super) fn push(&mut self, hz: Option<f32>, level: usize) {
        let Some(octaves) = hz.map(libm::log2f) else {
            self.length = 0;
            return;
        };
        let range = [self.range[0].min(octaves), self.range[1].max(octaves)];
        if self.length == 0 || range[1] - range[0] > WIDTH {
            self.range = [octaves; 2];
            self.stretch = [0; LEVELS];
            self.length = 0;
        } else {
            self.range = range;
        }
        self.length = self.length.saturating_add(1);
        if self.length > HOPS {
            self.counts[level] = self.counts[level].saturating_add(1);
            return;
        }
        self.stretch[level] += 1;
        if self.length == HOPS {
            for (count, &frames) in self.counts.iter_mut().zip(&self.stretch) {
                *count = count.saturating_add(u32::from(frames));
            }
        }
    }

    /// Frames inside held notes, by level.
    pub(super) const fn counts(&self) -> &[u32; LEVELS] {
        &self.counts
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::blank::Blank;

    /// Frames inside notes of a pitch in Hz per hop.
    fn held(pitches: impl IntoIterator<Item = Option<f32>>) -> u32 {
        let mut notes = HeldNotes::<2>::BLANK;
        pitches.into_iter().enumerate().for_each(|(n, hz)| notes.push(hz, n % 2));
        notes.counts().iter().sum()
    }

    #[test]
    fn a_note_counts_from_its_start_once_it_is_long_enough() {
        let note = |hops| (0..hops).map(|_| Some(220.0));
        assert_eq!(held(note(14)), 0);
        assert_eq!(held(note(15)), 15);
        assert_eq!(held(note(50)), 50);
        // Two halves of a note with a gap between them are no note.
        assert_eq!(held(note(14).chain([None]).chain(note(14))), 0);
        assert_eq!(held(note(20).chain([None]).chain(note(20))), 40);
    }

    #[test]
    fn vibrato_holds_a_note_and_a_glide_does_not() {
        // Half a semitone each way, 5.5 times per second.
        let vibrato = |n: i32| 220.0 * libm::exp2f(libm::sinf(0.691 * n as f32) / 24.0);
        assert_eq!(held((0..100).map(|n| Some(vibrato(n)))), 100);
        // Six semitones per second: 1.7 in 14 hops.
        assert_eq!(held((0..100).map(|n| Some(220.0 * libm::exp2f(0.01 * n as f32)))), 0);
    }
}
