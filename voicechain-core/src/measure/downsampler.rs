//! The rate at which a voice is measured.

use crate::dsp::HalfBandDecimator;
use crate::frame::CHUNK;
use crate::units::SampleRate;

/// Highest rate at which a voice is measured, Hz. Above, the rate is halved until it is not higher.
const HIGHEST_HZ: f64 = 48_000.0;
/// Halvings from 192 kHz down.
const HALVINGS: usize = 2;

/// Brings a mono recording to 48 kHz or less.
#[derive(Clone, Debug)]
pub(crate) struct Downsampler {
    rate: SampleRate,
    decimators: [HalfBandDecimator; HALVINGS],
    halved: usize,
}

impl Downsampler {
    /// For a recording at this rate.
    pub(crate) fn new(rate: SampleRate) -> Self {
        let (mut base, mut halved) = (rate, 0);
        while base.hz() > HIGHEST_HZ && halved < HALVINGS {
            // Half of a rate above 48 kHz is a rate.
            let Ok(half) = SampleRate::new(0.5 * base.hz()) else { break };
            (base, halved) = (half, halved + 1);
        }
        Self { rate: base, decimators: core::array::from_fn(|_| HalfBandDecimator::new()), halved }
    }

    /// The rate that comes out.
    pub(crate) fn rate(&self) -> SampleRate {
        self.rate
    }

    /// Takes at most [`CHUNK`] frames of finite samples, and puts their channels' mean at the base rate into `mono`; gives how
    /// many samples.
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

/// At most [`CHUNK`] frames with silence in place of samples that are not finite, and how many those were. Without any they
/// are the frames themselves; otherwise `clean` holds them.
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
