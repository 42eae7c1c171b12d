//! Sample rate of the measurement.

use crate::blank::blank;
use crate::dsp::HalfBandDecimator;
use crate::frame::CHUNK;
use crate::units::SampleRate;

/// Maximum sample rate of the measurement, Hz. Higher rates are halved.
const HIGHEST_HZ: f64 = 48_000.0;
/// Maximum number of halvings, from 192 kHz down.
const HALVINGS: usize = 2;

/// Mixes a recording to mono at 48 kHz or less.
#[derive(Clone, Debug)]
pub(crate) struct Downsampler {
    rate: SampleRate,
    decimators: [HalfBandDecimator; HALVINGS],
    halved: usize,
}

blank! { Downsampler { rate, decimators, halved } }

impl Downsampler {
    /// A downsampler for a recording at this rate.
    pub(crate) fn new(rate: SampleRate) -> Self {
        let (mut base, mut halved) = (rate, 0);
        while base.hz() > HIGHEST_HZ && halved < HALVINGS {
            // Half of a valid rate above 48 kHz is a valid rate.
            let Ok(half) = SampleRate::new(0.5 * base.hz()) else { break };
            (base, halved) = (half, halved + 1);
        }
        Self { rate: base, decimators: core::array::from_fn(|_| HalfBandDecimator::new()), halved }
    }

    /// Output sample rate.
    pub(crate) fn rate(&self) -> SampleRate {
        self.rate
    }

    /// Processes at most [`CHUNK`] frames of finite samples. Writes the mean of the channels at the output rate to
    /// `mono` and returns the number of samples.
    pub(crate) fn run<const C: usize>(&mut self, frames: &[[f32; C]], mono: &mut [f32; CHUNK]) -> usize {
        for (to, frame) in mono.iter_mut().zip(frames) {
            *to = frame.iter().sum::<f32>() / C as f32;
        }
        let mut count = frames.len().min(CHUNK);
        for decimator in &mut self.decimators[..self.halved] {
            let mut half = [0.0; CHUNK];
            count = decimator.run(&mono[..count], &mut half);
            *mono = half;
        }
        count
    }
}

/// Replaces non-finite samples by silence. Returns at most [`CHUNK`] frames and the number of replaced samples. Without
/// any, the frames are returned as they are; otherwise `clean` holds them.
pub(crate) fn sanitise<'a, const C: usize>(
    frames: &'a [[f32; C]],
    clean: &'a mut [[f32; C]; CHUNK],
) -> (&'a [[f32; C]], u64) {
    let frames = &frames[..frames.len().min(CHUNK)];
    if frames.as_flattened().iter().fold(true, |all, sample| all & sample.is_finite()) {
        return (frames, 0);
    }
    let mut sanitised = 0;
    for (to, &sample) in clean.as_flattened_mut().iter_mut().zip(frames.as_flattened()) {
        if sample.is_finite() {
            *to = sample;
        } else {
            sanitised += 1;
        }
    }
    (&clean[..frames.len()], sanitised)
}
