//! Marks for values off the scale.

use super::axes::{CHARACTER_WIDTH, Drawing, LEFT_MARGIN, Scale};
use crate::report::text::signed;
use std::fmt::Write;

/// Run of neighbouring points beyond one end of a scale.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct OffScaleRun {
    pub(super) from: f32,
    pub(super) to: f32,
    /// Most extreme value.
    pub(super) value: f32,
}

/// Runs of neighbouring points beyond one end of the scale, by more than 0.5 dB.
pub(super) fn off_scale_runs(points: &[(f32, f32)], scale: &Scale) -> Vec<OffScaleRun> {
    let mut runs: Vec<OffScaleRun> = Vec::new();
    let mut side = 0;
    for &(x, value) in points {
        let now = if value > scale.high { 1 } else { -i32::from(value < scale.low) };
        match runs.last_mut() {
            Some(run) if now != 0 && now == side => {
                run.to = x;
                if value.abs() > run.value.abs() {
                    run.value = value;
                }
            }
            _ if now != 0 => runs.push(OffScaleRun { from: x, to: x, value }),
            _ => {}
        }
        side = now;
    }
    runs.retain(|run| run.value > scale.high + 0.5 || run.value < scale.low - 0.5);
    runs
}

/// Draws a mark with the value of every run: inside the run if it fits, otherwise beside it towards the middle. Marks
/// do not overlap. `half` is half the width of one point.
pub(super) fn mark_off_scale(
    drawing: &mut Drawing,
    scale: &Scale,
    half: f32,
    marks: &[(&str, &str, Vec<OffScaleRun>)],
) {
    let mut occupied: Vec<(f32, f32, f32)> = Vec::new();
    for (class, word, runs) in marks {
        for run in runs {
            let up = run.value > scale.high;
            let label = format!("{word}{}", signed(f64::from(run.value), 0));
            let length = (label.chars().count() as f32) * CHARACTER_WIDTH + 12.0;
            let (from, to) = (run.from - half, run.to + half);
            let start = if to - from >= length + 8.0 {
                from + 4.0
            } else if from + to > LEFT_MARGIN + drawing.right() {
                from - length - 6.0
            } else {
                // A line returns into view at a slant and needs more room than a step.
                to + if half > 0.0 { 8.0 } else { 24.0 }
            };
            let start = start.clamp(LEFT_MARGIN + 4.0, drawing.right() - length - 2.0);
            let mut row = if up { scale.top + 13.0 } else { scale.bottom - 5.0 };
            while occupied.iter().any(|&(from, to, at)| start < to && start + length > from && (at - row).abs() < 12.0)
            {
                row += if up { 15.0 } else { -15.0 };
            }
            occupied.push((start, start + length + 4.0, row));
            let triangle = if up {
                format!("M{start:.1} {:.1}l4 -8l4 8z", row - 0.5)
            } else {
                format!("M{start:.1} {:.1}l4 8l4 -8z", row - 8.5)
            };
            let _ = write!(drawing.body, r#"<path class="{class}" d="{triangle}"/>"#);
            drawing.text("label halo", (start + 12.0, row), "start", &label);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn off_scale_points_are_grouped_into_runs() {
        let scale = Scale { high: 12.0, low: -12.0, top: 0.0, bottom: 100.0 };
        let line = [(0.0, 13.0), (1.0, 15.0), (2.0, 0.0), (3.0, -20.0), (4.0, -13.0), (5.0, 14.0)];
        let run = |from, to, value| OffScaleRun { from, to, value };
        assert_eq!(off_scale_runs(&line, &scale), [run(0.0, 1.0, 15.0), run(3.0, 4.0, -20.0), run(5.0, 5.0, 14.0)]);
        assert_eq!(off_scale_runs(&[(0.0, 12.3)], &scale), []);
    }
}
