//! The voice against published speech, and what the strip does, over frequency.

use super::axes::{Drawing, LEFT, Scale};
use super::beyond::{beyond, mark_beyond};
use super::lines::{MOST_POINTS, reduce, smooth, smooth_back, straight};
use super::published::{PUBLISHED_SPEECH, against_published, middle, spread};
use crate::report::text::{hertz, signed};
use std::fmt::Write;

/// The place of a frequency: from the lower edge of the 63 Hz band to the upper edge of the 16 kHz band.
pub(super) fn frequency_x(hz: f32, drawing: &Drawing) -> f32 {
    LEFT + (hz.max(1.0).log10() - 1.75) / 2.5 * (drawing.right() - LEFT)
}

/// Neighbouring bands that have a level, run by run.
pub(super) fn runs(levels: &[Option<f32>; 25]) -> Vec<Vec<(usize, f32)>> {
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

/// What the frequency drawing shows.
pub(in crate::report) struct Frequencies<'a> {
    /// Third-octave levels of the recording.
    pub before: &'a [(f32, f32)],
    /// Third-octave levels of the processed voice.
    pub after: &'a [(f32, f32)],
    /// Response of the strip.
    pub response: &'a [(f32, f32)],
    /// Places of the bands in use, on the response.
    pub bands: &'a [(f32, f32)],
    /// Median pitch, where it is known.
    pub pitch_hz: Option<f64>,
}

