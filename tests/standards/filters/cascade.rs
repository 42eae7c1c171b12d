//! The cascade with steady coefficients against an independent one, and its properties.

use biquad::{Biquad, Coefficients, DirectForm2Transposed};
use proptest::prelude::*;
use std::f64::consts::PI;
use voicechain_core::filters::design::{bell, butterworth_high_pass, high_shelf, low_shelf};
use voicechain_core::filters::{Cascade, CascadeState, Section};
use voicechain_tests::spectra::{Noise, fourier, rate};

/// Eight sections of every kind; one of them is an identity.
fn eight(hz: f64) -> Cascade<8> {
    let rate = rate(hz);
    let [s0, s1, ..] = butterworth_high_pass(3, 70.0, rate);
    Cascade::new([
        s0,
        s1,
        bell(210.0, -4.0, 1.4, rate),
        bell(450.0, 0.0, 1.4, rate),
        bell(2_800.0, 6.0, 3.0, rate),
        low_shelf(160.0, 3.0, rate),
        bell(3_700.0, 2.5, 0.7, rate),
        high_shelf(0.2 * hz, 4.0, rate),
    ])
}

/// The first `count` of eight sections, none of them an identity.
fn first(count: usize) -> Cascade<8> {
    let mut sections = *eight(48_000.0).sections();
    sections[3] = bell(450.0, 5.0, 2.0, rate(48_000.0));
    for section in &mut sections[count..] {
        *section = Section::IDENTITY;
    }
    Cascade::new(sections)
}

fn mono_noise(seed: u64, length: usize) -> Vec<[f32; 1]> {
    let mut noise = Noise::new(seed);
    (0..length).map(|_| [noise.sample() as f32]).collect()
}

fn stereo_noise(seed: u64, length: usize) -> Vec<[f32; 2]> {
    let mut noise = Noise::new(seed);
    (0..length).map(|_| [noise.sample() as f32, 0.3 * noise.sample() as f32]).collect()
}

/// Sample by sample against `DirectForm2Transposed<f64>` of the `biquad` crate with the same coefficients. Both round
/// to single precision at the end, so they may differ by one step, 1.2e-7.
#[test]
fn cascade_agrees_with_an_independent_one() {
    for hz in [8_000.0, 44_100.0, 192_000.0] {
        for count in 0..=8 {
            let cascade = if count == 8 { eight(hz) } else { first(count) };
            let mut reference: Vec<_> = cascade
                .sections()
                .iter()
                .map(|s| {
                    let Section { b0, b1, b2, a1, a2 } = *s;
                    DirectForm2Transposed::<f64>::new(Coefficients { a1, a2, b0, b1, b2 })
                })
                .collect();
            let mut frames = mono_noise(count as u64, 10_000);
            let input = frames.clone();
            cascade.run(&mut CascadeState::<1, 8>::new(), &mut frames);
            for (n, ([x], [y])) in input.into_iter().zip(frames).enumerate() {
                let expected = reference.iter_mut().fold(f64::from(x), |v, section| section.run(v));
                let error = (f64::from(y) - expected).abs();
                assert!(error <= 1e-6 * expected.abs() + 1e-12, "{hz} {count} {n}: {y} not {expected}");
            }
        }
    }
}

/// Magnitude and phase computed from the coefficients equal the Fourier transform of the measured impulse response,
/// which is in single precision.
#[test]
fn response_equals_the_transform_of_the_impulse_response() {
    for hz in [8_000.0, 44_100.0, 96_000.0] {
        for cascade in [eight(hz), first(1), first(4)] {
            // Twice the tail: the rest is below -240 dB.
            let length = 2 * cascade.tail() as usize + 64;
            let mut frames = vec![[0.0_f32; 1]; length];
            frames[0] = [1.0];
            cascade.run(&mut CascadeState::<1, 8>::new(), &mut frames);
            let measured: Vec<f64> = frames.iter().map(|[v]| f64::from(*v)).collect();
            for share in [0.002, 0.01, 0.03, 0.1, 0.25, 0.5, 0.7, 0.9, 1.0] {
                let omega = PI * share;
                let expected = cascade.response(omega);
                let [re, im] = fourier(&measured, omega);
                let error = (re - expected.re).hypot(im - expected.im);
                assert!(error < 1e-5, "{hz} {share}: {re} {im} not {expected:?}");
                let (db, phase) = (20.0 * re.hypot(im).log10(), im.atan2(re));
                if expected.db() > -60.0 {
                    assert!((db - expected.db()).abs() < 1e-2, "{hz} {share}: {db} not {}", expected.db());
                    let turn = (phase - expected.phase() + PI).rem_euclid(2.0 * PI) - PI;
                    assert!(turn.abs() < 1e-3, "{hz} {share}: phase {phase} not {}", expected.phase());
                }
            }
        }
    }
}

