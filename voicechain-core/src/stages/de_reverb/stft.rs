//! Frame lengths, windows and time constants by sample rate and latency.

use crate::blank::blank;
use crate::dsp::fft;
use crate::math::smoothing;
use crate::settings::SpectralLatency;
use crate::units::SampleRate;

/// Longest analysis frame, samples.
pub(super) const MAX_FRAME: usize = fft::MAX_LENGTH;
/// Complex values of its spectrum.
pub(super) const HALF: usize = MAX_FRAME / 2;
/// Longest synthesis window, samples.
pub(super) const MAX_SYNTHESIS: usize = MAX_FRAME / 2;
/// Maximum number of processed bands: up to 24 kHz at any rate.
pub(super) const BANDS: usize = 1_025;
/// Neighbouring bands that share one noise floor.
pub(super) const BANDS_PER_FLOOR: usize = 4;
pub(super) const FLOORS: usize = BANDS.div_ceil(BANDS_PER_FLOOR);
/// Taps of the linear prediction in each band.
pub(super) const TAPS: usize = 6;
/// Maximum number of predicted groups of four bands.
pub(super) const MAX_BAND_GROUPS: usize = 48;
/// Capacity of the prediction history of one channel: bands times hops, at every rate and latency. Tested by
/// `the_history_fits_at_every_rate`.
pub(super) const PAST: usize = 9_216;
/// Delay from the direct sound to the late reverberation, s.
const LATE_S: f64 = 0.0427;
/// Time constant of the power before the minimum search of the noise floor, ms.
const NOISE_MS: f64 = 120.0;
/// Length of one part of the minimum search window, s.
const NOISE_PART_S: f64 = 0.19;
/// Bias of the minimum statistics: mean over minimum of steady noise, power ratio. Tested by
/// `the_noise_floor_matches_steady_noise`.
const NOISE_BIAS: f64 = 1.5;
/// Maximum rise of the peak level of all bands, dB/s. The level is exceeded about a thirtieth of the time; a bang of
/// 50 ms moves it by 3 dB, or to 40 dB below the bang.
const PEAK_RISE_DB_PER_S: f64 = 60.0;
/// Fall of the peak level, dB/s.
const PEAK_FALL_DB_PER_S: f64 = 2.0;
/// Maximum rise of a known noise floor, dB/s. A faster floor climbs into fluent speech, which has few pauses (see
/// tests/standards/DE_REVERB.md).
const NOISE_RISE_DB_PER_S: f64 = 0.7;

/// Upper limit of the linear prediction, Hz. Prediction above it gains nothing and adds cost (see
/// tests/standards/DE_REVERB.md).
const PREDICTED_HZ: f64 = 3_000.0;
/// Prediction delay, s. Chosen to preserve the direct sound and the first 50 ms (see tests/standards/DE_REVERB.md).
const PREDICTION_DELAY_S: f64 = 0.0533;
/// Tap spacing, s.
const TAP_S: f64 = 0.0213;
/// Time constant of the normal equations, s.
const MEMORY_S: f64 = 27.0;
/// Time constant of the smoothed band powers, ms.
const POWER_MS: f64 = 16.0;
/// Fall of the peak power of a band, dB/s.
const BAND_FALL_DB_PER_S: f64 = 4.0;
/// Time constant of the prediction correlation, in seconds of sound.
const CORRELATION_S: f64 = 2.0;

/// Lengths and coefficients of the linear prediction at one rate and latency.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Prediction {
    /// Predicted groups of four bands, from the lowest band up.
    pub(super) band_groups: usize,
    /// Prediction delay, hops.
    pub(super) delay: usize,
    /// Tap spacing, hops.
    pub(super) stride: usize,
    /// Decay of the normal equations from one update to the next, one stride later.
    pub(super) kept: f32,
    /// Decay of the learnt time per hop.
    pub(super) known_decay: f32,
    /// One-pole coefficient of the smoothed powers per hop.
    pub(super) power_smoothing: f32,
    /// Decay of the peak power of a band per hop.
    pub(super) peak_decay: f32,
    /// One-pole coefficient of the prediction correlation per hop.
    pub(super) correlation_smoothing: f32,
}

