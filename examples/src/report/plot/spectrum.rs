//! Plot of the voice against published speech and of the strip's response, over frequency.

use super::axes::{Drawing, LEFT_MARGIN, Scale};
use super::frequency::{GRID_HZ, band_points, curve, frequency_x, half_band, speaker_spread_band, steps};
use super::lines::{MAX_POINTS, decimate, straight};
use super::off_scale::{mark_off_scale, off_scale_runs};
use super::published::{PUBLISHED_SPEECH, deviation_from_published};
use crate::report::text::{hertz, signed};
use std::fmt::Write;

/// Contents of the frequency plot.
pub(in crate::report) struct SpectrumPlot<'a> {
    /// Third-octave levels of the recording.
    pub before: &'a [(f32, f32)],
    /// Third-octave levels of the processed voice.
    pub after: &'a [(f32, f32)],
    /// Response of the strip.
    pub response: &'a [(f32, f32)],
    /// Active bands as points on the response.
    pub bands: &'a [(f32, f32)],
    /// Median pitch, Hz, if available.
    pub pitch_hz: Option<f64>,
}

/// Layout: the voice above, the response below it on the same frequency axis.
struct Layout {
    narrow: bool,
    voice: Scale,
    response: Scale,
}

impl Layout {
    fn new(response: &[(f32, f32)], width: f32) -> Self {
        let narrow = width < 500.0;
        let (upper, lower) = if narrow { (176.0, 96.0) } else { (216.0, 120.0) };
        let voice = Scale { high: 12.0, low: -12.0, top: 8.0, bottom: 8.0 + upper };
        let peak = response
            .iter()
            .filter(|(hz, _)| (100.0..12_000.0).contains(hz))
            .fold(0.0f32, |most, (_, db)| most.max(db.abs()));
        let range = [6.0, 12.0, 18.0].into_iter().find(|range| peak <= *range).unwrap_or(24.0);
        let below = voice.bottom + 32.0;
        Self { narrow, voice, response: Scale { high: range, low: -range, top: below, bottom: below + lower } }
    }
}

/// Draws the voice against published speech and, below it on the same axis, the strip's response.
pub(in crate::report) fn spectrum_plot(
    shown: &SpectrumPlot<'_>,
    voice: &str,
    class: &str,
    id: &str,
    width: f32,
) -> String {
    let mut drawing = Drawing::new(width);
    let layout = Layout::new(shown.response, width);
    let (clip, response_clip) = (format!("{id}-c"), format!("{id}-r"));
    drawing.clip(&clip, layout.voice.top, layout.voice.bottom);
    drawing.clip(&response_clip, layout.response.top, layout.response.bottom);
    // The spread band is drawn first, the grid over it.
    speaker_spread_band(&mut drawing, &layout.voice, &clip);
    frequency_grid(&mut drawing, &layout);
    level_grid(&mut drawing, &layout);
    let before = deviation_from_published(shown.before, shown.pitch_hz);
    let after = deviation_from_published(shown.after, shown.pitch_hz);
    voice_lines(&mut drawing, &layout.voice, &before, &after, &clip);
    response_line(&mut drawing, &layout.response, shown, &response_clip);
    let title = format!("{voice}: spectrum against published speech, and the response of the strip");
    let height = layout.response.bottom + 24.0;
    drawing.finish(class, id, height, &title, &describe(&before, &after, shown.response))
}

fn frequency_grid(drawing: &mut Drawing, layout: &Layout) {
    let below = layout.response.bottom + 16.0;
    for hz in GRID_HZ {
        let x = frequency_x(hz, drawing);
        for scale in [&layout.voice, &layout.response] {
            drawing.line("rule", (x, scale.top), (x, scale.bottom));
        }
        if hz < 16_000.0 && (!layout.narrow || [63.0, 250.0, 1000.0, 4000.0].contains(&hz)) {
            drawing.text("label", (x, below), "middle", &hertz(f64::from(hz)));
        }
    }
    drawing.text("label", (drawing.right(), below), "end", "16k Hz");
}

fn level_grid(drawing: &mut Drawing, layout: &Layout) {
    let right = drawing.right();
    for scale in [&layout.voice, &layout.response] {
        for (index, part) in [1.0, 0.5, 0.0, -0.5, -1.0].into_iter().enumerate() {
            let db = part * scale.high;
            let y = scale.y(db);
            drawing.line(if db == 0.0 { "axis" } else { "rule" }, (LEFT_MARGIN, y), (right, y));
            if index % 2 == 0 || scale.bottom - scale.top > 150.0 {
                drawing.text("value", (LEFT_MARGIN - 8.0, y + 4.0), "end", &signed(f64::from(db), 0));
            }
        }
    }
}

/// Draws the recording as steps, the processed voice as a curve, and marks for values off the scale.
fn voice_lines(
    drawing: &mut Drawing,
    scale: &Scale,
    before: &[Option<f32>; 25],
    after: &[Option<f32>; 25],
    clip: &str,
) {
    steps(drawing, before, scale, "before", clip);
    curve(drawing, after, scale, "after", clip);
    let marks = [
        ("before-mark", "before ", off_scale_runs(&band_points(before, drawing), scale)),
        ("after-mark", "after ", off_scale_runs(&band_points(after, drawing), scale)),
    ];
    let half = half_band(drawing);
    mark_off_scale(drawing, scale, half, &marks);
}

/// Draws the response of the strip, with a diamond for every active band.
fn response_line(drawing: &mut Drawing, scale: &Scale, shown: &SpectrumPlot<'_>, clip: &str) {
    let line: Vec<(f32, f32)> = shown
        .response
        .iter()
        .filter(|(hz, db)| db.is_finite() && (56.0..=17_800.0).contains(hz))
        .map(|&(hz, db)| (frequency_x(hz, drawing), db))
        .collect();
    let line = decimate(&line, MAX_POINTS);
    let pixels: Vec<_> = line.iter().map(|&(x, db)| (x, scale.y(db))).collect();
    drawing.path("after", &straight(&pixels), clip);
    mark_off_scale(drawing, scale, 0.0, &[("after-mark", "", off_scale_runs(&line, scale))]);
    for &(hz, db) in shown.bands.iter().filter(|(_, db)| db.is_finite() && db.abs() <= scale.high) {
        drawing.diamond(frequency_x(hz, drawing), scale.y(db));
    }
}

/// Text description of the frequency plot.
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
