//! Time series in bounded memory, whatever the length of the recording.

use crate::report::TimeSeries;

/// Rule that merges neighbouring values when the series is full.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Decimation {
    /// Mean of the finite values.
    Mean,
    /// Minimum.
    Minimum,
}

/// Maximum number of stored values.
const MAX_VALUES: usize = 4_096;

/// Time series that halves its resolution whenever it is full.
#[derive(Clone, Debug)]
pub struct BoundedSeries {
    decimation: Decimation,
    step_s: f64,
    values: Vec<f32>,
    /// Pushed values per stored value.
    per_value: usize,
    pending: Option<f32>,
    pending_count: usize,
}

impl BoundedSeries {
    /// An empty series with one value every `step_s` seconds.
    pub fn new(step_s: f64, decimation: Decimation) -> Self {
        Self {
            decimation,
            step_s,
            values: Vec::with_capacity(MAX_VALUES),
            per_value: 1,
            pending: None,
            pending_count: 0,
        }
    }

    /// Appends a value.
    pub fn push(&mut self, value: f32) {
        let merged = match self.pending {
            None => value,
            Some(before) => merge(self.decimation, before, value, self.pending_count),
        };
        self.pending_count += 1;
        if self.pending_count < self.per_value {
            self.pending = Some(merged);
            return;
        }
        (self.pending, self.pending_count) = (None, 0);
        self.values.push(merged);
        if self.values.len() == MAX_VALUES {
            let rule = self.decimation;
            let (pairs, _) = self.values.as_chunks::<2>();
            self.values = pairs.iter().map(|&[a, b]| merge(rule, a, b, 1)).collect();
            self.per_value *= 2;
        }
    }

    /// The stored values with their times; each time is the middle of the interval that the value covers.
    pub fn to_series(&self) -> TimeSeries {
        let step = self.step_s * self.per_value as f64;
        let seconds = (0..self.values.len()).map(|i| ((i as f64 + 0.5) * step) as f32).collect();
        TimeSeries { seconds, values: self.values.clone() }
    }
}

/// Merges `value` into `before`, which covers `count` values.
fn merge(rule: Decimation, before: f32, value: f32, count: usize) -> f32 {
    match rule {
        Decimation::Minimum => before.min(value),
        Decimation::Mean if !before.is_finite() => value,
        Decimation::Mean if !value.is_finite() => before,
        Decimation::Mean => before + (value - before) / (count + 1) as f32,
    }
}

/// Start of the most active segment of `seconds` seconds, in seconds, from the loudness over time in LUFS.
pub(crate) fn most_active_start_s(loudness: &TimeSeries, seconds: f64) -> f64 {
    let (times, lufs) = (&loudness.seconds, &loudness.values);
    let step = if times.len() > 1 { f64::from(times[1] - times[0]) } else { 0.1 };
    let window = ((seconds / step) as usize).clamp(1, lufs.len().max(1));
    let energy = |v: &f32| 10f64.powf(f64::from(*v).max(-70.0) / 10.0);
    // Averaging amplitudes instead of powers favours steady speech over a single loud word.
    let weights: Vec<f64> = lufs.iter().map(|v| energy(v).sqrt()).collect();
    let mut sum: f64 = weights.iter().take(window).sum();
    let (mut best, mut at) = (sum, 0);
    for end in window..weights.len() {
        sum += weights[end] - weights[end - window];
        if sum > best {
            (best, at) = (sum, end + 1 - window);
        }
    }
    at as f64 * step
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_most_active_segment_is_where_the_voice_is() {
        let seconds = (0..1_000).map(|i| i as f32 * 0.1).collect();
        let values = (0..1_000).map(|i| if (400..600).contains(&i) { -20.0 } else { -60.0 }).collect();
        assert!((most_active_start_s(&TimeSeries { seconds, values }, 20.0) - 40.0).abs() < 0.2);
        assert_eq!(most_active_start_s(&TimeSeries::default(), 20.0), 0.0);
    }

    #[test]
    fn memory_is_bounded_and_times_stay_correct() {
        let mut mean = BoundedSeries::new(0.1, Decimation::Mean);
        let mut least = BoundedSeries::new(0.1, Decimation::Minimum);
        let n = 100_000;
        for i in 0..n {
            mean.push(i as f32);
            least.push(if i == 54_321 { -7.0 } else { 0.0 });
        }
        let (mean, least) = (mean.to_series(), least.to_series());
        assert!(mean.values.len() <= MAX_VALUES && mean.values.len() >= MAX_VALUES / 2);
        for (&t, &v) in mean.seconds.iter().zip(&mean.values) {
            assert!((v - (t / 0.1 - 0.5)).abs() < 1.0, "{t} {v}");
        }
        let at = least.values.iter().position(|&v| v == -7.0).unwrap();
        assert!((least.seconds[at] - 5_432.1).abs() < 5.0);
    }
}