blank! {
    Prediction {
        band_groups, delay, stride, kept, known_decay, power_smoothing, peak_decay, correlation_smoothing,
    }
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

    /// Hops in the history: those of the taps and the current one.
    pub(super) fn slots(&self) -> usize {
        self.delay + self.stride * (TAPS - 1) + 1
    }
}

/// Lengths and coefficients at one latency and rate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Stft {
    /// Length of an analysis frame, samples; 0 if bypassed.
    pub(super) analysis: usize,
    /// Length of a synthesis window, samples: the latency.
    pub(super) synthesis: usize,
    pub(super) hop: usize,
    pub(super) bands: usize,
    /// Delay from the direct sound to the late reverberation, hops.
    pub(super) late_hops: usize,
    pub(super) prediction: Prediction,
    pub(super) hop_s: f64,
    pub(super) noise_smoothing: f32,
    /// Maximum growth of the peak level per hop, power ratio.
    pub(super) peak_rise: f32,
    /// Decay of the peak level per hop, power ratio.
    pub(super) peak_decay: f32,
    /// Power of a full-scale sine, summed over all bands.
    pub(super) full_scale: f32,
    /// Hops in one part of the minimum search window.
    pub(super) noise_hops: u32,
    pub(super) noise_bias: f32,
    pub(super) noise_rise: f32,
    pub(super) noise_min_rise: f32,
}

blank! {
    Stft {
        analysis, synthesis, hop, bands, late_hops, prediction, hop_s, noise_smoothing, peak_rise, peak_decay,
        full_scale, noise_hops, noise_bias, noise_rise, noise_min_rise,
    }
}

impl Stft {
    /// True if all coefficients are finite and within their ranges.
    pub(super) fn is_stable(&self) -> bool {
        let Self {
            analysis: _,
            synthesis: _,
            hop: _,
            bands: _,
            late_hops: _,
            prediction,
            hop_s,
            noise_smoothing,
            peak_rise,
            peak_decay,
            full_scale,
            noise_hops: _,
            noise_bias,
            noise_rise,
            noise_min_rise,
        } = self;
        prediction.is_stable()
            && *hop_s > 0.0
            && hop_s.is_finite()
            && [noise_smoothing, peak_decay].iter().all(|kept| (0.0..1.0).contains(*kept))
            && [peak_rise, full_scale, noise_bias, noise_rise, noise_min_rise].iter().all(|value| value.is_finite())
    }

    /// Lengths at 48 kHz: analysis frames of 2 048 samples, synthesis windows of 1 024 (high latency) or 512 (low),
    /// four hops per synthesis window. Other rates scale by the nearest power of two, up to frames of [`MAX_FRAME`].
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
            peak_rise: libm::exp10(0.1 * PEAK_RISE_DB_PER_S * hop_s) as f32,
            peak_decay: libm::exp10(-0.1 * PEAK_FALL_DB_PER_S * hop_s) as f32,
            // The mean squares of window and sine are one half each; half of the power is in these bands.
            full_scale: (0.125 * analysis as f64 * analysis as f64) as f32,
            noise_hops: part as u32,
            noise_bias: NOISE_BIAS as f32,
            noise_rise: libm::exp10(0.1 * NOISE_RISE_DB_PER_S * part * hop_s) as f32,
            // Lets a floor of digital silence rise: -140 dB relative to a full-scale frame.
            noise_min_rise: (1e-14 * analysis as f64 * analysis as f64) as f32,
        }
    }

    /// Used length of the prediction history.
    #[cfg(test)]
    pub(super) fn past(&self) -> usize {
        4 * self.prediction.band_groups * self.prediction.slots()
    }

    pub(super) fn is_bypassed(&self) -> bool {
        self.synthesis == 0
    }
}

impl Prediction {
    /// True if all coefficients are within their ranges.
    fn is_stable(&self) -> bool {
        let Self {
            band_groups: _,
            delay: _,
            stride: _,
            kept,
            known_decay,
            power_smoothing,
            peak_decay,
            correlation_smoothing,
        } = self;
        [kept, known_decay, power_smoothing, peak_decay, correlation_smoothing]
            .iter()
            .all(|kept| (0.0..1.0).contains(*kept))
    }
}

/// Lengths and coefficients of the linear prediction.
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
