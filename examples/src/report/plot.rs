//! The drawings of the page, as inline SVG.
//!
//! Every drawing exists in several widths; the style sheet shows the one that fits, so that text keeps its size. Colours
//! come from the style sheet by class name. Points beyond what a line can show are dropped so that each small stretch
//! keeps its lowest and highest value.

use super::data::GainReduction;
use super::page::TimeSeries;
use super::text::{clock, escape, hertz, number, signed};
use std::fmt::Write;

/// Most points of one drawn line.
const MOST_POINTS: usize = 1500;

/// Published speech: third-octave levels of Byrne et al. 1994, Table 2, both sexes combined, dB SPL at 70 dB overall.
pub(super) const PUBLISHED_SPEECH: [(f32, f32); 25] = [
    (63.0, 38.6),
    (80.0, 43.5),
    (100.0, 54.4),
    (125.0, 57.7),
    (160.0, 56.8),
    (200.0, 60.2),
    (250.0, 60.3),
    (315.0, 59.0),
    (400.0, 62.1),
    (500.0, 62.1),
    (630.0, 60.5),
    (800.0, 56.8),
    (1000.0, 53.7),
    (1250.0, 53.0),
    (1600.0, 52.0),
    (2000.0, 48.7),
    (2500.0, 48.1),
    (3150.0, 46.8),
    (4000.0, 45.6),
    (5000.0, 44.5),
    (6300.0, 44.3),
    (8000.0, 43.7),
    (10000.0, 43.4),
    (12500.0, 41.3),
    (16000.0, 40.7),
];

/// How far speakers differ from it: one standard deviation in dB over 49 speakers, from 100 Hz to 10 kHz in third octaves.
const SPREAD_FROM: usize = 2;
const SPREAD: [f32; 21] =
    [8.7, 8.6, 9.0, 6.5, 3.8, 3.2, 3.2, 2.6, 2.4, 2.9, 3.5, 3.8, 3.2, 3.8, 4.8, 5.6, 6.2, 5.9, 4.9, 7.7, 8.7];

/// Bands whose power is made equal before the comparison: 160 Hz to 6.3 kHz.
const COMPARED: std::ops::RangeInclusive<usize> = 4..=20;

/// Width of a letter at the size of the labels, near enough to keep labels apart.
const LETTER: f32 = 6.4;

/// Left edge of the plots, where the numbers of the scale end.
const LEFT: f32 = 40.0;
const RIGHT: f32 = 8.0;

/// A drawing being made.
struct Drawing {
    width: f32,
    body: String,
}

impl Drawing {
    fn new(width: f32) -> Self {
        Self { width, body: String::new() }
    }

    fn right(&self) -> f32 {
        self.width - RIGHT
    }

