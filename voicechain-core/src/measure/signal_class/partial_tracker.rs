//! Steady partials: tones have them, voices do not.

use crate::blank::blank;
use crate::dsp::parabola;
use crate::math::power_to_db;
use crate::measure::level_bins::LevelBins;
use crate::measure::spectra::{Framing, Spectrum};

/// Frequency range of tracked partials, Hz.
const RANGE_HZ: (f64, f64) = (100.0, 5_000.0);
/// Maximum number of bins in that range at any rate.
const PLACES: usize = 512;
/// Minimum power of a partial relative to the mean of its surroundings.
const OVER: f32 = 4.0;
/// Surrounding bins to either side.
const AROUND: usize = 6;
/// Maximum change of a steady partial from one frame to the next, Hz.
const STEADY_HZ: f64 = 3.0;
/// Minimum duration of a steady partial, s: below [`LOW_HZ`] and above. Low partials of a voice change less.
const LONG_S: (f64, f64) = (0.6, 0.35);
/// Limit between the two durations, Hz.
const LOW_HZ: f64 = 300.0;

/// Tracks partials in frames of 64 to 93 ms. Cost: some two operations per sample. Memory 3 kB.
#[derive(Clone, Debug)]
pub(crate) struct PartialTracker {
    /// Position of the partial at each bin, in bins.
    places: [f32; PLACES],
    /// Number of frames for which it has been steady; 0 without a partial.
    lives: [u8; PLACES],
    range: (usize, usize),
    low: usize,
    still: f32,
    long: (u8, u8),
    /// Share of the power in steady partials, by frame level.
    shares: LevelBins<1>,
}

blank! { PartialTracker { places, lives, range, low, still, long, shares } }

impl PartialTracker {
    /// A tracker for spectra of long frames.
    pub(crate) fn new(framing: &Framing) -> Self {
        let bin = |hz: f64| framing.bin(hz);
        let frames = |s: f64| (s / framing.hop_s() + 0.5) as u8;
        let top_hz = RANGE_HZ.1.min(0.45 * framing.rate_hz);
        Self {
            places: [0.0; PLACES],
            lives: [0; PLACES],
            range: (bin(RANGE_HZ.0).max(AROUND + 1), bin(top_hz).min(PLACES - 1)),
            low: bin(LOW_HZ),
            still: (STEADY_HZ / framing.bin_hz()) as f32,
            long: (frames(LONG_S.0), frames(LONG_S.1)),
            shares: LevelBins::new(),
        }
    }

    /// Processes the spectrum of a frame.
    pub(crate) fn frame(&mut self, &Spectrum { powers, .. }: &Spectrum<'_>) {
        let (from, to) = self.range;
        if powers.len() <= to + AROUND {
            return;
        }
        let mut places = [0.0_f32; PLACES];
        let mut lives = [0_u8; PLACES];
        let (mut still, mut total) = (0.0_f32, 0.0_f32);
        let mut around: f32 = powers[from - AROUND..from + AROUND].iter().sum();
        for k in from..to {
            around += powers[k + AROUND];
            total += powers[k];
            let [left, here, right] = [powers[k - 1], powers[k], powers[k + 1]];
            if here > left && here >= right && here * (2 * AROUND + 1) as f32 > OVER * around {
                let place = k as f32 + top([left, here, right]);
                let before =
                    (k - 1..=k + 1).filter(|&j| self.lives[j] > 0 && (self.places[j] - place).abs() < self.still);
                let life = before.map(|j| self.lives[j]).max().unwrap_or(0).saturating_add(1);
                (places[k], lives[k]) = (place, life);
                if life > if k < self.low { self.long.0 } else { self.long.1 } {
                    still += left + here + right;
                }
            }
            around = (around - powers[k - AROUND]).max(0.0);
        }
        (self.places, self.lives) = (places, lives);
        self.shares.at(power_to_db(f64::from(total).max(1e-13)))[0] +=
            if total > 0.0 { (still / total).min(1.0) } else { 0.0 };
    }

    /// Mean share of the power in steady partials, 0 to 1, over the frames at or above a level.
    pub(crate) fn share(&self, from_db: f64) -> f64 {
        let ([sum], count) = self.shares.from(from_db);
        sum / count.max(1.0)
    }
}

/// Offset of a peak from the middle of three bins: vertex of the parabola through their levels.
fn top(powers: [f32; 3]) -> f32 {
    parabola::vertex(powers.map(|power| libm::log2f(power.max(1e-30)))).clamp(-0.5, 0.5)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::spectra::Spectra;
    extern crate std;
    use std::boxed::Box;
    use std::f64::consts::TAU;

    /// Steady share of a sound with nine partials and a given frequency over time.
    fn share(rate_hz: f64, hz: impl Fn(f64) -> f64) -> f64 {
        let framing = Framing::long(rate_hz);
        let mut spectra = Box::new(Spectra::<2_048>::new(framing));
        let mut steady = PartialTracker::new(&framing);
        let mut phase = 0.0;
        for n in 0..(6.0 * rate_hz) as usize {
            phase += TAU * hz(n as f64 / rate_hz) / rate_hz;
            let sample = (1..10).map(|k| libm::sin(f64::from(k) * phase) / f64::from(k)).sum::<f64>();
            spectra.push(&[0.1 * sample as f32], |spectrum| steady.frame(spectrum));
        }
        steady.share(-60.0)
    }

    #[test]
    fn a_tone_is_steady_and_a_voice_is_not() {
        for rate_hz in [8_000.0, 16_000.0, 44_100.0, 48_000.0] {
            let tone = share(rate_hz, |_| 220.0);
            assert!(tone > 0.8, "{rate_hz}: {tone}");
            // A voice glides by some semitones per second.
            let voice = share(rate_hz, |t| 140.0 * libm::exp2(0.3 * libm::sin(TAU * 0.7 * t)));
            assert!(voice < 0.1, "{rate_hz}: {voice}");
        }
    }
}
