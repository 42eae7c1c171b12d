//! Control tracks of formants, voice, breath and pitch over time.

use super::level::from_db;
use super::speaker::Speaker;
use super::timeline::SpeechTimeline;
use std::f64::consts::{PI, TAU};

/// Control values, one per millisecond.
pub(super) struct Tracks {
    pub(super) formants: [Vec<f64>; 3],
    pub(super) bandwidth: Vec<f64>,
    pub(super) voice: Vec<f64>,
    pub(super) breath: Vec<f64>,
    pub(super) pitch: Vec<f64>,
}

pub(super) fn tracks(timeline: &SpeechTimeline, speaker: &Speaker, duration_s: f64) -> Tracks {
    let count = (duration_s * 1_000.0) as usize + 1;
    let mut formants = [vec![550.0; count], vec![1_500.0; count], vec![2_600.0; count]];
    let (mut bandwidth, mut voice, mut breath) = (vec![2.0; count], vec![0.0; count], vec![0.0; count]);
    for segment in &timeline.segments {
        let from = (segment.start_s * 1_000.0).round() as usize;
        let to = (((segment.start_s + segment.length_s) * 1_000.0).round() as usize).min(count);
        for ms in from..to {
            (0..3).for_each(|k| formants[k][ms] = segment.formants[k]);
            bandwidth[ms] = segment.bandwidth;
            voice[ms] = segment.voice;
            // Breaths between phrases fade in and out.
            let share = (ms - from) as f64 / (to - from) as f64;
            let shape = if segment.is_pause { (PI * share).sin().powi(2) } else { 1.0 };
            breath[ms] = segment.breath * shape;
        }
    }
    // Level and pitch fall over each phrase.
    let mut pitch = vec![speaker.pitch_hz; count];
    for &(from, to, number, end) in &timeline.phrases {
        let (first, last) = ((from * 1_000.0) as usize, ((to * 1_000.0) as usize).min(count - 1));
        for ms in first..=last {
            let share = (ms - first) as f64 / (last - first).max(1) as f64;
            voice[ms] *= from_db(0.8 - 3.0 * share);
            let declination = 1.1 - 0.05 * number.min(3) as f64 - 0.14 * share;
            let before_end_s = (last - ms) as f64 / 1_000.0;
            let tail = (1.0 - before_end_s / 0.28).clamp(0.0, 1.0);
            let turn = match end {
                '?' => 1.0 + 0.42 * tail,
                ',' => 1.0 + 0.07 * tail,
                _ => 1.0 - 0.2 * tail,
            };
            pitch[ms] *= 1.0 + speaker.pitch_range * (declination * turn - 1.0);
        }
    }
    for &middle in &timeline.stressed {
        let (from, to) = ((middle * 1_000.0) as usize - 140, ((middle * 1_000.0) as usize + 140).min(count - 1));
        for (n, hz) in pitch[from..to].iter_mut().enumerate() {
            *hz *= 1.0 + 0.16 * speaker.pitch_range * (0.5 - 0.5 * (TAU * n as f64 / 280.0).cos());
        }
    }
    // Articulators and larynx move with limited speed.
    formants.iter_mut().for_each(|track| smooth(track, 13.0));
    smooth(&mut bandwidth, 10.0);
    smooth(&mut voice, 6.0);
    smooth(&mut breath, 7.0);
    smooth(&mut pitch, 28.0);
    Tracks { formants, bandwidth, voice, breath, pitch }
}

/// Zero-phase smoothing: a one-pole low-pass forward, then backward.
fn smooth(track: &mut [f64], time_ms: f64) {
    let share = 1.0 - (-1.0 / time_ms).exp();
    let forward = |values: &mut dyn Iterator<Item = &mut f64>| {
        let mut state = None;
        for value in values {
            let next = state.map_or(*value, |s: f64| s + share * (*value - s));
            state = Some(next);
            *value = next;
        }
    };
    forward(&mut track.iter_mut());
    forward(&mut track.iter_mut().rev());
}
