//! Whether several voices take turns: the pitch from phrase to phrase.

use crate::dsp::histogram::percentile_bin;

/// Medians of phrases are told apart in steps of half a semitone from the lowest pitch on.
const LOWEST_HZ: f32 = 65.0;
const PER_OCTAVE: f32 = 24.0;
const PITCHES: usize = 84;
const SEMITONES: f64 = 0.5;
/// What the steps add to the variance of medians, semitones squared, with some reserve.
const STEP_SPREAD: f64 = 0.1;
/// A phrase ends when nothing voiced is heard for so many hops (0.24 s), or after so many voiced (3 s); shorter ones than
/// this (in voiced hops) go into the next.
const PAUSE: u32 = 12;
const MAX_PHRASE: u32 = 150;
const MIN_PHRASE: u32 = 25;
/// Hops so far under the loudest, which fades by so much in a hop, are no voice, nor are fainter ones, dB.
const UNDER_DB: f64 = 25.0;
const FADE_DB: f64 = 0.02;
const FAINTEST_DB: f64 = -90.0;
/// Neighbours further apart than this ratio are a slip.
const SLIP: f32 = 1.15;

/// Several voices have medians that fall into two groups this far apart (semitones), also against what they spread within
/// (the step of the histogram included), neither with less than this share and so many voiced hops (2 s).
const APART: f64 = 8.0;
const APART_SPREADS: f64 = 4.5;
const MIN_SHARE: f64 = 0.15;
const MIN_VOICED: f64 = 100.0;

/// Gathers the pitch of phrases, and splits them into two groups. Voices of like pitch are not told apart; one reader's
/// phrases seldom lie more than half an octave apart. Memory 0.5 kB, next to no cost.
#[derive(Clone, Debug)]
pub(crate) struct SpeakerTurns {
    loudest_db: f64,
    last: Option<f32>,
    unvoiced: u32,
    phrase: [u16; PITCHES],
    voiced: u32,
    /// For every pitch the voiced hops of the phrases that have it as their median.
    medians: [f32; PITCHES],
}

impl SpeakerTurns {
    pub(crate) const fn new() -> Self {
        Self { loudest_db: -200.0, last: None, unvoiced: 0, phrase: [0; PITCHES], voiced: 0, medians: [0.0; PITCHES] }
    }

    /// Takes the pitch in Hz, where there is one, and the level in dB of a hop of 20 ms.
    pub(crate) fn push(&mut self, pitch: Option<f32>, level_db: f64) {
        self.loudest_db = (self.loudest_db - FADE_DB).max(level_db);
        let pitch = pitch.filter(|_| level_db > (self.loudest_db - UNDER_DB).max(FAINTEST_DB));
        let near = pitch.zip(self.last).filter(|(now, before)| now.max(*before) <= SLIP * now.min(*before));
        self.last = pitch;
        if let Some((now, _)) = near {
            let bin = (libm::log2f(now / LOWEST_HZ).max(0.0) * PER_OCTAVE) as usize;
            let count = &mut self.phrase[bin.min(PITCHES - 1)];
            *count = count.saturating_add(1);
            self.voiced += 1;
            self.unvoiced = 0;
        } else {
            self.unvoiced = self.unvoiced.saturating_add(1);
        }
        if (self.unvoiced >= PAUSE && self.voiced >= MIN_PHRASE) || self.voiced >= MAX_PHRASE {
            self.end();
        }
    }

    fn end(&mut self) {
        let counts = self.phrase.iter().map(|&count| f64::from(count));
        if let Some(median) = percentile_bin(counts, f64::from(self.voiced / 2 + 1)) {
            self.medians[median] += self.voiced as f32;
        }
        self.phrase = [0; PITCHES];
        self.voiced = 0;
    }
}

impl SpeakerTurns {
    /// True when the phrases are of two voices that are far apart in pitch.
    ///
    /// Of all splits the one that leaves the least variance within (Otsu 1979, "A threshold selection method from gray-level
    /// histograms", from memory).
    pub(crate) fn several(&self) -> bool {
        let moments = |part: &[f32], from: usize| {
            part.iter().enumerate().fold([0.0; 3], |[n, sum, squares], (bin, &weight)| {
                let (x, w) = ((from + bin) as f64 * SEMITONES, f64::from(weight));
                [n + w, sum + w * x, squares + w * x * x]
            })
        };
        let mut best: Option<(f64, f64, f64, f64)> = None;
        for split in 1..PITCHES {
            let (low, high) = self.medians.split_at(split);
            let ([n, sum, squares], [m, other, more]) = (moments(low, 0), moments(high, split));
            if n > 0.0 && m > 0.0 {
                let apart = other / m - sum / n;
                let within = (squares - sum * sum / n + more - other * other / m) / (n + m);
                let between = n * m * apart * apart;
                if best.is_none_or(|(most, ..)| between > most) {
                    best = Some((between, apart, within, n.min(m)));
                }
            }
        }
        best.is_some_and(|(_, apart, within, least)| {
            let total: f64 = self.medians.iter().map(|&w| f64::from(w)).sum();
            let spread = libm::sqrt(within.max(0.0) + STEP_SPREAD);
            apart >= APART && apart >= APART_SPREADS * spread && least >= MIN_SHARE * total && least >= MIN_VOICED
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Phrases of 1.2 s and pauses of 0.4 s at these pitches, with an intonation of two semitones to either side.
    fn several(pitches: &[f32]) -> bool {
        let mut turns = SpeakerTurns::new();
        for &hz in pitches {
            for hop in 0..60 {
                turns.push(Some(hz * libm::exp2f(libm::sinf(hop as f32 * 0.2) / 6.0)), -25.0);
            }
            (0..20).for_each(|_| turns.push(None, -70.0));
        }
        turns.several()
    }

    #[test]
    fn two_voices_an_octave_apart_are_several() {
        assert!(several(&[105.0, 110.0, 210.0, 205.0, 115.0, 100.0, 220.0, 190.0]));
        // The controls: an expressive reader, two voices of like pitch, one high word in a long reading, nothing.
        assert!(!several(&[105.0, 130.0, 120.0, 155.0, 98.0, 145.0, 110.0, 160.0]));
        assert!(!several(&[105.0, 120.0, 107.0, 118.0, 104.0, 121.0]));
        assert!(!several(&[105.0, 110.0, 107.0, 108.0, 104.0, 111.0, 106.0, 220.0]));
        assert!(!several(&[]));
        // What is far below the loudest, as a neighbour's voice, takes no turn.
        let mut turns = SpeakerTurns::new();
        for turn in 0..16 {
            let (hz, db) = if turn % 2 == 0 { (105.0, -25.0) } else { (220.0, -60.0) };
            (0..60).for_each(|_| turns.push(Some(hz), db));
            (0..20).for_each(|_| turns.push(None, -70.0));
        }
        assert!(!turns.several());
    }
}
