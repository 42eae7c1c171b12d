//! One voice against published speech, as a drawing that stands alone, with what was found written where it is.

use super::axes::{Drawing, LEFT, LETTER, Scale};
use super::beyond::{beyond, mark_beyond};
use super::frequency::{RULES_HZ, frequency_x, half_band, places, speakers_band, steps};
use super::published::middle;
use crate::report::text::{escape, hertz, signed};
use std::fmt::Write;

/// The colours and the marks of the page.
const STYLE: &str = concat!(include_str!("../palette.css"), include_str!("../marks.css"));
const WIDTH: f32 = 800.0;
/// Height of a line of words.
const LANE: f32 = 18.0;

/// The mark that goes with a finding.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Marked {
    /// The proposal takes away here.
    Takes,
    /// The proposal gives here.
    Gives,
    /// Nothing is done about it.
    Left,
}

/// Something found at a frequency.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Finding {
    pub(crate) hz: f32,
    pub(crate) words: String,
    pub(crate) mark: Marked,
}

/// What is drawn.
pub(crate) struct VoiceDrawing<'a> {
    pub(crate) title: &'a str,
    /// A line below the title.
    pub(crate) below: &'a str,
    /// Difference from published speech, third octave by third octave.
    pub(crate) deviation_db: [Option<f32>; 25],
    pub(crate) findings: Vec<Finding>,
}

/// The drawing, as a whole SVG file.
pub(crate) fn voice_drawing(shown: &VoiceDrawing<'_>) -> String {
    let mut drawing = Drawing::new(WIDTH);
    let right = drawing.right();
    let placed = lanes(&shown.findings, &drawing);
    let lanes = placed.iter().map(|(_, _, lane)| lane + 1).max().unwrap_or(0);
    let top = 64.0 + LANE * lanes as f32;
    let scale = Scale { high: 12.0, low: -12.0, top, bottom: top + 264.0 };
    let _ = write!(
        drawing.body,
        r#"<rect width="100%" height="100%" style="fill:var(--paper)"/><text style="font-size:18px;fill:var(--ink)" x="{LEFT}" y="28">{}</text>"#,
        escape(shown.title)
    );
    drawing.text("label", (LEFT, 48.0), "start", shown.below);

    drawing.clip("inside", scale.top, scale.bottom);
    speakers_band(&mut drawing, &scale, "inside");
    for hz in RULES_HZ {
        let x = frequency_x(hz, &drawing);
        drawing.line("rule", (x, scale.top), (x, scale.bottom));
        if hz < 16_000.0 {
            drawing.text("label", (x, scale.bottom + 18.0), "middle", &hertz(f64::from(hz)));
        }
    }
    drawing.text("label", (right, scale.bottom + 18.0), "end", "16k Hz");
    for db in [12.0f32, 6.0, 0.0, -6.0, -12.0] {
        let y = scale.y(db);
        drawing.line(if db == 0.0 { "axis" } else { "rule" }, (LEFT, y), (right, y));
        drawing.text("value", (LEFT - 8.0, y + 4.0), "end", &signed(f64::from(db), 0));
    }

    steps(&mut drawing, &shown.deviation_db, &scale, "after", "inside");
    let marks = [("after-mark", "", beyond(&places(&shown.deviation_db, &drawing), &scale))];
    let half = half_band(&drawing);
    mark_beyond(&mut drawing, &scale, half, &marks);

    for (finding, start, lane) in placed {
        let x = frequency_x(finding.hz, &drawing).clamp(LEFT, right);
        let at = scale.y(near(&shown.deviation_db, finding.hz).clamp(scale.low, scale.high));
        let row = 64.0 + LANE * lane as f32;
        drawing.line("here", (x, row + 6.0), (x, at - 6.0));
        let (class, shape) = match finding.mark {
            Marked::Takes => ("takes", format!("M{x:.1} {:.1}l6 -8h-12z", at + 2.0)),
            Marked::Gives => ("gives", format!("M{x:.1} {:.1}l6 8h-12z", at - 6.0)),
            Marked::Left => ("handle", format!("M{x:.1} {:.1}l5 5l-5 5l-5 -5z", at - 5.0)),
        };
        let _ = write!(drawing.body, r#"<path class="{class}" d="{shape}"/>"#);
        drawing.text("label halo", (start, row), "start", &finding.words);
    }
    let key = scale.bottom + 44.0;
    drawing.text(
        "label",
        (LEFT, key),
        "start",
        "Difference from published average speech (Byrne et al. 1994), dB; the band is how far real speakers differ.",
    );
    drawing.text(
        "label",
        (LEFT, key + 18.0),
        "start",
        "▼ the proposal takes away   ▲ it gives   ◇ nothing is done about it",
    );
    let mut description = String::from("Difference from published speech in decibels: ");
    for band in [1usize, 4, 7, 10, 13, 16, 19, 22] {
        let value = signed(shown.deviation_db[band].map(f64::from), 0);
        let _ = write!(description, "{} Hz {value}; ", hertz(f64::from(middle(band))));
    }
    for finding in &shown.findings {
        let _ = write!(description, "{}; ", finding.words);
    }
    let description = description.trim_end_matches("; ").to_owned() + ".";
    drawing.finish_alone(key + 34.0, shown.title, &description, STYLE)
}

/// Each finding with where its words start and in which line, so that none covers another's words or leader.
fn lanes<'a>(findings: &'a [Finding], drawing: &Drawing) -> Vec<(&'a Finding, f32, usize)> {
    let mut sorted: Vec<&Finding> = findings.iter().collect();
    sorted.sort_by(|a, b| a.hz.total_cmp(&b.hz));
    let mut placed: Vec<(&Finding, f32, usize)> = Vec::new();
    // From the right: what is further left lies higher, so that leaders run clear of the words.
    let mut ends: Vec<f32> = Vec::new();
    for finding in sorted.into_iter().rev() {
        let length = finding.words.chars().count() as f32 * LETTER + 10.0;
        let start = (frequency_x(finding.hz, drawing) - 4.0).min(drawing.right() - length).max(LEFT);
        let lane = ends.iter().position(|&begins| start + length <= begins).unwrap_or(ends.len());
        if lane == ends.len() {
            ends.push(start);
        } else {
            ends[lane] = start;
        }
        placed.push((finding, start, lane));
    }
    let count = ends.len();
    for (_, _, lane) in &mut placed {
        *lane = count - 1 - *lane;
    }
    placed
}

/// The level of the third octave around a frequency; 0 where there is none.
fn near(deviation: &[Option<f32>; 25], hz: f32) -> f32 {
    let band = ((hz.max(1.0).log10() - 1.8) * 10.0).round().clamp(0.0, 24.0) as usize;
    deviation[band].unwrap_or(0.0)
}
