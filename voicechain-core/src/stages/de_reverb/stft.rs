//! Lengths and windows by sample rate and latency.

use crate::dsp::fft;
use crate::math::smoothing;
use crate::settings::SpectralLatency;
use crate::units::SampleRate;
use core::f64::consts::PI;

/// The longest frame, samples, and the most complex values of its spectrum.
pub(super) const MAX_FRAME: usize = fft::MAX_LENGTH;
pub(super) const HALF: usize = MAX_FRAME / 2;
/// The longest synthesis window, samples.
pub(super) const MAX_SYNTHESIS: usize = MAX_FRAME / 2;
/// Bands of a spectrum that are judged: up to 24 kHz at any rate.
pub(super) const BANDS: usize = 1_025;
/// Neighbouring bands that share a noise floor.
pub(super) const BANDS_PER_FLOOR: usize = 4;
pub(super) const FLOORS: usize = BANDS.div_ceil(BANDS_PER_FLOOR);
/// Past values that a band is predicted from.
pub(super) const TAPS: usize = 6;
/// Bands are predicted four at a time; so many fours at most.
pub(super) const MAX_BAND_GROUPS: usize = 48;
/// Values that the past of a channel holds at most: its bands times its hops, at every rate and at both latencies (test
/// `the_history_fits_at_every_rate`).
pub(super) const PAST: usize = 9_216;
/// From a sound to its late reverberation, s.
const LATE_S: f64 = 0.0427;
/// Smoothing in front of the noise floor, ms; parts of its stretch, s; and what the lowest of the stretch is under the mean
/// of steady noise, as a power ratio (test `the_noise_floor_is_that_of_the_noise`).
const NOISE_MS: f64 = 120.0;
const NOISE_PART_S: f64 = 0.19;
const NOISE_BIAS: f64 = 1.5;
/// What is loud follows the power of all bands together so fast up and down, dB/s: a thirtieth of the time is louder, and a
/// bang of 50 ms moves it by 3 dB, or to 40 dB under itself.
const LOUD_RISE_DB_PER_S: f64 = 60.0;
const LOUD_FALL_DB_PER_S: f64 = 2.0;
/// How fast a noise floor may rise once it is known, dB per second: with 4 it climbs into fluent speech, which leaves few pauses
/// (clean voices and rooms of 0.26 to 0.5 s lose by it); of 0.5 to 4 in between what pauses lose in noise and those gain.
const NOISE_RISE_DB_PER_S: f64 = 0.7;

/// Bands up to here are predicted, Hz: above them it gains nothing (4 and 8 kHz: ESTOI within 0.001), and costs.
const PREDICTED_HZ: f64 = 3_000.0;
/// From a sound to what may be predicted from it, and between the values that it is predicted from, s: of 32, 43 and 53 ms the
/// one that leaves most of the direct sound and the 50 ms behind it.
const PREDICTION_DELAY_S: f64 = 0.0533;
const TAP_S: f64 = 0.0213;
/// How long the prediction remembers, s, and its smoothed power, ms; how fast what is loud in a band is forgotten, dB/s.
const MEMORY_S: f64 = 27.0;
const POWER_MS: f64 = 16.0;
const BAND_FALL_DB_PER_S: f64 = 4.0;
/// Over how many seconds of sound it is remembered how right predictions were.
const CORRELATION_S: f64 = 2.0;

/// Lengths and rates of the prediction, of a plan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Prediction {
    /// Fours of bands that are predicted, from the lowest.
    pub(super) band_groups: usize,
    /// Hops from a sound to the first that may be predicted from it, and between two taps.
    pub(super) delay: usize,
    pub(super) stride: usize,
    /// What the equations keep from one learning to the next, a stride later, and in a hop.
    pub(super) kept: f32,
    pub(super) known_decay: f32,
    /// What the smoothed power and the loudest keep in a hop.
    pub(super) power_smoothing: f32,
    pub(super) peak_decay: f32,
    /// What is kept in a hop of how right it was.
    pub(super) correlation_smoothing: f32,
}

impl Prediction {
    pub(super) const NONE: Self = Self {
        band_groups: 0,
        delay: 1,
        stride: 1,
        kept: 0.0,
        known_decay: 0.0,
        power_smoothing: 0.0,
        peak_decay: 0.0,
        correlation_smoothing: 0.0,
    };

    /// Hops that the past holds: those of the taps and the running one.
    pub(super) fn slots(&self) -> usize {
        self.delay + self.stride * (TAPS - 1) + 1
    }
}

/// Lengths of one latency at one rate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Stft {
    /// Samples in an analysis frame; 0 without latency.
    pub(super) analysis: usize,
    /// Samples in a synthesis window: the latency.
    pub(super) synthesis: usize,
    pub(super) hop: usize,
    pub(super) bands: usize,
    pub(super) late_hops: usize,
    pub(super) prediction: Prediction,
    pub(super) hop_s: f64,
    pub(super) noise_smoothing: f32,
    /// The most that what is loud grows by in a hop, and what it keeps at least.
    pub(super) peak_rise: f32,
    pub(super) peak_decay: f32,
    /// Power of all bands together of a sine at full scale.
    pub(super) full_scale: f32,
    pub(super) noise_hops: u32,
    pub(super) noise_bias: f32,
    pub(super) noise_rise: f32,
    pub(super) noise_least: f32,
}