/// The voice against published speech and, below on the same axis, what the strip does.
pub(in crate::report) fn frequencies(
    shown: &Frequencies<'_>,
    voice: &str,
    class: &str,
    id: &str,
    width: f32,
) -> String {
    let mut drawing = Drawing::new(width);
    let narrow = width < 500.0;
    let (upper, lower) = if narrow { (176.0, 96.0) } else { (216.0, 120.0) };
    let scale = Scale { high: 12.0, low: -12.0, top: 8.0, bottom: 8.0 + upper };
    let peak = shown
        .response
        .iter()
        .filter(|(hz, _)| (100.0..12_000.0).contains(hz))
        .fold(0.0f32, |most, (_, db)| most.max(db.abs()));
    let reach = [6.0, 12.0, 18.0].into_iter().find(|reach| peak <= *reach).unwrap_or(24.0);
    let below = scale.bottom + 32.0;
    let response_scale = Scale { high: reach, low: -reach, top: below, bottom: below + lower };
    let height = response_scale.bottom + 24.0;

    // The band first, rules over it.
    let (clip, response_clip) = (format!("{id}-c"), format!("{id}-r"));
    drawing.clip(&clip, scale.top, scale.bottom);
    drawing.clip(&response_clip, response_scale.top, response_scale.bottom);
    let edge = |sign: f32| spread().map(|(band, sd)| (middle(band), sign * sd)).collect::<Vec<_>>();
    let to_pixels = |points: Vec<(f32, f32)>, drawing: &Drawing| {
        points.into_iter().map(|(hz, db)| (frequency_x(hz, drawing), scale.y(db))).collect::<Vec<_>>()
    };
    let over = to_pixels(edge(1.0), &drawing);
    let under: Vec<_> = to_pixels(edge(-1.0), &drawing).into_iter().rev().collect();
    let outline = format!("{}{}Z", smooth(&over), smooth_back(&under));
    drawing.path("band", &outline, &clip);

    for hz in [63.0f32, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16_000.0] {
        let x = frequency_x(hz, &drawing);
        drawing.line("rule", (x, scale.top), (x, scale.bottom));
        drawing.line("rule", (x, response_scale.top), (x, response_scale.bottom));
        if hz < 16_000.0 && (!narrow || [63.0, 250.0, 1000.0, 4000.0].contains(&hz)) {
            drawing.text("label", (x, response_scale.bottom + 16.0), "middle", &hertz(f64::from(hz)));
        }
    }
    let right = drawing.right();
    drawing.text("label", (right, response_scale.bottom + 16.0), "end", "16k Hz");
    for (scale, ticks) in [
        (&scale, [12.0, 6.0, 0.0, -6.0, -12.0]),
        (&response_scale, [1.0, 0.5, 0.0, -0.5, -1.0].map(|part| part * reach)),
    ] {
        for (index, db) in ticks.into_iter().enumerate() {
            let y = scale.y(db);
            drawing.line(if db == 0.0 { "axis" } else { "rule" }, (LEFT, y), (right, y));
            if index % 2 == 0 || scale.bottom - scale.top > 150.0 {
                drawing.text("value", (LEFT - 8.0, y + 4.0), "end", &signed(f64::from(db), 0));
            }
        }
    }

    let (before, after) =
        (against_published(shown.before, shown.pitch_hz), against_published(shown.after, shown.pitch_hz));
    for run in runs(&before) {
        let mut path = String::new();
        for (band, level) in run {
            let (from, to) = (
                frequency_x(middle(band) * 10f32.powf(-0.05), &drawing),
                frequency_x(middle(band) * 10f32.powf(0.05), &drawing),
            );
            let start = if path.is_empty() { 'M' } else { 'L' };
            let _ = write!(path, "{start}{from:.1} {0:.1}H{to:.1}", scale.y(level));
        }
        drawing.path("before", &path, &clip);
    }
    for run in runs(&after) {
        let points = run.iter().map(|&(band, level)| (middle(band), level)).collect();
        let points = to_pixels(points, &drawing);
        drawing.path("after", &smooth(&points), &clip);
    }
    let places = |levels: &[Option<f32>; 25], drawing: &Drawing| {
        levels
            .iter()
            .enumerate()
            .map(|(band, level)| (frequency_x(middle(band), drawing), level.unwrap_or(0.0)))
            .collect::<Vec<_>>()
    };
    let marks = [
        ("before-mark", "before ", beyond(&places(&before, &drawing), &scale)),
        ("after-mark", "after ", beyond(&places(&after, &drawing), &scale)),
    ];
    let half = (drawing.right() - LEFT) / 50.0;
    mark_beyond(&mut drawing, &scale, half, &marks);

    let line: Vec<(f32, f32)> = shown
        .response
        .iter()
        .filter(|(hz, db)| db.is_finite() && (56.0..=17_800.0).contains(hz))
        .map(|&(hz, db)| (frequency_x(hz, &drawing), db))
        .collect();
    let line = reduce(&line, MOST_POINTS);
    let pixels: Vec<_> = line.iter().map(|&(x, db)| (x, response_scale.y(db))).collect();
    drawing.path("after", &straight(&pixels), &response_clip);
    let marks = [("after-mark", "", beyond(&line, &response_scale))];
    mark_beyond(&mut drawing, &response_scale, 0.0, &marks);
    for &(hz, db) in shown.bands.iter().filter(|(_, db)| db.is_finite() && db.abs() <= reach) {
        drawing.diamond(frequency_x(hz, &drawing), response_scale.y(db));
    }

    let title = format!("{voice}: spectrum against published speech, and the response of the strip");
    drawing.finish(class, id, height, &title, &describe(&before, &after, shown.response))
}

/// The frequency drawing in words.
fn describe(before: &[Option<f32>; 25], after: &[Option<f32>; 25], response: &[(f32, f32)]) -> String {
    let mut words = String::from("Difference from published speech in decibels, before and after: ");
    for band in [1usize, 4, 7, 10, 13, 16, 19, 22] {
        let value = |levels: &[Option<f32>; 25]| signed(levels[band].map(f64::from), 0);
        let _ = write!(words, "{} Hz {} and {}; ", hertz(PUBLISHED_SPEECH[band].0), value(before), value(after));
    }
    words.push_str("response of the strip: ");
    for hz in [63.0f32, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0] {
        let nearest = response.iter().min_by(|a, b| (a.0 / hz).ln().abs().total_cmp(&(b.0 / hz).ln().abs()));
        if let Some(&(_, db)) = nearest {
            let _ = write!(words, "{} Hz {}; ", hertz(f64::from(hz)), signed(f64::from(db), 1));
        }
    }
    words.trim_end_matches("; ").to_owned() + "."
}
