//! A whole voice out of its plan.

use super::dice::Dice;
use super::fricatives::hiss;
use super::glottis::voiced;
use super::level::{active_level, db};
use super::plan::Plan;
use super::speaker::Speaker;
use super::tracks::tracks;

/// The spoken voice in two parts, so that a fault can be put into one.
pub(super) struct Stems {
    pub(super) rest: Vec<f32>,
    pub(super) sibilants: Vec<f32>,
}

pub(super) fn speak(plan: &Plan, speaker: &Speaker, rate: u32, duration_s: f64) -> Stems {
    let count = (duration_s * f64::from(rate)).round() as usize;
    let mut rest = vec![0.0; count];
    let mut sibilants = vec![0.0; count];
    let tracks = tracks(plan, speaker, duration_s);
    for &(from, to) in &plan.turns {
        // From the breath before the first word to the end of the last resonance.
        voiced(&mut rest, &tracks, speaker, rate, from - 0.45, to + 0.1);
    }
    let vowels = active_level(&rest, rate);
    let mut dice = Dice::new(speaker.seed ^ 0x00F0_0F00);
    for segment in &plan.segments {
        let Some((noise, offset_db)) = segment.noise else { continue };
        let target = if noise.sibilant { &mut sibilants } else { &mut rest };
        let level = db(vowels + noise.level_db + offset_db);
        hiss(target, segment, noise, level, speaker, rate, &mut dice);
    }
    Stems { rest, sibilants }
}