impl Stft {
    /// At 48 kHz frames of 2 048 samples, synthesis windows of 1 024 (high latency) or 512 (low), four hops in each; at other
    /// rates by the power of two that is nearest, up to frames of [`MAX_FRAME`].
    pub(super) fn new(latency: SpectralLatency, rate: SampleRate) -> Self {
        let mut analysis = MAX_FRAME;
        while analysis > 128 && analysis as f64 > 2_048.0 * core::f64::consts::SQRT_2 * rate.hz() / 48_000.0 {
            analysis /= 2;
        }
        let synthesis = match latency {
            SpectralLatency::None => 0,
            SpectralLatency::Low => analysis / 4,
            SpectralLatency::High => analysis / 2,
        };
        if synthesis == 0 {
            analysis = 0;
        }
        let hop = synthesis / 4;
        let hop_s = if hop == 0 { 1.0 } else { hop as f64 / rate.hz() };
        let part = libm::fmax(1.0, libm::round(NOISE_PART_S / hop_s));
        Self {
            analysis,
            synthesis,
            hop,
            bands: (analysis / 2).min(BANDS - 1),
            prediction: prediction(analysis, hop_s, rate),
            late_hops: (libm::round(LATE_S / hop_s) as usize).max(2),
            hop_s,
            noise_smoothing: smoothing(NOISE_MS, 1.0 / hop_s, 1.0) as f32,
            peak_rise: libm::exp10(0.1 * LOUD_RISE_DB_PER_S * hop_s) as f32,
            peak_decay: libm::exp10(-0.1 * LOUD_FALL_DB_PER_S * hop_s) as f32,
            // The mean square of the window is a half, that of the sine too; half of its power is in these bands.
            full_scale: (0.125 * analysis as f64 * analysis as f64) as f32,
            noise_hops: part as u32,
            noise_bias: NOISE_BIAS as f32,
            noise_rise: libm::exp10(0.1 * NOISE_RISE_DB_PER_S * part * hop_s) as f32,
            // A floor of digital silence can rise too: -140 dB of a full-scale frame.
            noise_least: (1e-14 * analysis as f64 * analysis as f64) as f32,
        }
    }

    /// How much of the past's room is used.
    #[cfg(test)]
    pub(super) fn past(&self) -> usize {
        4 * self.prediction.band_groups * self.prediction.slots()
    }

    pub(super) fn is_bypassed(&self) -> bool {
        self.synthesis == 0
    }

    /// Long analysis, short synthesis: the analysis window rises as a sine and falls as a cosine over half the synthesis
    /// window; the synthesis window makes the product a Hann window of its length, so that overlapping frames give back the
    /// input, with `scale` for what the transform and the overlap add.
    pub(super) fn windows(&self, analysis: &mut [f32; MAX_FRAME], synthesis: &mut [f32; MAX_SYNTHESIS], scale: f64) {
        let fall = self.synthesis / 2;
        let rise = self.analysis - fall;
        let at = |n: usize| {
            if n < rise {
                libm::sin(0.5 * PI * n as f64 / rise as f64)
            } else {
                libm::cos(0.5 * PI * (n - rise) as f64 / fall as f64)
            }
        };
        for (n, w) in analysis[..self.analysis].iter_mut().enumerate() {
            *w = at(n) as f32;
        }
        let overlap = 2.0 * self.hop as f64 / self.synthesis as f64;
        for (n, w) in synthesis[..self.synthesis].iter_mut().enumerate() {
            let hann = 0.5 - 0.5 * libm::cos(2.0 * PI * n as f64 / self.synthesis as f64);
            *w = (scale * overlap * hann / at(self.analysis - self.synthesis + n)) as f32;
        }
    }
}

/// What is predicted, and from what.
fn prediction(analysis: usize, hop_s: f64, rate: SampleRate) -> Prediction {
    if analysis == 0 {
        return Prediction::NONE;
    }
    let hops = |seconds: f64| libm::fmax(1.0, libm::round(seconds / hop_s)) as usize;
    let bands = libm::ceil(PREDICTED_HZ * analysis as f64 / rate.hz() / 4.0) as usize;
    let (delay, stride) = (hops(PREDICTION_DELAY_S), hops(TAP_S));
    let mut prediction = Prediction {
        band_groups: bands.min(analysis / 8).min(MAX_BAND_GROUPS),
        delay,
        stride,
        kept: smoothing(1e3 * MEMORY_S, 1.0 / (stride as f64 * hop_s), 1.0) as f32,
        known_decay: smoothing(1e3 * MEMORY_S, 1.0 / hop_s, 1.0) as f32,
        power_smoothing: smoothing(POWER_MS, 1.0 / hop_s, 1.0) as f32,
        peak_decay: libm::exp10(-0.1 * BAND_FALL_DB_PER_S * hop_s) as f32,
        correlation_smoothing: smoothing(1e3 * CORRELATION_S, 1.0 / hop_s, 1.0) as f32,
    };
    prediction.band_groups = prediction.band_groups.min(PAST / (4 * prediction.slots()));
    prediction
}
