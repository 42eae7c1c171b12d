//! Shared functions of the groups: values by subset, and choice of thresholds.

use voicechain_core::SampleRate;
use voicechain_core::measure::{Profile, ProfileMeter};
use voicechain_tests::recordings::{RATE_HZ, Subset};

/// Profile of one channel at the sample rate of the recordings.
pub(crate) fn profile(samples: &[f32]) -> Profile {
    let rate = SampleRate::new(f64::from(RATE_HZ)).expect("an allowed rate");
    let mut meter = Box::new(ProfileMeter::<1>::new(rate));
    meter.push(samples.as_chunks::<1>().0);
    meter.profile()
}

/// The values of one subset.
pub(crate) fn of_subset<T: Copy>(values: &[(Subset, T)], subset: Subset) -> Vec<T> {
    values.iter().filter(|(of, _)| *of == subset).map(|(_, value)| *value).collect()
}

/// Mean and sample standard deviation.
pub(crate) fn mean_and_sd(values: &[f64]) -> [f64; 2] {
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    [mean, (squares / (count - 1.0)).sqrt()]
}

/// The lowest threshold that at most this share of the values exceeds.
pub(crate) fn exceeded_by(values: &[f64], share: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let allowed = (share * sorted.len() as f64 + 1e-9) as usize;
    sorted[sorted.len() - 1 - allowed]
}

/// Share of the values above a threshold, in percent and as a fraction.
pub(crate) fn share_over(values: &[f64], threshold: f64) -> String {
    share(values.iter().filter(|value| **value > threshold).count(), values.len())
}

/// A count as a share of the whole, in percent and as a fraction.
pub(crate) fn share(count: usize, whole: usize) -> String {
    format!("{:.0} % ({count}/{whole})", 100.0 * count as f64 / whole.max(1) as f64)
}
