//! Conversion of points to SVG paths: decimation, smooth curves and interrupted lines.

use std::fmt::Write;

/// Maximum number of points of a drawn line.
pub(super) const MAX_POINTS: usize = 1500;

/// Decimates to at most `most` points. Every bucket keeps its lowest and highest point, in order.
pub(super) fn decimate(points: &[(f32, f32)], most: usize) -> Vec<(f32, f32)> {
    if points.len() <= most.max(4) {
        return points.to_vec();
    }
    let buckets = most.max(4) / 2;
    let mut kept = Vec::with_capacity(2 * buckets);
    for bucket in 0..buckets {
        let range = bucket * points.len() / buckets..(bucket + 1) * points.len() / buckets;
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

pub(super) fn straight(points: &[(f32, f32)]) -> String {
    let mut path = String::new();
    for (at, (x, y)) in points.iter().enumerate() {
        let _ = write!(path, "{}{x:.1} {y:.1}", if at == 0 { 'M' } else { 'L' });
    }
    path
}

/// Path of a monotone cubic curve through all points, without overshoot (Fritsch and Carlson 1980).
pub(super) fn smooth(points: &[(f32, f32)]) -> String {
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

/// Smooth curve that continues a path.
pub(super) fn smooth_back(points: &[(f32, f32)]) -> String {
    smooth(points).replacen('M', "L", 1)
}

/// Statistics of one bucket of a long series.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Bucket {
    pub(super) seconds: f32,
    pub(super) lowest: f32,
    pub(super) highest: f32,
    pub(super) mean: f32,
}

/// Divides a series into `count` buckets. `mean` averages the values of a bucket.
pub(super) fn buckets(points: &[(f32, f32)], count: usize, mean: fn(&[(f32, f32)]) -> f32) -> Vec<Bucket> {
    (0..count)
        .map(|at| &points[at * points.len() / count..(at + 1) * points.len() / count])
        .filter(|part| !part.is_empty())
        .map(|part| Bucket {
            seconds: part[part.len() / 2].0,
            lowest: part.iter().map(|point| point.1).fold(f32::INFINITY, f32::min),
            highest: part.iter().map(|point| point.1).fold(f32::NEG_INFINITY, f32::max),
            mean: mean(part),
        })
        .collect()
}

/// Level of the mean power, dB; non-finite levels count as zero power.
pub(super) fn mean_power(part: &[(f32, f32)]) -> f32 {
    let levels = part.iter().map(|point| point.1).filter(|level| level.is_finite());
    10.0 * (levels.map(|level| 10f32.powf(level / 10.0)).sum::<f32>() / part.len() as f32).log10()
}

/// Arithmetic mean of gains, dB; non-finite gains count as 0 dB.
pub(super) fn mean_gain(part: &[(f32, f32)]) -> f32 {
    part.iter().map(|point| point.1).filter(|gain| gain.is_finite()).sum::<f32>() / part.len() as f32
}

/// Parts of a line above `low`, each with one neighbouring point on either side so that the line runs off the scale.
pub(super) fn runs_above(line: &[(f32, f32)], low: f32) -> Vec<&[(f32, f32)]> {
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_lines_are_reduced_and_keep_their_extremes() {
        let mut line: Vec<(f32, f32)> = (0..100_000).map(|n| (n as f32, (n as f32 * 0.37).sin())).collect();
        line[54_321].1 = 9.0;
        line[65_432].1 = -7.0;
        let kept = decimate(&line, MAX_POINTS);
        assert!(kept.len() <= MAX_POINTS);
        assert!(kept.contains(&(54_321.0, 9.0)) && kept.contains(&(65_432.0, -7.0)));
        assert!(kept.windows(2).all(|pair| pair[0].0 < pair[1].0));
        assert_eq!(decimate(&line[..100], MAX_POINTS), &line[..100]);
    }

    #[test]
    fn a_long_series_keeps_range_and_mean() {
        let line: Vec<(f32, f32)> = (0..1000).map(|n| (n as f32, if n == 500 { -3.0 } else { -23.0 })).collect();
        let parts = buckets(&line, 10, mean_power);
        assert_eq!(parts.len(), 10);
        assert_eq!((parts[5].lowest, parts[5].highest, parts[4].highest), (-23.0, -3.0, -23.0));
        // One value in a hundred has a hundred times the power: the mean is 10 log10(1.99) = 2.99 dB above the rest.
        assert!((parts[5].mean - (-23.0 + 2.989)).abs() < 0.01 && (parts[4].mean + 23.0).abs() < 0.01);
        assert_eq!(mean_gain(&[(0.0, -4.0), (1.0, f32::NAN)]), -2.0);
    }

    #[test]
    fn values_below_the_scale_split_a_line() {
        let line = [0.0, 1.0, f32::NAN, f32::NEG_INFINITY, -9.0, 2.0, -9.0].map(|level| (0.0, level));
        let lengths: Vec<usize> = runs_above(&line, -1.0).iter().map(|part| part.len()).collect();
        assert_eq!(lengths, [3, 3]);
        assert!(runs_above(&[], 0.0).is_empty() && runs_above(&line[2..4], -1.0).is_empty());
    }
}
