//! Sample-rate conversion from recording to delivery, aligned to the sample and exactly as long as the input.

use rubato::audioadapter_buffers::direct::InterleavedSlice;
use rubato::{Fft, FixedSync, Resampler as _, WindowFunction};

use crate::error::{JobError, JobErrorKind};

/// Length of the anti-aliasing filter in frames of the lower rate, approximately: flat to 20 kHz at 44.1 kHz, full
/// attenuation at half the lower rate.
const FILTER_FRAMES: usize = 2_048;

/// Resampler for interleaved audio of one or two channels. It works chunk by chunk in constant memory.
///
/// Output frame 0 coincides with input frame 0, and n frames become [round(n · out / in)](Resampler::output_frames).
/// Equal rates pass samples through bit-exactly. At other rates, non-finite samples become zero, because the filter
/// would spread them, and are [counted](Resampler::non_finite).
#[derive(Debug)]
pub struct Resampler {
    rate_in: u32,
    rate_out: u32,
    channels: usize,
    engine: Option<Engine>,
    frames_in: u64,
    frames_out: u64,
    non_finite: u64,
}

#[derive(Debug)]
struct Engine {
    fft: Fft<f64>,
    block_in: usize,
    input: Vec<f64>,
    output: Vec<f64>,
    /// Remaining frames of the filter delay to drop.
    frames_to_skip: usize,
}

impl Resampler {
    /// A resampler between two rates in Hz.
    pub fn new(rate_in: u32, rate_out: u32, channels: usize) -> Result<Self, JobError> {
        let refuse = |what: String| JobError::new(JobErrorKind::Rate, what, "use rates from 8000 to 192000 Hz");
        let allowed = crate::audio_file::MIN_RATE_HZ..=crate::audio_file::MAX_RATE_HZ;
        for rate in [rate_in, rate_out] {
            if !allowed.contains(&rate) {
                return Err(refuse(format!("sample rate {rate} Hz is out of range")));
            }
        }
        let engine = if rate_in == rate_out {
            None
        } else {
            let divisor = gcd(rate_in, rate_out);
            let (unit_in, unit_out) = ((rate_in / divisor) as usize, (rate_out / divisor) as usize);
            // An even number of units makes the filter delay a whole number of frames at both rates.
            let units = FILTER_FRAMES.div_ceil(unit_in.min(unit_out)).next_multiple_of(2);
            let (block_in, block_out) = (units * unit_in, units * unit_out);
            let fft = Fft::new_custom(
                rate_in as usize,
                rate_out as usize,
                block_in,
                1,
                channels,
                WindowFunction::BlackmanHarris2,
                FixedSync::Both,
            )
            .map_err(|e| refuse(format!("cannot resample from {rate_in} to {rate_out} Hz ({e})")))?;
            debug_assert_eq!((fft.fft_size_in(), fft.fft_size_out()), (block_in, block_out));
            Some(Engine {
                frames_to_skip: fft.output_delay(),
                fft,
                block_in,
                input: Vec::with_capacity(block_in * channels),
                output: vec![0.0; block_out * channels],
            })
        };
        Ok(Self { rate_in, rate_out, channels, engine, frames_in: 0, frames_out: 0, non_finite: 0 })
    }

    /// Number of output frames for `frames` input frames: round(frames · out / in), halves rounded up.
    pub fn output_frames(frames: u64, rate_in: u32, rate_out: u32) -> u64 {
        let (frames, from, to) = (u128::from(frames), u128::from(rate_in), u128::from(rate_out));
        ((2 * frames * to + from) / (2 * from)) as u64
    }

    /// Consumes interleaved input and appends the available output to `out`.
    pub fn push(&mut self, input: &[f32], out: &mut Vec<f32>) {
        self.frames_in += (input.len() / self.channels) as u64;
        if self.engine.is_none() {
            out.extend_from_slice(input);
            self.frames_out = self.frames_in;
            return;
        }
        let mut rest = input;
        while let Some(engine) = &mut self.engine {
            let room = engine.block_in * self.channels - engine.input.len();
            let (now, later) = rest.split_at(room.min(rest.len()));
            for &sample in now {
                let good = sample.is_finite();
                self.non_finite += u64::from(!good);
                engine.input.push(if good { f64::from(sample) } else { 0.0 });
            }
            rest = later;
            if engine.input.len() < engine.block_in * self.channels {
                break;
            }
            self.block(u64::MAX, out);
        }
    }

    /// Appends the remaining output, so that the total length is [`output_frames`](Self::output_frames).
    pub fn finish(mut self, out: &mut Vec<f32>) {
        let due = Self::output_frames(self.frames_in, self.rate_in, self.rate_out);
        while self.frames_out < due {
            let Some(engine) = &mut self.engine else { break };
            engine.input.resize(engine.block_in * self.channels, 0.0);
            self.block(due, out);
        }
    }

    /// Number of non-finite input samples replaced by zero.
    pub fn non_finite(&self) -> u64 {
        self.non_finite
    }

    /// Resamples one block; the total output is limited to `due` frames.
    fn block(&mut self, due: u64, out: &mut Vec<f32>) {
        let Some(engine) = &mut self.engine else { return };
        let frames_out = engine.output.len() / self.channels;
        let wrapped = InterleavedSlice::new(&engine.input, self.channels, engine.block_in);
        let target = InterleavedSlice::new_mut(&mut engine.output, self.channels, frames_out);
        if let (Ok(wrapped), Ok(mut target)) = (wrapped, target) {
            let done = engine.fft.process_into_buffer(&wrapped, &mut target, None);
            debug_assert!(done.is_ok(), "{done:?}");
        }
        engine.input.clear();
        let dropped = engine.frames_to_skip.min(frames_out);
        engine.frames_to_skip -= dropped;
        let keep = ((frames_out - dropped) as u64).min(due - self.frames_out) as usize;
        let from = dropped * self.channels;
        out.extend(engine.output[from..from + keep * self.channels].iter().map(|&s| s as f32));
        self.frames_out += keep as u64;
    }
}

fn gcd(a: u32, b: u32) -> u32 {
    if b == 0 { a } else { gcd(b, a % b) }
}
