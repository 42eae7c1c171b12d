//! Plot of loudness and gain reduction over time.

use super::axes::{CHARACTER_WIDTH, Drawing, LEFT_MARGIN, Scale};
use super::lines::{MAX_POINTS, buckets, decimate, mean_gain, mean_power, runs_above, straight};
use crate::report::page_data::TimeSeries;
use crate::report::text::{self, clock, number};
use std::fmt::Write;

/// Line of loudness over time.
pub(in crate::report) struct LoudnessTrace<'a> {
    /// Class of the line: `before` or `after`.
    pub class: &'static str,
    /// Loudness, LUFS.
    pub series: &'a TimeSeries,
}

/// Gain reduction of a stage over time.
pub(in crate::report) struct ReductionTrace<'a> {
    /// Display name of the stage.
    pub name: String,
    /// Gain, dB. Gain reduction is negative.
    pub gain: &'a TimeSeries,
}

/// Contents of the time plot.
pub(in crate::report) struct TimePlot<'a> {
    /// Lines of loudness.
    pub loudness: Vec<LoudnessTrace<'a>>,
    /// Target loudness, LUFS.
    pub target: Option<f32>,
    /// Gain reductions of the dynamic stages.
    pub reductions: Vec<ReductionTrace<'a>>,
    /// Start and length of the excerpt that the page plays, s.
    pub excerpt: Option<(f32, f32)>,
    /// Length of the recording, s.
    pub duration_s: f32,
}

fn points(series: &TimeSeries) -> Vec<(f32, f32)> {
    series
        .seconds
        .iter()
        .copied()
        .zip(series.values.iter().copied())
        .filter(|(seconds, _)| seconds.is_finite())
        .collect()
}

/// Round step for at most `most` time labels, s.
fn time_step(duration_s: f32, most: f32) -> f32 {
    const STEPS: [f32; 16] =
        [0.5, 1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0, 7200.0, 14_400.0];
    STEPS.into_iter().find(|step| duration_s / step <= most).unwrap_or(duration_s / most)
}

/// Time axis across the plot area.
struct TimeAxis {
    right: f32,
    duration_s: f32,
    narrow: bool,
    /// Maximum number of points per line.
    most: usize,
    /// Number of buckets of a long series, each three units wide.
    count: usize,
}

impl TimeAxis {
    fn new(drawing: &Drawing, duration_s: f32) -> Self {
        let right = drawing.right();
        Self {
            right,
            duration_s: if duration_s.is_finite() { duration_s.max(0.1) } else { 0.1 },
            narrow: drawing.width < 500.0,
            most: MAX_POINTS.min((2.0 * (right - LEFT_MARGIN)) as usize),
            count: ((right - LEFT_MARGIN) / 3.0) as usize,
        }
    }

    fn x(&self, seconds: f32) -> f32 {
        LEFT_MARGIN + (seconds / self.duration_s).clamp(0.0, 1.0) * (self.right - LEFT_MARGIN)
    }

    /// Whether a series is too long for single values and is shown as mean and range of buckets.
    fn is_too_long(&self, line: &Points) -> bool {
        line.all.len() > 2 * self.most
    }
}

/// Points of a series, complete and decimated.
struct Points {
    all: Vec<(f32, f32)>,
    reduced: Vec<(f32, f32)>,
}

impl Points {
    fn new(series: &TimeSeries, axis: &TimeAxis) -> Self {
        let all = points(series);
        Self { reduced: decimate(&all, axis.most), all }
    }
}

/// Draws loudness over time and, below it, the gain reduction of each stage.
pub(in crate::report) fn time_plot(shown: &TimePlot<'_>, title: &str, class: &str, id: &str, width: f32) -> String {
    let mut drawing = Drawing::new(width);
    let axis = TimeAxis::new(&drawing, shown.duration_s);
    let lines: Vec<_> = shown.loudness.iter().map(|line| (line.class, Points::new(line.series, &axis))).collect();
    let gains: Vec<_> = shown.reductions.iter().map(|reduction| Points::new(reduction.gain, &axis)).collect();
    let dense = lines.iter().any(|(_, line)| axis.is_too_long(line));
    let above_plot = if dense { 16.0 } else { 0.0 };
    let top = above_plot + if shown.excerpt.is_some() { 24.0 } else { 8.0 };
    let scale = loudness_scale(&lines, shown.target, top, if axis.narrow { 140.0 } else { 168.0 });
    let subplots = reduction_scales(&gains, scale.bottom);
    let bottom = subplots.last().map_or(scale.bottom, |subplot| subplot.bottom);

    time_grid(&mut drawing, &axis, &scale, &subplots, bottom);
    level_grid(&mut drawing, &axis, &scale);
    let clip = format!("{id}-c");
    drawing.clip(&clip, scale.top, scale.bottom + 1.0);
    for (class, line) in &lines {
        loudness(&mut drawing, &axis, &scale, class, line, &clip);
    }
    if dense {
        drawing.text("label", (axis.right, 10.0), "end", &bucket_caption(&axis));
    }
    if let Some(level) = shown.target {
        let y = scale.y(level);
        drawing.line("target", (LEFT_MARGIN, y), (axis.right, y));
    }
    if let Some(excerpt) = shown.excerpt {
        bracket(&mut drawing, &axis, excerpt, above_plot);
    }
    for ((subplot, reduction), gain) in subplots.iter().zip(&shown.reductions).zip(&gains) {
        draw_reduction(&mut drawing, &axis, subplot, &reduction.name, gain, &format!("{id}-s{:.0}", subplot.top));
    }
    drawing.finish(class, id, bottom + 24.0, title, &describe(&lines, axis.duration_s))
}

