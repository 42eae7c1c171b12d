//! Distribution of the pitches of a voice: percentiles, and which spectral peaks follow from a held pitch.

use super::periods::{HIGHEST_HZ, LOWEST_HZ};
use crate::dsp::histogram::interpolated_bin;

/// Steps per octave.
const PER_OCTAVE: f64 = 36.0;
/// Number of steps: 65 Hz to 1 kHz.
pub(super) const PITCHES: usize = 143;
/// Peaks up to this multiple of the pitch lie among its first four harmonics, which are those that a held pitch hides
/// from the search for resonances.
pub(crate) const LOW_HARMONICS: f64 = 4.5;
/// A pitch up to this factor above a frequency reaches it with its first harmonic (see `resonance`).
const REACH: f64 = 1.087;
/// Width of the window in which a pitch is held, steps: three semitones, a whole tone with vibrato.
const HELD_STEPS: usize = 9;
/// Share of the frames from which the pitch counts as held. At half of the frames, recorded readings count too, and the
/// search misses a tenth of the resonances put into them (see tests/accuracy/RESULTS.md).
const MOST: f64 = 0.8;
/// Share of the frames inside held notes from which the voice counts as sung. It lies between the readings and the
/// singing that [`HeldNotes`](super::held_notes::HeldNotes) names.
const SUNG: f64 = 0.4;
/// Minimum ratio of the 90th and the 10th percentile of the pitch of a melody: four semitones. Words read on one pitch are
/// held, too, within three (one recorded reading of 47).
const MELODY_RANGE: f64 = 1.26;

/// Number of voiced frames per pitch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct PitchDistribution {
    counts: [u64; PITCHES],
    /// Frames inside held notes.
    held: u64,
}

impl PitchDistribution {
    pub(crate) const fn new() -> Self {
        Self { counts: [0; PITCHES], held: 0 }
    }

    /// Adds frames of the pitches of one step.
    pub(super) fn add(&mut self, step: usize, frames: u64) {
        self.counts[step] += frames;
    }

    /// Adds frames inside held notes, which also count by their pitch.
    pub(super) fn add_held(&mut self, frames: u64) {
        self.held += frames;
    }

    /// Number of frames.
    pub(super) fn frames(&self) -> u64 {
        self.counts.iter().sum()
    }

    /// The pitch below which this share of the frames lies, Hz, interpolated within a step.
    pub(super) fn percentile_hz(&self, share: f64) -> f64 {
        let counts = self.counts.iter().map(|&count| count as f64);
        let place = interpolated_bin(counts, share * self.frames() as f64);
        place.map_or(HIGHEST_HZ, |place| LOWEST_HZ * libm::exp2(place / PER_OCTAVE))
    }

    /// True if a spectral peak at `hz` cannot be told from the low harmonics, because they stay where they are: most of
    /// the frames have one pitch, whose harmonics reach down to `hz`, and `hz` is not above the first four of them.
    pub(crate) fn explains_peak(&self, hz: f64) -> bool {
        self.held().is_some_and(|pitch| pitch <= REACH * hz && hz < LOW_HARMONICS * pitch)
    }

    /// True if a spectral peak at `hz` may be a harmonic of a melody: different notes are held for much of the time, and
    /// `hz` is not above the first four harmonics of the 90th percentile of the pitch.
    pub(crate) fn may_be_of_a_melody(&self, hz: f64) -> bool {
        let [low, high] = [0.1, 0.9].map(|share| self.percentile_hz(share));
        let notes = self.held as f64 > SUNG * self.frames() as f64 && high >= MELODY_RANGE * low;
        notes && hz < LOW_HARMONICS * high
    }

    /// Middle of the three semitones that hold most of the frames, Hz; `None` if the pitch moves.
    fn held(&self) -> Option<f64> {
        let (first, most) = (0..PITCHES)
            .map(|first| (first, self.counts.iter().skip(first).take(HELD_STEPS).sum::<u64>()))
            .max_by_key(|&(_, frames)| frames)?;
        (most > 0 && most as f64 >= MOST * self.frames() as f64)
            .then(|| centre_hz(first as f64 + 0.5 * HELD_STEPS as f64))
    }
}

/// Frequency of a place between the steps, Hz.
fn centre_hz(place: f64) -> f64 {
    LOWEST_HZ * libm::exp2(place / PER_OCTAVE)
}

/// Step of a pitch in Hz.
pub(super) fn step(hz: f32) -> usize {
    ((libm::log2(f64::from(hz) / LOWEST_HZ) * PER_OCTAVE).max(0.0) as usize).min(PITCHES - 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn distribution(pitches: impl IntoIterator<Item = f32>) -> PitchDistribution {
        let mut all = PitchDistribution::new();
        pitches.into_iter().for_each(|hz| all.add(step(hz), 1));
        all
    }

    #[test]
    fn a_held_pitch_explains_peaks_up_to_its_fourth_harmonic() {
        // 220 Hz, and a tone above it at times.
        for held in [distribution([220.0; 50]), distribution((0..50).map(|n| [220.0, 245.0][n % 2]))] {
            for (hz, explained) in [(220.0, true), (311.0, true), (660.0, true), (900.0, true), (1_100.0, false)] {
                assert_eq!(held.explains_peak(hz), explained, "{hz}");
            }
            // Below the pitch lies no harmonic.
            assert!(!held.explains_peak(180.0));
        }
        assert!(!PitchDistribution::new().explains_peak(220.0));
    }

    /// A pitch that moves evenly over two octaves holds an eighth of the frames within three semitones.
    #[test]
    fn a_moving_pitch_explains_no_peak() {
        let moving = distribution((0..2_400).map(|n| 100.0 * libm::exp2f(n as f32 / 1_200.0)));
        for hz in [105.0, 150.0, 220.0, 400.0, 800.0] {
            assert!(!moving.explains_peak(hz), "{hz}");
        }
    }

    /// Notes an octave apart, held or not, and held within three semitones.
    #[test]
    fn held_notes_at_different_pitches_are_a_melody() {
        let notes = |ratio: f32, held: u64| {
            let mut all = distribution((0..100).map(|n| if n % 2 == 0 { 200.0 } else { 200.0 * ratio }));
            all.add_held(held);
            all
        };
        let melody = notes(2.0, 50);
        for (hz, explained) in [(200.0, true), (800.0, true), (1_600.0, true), (1_900.0, false)] {
            assert_eq!(melody.may_be_of_a_melody(hz), explained, "{hz}");
        }
        assert!(!notes(2.0, 30).may_be_of_a_melody(400.0) && !notes(1.19, 90).may_be_of_a_melody(400.0));
        assert!(!PitchDistribution::new().may_be_of_a_melody(400.0));
    }

    #[test]
    fn percentiles_are_those_of_the_pitches() {
        let moving = distribution((0..2_400).map(|n| 100.0 * libm::exp2f(n as f32 / 1_200.0)));
        for (share, hz) in [(0.1, 114.9), (0.5, 200.0), (0.9, 348.2)] {
            assert!((moving.percentile_hz(share) / hz - 1.0).abs() < 0.01, "{share}");
        }
    }
}
