//! Synthesis of a whole voice from its timeline.

use super::fricatives::add_fricative;
use super::glottis::add_voiced;
use super::level::{active_level, from_db};
use super::random::Random;
use super::speaker::Speaker;
use super::timeline::SpeechTimeline;
use super::tracks::tracks;

/// Synthesised voice with separate sibilants, so that a fault can be added to them alone.
pub(super) struct Stems {
    pub(super) rest: Vec<f32>,
    pub(super) sibilants: Vec<f32>,
}

pub(super) fn synthesise(timeline: &SpeechTimeline, speaker: &Speaker, rate: u32, duration_s: f64) -> Stems {
    let count = (duration_s * f64::from(rate)).round() as usize;
    let mut rest = vec![0.0; count];
    let mut sibilants = vec![0.0; count];
    let tracks = tracks(timeline, speaker, duration_s);
    for &(from, to) in &timeline.turns {
        // From the breath before the first word to the decay of the last resonance.
        add_voiced(&mut rest, &tracks, speaker, rate, from - 0.45, to + 0.1);
    }
    let vowels = active_level(&rest, rate);
    let mut random = Random::new(speaker.seed ^ 0x00F0_0F00);
    for segment in &timeline.segments {
        let Some((noise, offset_db)) = segment.noise else { continue };
        let target = if noise.sibilant { &mut sibilants } else { &mut rest };
        let level = from_db(vowels + noise.level_db + offset_db);
        add_fricative(target, segment, noise, level, speaker, rate, &mut random);
    }
    Stems { rest, sibilants }
}