/// Scale from the highest value, rounded up to 6 dB, down to a level that 99 % of the values exceed.
fn loudness_scale(lines: &[(&str, Points)], target: Option<f32>, top: f32, height: f32) -> Scale {
    let levels = || lines.iter().flat_map(|(_, line)| line.reduced.iter().map(|point| point.1));
    let loudest = levels().chain(target).filter(|level| level.is_finite()).fold(f32::NEG_INFINITY, f32::max);
    let high = if loudest.is_finite() { ((loudest + 1.0) / 6.0).ceil() * 6.0 } else { 0.0 };
    let mut seen: Vec<f32> = levels().filter(|level| *level > high - 42.0).collect();
    seen.sort_by(f32::total_cmp);
    let quiet = seen.get(seen.len() / 100).map_or(high - 24.0, |level| (level / 6.0).floor() * 6.0);
    Scale { high, low: quiet.clamp(high - 42.0, high - 24.0), top, bottom: top + height }
}

/// Scales of the gain-reduction subplots below the loudness, all with the same range.
fn reduction_scales(gains: &[Points], below: f32) -> Vec<Scale> {
    let values = gains.iter().flat_map(|gain| &gain.reduced);
    let max_reduction_db = values.map(|point| -point.1).filter(|db| db.is_finite()).fold(0.0f32, f32::max);
    let range = [3.0, 6.0, 9.0, 12.0, 18.0, 24.0].into_iter().find(|range| max_reduction_db <= *range).unwrap_or(36.0);
    let subplot = |at: usize| {
        let top = below + 36.0 + 68.0 * at as f32;
        Scale { high: 0.0, low: -range, top, bottom: top + 40.0 }
    };
    (0..gains.len()).map(subplot).collect()
}

/// Vertical grid lines at round times through all scales, with time labels below.
fn time_grid(drawing: &mut Drawing, axis: &TimeAxis, scale: &Scale, subplots: &[Scale], bottom: f32) {
    let step = time_step(axis.duration_s, (axis.right - LEFT_MARGIN) / 76.0);
    let unit = if axis.duration_s >= 3600.0 { "h:min:s" } else { "min:s" };
    let unit_from = axis.right - unit.len() as f32 * CHARACTER_WIDTH - 8.0;
    let mut at = 0.0;
    while at <= axis.duration_s {
        let place = axis.x(at);
        for scale in std::iter::once(scale).chain(subplots) {
            drawing.line("rule", (place, scale.top), (place, scale.bottom));
        }
        let label = if step < 1.0 { number(f64::from(at), 1) } else { clock(f64::from(at)) };
        if place + label.len() as f32 * CHARACTER_WIDTH / 2.0 < unit_from {
            drawing.text("value", (place, bottom + 16.0), "middle", &label);
        }
        at += step;
    }
    drawing.text("label", (axis.right, bottom + 16.0), "end", unit);
}

/// Horizontal grid lines every 6 dB.
fn level_grid(drawing: &mut Drawing, axis: &TimeAxis, scale: &Scale) {
    let ticks = ((scale.high - scale.low) / 6.0).round() as usize;
    for tick in 0..=ticks {
        let level = scale.high - 6.0 * tick as f32;
        let y = scale.y(level);
        drawing.line("rule", (LEFT_MARGIN, y), (axis.right, y));
        if tick % 2 == 1 || ticks < 6 {
            drawing.text("value", (LEFT_MARGIN - 8.0, y + 4.0), "end", &number(f64::from(level), 0));
        }
    }
}

/// Draws a line of loudness, interrupted in pauses. A long series is drawn as its mean over a shaded range.
fn loudness(drawing: &mut Drawing, axis: &TimeAxis, scale: &Scale, class: &str, line: &Points, clip: &str) {
    let line = if axis.is_too_long(line) {
        let parts = buckets(&line.all, axis.count, mean_power);
        let mut range: Vec<_> = parts.iter().map(|part| (axis.x(part.seconds), scale.y(part.highest))).collect();
        range.extend(parts.iter().rev().map(|part| (axis.x(part.seconds), scale.y(part.lowest))));
        drawing.path(&format!("{class}-range"), &(straight(&range) + "Z"), clip);
        &parts.iter().map(|part| (part.seconds, part.mean)).collect()
    } else {
        &line.reduced
    };
    let mut path = String::new();
    for part in runs_above(line, scale.low) {
        let pixels: Vec<_> = part.iter().map(|&(seconds, level)| (axis.x(seconds), scale.y(level))).collect();
        path.push_str(&straight(&pixels));
    }
    drawing.path(class, &path, clip);
}

