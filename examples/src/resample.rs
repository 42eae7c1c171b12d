//! From the recording's sample rate to the delivery's, aligned to the sample and exactly as long as the input.

use rubato::audioadapter_buffers::direct::InterleavedSlice;
use rubato::{Fft, FixedSync, Resampler as _, WindowFunction};

use crate::error::{JobError, Trouble};

/// The band-limiting filter has about this many frames of the lower rate: long enough to be flat to 20 kHz at 44.1 kHz
/// and to be closed at half the lower rate.
const FILTER_FRAMES: usize = 2_048;

/// A resampler for interleaved audio of one or two channels, fed chunk by chunk in constant memory.
///
/// Frame 0 of the output is at the same instant as frame 0 of the input, and n frames become
/// [round(n · out / in)](Resampler::length). Between equal rates the samples are passed on bit for bit. Otherwise what is
/// not a number becomes silence and is [counted](Resampler::non_finite): in a filter it would spread over its neighbours.
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
    /// Frames of the filter's delay still to be dropped.
    to_drop: usize,
}

impl Resampler {
    /// A resampler between two rates in Hz.
    pub fn new(rate_in: u32, rate_out: u32, channels: usize) -> Result<Self, JobError> {
        let refuse = |what: String| JobError::new(Trouble::Rate, what, "choose rates from 8000 to 192000 Hz");
        let allowed = crate::audio_file::MIN_RATE_HZ..=crate::audio_file::MAX_RATE_HZ;
        for rate in [rate_in, rate_out] {
            if !allowed.contains(&rate) {
                return Err(refuse(format!("a sample rate of {rate} Hz is out of range")));
            }
        }
        let engine = if rate_in == rate_out {
            None
        } else {
            let divisor = gcd(rate_in, rate_out);
            let (unit_in, unit_out) = ((rate_in / divisor) as usize, (rate_out / divisor) as usize);
            // An even number of units, so that the filter's centre is a whole number of frames on both sides.
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
            .map_err(|e| refuse(format!("no way from {rate_in} to {rate_out} Hz ({e})")))?;
            debug_assert_eq!((fft.fft_size_in(), fft.fft_size_out()), (block_in, block_out));
            Some(Engine {
                to_drop: fft.output_delay(),
                fft,
                block_in,
                input: Vec::with_capacity(block_in * channels),
                output: vec![0.0; block_out * channels],
            })
        };
        Ok(Self { rate_in, rate_out, channels, engine, frames_in: 0, frames_out: 0, non_finite: 0 })
    }

    /// How many frames come of `frames` frames: round(frames · out / in), halves up.
    pub fn length(frames: u64, rate_in: u32, rate_out: u32) -> u64 {
        let (frames, from, to) = (u128::from(frames), u128::from(rate_in), u128::from(rate_out));
        ((2 * frames * to + from) / (2 * from)) as u64
    }

    /// Takes interleaved input and appends what is ready to `out`.
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

    /// Appends what is left, so that the whole output is as long as [`length`](Self::length) says.
    pub fn finish(mut self, out: &mut Vec<f32>) {
        let due = Self::length(self.frames_in, self.rate_in, self.rate_out);
        while self.frames_out < due {
            let Some(engine) = &mut self.engine else { break };
            engine.input.resize(engine.block_in * self.channels, 0.0);
            self.block(due, out);
        }
    }

    /// Samples so far that were no finite numbers and were made silent.
    pub fn non_finite(&self) -> u64 {
        self.non_finite
    }

    /// Resamples one whole block, up to `due` frames of output in all.
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
        let dropped = engine.to_drop.min(frames_out);
        engine.to_drop -= dropped;
        let keep = ((frames_out - dropped) as u64).min(due - self.frames_out) as usize;
        let from = dropped * self.channels;
        out.extend(engine.output[from..from + keep * self.channels].iter().map(|&s| s as f32));
        self.frames_out += keep as u64;
    }
}

