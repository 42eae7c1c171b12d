//! Standalone drawing of one voice against published speech, with findings labelled at their frequencies.

use super::axes::{CHARACTER_WIDTH, Drawing, LEFT_MARGIN, Scale};
use super::frequency::{GRID_HZ, band_points, frequency_x, half_band, speaker_spread_band, steps};
use super::off_scale::{mark_off_scale, off_scale_runs};
use super::published::centre_hz;
use crate::report::text::{escape, hertz, signed};
use std::fmt::Write;

/// Colours and marks of the report page.
const STYLE: &str = concat!(include_str!("../palette.css"), include_str!("../marks.css"));
const WIDTH: f32 = 800.0;
/// Height of a row of labels.
const LABEL_ROW_HEIGHT: f32 = 18.0;

/// Mark of a finding.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum FindingMark {
    /// The proposal cuts here.
    Cut,
    /// The proposal boosts here.
    Boost,
    /// The proposal leaves it unchanged.
    Unchanged,
}

/// Finding at a frequency.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Finding {
    pub(crate) hz: f32,
    pub(crate) words: String,
    pub(crate) mark: FindingMark,
}

/// Contents of the drawing.
pub(crate) struct VoiceDrawing<'a> {
    pub(crate) title: &'a str,
    /// Line below the title.
    pub(crate) below: &'a str,
    /// Deviation from published speech in third octaves, dB.
    pub(crate) deviation_db: [Option<f32>; 25],
    pub(crate) findings: Vec<Finding>,
}

/// Renders the drawing as a standalone SVG file.
pub(crate) fn voice_drawing(shown: &VoiceDrawing<'_>) -> String {
    let mut drawing = Drawing::new(WIDTH);
    let right = drawing.right();
    let placed = label_rows(&shown.findings, &drawing);
    let label_rows = placed.iter().map(|(_, _, label_row)| label_row + 1).max().unwrap_or(0);
    let top = 64.0 + LABEL_ROW_HEIGHT * label_rows as f32;
    let scale = Scale { high: 12.0, low: -12.0, top, bottom: top + 264.0 };
    let _ = write!(
        drawing.body,
        r#"<rect width="100%" height="100%" style="fill:var(--paper)"/><text style="font-size:18px;fill:var(--ink)" x="{LEFT_MARGIN}" y="28">{}</text>"#,
        escape(shown.title)
    );
    drawing.text("label", (LEFT_MARGIN, 48.0), "start", shown.below);

    drawing.clip("inside", scale.top, scale.bottom);
    speaker_spread_band(&mut drawing, &scale, "inside");
    for hz in GRID_HZ {
        let x = frequency_x(hz, &drawing);
        drawing.line("rule", (x, scale.top), (x, scale.bottom));
        if hz < 16_000.0 {
            drawing.text("label", (x, scale.bottom + 18.0), "middle", &hertz(f64::from(hz)));
        }
    }
    drawing.text("label", (right, scale.bottom + 18.0), "end", "16k Hz");
    for db in [12.0f32, 6.0, 0.0, -6.0, -12.0] {
        let y = scale.y(db);
        drawing.line(if db == 0.0 { "axis" } else { "rule" }, (LEFT_MARGIN, y), (right, y));
        drawing.text("value", (LEFT_MARGIN - 8.0, y + 4.0), "end", &signed(f64::from(db), 0));
    }

    steps(&mut drawing, &shown.deviation_db, &scale, "after", "inside");
    let marks = [("after-mark", "", off_scale_runs(&band_points(&shown.deviation_db, &drawing), &scale))];
    let half = half_band(&drawing);
    mark_off_scale(&mut drawing, &scale, half, &marks);

    for (finding, start, label_row) in placed {
        let x = frequency_x(finding.hz, &drawing).clamp(LEFT_MARGIN, right);
        let at = scale.y(near(&shown.deviation_db, finding.hz).clamp(scale.low, scale.high));
        let row = 64.0 + LABEL_ROW_HEIGHT * label_row as f32;
        drawing.line("here", (x, row + 6.0), (x, at - 6.0));
        let (class, shape) = match finding.mark {
            FindingMark::Cut => ("cut", format!("M{x:.1} {:.1}l6 -8h-12z", at + 2.0)),
            FindingMark::Boost => ("boost", format!("M{x:.1} {:.1}l6 8h-12z", at - 6.0)),
            FindingMark::Unchanged => ("handle", format!("M{x:.1} {:.1}l5 5l-5 5l-5 -5z", at - 5.0)),
        };
        let _ = write!(drawing.body, r#"<path class="{class}" d="{shape}"/>"#);
        drawing.text("label halo", (start, row), "start", &finding.words);
    }
    let key = scale.bottom + 44.0;
    drawing.text(
        "label",
        (LEFT_MARGIN, key),
        "start",
        "Difference from published average speech (Byrne et al. 1994), dB; the band shows the spread of real speakers.",
    );
    drawing.text("label", (LEFT_MARGIN, key + 18.0), "start", "▼ the proposal cuts   ▲ it boosts   ◇ left unchanged");
    let mut description = String::from("Difference from published speech in decibels: ");
    for band in [1usize, 4, 7, 10, 13, 16, 19, 22] {
        let value = signed(shown.deviation_db[band].map(f64::from), 0);
        let _ = write!(description, "{} Hz {value}; ", hertz(f64::from(centre_hz(band))));
    }
    for finding in &shown.findings {
        let _ = write!(description, "{}; ", finding.words);
    }
    let description = description.trim_end_matches("; ").to_owned() + ".";
    drawing.finish_standalone(key + 34.0, shown.title, &description, STYLE)
}

/// Findings with the start and row of their labels, placed so that no label covers another label or leader line.
fn label_rows<'a>(findings: &'a [Finding], drawing: &Drawing) -> Vec<(&'a Finding, f32, usize)> {
    let mut sorted: Vec<&Finding> = findings.iter().collect();
    sorted.sort_by(|a, b| a.hz.total_cmp(&b.hz));
    let mut placed: Vec<(&Finding, f32, usize)> = Vec::new();
    // Placed from the right: labels further left are in higher rows, so that leader lines stay clear of the text.
    let mut ends: Vec<f32> = Vec::new();
    for finding in sorted.into_iter().rev() {
        let length = finding.words.chars().count() as f32 * CHARACTER_WIDTH + 10.0;
        let start = (frequency_x(finding.hz, drawing) - 4.0).min(drawing.right() - length).max(LEFT_MARGIN);
        let label_row = ends.iter().position(|&begins| start + length <= begins).unwrap_or(ends.len());
        if label_row == ends.len() {
            ends.push(start);
        } else {
            ends[label_row] = start;
        }
        placed.push((finding, start, label_row));
    }
    let count = ends.len();
    for (_, _, label_row) in &mut placed {
        *label_row = count - 1 - *label_row;
    }
    placed
}

/// Deviation of the third octave around a frequency, dB; 0 if it has none.
fn near(deviation: &[Option<f32>; 25], hz: f32) -> f32 {
    let band = ((hz.max(1.0).log10() - 1.8) * 10.0).round().clamp(0.0, 24.0) as usize;
    deviation[band].unwrap_or(0.0)
}
