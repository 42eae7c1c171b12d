//! Frequency axis, and third-octave plots along it.

use super::axes::{Drawing, LEFT_MARGIN, Scale};
use super::lines::{smooth, smooth_back};
use super::published::{centre_hz, spread};
use std::fmt::Write;

/// Frequencies of the grid lines, Hz.
pub(super) const GRID_HZ: [f32; 9] = [63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16_000.0];

/// Horizontal position of a frequency. The axis spans the lower edge of the 63 Hz band to the upper edge of the 16 kHz
/// band.
pub(super) fn frequency_x(hz: f32, drawing: &Drawing) -> f32 {
    LEFT_MARGIN + (hz.max(1.0).log10() - 1.75) / 2.5 * (drawing.right() - LEFT_MARGIN)
}

/// Runs of neighbouring bands that have a level.
fn runs(levels: &[Option<f32>; 25]) -> Vec<Vec<(usize, f32)>> {
    let mut runs = vec![Vec::new()];
    for (band, level) in levels.iter().enumerate() {
        match (level, runs.last_mut()) {
            (Some(level), Some(run)) => run.push((band, *level)),
            (None, Some(run)) if !run.is_empty() => runs.push(Vec::new()),
            _ => {}
        }
    }
    runs.retain(|run| !run.is_empty());
    runs
}

/// Draws the band of ± one standard deviation of speakers around published speech.
pub(super) fn speaker_spread_band(drawing: &mut Drawing, scale: &Scale, clip: &str) {
    let edge = |sign: f32, drawing: &Drawing| -> Vec<(f32, f32)> {
        spread().map(|(band, sd)| (frequency_x(centre_hz(band), drawing), scale.y(sign * sd))).collect()
    };
    let under: Vec<_> = edge(-1.0, drawing).into_iter().rev().collect();
    let outline = format!("{}{}Z", smooth(&edge(1.0, drawing)), smooth_back(&under));
    drawing.path("band", &outline, clip);
}

/// Draws third-octave levels as steps.
pub(super) fn steps(drawing: &mut Drawing, levels: &[Option<f32>; 25], scale: &Scale, class: &str, clip: &str) {
    for run in runs(levels) {
        let mut path = String::new();
        for (band, level) in run {
            let from = frequency_x(centre_hz(band) * 10f32.powf(-0.05), drawing);
            let to = frequency_x(centre_hz(band) * 10f32.powf(0.05), drawing);
            let start = if path.is_empty() { 'M' } else { 'L' };
            let _ = write!(path, "{start}{from:.1} {0:.1}H{to:.1}", scale.y(level));
        }
        drawing.path(class, &path, clip);
    }
}

/// Draws third-octave levels as a curve through the band centres.
pub(super) fn curve(drawing: &mut Drawing, levels: &[Option<f32>; 25], scale: &Scale, class: &str, clip: &str) {
    for run in runs(levels) {
        let points: Vec<_> =
            run.iter().map(|&(band, level)| (frequency_x(centre_hz(band), drawing), scale.y(level))).collect();
        drawing.path(class, &smooth(&points), clip);
    }
}

/// Horizontal position and level of every third octave; a missing level is 0 dB.
pub(super) fn band_points(levels: &[Option<f32>; 25], drawing: &Drawing) -> Vec<(f32, f32)> {
    let place = |(band, level): (usize, &Option<f32>)| (frequency_x(centre_hz(band), drawing), level.unwrap_or(0.0));
    levels.iter().enumerate().map(place).collect()
}

/// Half the drawn width of a third octave.
pub(super) fn half_band(drawing: &Drawing) -> f32 {
    (drawing.right() - LEFT_MARGIN) / 50.0
}