fn gcd(a: u32, b: u32) -> u32 {
    if b == 0 { a } else { gcd(b, a % b) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::f64::consts::TAU;

    fn resample(input: &[f32], from: u32, to: u32, channels: usize, part: usize) -> Vec<f32> {
        let mut resampler = Resampler::new(from, to, channels).unwrap();
        let mut out = Vec::new();
        for chunk in input.chunks(part * channels) {
            resampler.push(chunk, &mut out);
        }
        resampler.finish(&mut out);
        out
    }

    /// Gain in dB, phase in samples late, and what is left in dB, of a sine of `hz` in the middle of `out`.
    fn judge(out: &[f32], rate: u32, hz: f64, amplitude: f64) -> (f64, f64, f64) {
        let skip = out.len() / 4;
        let middle = &out[skip..out.len() - skip];
        // Least squares with the two quadratures: exact whatever the length.
        let (mut cc, mut cs, mut ss, mut xc, mut xs) = (0.0, 0.0, 0.0, 0.0, 0.0);
        let angle = |n: usize| TAU * hz * (n + skip) as f64 / f64::from(rate);
        for (n, &x) in middle.iter().enumerate() {
            let (s, c) = angle(n).sin_cos();
            cc += c * c;
            cs += c * s;
            ss += s * s;
            xc += f64::from(x) * c;
            xs += f64::from(x) * s;
        }
        let det = cc * ss - cs * cs;
        let (a, b) = ((xc * ss - xs * cs) / det, (xs * cc - xc * cs) / det);
        let rest: f64 = middle
            .iter()
            .enumerate()
            .map(|(n, &x)| {
                let (s, c) = angle(n).sin_cos();
                (f64::from(x) - a * c - b * s).powi(2)
            })
            .sum();
        let gain = 20.0 * (a.hypot(b) / amplitude).log10();
        let late = -a.atan2(b) / (TAU * hz) * f64::from(rate);
        let rest_db = 10.0 * (rest / middle.len() as f64 / (amplitude * amplitude / 2.0)).max(1e-30).log10();
        (gain, late, rest_db)
    }

    const WAYS: [(u32, u32); 9] = [
        (44_100, 48_000),
        (48_000, 44_100),
        (96_000, 48_000),
        (192_000, 44_100),
        (88_200, 48_000),
        (32_000, 48_000),
        (8_000, 48_000),
        (22_050, 48_000),
        (44_056, 48_000),
    ];

    #[test]
    fn sines_keep_their_level_and_their_time_and_nothing_is_added() {
        let (mut worst_gain, mut worst_late, mut worst_rest): (f64, f64, f64) = (0.0, 0.0, -999.0);
        for (from, to) in WAYS {
            let half = f64::from(from.min(to)) / 2.0;
            for hz in [60.0, 997.0, 5_000.0, 10_000.0, 15_000.0, 20_000.0].into_iter().filter(|hz| *hz < 0.91 * half) {
                let count = from; // one second
                let input: Vec<f32> =
                    (0..count).map(|n| (0.5 * (TAU * hz * f64::from(n) / f64::from(from)).sin()) as f32).collect();
                let out = resample(&input, from, to, 1, 1_000);
                assert_eq!(out.len() as u32, to);
                let (gain, late, rest) = judge(&out, to, hz, 0.5);
                assert!(gain.abs() < 0.05, "{from}>{to} {hz}: {gain} dB");
                assert!(late.abs() < 0.001, "{from}>{to} {hz}: {late} samples late");
                assert!(rest < -100.0, "{from}>{to} {hz}: images at {rest} dB");
                worst_gain = worst_gain.max(gain.abs());
                worst_late = worst_late.max(late.abs());
                worst_rest = worst_rest.max(rest);
            }
        }
        println!("worst: gain {worst_gain:.6} dB, time {worst_late:.2e} samples, rest {worst_rest:.1} dB");
    }

    #[test]
    fn what_the_lower_rate_cannot_hold_is_gone() {
        for (from, to, hz) in [(48_000, 16_000, 9_000.0), (96_000, 44_100, 24_000.0), (48_000, 44_100, 22_800.0)] {
            let input: Vec<f32> =
                (0..from).map(|n| (0.5 * (TAU * hz * f64::from(n) / f64::from(from)).sin()) as f32).collect();
            let out = resample(&input, from, to, 1, 4_096);
            let middle = &out[out.len() / 4..out.len() * 3 / 4];
            let power = middle.iter().map(|&x| f64::from(x).powi(2)).sum::<f64>() / middle.len() as f64;
            let db = 10.0 * (power / 0.125).log10();
            assert!(db < -100.0, "{from}>{to}, {hz} Hz: {db} dB");
        }
    }

    #[test]
    fn an_impulse_stays_where_it_was() {
        for (from, to) in WAYS {
            // At instants that are whole frames on both sides, the output's peak is the very frame.
            let divisor = gcd(from, to);
            let (unit_in, unit_out) = ((from / divisor) as usize, (to / divisor) as usize);
            for k in [0, 1, 7] {
                let mut input = vec![0.0; 8 * unit_in + 3_000];
                input[k * unit_in] = 1.0;
                let out = resample(&input, from, to, 1, 333);
                let peak = (0..out.len()).max_by(|&a, &b| out[a].total_cmp(&out[b])).unwrap();
                assert_eq!(peak, k * unit_out, "{from}>{to}");
                let (before, after) = (out[peak.saturating_sub(1)], out[peak + 1]);
                assert!(k == 0 || (before - after).abs() < 1e-5, "{from}>{to}: {before} and {after} beside the peak");
            }
        }
    }

    #[test]
    fn what_is_no_number_becomes_silence_and_is_counted() {
        let mut input = vec![0.1; 10_000];
        input[500] = f32::NAN;
        input[5_000] = f32::NEG_INFINITY;
        let mut resampler = Resampler::new(44_100, 48_000, 1).unwrap();
        let mut out = Vec::new();
        resampler.push(&input, &mut out);
        assert_eq!(resampler.non_finite(), 2);
        resampler.finish(&mut out);
        assert!(out.iter().all(|s| s.is_finite() && s.abs() < 0.3));
    }

    #[test]
    fn rates_out_of_range_are_refused() {
        for (from, to) in [(7_999, 48_000), (48_000, 192_001), (0, 48_000)] {
            assert_eq!(Resampler::new(from, to, 1).unwrap_err().trouble(), Trouble::Rate);
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(40))]
        #[test]
        fn length_is_exact_and_chunks_do_not_matter(
            frames in 0usize..9_000, part in 1usize..4_000, way in 0usize..5, stereo: bool,
        ) {
            let (from, to) = WAYS[way];
            let channels = 1 + usize::from(stereo);
            let input: Vec<f32> = (0..frames * channels).map(|n| (n as f32 * 0.37).sin()).collect();
            let out = resample(&input, from, to, channels, part);
            prop_assert_eq!((out.len() / channels) as u64, Resampler::length(frames as u64, from, to));
            let exact = frames as f64 * f64::from(to) / f64::from(from);
            prop_assert!(((out.len() / channels) as f64 - exact).abs() <= 0.5 + 1e-9);
            prop_assert_eq!(out, resample(&input, from, to, channels, frames.max(1)));
        }

        #[test]
        fn equal_rates_pass_the_bits(words in prop::collection::vec(any::<u32>(), 0..2_000), part in 1usize..900) {
            let input: Vec<f32> = words.iter().map(|&w| f32::from_bits(w)).collect();
            let out = resample(&input, 44_100, 44_100, 1, part);
            prop_assert!(out.iter().map(|s| s.to_bits()).eq(words));
        }

        #[test]
        fn channels_do_not_mix(left in prop::collection::vec(-1.0f32..1.0, 1..5_000)) {
            let stereo: Vec<f32> = left.iter().flat_map(|&l| [l, 0.0]).collect();
            let out = resample(&stereo, 48_000, 44_100, 2, 512);
            let mono = resample(&left, 48_000, 44_100, 1, 512);
            prop_assert!(out.chunks_exact(2).map(|f| f[0]).eq(mono));
            prop_assert!(out.chunks_exact(2).all(|f| f[1] == 0.0));
        }
    }
}
