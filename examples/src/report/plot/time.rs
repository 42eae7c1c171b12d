//! Loudness over time, and what the dynamic stages took away.

use super::axes::{Drawing, LEFT, LETTER, Scale};
use super::lines::{MOST_POINTS, above, mean_gain, mean_power, reduce, straight, stretches};
use crate::report::page::TimeSeries;
use crate::report::text::{self, clock, number};
use std::fmt::Write;

/// A line over time.
pub(in crate::report) struct Line<'a> {
    /// Class of the line: `before` or `after`.
    pub class: &'static str,
    /// Its values.
    pub series: &'a TimeSeries,
}

/// What a stage took away over time.
pub(in crate::report) struct Taken<'a> {
    /// The stage's name for the eye.
    pub name: String,
    /// Gain in dB, negative where something is taken away.
    pub gain: &'a TimeSeries,
}

/// What the time drawing shows.
pub(in crate::report) struct Times<'a> {
    /// Loudness.
    pub loudness: Vec<Line<'a>>,
    /// A level to compare with.
    pub target: Option<f32>,
    /// Dynamic stages.
    pub taken: Vec<Taken<'a>>,
    /// Start and length of the excerpt that the page plays.
    pub excerpt: Option<(f32, f32)>,
    /// Length of the recording.
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

/// A step that gives at most `most` marks.
fn time_step(duration_s: f32, most: f32) -> f32 {
    const STEPS: [f32; 16] =
        [0.5, 1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0, 7200.0, 14_400.0];
    STEPS.into_iter().find(|step| duration_s / step <= most).unwrap_or(duration_s / most)
}

