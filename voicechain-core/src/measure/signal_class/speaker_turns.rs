//! Detection of several voices from the pitch of phrases.

use crate::blank::blank;
use crate::dsp::histogram::percentile_bin;

/// Histogram of phrase medians: steps of half a semitone from the lowest pitch up.
const LOWEST_HZ: f32 = 65.0;
const PER_OCTAVE: f32 = 24.0;
const PITCHES: usize = 84;
const SEMITONES: f64 = 0.5;
/// Variance that the steps add to the medians, semitones squared, with some reserve.
const STEP_SPREAD: f64 = 0.1;
/// Unvoiced hops that end a phrase (0.24 s).
const PAUSE: u32 = 12;
/// Maximum length of a phrase, voiced hops (3 s).
const MAX_PHRASE: u32 = 150;
/// Minimum length of a phrase, voiced hops; a shorter one continues with the next.
const MIN_PHRASE: u32 = 25;
/// Hops this far below the peak level are not voice, dB.
const UNDER_DB: f64 = 25.0;
/// Decay of the peak level per hop, dB.
const FADE_DB: f64 = 0.02;
/// Minimum level of a voice, dB.
const FAINTEST_DB: f64 = -90.0;
/// Larger pitch ratios between neighbouring hops count as tracking errors.
const MAX_PITCH_RATIO: f32 = 1.15;

/// Minimum distance between the two groups of phrase medians of several voices, semitones.
const MIN_DISTANCE: f64 = 8.0;
/// Minimum distance between the groups as a multiple of the spread within them, histogram step included.
const MIN_DISTANCE_SPREADS: f64 = 4.5;
/// Minimum share of voiced hops in each group.
const MIN_SHARE: f64 = 0.15;
/// Minimum number of voiced hops in each group (2 s).
const MIN_VOICED: f64 = 100.0;

/// Collects the pitch medians of phrases and splits them into two groups. Voices of similar pitch are not
/// distinguished. The phrases of one reader seldom differ by more than half an octave. Memory 0.5 kB, negligible cost.
#[derive(Clone, Debug)]
pub(crate) struct SpeakerTurns {
    loudest_db: f64,
    last: Option<f32>,
    unvoiced: u32,
    phrase: [u16; PITCHES],
    voiced: u32,
    /// Voiced hops of the phrases with each median.
    medians: [f32; PITCHES],
}

blank! { SpeakerTurns { loudest_db, last, unvoiced, phrase, voiced, medians } }

impl SpeakerTurns {
    pub(crate) const fn new() -> Self {
        Self { loudest_db: -200.0, last: None, unvoiced: 0, phrase: [0; PITCHES], voiced: 0, medians: [0.0; PITCHES] }
    }

    /// Processes the pitch in Hz, if voiced, and the level in dB of a hop of 20 ms.
    pub(crate) fn push(&mut self, pitch: Option<f32>, level_db: f64) {
        self.loudest_db = (self.loudest_db - FADE_DB).max(level_db);
        let pitch = pitch.filter(|_| level_db > (self.loudest_db - UNDER_DB).max(FAINTEST_DB));
        let near = pitch.zip(self.last).filter(|(now, before)| now.max(*before) <= MAX_PITCH_RATIO * now.min(*before));
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
    /// True if the phrases come from two voices that are far apart in pitch.
    ///
    /// Selects the split with the least variance within the groups (Otsu 1979, "A threshold selection method from
    /// gray-level histograms", from memory).
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
                let distance = other / m - sum / n;
                let within = (squares - sum * sum / n + more - other * other / m) / (n + m);
                let between = n * m * distance * distance;
                if best.is_none_or(|(most, ..)| between > most) {
                    best = Some((between, distance, within, n.min(m)));
                }
            }
        }
        best.is_some_and(|(_, distance, within, least)| {
            let total: f64 = self.medians.iter().map(|&w| f64::from(w)).sum();
            let spread = libm::sqrt(within.max(0.0) + STEP_SPREAD);
            distance >= MIN_DISTANCE
                && distance >= MIN_DISTANCE_SPREADS * spread
                && least >= MIN_SHARE * total
                && least >= MIN_VOICED
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
        // Controls: an expressive reader, two voices of similar pitch, one high word in a long reading, silence.
        assert!(!several(&[105.0, 130.0, 120.0, 155.0, 98.0, 145.0, 110.0, 160.0]));
        assert!(!several(&[105.0, 120.0, 107.0, 118.0, 104.0, 121.0]));
        assert!(!several(&[105.0, 110.0, 107.0, 108.0, 104.0, 111.0, 106.0, 220.0]));
        assert!(!several(&[]));
        // A voice far below the loudest, such as a neighbour's, does not count.
        let mut turns = SpeakerTurns::new();
        for turn in 0..16 {
            let (hz, db) = if turn % 2 == 0 { (105.0, -25.0) } else { (220.0, -60.0) };
            (0..60).for_each(|_| turns.push(Some(hz), db));
            (0..20).for_each(|_| turns.push(None, -70.0));
        }
        assert!(!turns.several());
    }
}