/// Each channel of a stereo cascade equals the mono cascade bit for bit, and a silent channel stays silent.
#[test]
fn channels_are_processed_alike_and_independently() {
    for count in 0..=8 {
        let cascade = first(count);
        let mut stereo = stereo_noise(7, 3_000);
        let (mut left, mut right): (Vec<_>, Vec<_>) = stereo.iter().map(|[l, r]| ([*l], [*r])).unzip();
        let mut left_only: Vec<[f32; 2]> = left.iter().map(|[l]| [*l, 0.0]).collect();
        cascade.run(&mut CascadeState::<2, 8>::new(), &mut stereo);
        cascade.run(&mut CascadeState::<1, 8>::new(), &mut left);
        cascade.run(&mut CascadeState::<1, 8>::new(), &mut right);
        cascade.run(&mut CascadeState::<2, 8>::new(), &mut left_only);
        for (n, [l, r]) in stereo.into_iter().enumerate() {
            assert_eq!([l.to_bits(), r.to_bits()], [left[n][0].to_bits(), right[n][0].to_bits()], "{count} {n}");
            assert_eq!(left_only[n], [l, 0.0], "{count} {n}");
        }
    }
}

/// Identity sections return the input bit for bit.
#[test]
fn identity_sections_return_the_input() {
    let idle = Cascade::new([bell(100.0, 0.0, 1.0, rate(44_100.0)), Section::IDENTITY]);
    assert!(idle.is_identity());
    assert_eq!(idle.tail(), 0);
    let mut frames = stereo_noise(1, 500);
    let input = frames.clone();
    idle.run(&mut CascadeState::<2, 2>::new(), &mut frames);
    assert_eq!(frames, input);
}

/// After the tail, silence is exactly zero: no subnormal numbers remain.
#[test]
fn cascade_output_ends_in_exact_zero() {
    let cascade = eight(48_000.0);
    let mut state = CascadeState::<2, 8>::new();
    cascade.run(&mut state, &mut stereo_noise(3, 1_000));
    cascade.run(&mut state, &mut vec![[0.0; 2]; 200_000]);
    let mut frames = vec![[0.0_f32; 2]; 256];
    cascade.run(&mut state, &mut frames);
    assert!(frames.iter().flatten().all(|v| *v == 0.0));
}

/// Tiny states are cleared on the sample clock, so a decay ends at the same sample for any block size, with steady
/// coefficients and in a transition.
#[test]
fn decay_ends_at_the_same_sample_for_any_block_size() {
    let steady = first(5);
    for cascade in [steady, steady.interpolated(&steady, 0.0)] {
        let render = |size: usize| {
            let mut frames = vec![[0.0_f32; 1]; 60_000];
            frames[0] = [1.0];
            let mut state = CascadeState::<1, 8>::new();
            frames.chunks_mut(size).for_each(|block| cascade.run(&mut state, block));
            frames
        };
        let whole = render(60_000);
        let end = whole.iter().rposition(|[v]| *v != 0.0).unwrap_or(0);
        assert!((1_000..59_000).contains(&end), "{end}");
        for size in [1, 7, 48, 63, 64, 65, 1_000] {
            assert_eq!(render(size), whole, "blocks of {size}");
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    /// Output is independent of block size, with steady coefficients and in transitions at fixed samples.
    #[test]
    fn cascade_is_independent_of_block_size(
        cuts in prop::collection::vec(prop_oneof![1usize..=9, Just(63), Just(64), Just(65), 1usize..=400], 1..200),
        count in 0usize..=8,
        moves in any::<bool>(),
    ) {
        let length = 2_000;
        let (from, to) = (first(count), eight(48_000.0));
        let render = |cuts: &[usize]| {
            let mut frames = stereo_noise(11, length);
            let mut state = CascadeState::<2, 8>::new();
            let mut at = 0;
            let mut sizes = cuts.iter().copied().cycle();
            while at < length {
                // The transition lasts from sample 700 to 1000, in steps of 10.
                let next = [700, 1_000, length].into_iter().find(|edge| *edge > at).unwrap_or(length);
                let next = if moves && (700..1_000).contains(&at) { next.min(at / 10 * 10 + 10) } else { next };
                let end = (at + sizes.next().unwrap_or(1)).min(if moves { next } else { length });
                let frames = &mut frames[at..end];
                if !moves || at < 700 {
                    from.run(&mut state, frames);
                } else if at < 1_000 {
                    if at == 700 {
                        state.enter_transition(&from);
                    }
                    from.interpolated(&to, ((at - 700) / 10) as f64 / 30.0).run(&mut state, frames);
                } else {
                    if at == 1_000 {
                        state.leave_transition(&to);
                    }
                    to.run(&mut state, frames);
                }
                at = end;
            }
            frames
        };
        let (whole, parts) = (render(&[length]), render(&cuts));
        for (n, (a, b)) in whole.iter().zip(&parts).enumerate() {
            prop_assert_eq!(a.map(f32::to_bits), b.map(f32::to_bits), "frame {}", n);
        }
    }
}
