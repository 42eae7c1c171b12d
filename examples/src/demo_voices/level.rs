//! Decibel conversion and active level.

pub(super) fn from_db(value: f64) -> f64 {
    10f64.powf(value / 20.0)
}

/// Active level, dB: RMS of the 20 ms frames less than 15 dB below the mean of all non-silent frames.
pub(super) fn active_level(samples: &[f32], rate: u32) -> f64 {
    let powers: Vec<f64> = samples
        .chunks_exact(rate as usize / 50)
        .map(|c| c.iter().map(|&s| f64::from(s).powi(2)).sum::<f64>() / c.len() as f64)
        .collect();
    let mean_above = |gate: f64| {
        let (sum, count) = powers.iter().filter(|&&p| p > gate).fold((0.0, 0u32), |(sum, n), p| (sum + p, n + 1));
        sum / f64::from(count.max(1))
    };
    let loudest = powers.iter().copied().fold(0.0, f64::max);
    let sounding = mean_above(loudest * from_db(-80.0));
    10.0 * mean_above(sounding * from_db(-30.0)).max(1e-30).log10()
}
