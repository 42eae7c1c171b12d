//! Published average spectrum of speech, and the filter that equalises a voice to it.

use super::fft::{forward_fft, inverse_fft};
use super::level::from_db;
use super::speaker::Speaker;
use super::synthesise::Stems;
use realfft::RealFftPlanner;
use realfft::num_complex::Complex;
use std::f64::consts::TAU;
use voicechain_core::speech::BYRNE_1994_COMBINED;

/// Levels of women in the five bands below 200 Hz, dB. In these bands the combined column contains the levels of men.
///
/// Source: Byrne et al. 1994, Table 2 (via an independent implementation).
const WOMEN_BELOW_200_HZ: [f64; 5] = [37.0, 36.0, 37.5, 40.1, 53.4];

/// Third octaves of published speech: centre in Hz, level of women in dB, level of men in dB. From 200 Hz up both are
/// the combined level.
fn published() -> [(f64, f64, f64); 25] {
    std::array::from_fn(|band| {
        let (hz, level) = BYRNE_1994_COMBINED[band];
        (hz, WOMEN_BELOW_200_HZ.get(band).copied().unwrap_or(level), level)
    })
}

const SPECTRUM_SIZE: usize = 8_192;

/// Power per bin, summed over the non-silent blocks.
fn spectrum(samples: &[f32]) -> Vec<f64> {
    let fft = RealFftPlanner::<f32>::new().plan_fft_forward(SPECTRUM_SIZE);
    let window: Vec<f32> =
        (0..SPECTRUM_SIZE).map(|n| (0.5 - 0.5 * (TAU * n as f64 / SPECTRUM_SIZE as f64).cos()) as f32).collect();
    let (mut block, mut bins) = (fft.make_input_vec(), fft.make_output_vec());
    let mut scratch = fft.make_scratch_vec();
    let mut power = vec![0.0; bins.len()];
    for start in (0..samples.len().saturating_sub(SPECTRUM_SIZE)).step_by(SPECTRUM_SIZE / 2) {
        let part = &samples[start..start + SPECTRUM_SIZE];
        if part.iter().all(|s| s.abs() < 1e-9) {
            continue;
        }
        block.iter_mut().zip(part).zip(&window).for_each(|((b, s), w)| *b = s * w);
        forward_fft(&*fft, &mut block, &mut bins, &mut scratch);
        power.iter_mut().zip(&bins).for_each(|(p, b)| *p += f64::from(b.norm_sqr()));
    }
    power
}

/// Third-octave levels in dB at the centres of [`published()`], from the power per bin.
fn third_octaves(power: &[f64], rate: u32) -> Vec<f64> {
    let bin_hz = f64::from(rate) / SPECTRUM_SIZE as f64;
    let edge = 2f64.powf(1.0 / 6.0);
    published()
        .iter()
        .map(|&(hz, _, _)| {
            let (low, high) = (hz / edge / bin_hz, hz * edge / bin_hz);
            // Bins at the band edges are weighted by their fraction inside the band.
            let mut sum = 0.0;
            for (k, p) in power.iter().enumerate().take(high as usize + 2).skip((low as usize).saturating_sub(1)) {
                let inside = (high.min(k as f64 + 0.5) - low.max(k as f64 - 0.5)).clamp(0.0, 1.0);
                sum += p * inside;
            }
            10.0 * sum.max(1e-30).log10()
        })
        .collect()
}

/// Impulse response that equalises a voice to the published spectrum. Minimum phase avoids pre-ringing.
pub(super) fn published_spectrum_filter(stems: &Stems, rate: u32, speaker: &Speaker) -> Vec<f32> {
    let both: Vec<f32> = stems.rest.iter().zip(&stems.sibilants).map(|(r, s)| r + s).collect();
    let power = spectrum(&both);
    let published = published();
    let target: Vec<f64> = published.iter().map(|&(_, women, men)| if speaker.female { women } else { men }).collect();
    let mut curve_db = vec![0.0; published.len()];
    let bin_hz = f64::from(rate) / SPECTRUM_SIZE as f64;
    let gain_at = |curve_db: &[f64], bin: usize| -> f64 {
        let hz = (bin as f64 * bin_hz).clamp(published[0].0, published[published.len() - 1].0);
        let above = published.iter().position(|p| p.0 >= hz).unwrap_or(published.len() - 1).max(1);
        let (low, high) = (published[above - 1].0, published[above].0);
        let share = (hz / low).ln() / (high / low).ln();
        curve_db[above - 1] + share * (curve_db[above] - curve_db[above - 1])
    };
    for _ in 0..6 {
        let shaped: Vec<f64> =
            power.iter().enumerate().map(|(k, p)| p * from_db(2.0 * gain_at(&curve_db, k))).collect();
        let found = third_octaves(&shaped, rate);
        let mean = |levels: &[f64]| levels[5..20].iter().sum::<f64>() / 15.0;
        let offset = mean(&target) - mean(&found);
        for (k, gain) in curve_db.iter_mut().enumerate() {
            // No boost below the pitch of the voice.
            let most = if published[k].0 < 0.8 * speaker.pitch_hz { 0.0 } else { 18.0 };
            *gain = (*gain + 0.8 * (target[k] - found[k] - offset)).clamp(-18.0, most);
        }
    }
    let gains: Vec<f64> = (0..=SPECTRUM_SIZE / 2).map(|k| gain_at(&curve_db, k)).collect();
    minimum_phase(&gains)
}

/// Minimum-phase impulse response for gains in dB per bin, by folding the cepstrum (Oppenheim and Schafer).
fn minimum_phase(gains_db: &[f64]) -> Vec<f32> {
    let size = 2 * (gains_db.len() - 1);
    let mut planner = RealFftPlanner::<f32>::new();
    let (forward, inverse) = (planner.plan_fft_forward(size), planner.plan_fft_inverse(size));
    let mut bins: Vec<Complex<f32>> =
        gains_db.iter().map(|g| Complex::new((g / 20.0 * std::f64::consts::LN_10) as f32, 0.0)).collect();
    let mut block = inverse.make_output_vec();
    let (mut scratch_f, mut scratch_i) = (forward.make_scratch_vec(), inverse.make_scratch_vec());
    inverse_fft(&*inverse, &mut bins, &mut block, &mut scratch_i);
    let scale = 1.0 / size as f32;
    for (n, value) in block.iter_mut().enumerate() {
        *value *= scale
            * match n {
                0 => 1.0,
                n if n < size / 2 => 2.0,
                n if n == size / 2 => 1.0,
                _ => 0.0,
            };
    }
    forward_fft(&*forward, &mut block, &mut bins, &mut scratch_f);
    bins.iter_mut().for_each(|b| *b = Complex::from_polar(b.re.exp(), b.im));
    inverse_fft(&*inverse, &mut bins, &mut block, &mut scratch_i);
    // The second half of the response is negligible.
    block[..size / 2].iter().map(|s| s * scale).collect()
}
