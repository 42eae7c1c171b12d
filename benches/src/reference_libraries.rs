//! Adapters that run the same processing with our code and with other libraries.

use biquad::{Biquad, Coefficients, DirectForm2Transposed};
use ebur128::{EbuR128, Mode};
use fundsp::audiounit::AudioUnit;
use fundsp::buffer::BufferVec;
use fundsp::{MAX_BUFFER_SIZE, prelude32, prelude64};
use voicechain_core::SampleRate;
use voicechain_core::dsp::fft::{self, RealFft};
use voicechain_core::filters::{Cascade, CascadeState, Section, design};
use voicechain_core::math::from_db;
use voicechain_core::meters::{ChannelWeights, LoudnessMeter, TruePeakMeter};

/// Eight active bells: frequency in Hz, gain in dB, Q.
pub const BELLS: [(f64, f64, f64); 8] = [
    (120.0, 2.0, 1.0),
    (250.0, -3.0, 1.4),
    (500.0, -2.0, 2.0),
    (1_000.0, 1.5, 1.0),
    (2_000.0, -1.5, 1.4),
    (3_500.0, 2.5, 0.7),
    (6_000.0, -2.0, 2.0),
    (10_000.0, 1.5, 0.7),
];

/// Sections of [`BELLS`], designed by our library.
#[must_use]
pub fn sections(rate: SampleRate) -> [Section; 8] {
    BELLS.map(|(hz, gain_db, q)| design::bell(hz, gain_db, q, rate))
}

/// Stereo processor.
pub type Stereo = Box<dyn FnMut(&mut [[f32; 2]])>;

/// Our cascade.
#[must_use]
pub fn ours(rate: SampleRate) -> Stereo {
    let cascade = Cascade::new(sections(rate));
    let mut state = CascadeState::<2, 8>::new();
    Box::new(move |frames| cascade.run(&mut state, frames))
}

