//! Bars for table cells.

use crate::report::data::GainReduction;
use std::fmt::Write;

/// Bar of a stage's gain reduction, from the line at the right: solid to the median, lighter to the 95th percentile,
/// with a tick at the maximum.
pub(in crate::report) fn reduction_bar(reduction: &GainReduction, range_db: f64) -> String {
    const WIDTH: f64 = 104.0;
    let x = |db: f64| WIDTH - 2.0 - (db.max(0.0) / range_db.max(0.1)).min(1.0) * (WIDTH - 6.0);
    let (median, p95, max) = (x(reduction.median_db), x(reduction.p95_db), x(reduction.max_db));
    let line = WIDTH - 1.5;
    let mut bar =
        format!(r#"<svg class="bar" viewBox="0 0 {WIDTH} 16" width="{WIDTH}" height="16" aria-hidden="true">"#);
    if reduction.max_db > 0.05 {
        let _ = write!(bar, r#"<path class="whisker" d="M{max:.1} 3V13M{max:.1} 8H{line:.1}"/>"#);
        let _ = write!(bar, r#"<rect class="cut soft" x="{p95:.1}" y="4" width="{:.1}" height="8"/>"#, line - p95);
        let _ = write!(bar, r#"<rect class="cut" x="{median:.1}" y="4" width="{:.1}" height="8"/>"#, line - median);
    }
    let _ = write!(bar, r#"<path class="centre" d="M{line:.1} 0V16"/></svg>"#);
    bar
}

/// Waterfall step from `from` to `to`, on a scale from `low` to `high` with a line at 0.
pub(in crate::report) fn waterfall_bar(from: f64, to: f64, low: f64, high: f64) -> String {
    const WIDTH: f64 = 144.0;
    let x = |value: f64| 4.0 + (value - low) / (high - low).max(0.1) * (WIDTH - 8.0);
    let (a, b, zero) = (x(from), x(to), x(0.0));
    let class = if to < from { "cut" } else { "boost" };
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