/// Loudness over time and, below, what was taken away.
pub(in crate::report) fn times(shown: &Times<'_>, title: &str, class: &str, id: &str, width: f32) -> String {
    let mut drawing = Drawing::new(width);
    let right = drawing.right();
    let most_points = MOST_POINTS.min((2.0 * (right - LEFT)) as usize);
    let duration = if shown.duration_s.is_finite() { shown.duration_s.max(0.1) } else { 0.1 };
    let x = |seconds: f32| LEFT + (seconds / duration).clamp(0.0, 1.0) * (right - LEFT);
    let raw: Vec<_> = shown.loudness.iter().map(|line| (line.class, points(line.series))).collect();
    let lines: Vec<_> = raw.iter().map(|(class, line)| (*class, reduce(line, most_points))).collect();
    // A series that is too long for single values is shown as mean and range of stretches three units wide.
    let count = ((right - LEFT) / 3.0) as usize;
    let long = |length: usize| length > 2 * most_points;
    let dense = raw.iter().any(|(_, line)| long(line.len()));
    let loudest = lines
        .iter()
        .flat_map(|(_, line)| line.iter().map(|point| point.1))
        .chain(shown.target)
        .filter(|level| level.is_finite())
        .fold(f32::NEG_INFINITY, f32::max);
    let high = if loudest.is_finite() { ((loudest + 1.0) / 6.0).ceil() * 6.0 } else { 0.0 };
    let above_plot = if dense { 16.0 } else { 0.0 };
    let top = above_plot + if shown.excerpt.is_some() { 24.0 } else { 8.0 };
    let plot = if width < 500.0 { 140.0 } else { 168.0 };
    let mut seen: Vec<f32> = lines
        .iter()
        .flat_map(|(_, line)| line.iter().map(|point| point.1))
        .filter(|level| *level > high - 42.0)
        .collect();
    seen.sort_by(f32::total_cmp);
    let quiet = seen.get(seen.len() / 100).map_or(high - 24.0, |level| (level / 6.0).floor() * 6.0);
    let low = quiet.clamp(high - 42.0, high - 24.0);
    let scale = Scale { high, low, top, bottom: top + plot };

    let gains: Vec<_> = shown.taken.iter().map(|taken| reduce(&points(taken.gain), most_points)).collect();
    let deepest = gains.iter().flatten().map(|point| -point.1).filter(|db| db.is_finite()).fold(0.0f32, f32::max);
    let reach = [3.0, 6.0, 9.0, 12.0, 18.0, 24.0].into_iter().find(|reach| deepest <= *reach).unwrap_or(36.0);
    let strips: Vec<_> = (0..gains.len())
        .map(|at| {
            let top = scale.bottom + 36.0 + 68.0 * at as f32;
            Scale { high: 0.0, low: -reach, top, bottom: top + 40.0 }
        })
        .collect();
    let bottom = strips.last().map_or(scale.bottom, |strip| strip.bottom);

    // Rules and scales.
    let step = time_step(duration, (right - LEFT) / 76.0);
    let unit = if duration >= 3600.0 { "h:min:s" } else { "min:s" };
    let unit_from = right - unit.len() as f32 * LETTER - 8.0;
    let mut at = 0.0;
    while at <= duration {
        let place = x(at);
        for scale in std::iter::once(&scale).chain(&strips) {
            drawing.line("rule", (place, scale.top), (place, scale.bottom));
        }
        let label = if step < 1.0 { number(f64::from(at), 1) } else { clock(f64::from(at)) };
        if place + label.len() as f32 * LETTER / 2.0 < unit_from {
            drawing.text("value", (place, bottom + 16.0), "middle", &label);
        }
        at += step;
    }
    drawing.text("label", (right, bottom + 16.0), "end", unit);
    let ticks = ((high - low) / 6.0).round() as usize;
    for tick in 0..=ticks {
        let level = high - 6.0 * tick as f32;
        let y = scale.y(level);
        drawing.line("rule", (LEFT, y), (right, y));
        if tick % 2 == 1 || ticks < 6 {
            drawing.text("value", (LEFT - 8.0, y + 4.0), "end", &number(f64::from(level), 0));
        }
    }

    // Loudness.
    let clip = format!("{id}-c");
    drawing.clip(&clip, scale.top, scale.bottom + 1.0);
    for ((class, line), (_, all)) in lines.iter().zip(&raw) {
        let line = if long(all.len()) {
            let parts = stretches(all, count, mean_power);
            let mut range: Vec<_> = parts.iter().map(|part| (x(part.seconds), scale.y(part.highest))).collect();
            range.extend(parts.iter().rev().map(|part| (x(part.seconds), scale.y(part.lowest))));
            drawing.path(&format!("{class}-range"), &(straight(&range) + "Z"), &clip);
            &parts.iter().map(|part| (part.seconds, part.mean)).collect()
        } else {
            line
        };
        let mut path = String::new();
        for part in above(line, scale.low) {
            let pixels: Vec<_> = part.iter().map(|&(seconds, level)| (x(seconds), scale.y(level))).collect();
            path.push_str(&straight(&pixels));
        }
        drawing.path(class, &path, &clip);
    }
    if dense {
        let each = text::length(f64::from(duration) / count as f64);
        let words = if width < 500.0 {
            format!("lines: mean of {each}; shade: range")
        } else {
            format!("lines: mean of every {each}; shade: from lowest to highest")
        };
        drawing.text("label", (right, 10.0), "end", &words);
    }
    if let Some(level) = shown.target {
        let y = scale.y(level);
        drawing.line("target", (LEFT, y), (right, y));
    }
    if let Some((start, seconds)) = shown.excerpt {
        let (from, to) = (x(start), x(start + seconds).max(x(start) + 2.0));
        let _ =
            write!(drawing.body, r#"<path class="bracket" d="M{from:.1} {0:.1}v-5H{to:.1}v5"/>"#, above_plot + 20.0);
        let label = "excerpt to listen to";
        let length = label.len() as f32 * LETTER;
        if from + length < right {
            drawing.text("label", (from, above_plot + 10.0), "start", label);
        } else {
            drawing.text("label", (to, above_plot + 10.0), "end", label);
        }
    }

    // What was taken away.
    for ((strip, taken), line) in strips.iter().zip(&shown.taken).zip(&gains) {
        let clip = format!("{id}-s{:.0}", strip.top);
        drawing.clip(&clip, strip.top, strip.bottom);
        let most = line.iter().copied().filter(|point| point.1.is_finite()).min_by(|a, b| a.1.total_cmp(&b.1));
        let words = match most {
            Some((seconds, db)) if db < -0.05 => {
                format!("most {} dB at {}", number(f64::from(db), 1), clock(f64::from(seconds)))
            }
            _ => "took nothing".into(),
        };
        drawing.text("label", (LEFT, strip.top - 6.0), "start", &taken.name);
        drawing.text("label", (right, strip.top - 6.0), "end", &words);
        let mut area = |class: &str, gains: &[(f32, f32)]| {
            if let (Some(first), Some(last)) = (gains.first(), gains.last()) {
                let mut path = format!("M{:.1} {:.1}", x(first.0), strip.top);
                for &(seconds, db) in gains {
                    let db = if db.is_nan() { 0.0 } else { db.min(0.0) };
                    let _ = write!(path, "L{:.1} {:.1}", x(seconds), strip.y(db));
                }
                let _ = write!(path, "L{:.1} {:.1}Z", x(last.0), strip.top);
                drawing.path(class, &path, &clip);
            }
        };
        let all = points(taken.gain);
        if long(all.len()) {
            let parts = stretches(&all, count, mean_gain);
            area("takes soft", &parts.iter().map(|part| (part.seconds, part.lowest)).collect::<Vec<_>>());
            area("takes", &parts.iter().map(|part| (part.seconds, part.mean)).collect::<Vec<_>>());
        } else {
            area("takes", line);
        }
        drawing.line("axis", (LEFT, strip.top), (right, strip.top));
        drawing.line("rule", (LEFT, strip.bottom), (right, strip.bottom));
        drawing.text("value", (LEFT - 8.0, strip.top + 4.0), "end", "0");
        drawing.text("value", (LEFT - 8.0, strip.bottom + 4.0), "end", &number(-f64::from(reach), 0));
    }

    let mut description = format!("Over {}. ", text::length(f64::from(duration)));
    for (class, line) in &lines {
        let mut levels: Vec<f32> = line.iter().map(|point| point.1).filter(|level| level.is_finite()).collect();
        levels.sort_by(f32::total_cmp);
        if let (Some(middle), Some(most)) = (levels.get(levels.len() / 2), levels.last()) {
            let (middle, most) = (number(f64::from(*middle), 1), number(f64::from(*most), 1));
            let _ = write!(description, "Loudness {class}: median {middle}, highest {most} LUFS. ");
        }
    }
    drawing.finish(class, id, bottom + 24.0, title, description.trim_end())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_marked_at_round_places() {
        assert_eq!(time_step(48.0, 13.0), 5.0);
        assert_eq!(time_step(3.0 * 3600.0, 13.0), 900.0);
        assert_eq!(time_step(96.0, 3.8), 30.0);
    }
}