macro_rules! biquad_cascade {
    ($(#[$doc:meta])* $name:ident, $type:ty) => {
        $(#[$doc])*
        #[must_use]
        pub fn $name(rate: SampleRate) -> Stereo {
            let filters = sections(rate).map(|s| {
                let [a1, a2, b0, b1, b2] = [s.a1, s.a2, s.b0, s.b1, s.b2].map(|v| v as $type);
                DirectForm2Transposed::<$type>::new(Coefficients { a1, a2, b0, b1, b2 })
            });
            let mut channels = [filters, filters];
            Box::new(move |frames| {
                for frame in frames {
                    for (sample, filters) in frame.iter_mut().zip(&mut channels) {
                        let mut value = <$type>::from(*sample);
                        for filter in filters {
                            value = filter.run(value);
                        }
                        *sample = value as f32;
                    }
                }
            })
        }
    };
}

biquad_cascade! {
    /// Cascade of the crate `biquad` in double precision with our coefficients, sample by sample.
    biquad_f64, f64
}
biquad_cascade! {
    /// Cascade of the crate `biquad` in single precision with our coefficients, sample by sample.
    biquad_f32, f32
}

macro_rules! fundsp_cascade {
    ($(#[$doc:meta])* $name:ident, $prelude:ident) => {
        $(#[$doc])*
        #[must_use]
        pub fn $name(rate: SampleRate) -> Stereo {
            let pair = |k: usize| {
                let (hz, gain_db, q) = BELLS[k];
                let (hz, q, gain) = (hz as f32, q as f32, from_db(gain_db) as f32);
                $prelude::bell_hz(hz, q, gain) | $prelude::bell_hz(hz, q, gain)
            };
            let chain = pair(0) >> pair(1) >> pair(2) >> pair(3) >> pair(4) >> pair(5) >> pair(6) >> pair(7);
            in_blocks(Box::new(chain), rate)
        }
    };
}

fundsp_cascade! {
    /// Cascade of the crate `fundsp` with double-precision states, in blocks: the same bells by its own formula.
    fundsp_f64, prelude64
}
fundsp_cascade! {
    /// Cascade of the crate `fundsp` with single-precision states, in blocks: the same bells by its own formula.
    fundsp_f32, prelude32
}

/// Runs a `fundsp` graph in blocks of its maximum buffer size. The measured time includes conversion to planar buffers
/// and back.
fn in_blocks(mut unit: Box<dyn AudioUnit>, rate: SampleRate) -> Stereo {
    unit.set_sample_rate(rate.hz());
    unit.allocate();
    let (mut input, mut output) = (BufferVec::new(2), BufferVec::new(2));
    Box::new(move |frames| {
        for piece in frames.chunks_mut(MAX_BUFFER_SIZE) {
            for c in 0..2 {
                for (to, frame) in input.channel_f32_mut(c).iter_mut().zip(piece.iter()) {
                    *to = frame[c];
                }
            }
            unit.process(piece.len(), &input.buffer_ref(), &mut output.buffer_mut());
            for c in 0..2 {
                for (from, frame) in output.channel_f32(c).iter().zip(piece.iter_mut()) {
                    frame[c] = *from;
                }
            }
        }
    })
}

/// Final readings of the meters.
#[derive(Clone, Copy, Debug, Default)]
pub struct Readings {
    /// Integrated loudness, LUFS.
    pub integrated_lufs: f64,
    /// Loudness range, LU.
    pub range_lu: f64,
    /// Maximum true peak of both channels, dBTP.
    pub true_peak_dbtp: f64,
}

/// Measures a signal in blocks with our loudness and true-peak meters. With `live`, the peak is also read every 100 ms,
/// as by a display, so that the meter can skip fewer chunks.
#[must_use]
pub fn our_meters(signal: &[[f32; 2]], block: usize, live: bool, rate: SampleRate) -> Readings {
    let mut loudness = LoudnessMeter::<2>::new(rate, ChannelWeights::default());
    let mut peak = TruePeakMeter::<2>::new(rate);
    let (hop, mut since) = (rate.samples(100.0) as usize, 0);
    let mut shown = [0.0; 2];
    for frames in signal.chunks(block) {
        loudness.push(frames);
        peak.push(frames);
        since += frames.len();
        if live && since >= hop {
            since = 0;
            shown = peak.take_recent();
        }
    }
    std::hint::black_box(shown);
    let [left, right] = peak.hold_dbtp();
    Readings {
        integrated_lufs: loudness.integrated().unwrap_or(f64::NEG_INFINITY),
        range_lu: loudness.range().unwrap_or(0.0),
        true_peak_dbtp: left.max(right),
    }
}

/// Measures a signal in blocks with the crate `ebur128`.
///
/// # Errors
/// Errors of the crate.
pub fn ebur128(signal: &[[f32; 2]], block: usize, rate: SampleRate) -> Result<Readings, ebur128::Error> {
    let mode = Mode::I | Mode::LRA | Mode::M | Mode::S | Mode::TRUE_PEAK;
    let mut meter = EbuR128::new(2, rate.hz() as u32, mode)?;
    for frames in signal.chunks(block) {
        meter.add_frames_f32(frames.as_flattened())?;
    }
    let peak = meter.true_peak(0)?.max(meter.true_peak(1)?);
    Ok(Readings {
        integrated_lufs: meter.loudness_global()?,
        range_lu: meter.loudness_range()?,
        true_peak_dbtp: voicechain_core::math::to_db(peak),
    })
}

/// Power spectrum of a frame, without the bins at 0 Hz and at the Nyquist frequency.
pub type PowerSpectrum = Box<dyn FnMut(&[f32], &mut [f32])>;

/// Power spectrum by our transform, for frames of `length` samples.
#[must_use]
pub fn our_power_spectrum(length: usize) -> PowerSpectrum {
    const HALF: usize = fft::MAX_LENGTH / 2;
    let transform = RealFft::<HALF>::new(length);
    let (mut z, mut scratch) = (Box::new([[0.0; HALF]; 2]), Box::new([[0.0; HALF]; 2]));
    let ones = vec![1.0; length];
    Box::new(move |frame, powers| {
        let [re, im] = &mut *z;
        fft::pack_windowed(frame, &ones, re, im);
        transform.forward(&mut z, &mut scratch);
        fft::powers(&z, 1.0, powers);
    })
}

/// Power spectrum by the crate `microfft`, for frames of 1 024, 2 048 or 4 096 samples.
#[must_use]
pub fn microfft_power_spectrum(length: usize) -> PowerSpectrum {
    macro_rules! powers {
        ($length:literal, $function:path) => {{
            let mut work = Box::new([0.0; $length]);
            Box::new(move |frame: &[f32], powers: &mut [f32]| {
                work.copy_from_slice(frame);
                for (power, bin) in powers.iter_mut().zip($function(&mut work).iter()) {
                    *power = bin.re * bin.re + bin.im * bin.im;
                }
            })
        }};
    }
    match length {
        ..=1_024 => powers!(1_024, microfft::real::rfft_1024),
        1_025..=2_048 => powers!(2_048, microfft::real::rfft_2048),
        _ => powers!(4_096, microfft::real::rfft_4096),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_transforms_compute_the_same_power_spectrum() {
        for length in [1_024, 2_048, 4_096] {
            let frame: Vec<f32> =
                voicechain_examples::timing::test_signal::speech_like(length, SampleRate::new(48_000.0).unwrap())
                    .iter()
                    .map(|&[left, _]| left)
                    .collect();
            let [mut ours, mut theirs] = [vec![0.0; length / 2], vec![0.0; length / 2]];
            our_power_spectrum(length)(&frame, &mut ours);
            microfft_power_spectrum(length)(&frame, &mut theirs);
            let most = ours[1..].iter().fold(0.0f32, |most, &power| most.max(power));
            assert!(most > 0.0);
            for (a, b) in ours[1..].iter().zip(&theirs[1..]) {
                assert!((a.sqrt() - b.sqrt()).abs() < 1e-5 * most.sqrt(), "{length}: {a} {b}");
            }
        }
    }

    fn after(mut run: Stereo, signal: &[[f32; 2]]) -> Vec<[f32; 2]> {
        let mut frames = signal.to_vec();
        for block in frames.chunks_mut(512) {
            run(block);
        }
        frames
    }

    /// RMS of the difference relative to the RMS of `a`, left channel, dB.
    fn difference_db(a: &[[f32; 2]], b: &[[f32; 2]]) -> f64 {
        let power = |of: &dyn Fn(usize) -> f64| (0..a.len()).map(of).map(|x| x * x).sum::<f64>();
        let difference = power(&|n| f64::from(a[n][0] - b[n][0]));
        10.0 * (difference / power(&|n| f64::from(a[n][0]))).log10()
    }

    /// Speeds are comparable only if the processing is equal.
    #[test]
    fn all_cascades_process_equally() {
        let rate = SampleRate::new(48_000.0).unwrap();
        let signal = voicechain_examples::timing::test_signal::speech_like(48_000, rate);
        let reference = after(ours(rate), &signal);
        let apart = |run: Stereo| difference_db(&reference, &after(run, &signal));
        assert!(difference_db(&reference, &signal) > -20.0, "the cascade changes the signal");
        // Differences are rounding errors only.
        assert!(apart(biquad_f64(rate)) < -130.0, "{}", apart(biquad_f64(rate)));
        assert!(apart(biquad_f32(rate)) < -60.0, "{}", apart(biquad_f32(rate)));
        // Its bells use the bilinear transform, ours match the analog prototype: they differ near the Nyquist
        // frequency.
        assert!(apart(fundsp_f64(rate)) < -25.0, "{}", apart(fundsp_f64(rate)));
        assert!(apart(fundsp_f32(rate)) < -25.0, "{}", apart(fundsp_f32(rate)));
    }

    #[test]
    fn both_meters_read_the_same() {
        let rate = SampleRate::new(48_000.0).unwrap();
        let signal = voicechain_examples::timing::test_signal::speech_like(10 * 48_000, rate);
        let (ours, theirs) = (our_meters(&signal, 512, true, rate), ebur128(&signal, 512, rate).unwrap());
        assert!(
            (ours.integrated_lufs - voicechain_examples::timing::test_signal::LOUDNESS_LUFS).abs() < 0.01,
            "{ours:?}"
        );
        assert!((ours.integrated_lufs - theirs.integrated_lufs).abs() < 0.02, "{ours:?} {theirs:?}");
        assert!((ours.range_lu - theirs.range_lu).abs() < 0.5, "{ours:?} {theirs:?}");
        assert!((ours.true_peak_dbtp - theirs.true_peak_dbtp).abs() < 0.3, "{ours:?} {theirs:?}");
    }
}