/// Caption for bucketed series.
fn bucket_caption(axis: &TimeAxis) -> String {
    let each = text::length(f64::from(axis.duration_s) / axis.count as f64);
    if axis.narrow {
        format!("lines: mean of {each}; shade: range")
    } else {
        format!("lines: mean of every {each}; shade: from lowest to highest")
    }
}

/// Bracket above the excerpt that the page plays.
fn bracket(drawing: &mut Drawing, axis: &TimeAxis, (start, seconds): (f32, f32), above_plot: f32) {
    let (from, to) = (axis.x(start), axis.x(start + seconds).max(axis.x(start) + 2.0));
    let _ = write!(drawing.body, r#"<path class="bracket" d="M{from:.1} {0:.1}v-5H{to:.1}v5"/>"#, above_plot + 20.0);
    let label = "excerpt to listen to";
    let length = label.len() as f32 * CHARACTER_WIDTH;
    if from + length < axis.right {
        drawing.text("label", (from, above_plot + 10.0), "start", label);
    } else {
        drawing.text("label", (to, above_plot + 10.0), "end", label);
    }
}

/// Draws the gain reduction of a stage as an area below the 0 dB line.
fn draw_reduction(drawing: &mut Drawing, axis: &TimeAxis, subplot: &Scale, name: &str, gain: &Points, clip: &str) {
    drawing.clip(clip, subplot.top, subplot.bottom);
    drawing.text("label", (LEFT_MARGIN, subplot.top - 6.0), "start", name);
    drawing.text("label", (axis.right, subplot.top - 6.0), "end", &max_reduction_text(&gain.reduced));
    let mut area = |class: &str, gains: &[(f32, f32)]| {
        if let (Some(first), Some(last)) = (gains.first(), gains.last()) {
            let mut path = format!("M{:.1} {:.1}", axis.x(first.0), subplot.top);
            for &(seconds, db) in gains {
                let db = if db.is_nan() { 0.0 } else { db.min(0.0) };
                let _ = write!(path, "L{:.1} {:.1}", axis.x(seconds), subplot.y(db));
            }
            let _ = write!(path, "L{:.1} {:.1}Z", axis.x(last.0), subplot.top);
            drawing.path(class, &path, clip);
        }
    };
    if axis.is_too_long(gain) {
        let parts = buckets(&gain.all, axis.count, mean_gain);
        area("cut soft", &parts.iter().map(|part| (part.seconds, part.lowest)).collect::<Vec<_>>());
        area("cut", &parts.iter().map(|part| (part.seconds, part.mean)).collect::<Vec<_>>());
    } else {
        area("cut", &gain.reduced);
    }
    drawing.line("axis", (LEFT_MARGIN, subplot.top), (axis.right, subplot.top));
    drawing.line("rule", (LEFT_MARGIN, subplot.bottom), (axis.right, subplot.bottom));
    drawing.text("value", (LEFT_MARGIN - 8.0, subplot.top + 4.0), "end", "0");
    drawing.text("value", (LEFT_MARGIN - 8.0, subplot.bottom + 4.0), "end", &number(f64::from(subplot.low), 0));
}

/// Maximum gain reduction of a stage and its time.
fn max_reduction_text(gains: &[(f32, f32)]) -> String {
    let most = gains.iter().copied().filter(|point| point.1.is_finite()).min_by(|a, b| a.1.total_cmp(&b.1));
    match most {
        Some((seconds, db)) if db < -0.05 => {
            format!("max {} dB at {}", number(f64::from(db), 1), clock(f64::from(seconds)))
        }
        _ => "no reduction".into(),
    }
}

/// Text description of the plot.
fn describe(lines: &[(&str, Points)], duration_s: f32) -> String {
    let mut words = format!("Over {}. ", text::length(f64::from(duration_s)));
    for (class, line) in lines {
        let mut levels: Vec<f32> = line.reduced.iter().map(|point| point.1).filter(|level| level.is_finite()).collect();
        levels.sort_by(f32::total_cmp);
        if let (Some(middle), Some(most)) = (levels.get(levels.len() / 2), levels.last()) {
            let (middle, most) = (number(f64::from(*middle), 1), number(f64::from(*most), 1));
            let _ = write!(words, "Loudness {class}: median {middle}, highest {most} LUFS. ");
        }
    }
    words.trim_end().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn time_ticks_are_at_round_times() {
        assert_eq!(time_step(48.0, 13.0), 5.0);
        assert_eq!(time_step(3.0 * 3600.0, 13.0), 900.0);
        assert_eq!(time_step(96.0, 3.8), 30.0);
    }
}