    fn line(&mut self, class: &str, from: (f32, f32), to: (f32, f32)) {
        let ((x1, y1), (x2, y2)) = (from, to);
        let _ = write!(self.body, r#"<line class="{class}" x1="{x1:.1}" y1="{y1:.1}" x2="{x2:.1}" y2="{y2:.1}"/>"#);
    }

    fn path(&mut self, class: &str, path: &str, clip: &str) {
        if !path.is_empty() {
            let _ = write!(self.body, r#"<path class="{class}" clip-path="url(#{clip})" d="{path}"/>"#);
        }
    }

    fn clip(&mut self, id: &str, top: f32, bottom: f32) {
        let (width, height) = (self.right() - LEFT, bottom - top);
        let _ = write!(
            self.body,
            r#"<clipPath id="{id}"><rect x="{LEFT}" y="{top:.1}" width="{width:.1}" height="{height:.1}"/></clipPath>"#
        );
    }

    fn text(&mut self, class: &str, at: (f32, f32), anchor: &str, text: &str) {
        let (x, y) = at;
        let text = escape(text);
        let _ =
            write!(self.body, r#"<text class="{class}" x="{x:.1}" y="{y:.1}" text-anchor="{anchor}">{text}</text>"#);
    }

    fn diamond(&mut self, x: f32, y: f32) {
        let _ = write!(self.body, r#"<path class="handle" d="M{x:.1} {:.1}l6 6l-6 6l-6 -6z"/>"#, y - 6.0);
    }

    fn finish(self, class: &str, id: &str, height: f32, title: &str, description: &str) -> String {
        let Self { width, body } = self;
        format!(
            r#"<svg class="{class}" viewBox="0 0 {width} {height}" role="img" aria-labelledby="{id}-t {id}-d"><title id="{id}-t">{}</title><desc id="{id}-d">{}</desc>{body}</svg>"#,
            escape(title),
            escape(description)
        )
    }
}

/// A level scale from `high` (top) to `low` (bottom).
#[derive(Clone, Copy)]
struct Scale {
    high: f32,
    low: f32,
    top: f32,
    bottom: f32,
}

impl Scale {
    /// Where a value lies; beyond the ends it stays close outside, what is no number lies below.
    fn y(&self, value: f32) -> f32 {
        let margin = 0.1 * (self.high - self.low);
        let value = if value.is_nan() { self.low - margin } else { value.clamp(self.low - margin, self.high + margin) };
        self.top + (self.high - value) / (self.high - self.low) * (self.bottom - self.top)
    }
}

// ---------------------------------------------------------------------------------------------------------------------
// Frequency

/// Middle of a third-octave band, exactly a tenth of a decade apart.
fn middle(band: usize) -> f32 {
    10f32.powf(1.8 + 0.1 * band as f32)
}

/// The place of a frequency: from the lower edge of the 63 Hz band to the upper edge of the 16 kHz band.
fn frequency_x(hz: f32, drawing: &Drawing) -> f32 {
    LEFT + (hz.max(1.0).log10() - 1.75) / 2.5 * (drawing.right() - LEFT)
}

/// Third-octave levels as difference from published speech, at the same power between 160 Hz and 6.3 kHz. Bands that the
/// list does not have, or that have no finite level, are absent.
pub(super) fn against_published(levels: &[(f32, f32)]) -> [Option<f32>; 25] {
    let mut found = [None; 25];
    for &(hz, db) in levels.iter().filter(|(hz, db)| hz.is_finite() && *hz > 0.0 && db.is_finite()) {
        let band = ((hz.log10() - 1.8) * 10.0).round();
        if (0.0..25.0).contains(&band) {
            found[band as usize] = Some(db);
        }
    }
    let (mut power, mut published) = (0.0f64, 0.0f64);
    for band in COMPARED {
        if let Some(db) = found[band] {
            power += 10f64.powf(f64::from(db) / 10.0);
            published += 10f64.powf(f64::from(PUBLISHED_SPEECH[band].1) / 10.0);
        }
    }
    if power <= 0.0 {
        return [None; 25];
    }
    let offset = (10.0 * (published / power).log10()) as f32;
    std::array::from_fn(|band| found[band].map(|db| db + offset - PUBLISHED_SPEECH[band].1))
}

/// A run of neighbouring points beyond one end of a scale.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Beyond {
    from: f32,
    to: f32,
    /// The most extreme value.
    value: f32,
}

/// Runs of neighbouring points that lie beyond one end of the scale, by enough to be worth a word.
fn beyond(points: &[(f32, f32)], scale: &Scale) -> Vec<Beyond> {
    let mut runs: Vec<Beyond> = Vec::new();
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
            _ if now != 0 => runs.push(Beyond { from: x, to: x, value }),
            _ => {}
        }
        side = now;
    }
    runs.retain(|run| run.value > scale.high + 0.5 || run.value < scale.low - 0.5);
    runs
}

/// Writes the marks of what runs off the scale: inside the run where there is room, otherwise beside it towards the middle,
/// and apart from each other. `half` is half the width of one point.
fn mark_beyond(drawing: &mut Drawing, scale: &Scale, half: f32, marks: &[(&str, &str, Vec<Beyond>)]) {
    let mut taken: Vec<(f32, f32, f32)> = Vec::new();
    for (class, word, runs) in marks {
        for run in runs {
            let up = run.value > scale.high;
            let label = format!("{word}{}", signed(f64::from(run.value), 0));
            let length = (label.chars().count() as f32) * LETTER + 12.0;
            let (from, to) = (run.from - half, run.to + half);
            let start = if to - from >= length + 8.0 {
                from + 4.0
            } else if from + to > LEFT + drawing.right() {
                from - length - 6.0
            } else {
                // A line comes back into view at a slant, a step does not.
                to + if half > 0.0 { 8.0 } else { 24.0 }
            };
            let start = start.clamp(LEFT + 4.0, drawing.right() - length - 2.0);
            let mut row = if up { scale.top + 13.0 } else { scale.bottom - 5.0 };
            while taken.iter().any(|&(from, to, at)| start < to && start + length > from && (at - row).abs() < 12.0) {
                row += if up { 15.0 } else { -15.0 };
            }
            taken.push((start, start + length + 4.0, row));
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

/// A curve through all points that does not overshoot them (Fritsch and Carlson 1980), as a path.
fn smooth(points: &[(f32, f32)]) -> String {
    let mut path = String::new();
    let Some(&(x, y)) = points.first() else { return path };
    let _ = write!(path, "M{x:.1} {y:.1}");
    let secants: Vec<f32> = points.windows(2).map(|pair| (pair[1].1 - pair[0].1) / (pair[1].0 - pair[0].0)).collect();
    let tangent = |at: usize| match (at.checked_sub(1).and_then(|left| secants.get(left)), secants.get(at)) {
        (Some(&left), Some(&right)) if left * right > 0.0 => 2.0 * left * right / (left + right),
        (Some(_), Some(_)) => 0.0,
        (Some(&only), None) | (None, Some(&only)) => only,
        (None, None) => 0.0,
    };
    for (at, pair) in points.windows(2).enumerate() {
        let third = (pair[1].0 - pair[0].0) / 3.0;
        let (x1, y1) = (pair[0].0 + third, pair[0].1 + third * tangent(at));
        let (x2, y2) = (pair[1].0 - third, pair[1].1 - third * tangent(at + 1));
        let _ = write!(path, "C{x1:.1} {y1:.1} {x2:.1} {y2:.1} {:.1} {:.1}", pair[1].0, pair[1].1);
    }
    path
}

/// Neighbouring bands that have a level, run by run.
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

/// What the frequency drawing shows.
pub(super) struct Frequencies<'a> {
    /// Third-octave levels of the recording.
    pub before: &'a [(f32, f32)],
    /// Third-octave levels of the processed voice.
    pub after: &'a [(f32, f32)],
    /// Response of the strip.
    pub response: &'a [(f32, f32)],
    /// Places of the bands in use, on the response.
    pub bands: &'a [(f32, f32)],
}

/// The voice against published speech and, below on the same axis, what the strip does.
pub(super) fn frequencies(shown: &Frequencies<'_>, voice: &str, class: &str, id: &str, width: f32) -> String {
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
    let edge = |sign: f32| {
        SPREAD.iter().enumerate().map(move |(band, sd)| (middle(SPREAD_FROM + band), sign * sd)).collect::<Vec<_>>()
    };
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

    let (before, after) = (against_published(shown.before), against_published(shown.after));
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

/// A curve that continues a path.
fn smooth_back(points: &[(f32, f32)]) -> String {
    smooth(points).replacen('M', "L", 1)
}

/// The frequency drawing in words.
fn describe(before: &[Option<f32>; 25], after: &[Option<f32>; 25], response: &[(f32, f32)]) -> String {
    let mut words = String::from("Difference from published speech in decibels, before and after: ");
    for band in [1usize, 4, 7, 10, 13, 16, 19, 22] {
        let value = |levels: &[Option<f32>; 25]| signed(levels[band].map(f64::from), 0);
        let _ =
            write!(words, "{} Hz {} and {}; ", hertz(f64::from(PUBLISHED_SPEECH[band].0)), value(before), value(after));
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

// ---------------------------------------------------------------------------------------------------------------------
// Time

/// At most `most` of the points; every dropped stretch keeps its lowest and its highest value in their order.
pub(super) fn reduce(points: &[(f32, f32)], most: usize) -> Vec<(f32, f32)> {
    if points.len() <= most.max(4) {
        return points.to_vec();
    }
    let stretches = most.max(4) / 2;
    let mut kept = Vec::with_capacity(2 * stretches);
    for stretch in 0..stretches {
        let range = stretch * points.len() / stretches..(stretch + 1) * points.len() / stretches;
        let part = &points[range];
        let low = part.iter().enumerate().min_by(|a, b| a.1.1.total_cmp(&b.1.1));
        let high = part.iter().enumerate().max_by(|a, b| a.1.1.total_cmp(&b.1.1));
        if let (Some((low, _)), Some((high, _))) = (low, high) {
            kept.push(part[low.min(high)]);
            if low != high {
                kept.push(part[low.max(high)]);
            }
        }
    }
    kept
}

fn straight(points: &[(f32, f32)]) -> String {
    let mut path = String::new();
    for (at, (x, y)) in points.iter().enumerate() {
        let _ = write!(path, "{}{x:.1} {y:.1}", if at == 0 { 'M' } else { 'L' });
    }
    path
}

/// What a stretch of a long series comes down to.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Stretch {
    seconds: f32,
    lowest: f32,
    highest: f32,
    mean: f32,
}

/// A long series in `count` stretches. `mean` averages the values of one.
fn stretches(points: &[(f32, f32)], count: usize, mean: fn(&[(f32, f32)]) -> f32) -> Vec<Stretch> {
    (0..count)
        .map(|at| &points[at * points.len() / count..(at + 1) * points.len() / count])
        .filter(|part| !part.is_empty())
        .map(|part| Stretch {
            seconds: part[part.len() / 2].0,
            lowest: part.iter().map(|point| point.1).fold(f32::INFINITY, f32::min),
            highest: part.iter().map(|point| point.1).fold(f32::NEG_INFINITY, f32::max),
            mean: mean(part),
        })
        .collect()
}

/// The level of the mean power; what is not finite has none.
fn mean_power(part: &[(f32, f32)]) -> f32 {
    let levels = part.iter().map(|point| point.1).filter(|level| level.is_finite());
    10.0 * (levels.map(|level| 10f32.powf(level / 10.0)).sum::<f32>() / part.len() as f32).log10()
}

/// The plain mean of gains; what is not finite counts as none.
fn mean_gain(part: &[(f32, f32)]) -> f32 {
    part.iter().map(|point| point.1).filter(|gain| gain.is_finite()).sum::<f32>() / part.len() as f32
}

/// The parts of a line that lie above `low`, each with one neighbour below on either side so that it runs off the scale.
fn above(line: &[(f32, f32)], low: f32) -> Vec<&[(f32, f32)]> {
    let shown = |at: usize| line.get(at).is_some_and(|point| point.1 > low);
    let mut parts = Vec::new();
    let mut start = 0;
    for at in 0..line.len() {
        if shown(at) && !shown(at.wrapping_sub(1)) {
            start = at.saturating_sub(1);
        }
        if shown(at) && !shown(at + 1) {
            parts.push(&line[start..(at + 2).min(line.len())]);
        }
    }
    parts
}

/// A line over time.
pub(super) struct Line<'a> {
    /// Class of the line: `before` or `after`.
    pub class: &'static str,
    /// Its values.
    pub series: &'a TimeSeries,
}

/// What a stage took away over time.
pub(super) struct Taken<'a> {
    /// The stage's name for the eye.
    pub name: String,
    /// Gain in dB, negative where something is taken away.
    pub gain: &'a TimeSeries,
}

/// What the time drawing shows.
pub(super) struct Times<'a> {
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
pub(super) fn times(shown: &Times<'_>, title: &str, class: &str, id: &str, width: f32) -> String {
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
        let each = super::text::length(f64::from(duration) / count as f64);
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

    let mut description = format!("Over {}. ", super::text::length(f64::from(duration)));
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

// ---------------------------------------------------------------------------------------------------------------------
// Bars in tables

/// How much a stage took: a bar from the line at the right, full to the median, lighter to 95 %, a tick at the most.
pub(super) fn reduction_bar(reduction: &GainReduction, reach_db: f64) -> String {
    const WIDTH: f64 = 104.0;
    let x = |db: f64| WIDTH - 2.0 - (db.max(0.0) / reach_db.max(0.1)).min(1.0) * (WIDTH - 6.0);
    let (median, p95, max) = (x(reduction.median_db), x(reduction.p95_db), x(reduction.max_db));
    let line = WIDTH - 1.5;
    let mut bar =
        format!(r#"<svg class="bar" viewBox="0 0 {WIDTH} 16" width="{WIDTH}" height="16" aria-hidden="true">"#);
    if reduction.max_db > 0.05 {
        let _ = write!(bar, r#"<path class="whisker" d="M{max:.1} 3V13M{max:.1} 8H{line:.1}"/>"#);
        let _ = write!(bar, r#"<rect class="takes soft" x="{p95:.1}" y="4" width="{:.1}" height="8"/>"#, line - p95);
        let _ = write!(bar, r#"<rect class="takes" x="{median:.1}" y="4" width="{:.1}" height="8"/>"#, line - median);
    }
    let _ = write!(bar, r#"<path class="centre" d="M{line:.1} 0V16"/></svg>"#);
    bar
}

/// One step on the way from `from` to `to`, on a scale from `low` to `high` where 0 is the centre line.
pub(super) fn step_bar(from: f64, to: f64, low: f64, high: f64) -> String {
    const WIDTH: f64 = 144.0;
    let x = |value: f64| 4.0 + (value - low) / (high - low).max(0.1) * (WIDTH - 8.0);
    let (a, b, zero) = (x(from), x(to), x(0.0));
    let class = if to < from { "takes" } else { "gives" };
    let mut bar =
        format!(r#"<svg class="bar" viewBox="0 0 {WIDTH} 16" width="{WIDTH}" height="16" aria-hidden="true">"#);
    let _ = write!(bar, r#"<path class="centre" d="M{zero:.1} 0V16"/>"#);
    if (to - from).abs() >= 0.05 {
        let (left, width) = (a.min(b), (a - b).abs().max(1.0));
        let _ = write!(bar, r#"<rect class="{class}" x="{left:.1}" y="4" width="{width:.1}" height="8"/>"#);
    }
    let _ = write!(bar, r#"<path class="here" d="M{b:.1} 1V15"/></svg>"#);
    bar
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_lines_are_reduced_and_keep_their_extremes() {
        let mut line: Vec<(f32, f32)> = (0..100_000).map(|n| (n as f32, (n as f32 * 0.37).sin())).collect();
        line[54_321].1 = 9.0;
        line[65_432].1 = -7.0;
        let kept = reduce(&line, MOST_POINTS);
        assert!(kept.len() <= MOST_POINTS);
        assert!(kept.contains(&(54_321.0, 9.0)) && kept.contains(&(65_432.0, -7.0)));
        assert!(kept.windows(2).all(|pair| pair[0].0 < pair[1].0));
        assert_eq!(reduce(&line[..100], MOST_POINTS), &line[..100]);
    }

    #[test]
    fn published_speech_itself_is_no_difference_at_any_level() {
        let quiet: Vec<_> = PUBLISHED_SPEECH.iter().map(|(hz, db)| (*hz, db - 83.0)).collect();
        for difference in against_published(&quiet) {
            assert!(difference.is_some_and(|db| db.abs() < 1e-3));
        }
        assert_eq!(against_published(&[]), [None; 25]);
        let holes = [(1000.0, f32::NEG_INFINITY), (f32::NAN, 3.0), (2000.0, -20.0), (30_000.0, 1.0)];
        assert_eq!(against_published(&holes).iter().flatten().count(), 1);
    }

    #[test]
    fn the_published_levels_add_up_to_the_published_sum() {
        // Byrne et al. 1994: the levels are given for an overall level of 70 dB SPL.
        let sum: f64 = PUBLISHED_SPEECH.iter().map(|(_, db)| 10f64.powf(f64::from(*db) / 10.0)).sum();
        assert!((10.0 * sum.log10() - 70.0).abs() < 0.1);
    }

    #[test]
    fn what_runs_off_the_scale_is_gathered_run_by_run() {
        let scale = Scale { high: 12.0, low: -12.0, top: 0.0, bottom: 100.0 };
        let line = [(0.0, 13.0), (1.0, 15.0), (2.0, 0.0), (3.0, -20.0), (4.0, -13.0), (5.0, 14.0)];
        let run = |from, to, value| Beyond { from, to, value };
        assert_eq!(beyond(&line, &scale), [run(0.0, 1.0, 15.0), run(3.0, 4.0, -20.0), run(5.0, 5.0, 14.0)]);
        assert_eq!(beyond(&[(0.0, 12.3)], &scale), []);
    }

    #[test]
    fn a_long_series_keeps_range_and_mean() {
        let line: Vec<(f32, f32)> = (0..1000).map(|n| (n as f32, if n == 500 { -3.0 } else { -23.0 })).collect();
        let parts = stretches(&line, 10, mean_power);
        assert_eq!(parts.len(), 10);
        assert_eq!((parts[5].lowest, parts[5].highest, parts[4].highest), (-23.0, -3.0, -23.0));
        // One value in a hundred is a hundred times as strong: 10 log10(1.99) above the rest.
        assert!((parts[5].mean - (-23.0 + 2.989)).abs() < 0.01 && (parts[4].mean + 23.0).abs() < 0.01);
        assert_eq!(mean_gain(&[(0.0, -4.0), (1.0, f32::NAN)]), -2.0);
    }

    #[test]
    fn pauses_interrupt_a_line() {
        let line = [0.0, 1.0, f32::NAN, f32::NEG_INFINITY, -9.0, 2.0, -9.0].map(|level| (0.0, level));
        let lengths: Vec<usize> = above(&line, -1.0).iter().map(|part| part.len()).collect();
        assert_eq!(lengths, [3, 3]);
        assert!(above(&[], 0.0).is_empty() && above(&line[2..4], -1.0).is_empty());
    }

    #[test]
    fn times_are_marked_at_round_places() {
        assert_eq!(time_step(48.0, 13.0), 5.0);
        assert_eq!(time_step(3.0 * 3600.0, 13.0), 900.0);
        assert_eq!(time_step(96.0, 3.8), 30.0);
    }
}
