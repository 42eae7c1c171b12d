//! Fricatives and stop bursts from shaped noise.

use super::biquad::Biquad;
use super::random::Random;
use super::segment::{Noise, Segment};
use super::speaker::Speaker;
use std::f64::consts::PI;

/// Adds one fricative or burst.
pub(super) fn add_fricative(
    out: &mut [f32],
    segment: &Segment,
    noise: Noise,
    level: f64,
    speaker: &Speaker,
    rate: u32,
    random: &mut Random,
) {
    let fs = f64::from(rate);
    // A shorter vocal tract raises the noise bands, but less than the vowel formants.
    let scale = if speaker.female { 1.04 } else { 0.97 };
    let wander = 1.0 + 0.04 * (random.uniform() - 0.5);
    let mut bands = noise.centres.map(|hz| Biquad::band_pass((hz * scale * wander).min(0.42 * fs), noise.q, rate));
    let first = (segment.start_s * fs) as usize;
    let overlap = if noise.burst { 0.0 } else { 0.012 };
    let start = first.saturating_sub((overlap * fs) as usize);
    let count = ((segment.length_s + 2.0 * overlap + if noise.burst { 0.02 } else { 0.0 }) * fs) as usize;
    let lead = 400;
    let mut samples: Vec<f64> = Vec::with_capacity(count + lead);
    for _ in 0..count + lead {
        let white = random.white();
        samples.push(bands.iter_mut().fold(white, |x, band| band.next(x)));
    }
    let samples = &samples[lead..];
    let power = samples.iter().map(|s| s * s).sum::<f64>() / samples.len() as f64;
    let gain = level / power.sqrt().max(1e-9);
    let edge = (0.3 * count as f64).min(0.03 * fs);
    for (n, sample) in samples.iter().enumerate() {
        let shape = if noise.burst {
            (n as f64 / (0.001 * fs)).min(1.0) * (-(n as f64) / (0.006 * fs)).exp()
        } else {
            let rise = (n.min(count - 1 - n) as f64 / edge).min(1.0);
            0.5 - 0.5 * (PI * rise).cos()
        };
        if let Some(target) = out.get_mut(start + n) {
            *target += (gain * shape * sample) as f32;
        }
    }
}
