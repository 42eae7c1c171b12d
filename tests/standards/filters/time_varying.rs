//! Filters in transition: equality of the two forms, energy, and steps in the output.

use approx::{abs_diff_eq, assert_abs_diff_eq, assert_relative_eq};
use proptest::prelude::*;
use std::f64::consts::PI;
use voicechain_core::filters::design::{
    bell, butterworth_high_pass, first_order_high_pass, high_shelf, low_pass, low_shelf, notch,
};
use voicechain_core::filters::{Cascade, CascadeState, Ramp, Section, StateVariable};
use voicechain_tests::spectra::{Noise, RATES, impulse, octaves, rate, run_direct, run_state_variable};

/// The section whose state-variable form has these coefficients. Transfer function of A. Simper's structure (2013): `p
/// = 1/(1 + g(g + k))`, denominator `1 + 2(g^2 - 1)p z^-1 + (1 - gk + g^2)p z^-2`, band `gp (1 - z^-2)`, low `g^2 p (1
/// + z^-1)^2`.
fn section_of(form: &StateVariable) -> Section {
    let StateVariable { g, k, m0, m1, m2 } = *form;
    let p = 1.0 / (1.0 + g * (g + k));
    let (a1, a2) = (2.0 * (g * g - 1.0) * p, (1.0 - g * k + g * g) * p);
    let (band, low) = (m1 * g * p, m2 * g * g * p);
    Section { b0: m0 + band + low, b1: m0 * a1 + 2.0 * low, b2: m0 * a2 - band + low, a1, a2 }
}

/// Impulse responses in direct form and in state-variable form. The mapping `g = sqrt((1+a1+a2)/(1-a1+a2))`, `g k =
/// 2(1-a2)/(1-a1+a2)` follows from the bilinear transform. They differ by less than 1e-12 of the peak. At the lowest
/// frequencies the direct form amplifies its own rounding, 1e-16, by the inverse of the angle of its poles.
#[test]
fn direct_and_state_variable_form_have_the_same_impulse_response() {
    let mut worst = 0.0_f64;
    let mut check = |section: &Section, what: &str, values: [f64; 4]| {
        let (mut direct, mut other) = (impulse(4_096), impulse(4_096));
        run_direct(std::slice::from_ref(section), &mut direct);
        run_state_variable(&section.state_variable(), &mut other);
        let peak = direct.iter().fold(0.0_f64, |peak, v| peak.max(v.abs()));
        let error = direct.iter().zip(&other).fold(0.0_f64, |e, (a, b)| e.max((a - b).abs())) / peak;
        worst = worst.max(error);
        let angle = 2.0 * PI * values[0] / values[3];
        assert!(error < f64::max(1e-12, 1e-14 / angle), "{what} {values:?}: {error}");
    };
    for hz in RATES {
        let rate = rate(hz);
        for f0 in octaves(20.0, f64::min(20_000.0, 0.45 * hz), 1.0) {
            for gain in [-18.0, -3.0, 3.0, 18.0] {
                for q in [0.3, 1.0, 12.0] {
                    check(&bell(f0, gain, q, rate), "bell", [f0, gain, q, hz]);
                }
                check(&low_shelf(f0, gain * 12.0 / 18.0, rate), "low shelf", [f0, gain, 0.0, hz]);
                check(&high_shelf(f0, gain * 12.0 / 18.0, rate), "high shelf", [f0, gain, 0.0, hz]);
            }
            check(&notch(f0, 10.0, rate), "notch", [f0, 0.0, 0.0, hz]);
            check(&low_pass(f0, 0.7, rate), "low-pass", [f0, 0.0, 0.0, hz]);
            check(&first_order_high_pass(f0, rate), "first order", [f0, 0.0, 0.0, hz]);
            for section in butterworth_high_pass(8, f0, rate) {
                check(&section, "high-pass", [f0, 0.0, 0.0, hz]);
            }
        }
    }
    println!("direct against state-variable: {worst:e}");
}

/// A transition from a cascade to itself equals the cascade, in the other form.
#[test]
fn a_transition_to_the_same_settings_changes_nothing() {
    for hz in [8_000.0, 48_000.0, 192_000.0] {
        let cascade = equaliser(hz, 1);
        let mut frames = vec![[0.0_f32; 1]; 4_096];
        frames[0] = [1.0];
        let mut steady = frames.clone();
        cascade.run(&mut CascadeState::<1, 8>::new(), &mut steady);
        let mut state = CascadeState::<1, 8>::new();
        state.enter_transition(&cascade);
        cascade.interpolated(&cascade, 0.0).run(&mut state, &mut frames);
        for (n, (a, b)) in steady.iter().zip(&frames).enumerate() {
            assert!(abs_diff_eq!(a[0], b[0], epsilon = 2e-7 * a[0].abs() + 1e-10), "{hz} {n}: {a:?} {b:?}");
        }
    }
}

/// Eight sections of every kind; `which` selects one of three very different settings.
fn equaliser(hz: f64, which: usize) -> Cascade<8> {
    let rate = rate(hz);
    let sign = if which.is_multiple_of(2) { 1.0 } else { -1.0 };
    let [h0, h1, ..] = butterworth_high_pass(if which < 2 { 3 } else { 4 }, 60.0 + 100.0 * which as f64, rate);
    Cascade::new([
        h0,
        h1,
        bell(150.0 * (1.0 + which as f64), 12.0 * sign, 2.0, rate),
        if which == 1 { Section::IDENTITY } else { bell(1_000.0, -9.0 * sign, 4.0, rate) },
        bell(3_000.0, 6.0 * sign, 0.7, rate),
        low_shelf(160.0, 8.0 * sign, rate),
        bell(20.0 * (1.0 + which as f64), 18.0, 12.0, rate),
        high_shelf(0.2 * hz, -6.0 * sign, rate),
    ])
}

/// Steady coefficients, a transition to the same settings, then steady coefficients again equal a cascade without the
/// transition: the states are converted exactly.
#[test]
fn states_are_converted_exactly_between_the_forms() {
    let mut worst = 0.0_f64;
    for hz in [8_000.0, 44_100.0, 192_000.0] {
        for which in 0..3 {
            let cascade = equaliser(hz, which);
            let mut noise = Noise::new(which as u64 + 17);
            let frames: Vec<[f32; 2]> = (0..6_000).map(|_| [noise.sample() as f32, noise.sample() as f32]).collect();
            let mut steady = frames.clone();
            cascade.run(&mut CascadeState::<2, 8>::new(), &mut steady);
            let mut moved = frames.clone();
            let mut state = CascadeState::<2, 8>::new();
            let [first, second, third] = {
                let (first, later) = moved.split_at_mut(2_001);
                let (second, third) = later.split_at_mut(1_003);
                [first, second, third]
            };
            cascade.run(&mut state, first);
            state.enter_transition(&cascade);
            cascade.interpolated(&cascade, 0.0).run(&mut state, second);
            state.leave_transition(&cascade);
            cascade.run(&mut state, third);
            let peak = steady.iter().flatten().fold(0.0_f32, |peak, v| peak.max(v.abs()));
            for (a, b) in steady.iter().flatten().zip(moved.iter().flatten()) {
                worst = worst.max(f64::from((a - b).abs() / peak));
            }
        }
    }
    println!("error of the conversion: {worst:e} of the peak");
    assert!(worst < 1e-6, "{worst}");
}

/// A section with a very small gain still converts its states.
#[test]
fn states_of_nearly_flat_sections_are_converted() {
    for gain in [1e-5, 1e-3, -1e-3, 0.1] {
        for f0 in [20.0, 1_000.0, 15_000.0] {
            for hz in [44_100.0, 192_000.0] {
                let rate = rate(hz);
                let cascade =
                    Cascade::new([bell(f0, gain, 12.0, rate), low_shelf(f0, gain, rate), high_shelf(f0, -gain, rate)]);
                let mut noise = Noise::new(3);
                let mut frames: Vec<[f32; 1]> = (0..3_000).map(|_| [noise.sample() as f32]).collect();
                let mut steady = frames.clone();
                cascade.run(&mut CascadeState::<1, 3>::new(), &mut steady);
                let mut state = CascadeState::<1, 3>::new();
                for (block, part) in frames.chunks_mut(250).enumerate() {
                    if block % 2 == 1 {
                        state.enter_transition(&cascade);
                        cascade.interpolated(&cascade, 0.5).run(&mut state, part);
                        state.leave_transition(&cascade);
                    } else {
                        cascade.run(&mut state, part);
                    }
                }
                for (n, (a, b)) in steady.iter().zip(&frames).enumerate() {
                    assert!(abs_diff_eq!(a[0], b[0], epsilon = 1e-6), "{gain} {f0} {hz} {n}: {a:?} {b:?}");
                }
            }
        }
    }
}

/// A one-section cascade in transition with exactly these coefficients.
fn held(form: &StateVariable) -> Cascade<1> {
    let cascade = Cascade::new([section_of(form)]);
    cascade.interpolated(&cascade, 0.0)
}

/// Energy of the two states, measured from outside: a copy of the state responds to silence through the band-pass and
/// the low-pass output, `band = p (s1 - g s2)` and `low = s2 + g band` (Simper 2013), with `g = k = 1`, `p = 1/3`.
fn energy(state: &CascadeState<1, 1>) -> f64 {
    let response = |m1: f64, m2: f64| {
        let mut frame = [[0.0_f32]];
        held(&StateVariable { g: 1.0, k: 1.0, m0: 0.0, m1, m2 }).run(&mut state.clone(), &mut frame);
        f64::from(frame[0][0])
    };
    let (band, low) = (response(1.0, 0.0), response(0.0, 1.0));
    let second = low - band;
    let first = 3.0 * band + second;
    first * first + second * second
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    /// Without input the energy of the two states never grows, for any g > 0 and k > 0 in each sample: it changes by
    /// `-4 g k v1^2` (stability under time variation: A. Wishnick, "Time-Varying Filters for Musical Applications",
    /// DAFx-14; the change follows from the equations of the structure). The energy is measured in single precision
    /// here.
    #[test]
    fn energy_never_grows_under_any_motion(seed in any::<u64>()) {
        let mut noise = Noise::new(seed);
        let mut any_form = || StateVariable {
            g: noise.octaves_between(1e-3, 1e3),
            k: noise.octaves_between(1e-3, 1e2),
            // The band-pass output. An identity keeps no states.
            m0: 0.0,
            m1: 1.0,
            m2: 0.0,
        };
        let mut state = CascadeState::<1, 1>::new();
        for sign in [1.0, -1.0, 1.0, 1.0] {
            held(&StateVariable { g: 1.0, k: 0.1, ..any_form() }).run(&mut state, &mut [[sign]]);
        }
        let mut before = energy(&state);
        prop_assert!(before > 0.1);
        for step in 0..300 {
            held(&any_form()).run(&mut state, &mut [[0.0]]);
            let now = energy(&state);
            prop_assert!(now <= before * (1.0 + 1e-6) + 1e-30, "step {}: {} after {}", step, now, before);
            before = now.min(before);
        }
    }
}

/// Two stable low-passes with Q 5 in alternation: 100 Hz for 59 samples, 10 kHz for one. In direct form the states grow
/// 66.4-fold in each period of 60 samples (spectral radius, computed in Python); in state-variable form they do not
/// grow.
#[test]
fn alternating_filters_are_unstable_only_in_direct_form() {
    let rate = rate(48_000.0);
    let (slow, fast) = (low_pass(100.0, 5.0, rate), low_pass(10_000.0, 5.0, rate));
    assert!(slow.is_stable() && fast.is_stable());
    let periods = 100;

    // Negative control: transposed direct form in double precision, one set of states for both.
    let (mut s1, mut s2) = (0.0_f64, 0.0_f64);
    let mut sizes = Vec::new();
    for n in 0..60 * periods {
        let s = if n % 60 < 59 { &slow } else { &fast };
        let x = if n == 0 { 1.0 } else { 0.0 };
        let y = s.b0 * x + s1;
        s1 = s.b1 * x - s.a1 * y + s2;
        s2 = s.b2 * x - s.a2 * y;
        if n % 60 == 59 {
            sizes.push(s1.hypot(s2));
        }
    }
    let growth = (sizes[60] / sizes[50]).powf(0.1);
    println!("growth of the direct form in a period: {growth}");
    assert_relative_eq!(growth, 66.4, max_relative = 0.01);

    let (slow, fast) = (Cascade::new([slow]), Cascade::new([fast]));
    let (slow, fast) = (slow.interpolated(&slow, 0.0), fast.interpolated(&fast, 0.0));
    let mut state = CascadeState::<1, 1>::new();
    let mut noise = Noise::new(9);
    let mut largest = 0.0_f32;
    for period in 0..periods {
        let mut frames = [[0.0_f32]; 60];
        if period < 50 {
            frames.fill_with(|| [noise.sample() as f32]);
        }
        let (many, one) = frames.split_at_mut(59);
        slow.run(&mut state, many);
        fast.run(&mut state, one);
        largest = frames.iter().fold(largest, |peak, [v]| peak.max(v.abs()));
    }
    assert!(largest < 10.0, "{largest}");
    let mut last = [[0.0_f32]; 60];
    slow.run(&mut state, &mut last);
    // 50 silent periods of 60 samples; the largest spectral radius of a period is 0.954 (computed in Python).
    assert!(last.iter().all(|[v]| v.abs() < 10.0 * 0.954_f32.powi(50)), "{last:?}");
}

/// Random settings in every sample: the output stays bounded, and afterwards identity sections return the input.
#[test]
fn rapid_settings_changes_stay_bounded() {
    let mut noise = Noise::new(21);
    for hz in [8_000.0, 48_000.0, 192_000.0] {
        let rate = rate(hz);
        let mut state = CascadeState::<2, 4>::new();
        let mut largest = 0.0_f32;
        for n in 0..4_000 {
            let mut any_bell = || {
                let f0 = noise.octaves_between(20.0, 20_000.0);
                bell(f0, noise.between(-18.0, 18.0), noise.octaves_between(0.3, 12.0), rate)
            };
            let [from, to] = [0, 1].map(|_| Cascade::new([(); 4].map(|()| any_bell())));
            let t = noise.between(0.0, 1.0);
            let mut frames = [[noise.sample() as f32, 0.0]];
            if n == 0 {
                state.enter_transition(&from);
            }
            from.interpolated(&to, t).run(&mut state, &mut frames);
            largest = frames.iter().flatten().fold(largest, |peak, v| peak.max(v.abs()));
            assert_eq!(frames[0][1], 0.0);
        }
        // Four bells of at most 18 dB and their states: 20 times full scale per bell would be 104 dB.
        println!("largest output at {hz} Hz: {largest}");
        assert!(largest < 1e4, "{largest}");
        let calm = Cascade::new([Section::IDENTITY; 4]);
        state.leave_transition(&calm);
        let mut frames = [[0.25_f32, -0.5]; 10];
        calm.run(&mut state, &mut frames);
        assert_eq!(frames, [[0.25, -0.5]; 10]);
    }
}

/// A step from identity to a filter keeps the filter's tuning and moves only its output mix, so the output is the input
/// plus a linearly growing share of what the filter changes. Any split into blocks returns the same bits, a step of
/// one frame is the filter itself, and steps between random settings keep the output bounded.
#[test]
fn a_step_moves_in_a_straight_line() {
    let rate = rate(48_000.0);
    let mut noise = Noise::new(77);
    let identity = Cascade::new([Section::IDENTITY; 2]);
    let filter = Cascade::new([bell(700.0, 9.0, 2.0, rate), bell(4_000.0, -6.0, 1.0, rate)]);
    let first = Cascade::new([bell(700.0, 9.0, 2.0, rate), Section::IDENTITY]);
    let input: Vec<[f32; 2]> = (0..200).map(|_| [noise.sample() as f32, 0.3 * noise.sample() as f32]).collect();
    let begun = |from: &Cascade<2>| {
        let mut state = CascadeState::<2, 2>::new();
        state.enter_transition(from);
        state
    };
    // One section moves, so the share applies to its output alone.
    let mut filtered = input.clone();
    first.interpolated(&first, 0.0).run(&mut begun(&first), &mut filtered);
    let mut out = input.clone();
    first.run_step(&identity, Ramp { at: 0, length: 200 }, &mut begun(&identity), &mut out);
    for (n, ((y, x), f)) in out.iter().zip(&input).zip(&filtered).enumerate() {
        let share = (n + 1) as f32 / 200.0;
        for c in 0..2 {
            assert_abs_diff_eq!(y[c], x[c] + share * (f[c] - x[c]), epsilon = 1e-6);
        }
    }
    // Blocks.
    let mut whole = input.clone();
    filter.run_step(&first, Ramp { at: 0, length: 200 }, &mut begun(&first), &mut whole);
    let (mut split, mut state, mut at) = (input.clone(), begun(&first), 0);
    while at < split.len() {
        let until = (at + noise.between(1.0, 40.0) as usize).min(split.len());
        filter.run_step(&first, Ramp { at: at as u32, length: 200 }, &mut state, &mut split[at..until]);
        at = until;
    }
    assert!(split == whole, "the output depends on the block size");
    // A step of one frame.
    let (mut one, mut steady) = ([input[0]], [input[0]]);
    filter.run_step(&first, Ramp::END, &mut begun(&first), &mut one);
    first.interpolated(&filter, 1.0).run(&mut begun(&first), &mut steady);
    for (y, f) in one.as_flattened().iter().zip(steady.as_flattened()) {
        assert_abs_diff_eq!(y, f, epsilon = 1e-6);
    }
    // Random steps without input: the states die away.
    let mut any = || {
        let f0 = noise.octaves_between(20.0, 20_000.0);
        let section = bell(f0, noise.between(-18.0, 18.0), noise.octaves_between(0.3, 12.0), rate);
        Cascade::new([section, section])
    };
    let (mut from, mut state) = (any(), begun(&filter));
    let mut largest = 0.0_f32;
    for n in 0..2_000 {
        let to = any();
        let mut frames = [[0.0_f32, 0.0]; 5];
        frames[0][0] = if n == 0 { 1.0 } else { 0.0 };
        to.run_step(&from, Ramp { at: 0, length: 5 }, &mut state, &mut frames);
        largest = frames.iter().fold(largest, |peak, [left, _]| peak.max(left.abs()));
        assert!(frames.iter().all(|frame| frame[1] == 0.0), "the right channel is silent");
        from = to;
    }
    // Two bells of at most 18 dB.
    assert!(largest < 100.0, "{largest}");
}

/// Smooth step: the slope is zero at both ends.
fn smooth(t: f64) -> f64 {
    t * t * (3.0 - 2.0 * t)
}

/// Output for a signal whose settings change at a quarter of its length, in a transition of this length (samples) and
/// shape.
fn glide(from: &Cascade<8>, to: &Cascade<8>, samples: usize, shape: fn(f64) -> f64, signal: &[f32]) -> Vec<f32> {
    let mut frames: Vec<[f32; 1]> = signal.iter().map(|v| [*v]).collect();
    let mut state = CascadeState::<1, 8>::new();
    let (first, later) = frames.split_at_mut(signal.len() / 4);
    let (moving, last) = later.split_at_mut(samples);
    from.run(&mut state, first);
    if samples > 0 {
        state.enter_transition(from);
        for (n, frame) in moving.chunks_mut(1).enumerate() {
            from.interpolated(to, shape((n + 1) as f64 / samples as f64)).run(&mut state, frame);
        }
        state.leave_transition(to);
    }
    to.run(&mut state, last);
    frames.into_iter().map(|[v]| v).collect()
}

/// Largest second difference from sample `start` on.
fn second_difference(signal: &[f32], start: usize, end: usize) -> f64 {
    signal[start..end].windows(3).map(|w| f64::from(w[0] - 2.0 * w[1] + w[2]).abs()).fold(0.0, f64::max)
}

/// A sine and low-pass noise: neither has steps of its own, so a step in the output comes from the transition.
fn smooth_signals(hz: f64, length: usize) -> [Vec<f32>; 2] {
    let sine = (0..length).map(|n| (0.5 * (2.0 * PI * 150.0 * n as f64 / hz).sin()) as f32).collect();
    let mut noise = Noise::new(33);
    let mut low: Vec<f64> = (0..length).map(|_| 10.0 * noise.sample()).collect();
    run_direct(&[low_pass(150.0, 0.7, rate(hz)), low_pass(150.0, 0.7, rate(hz))], &mut low);
    [sine, low.into_iter().map(|v| v as f32).collect()]
}

/// A transition of 480 samples (10 ms at 48 kHz) against an immediate exchange of coefficients (negative control):
/// largest second difference of the output, relative to that with steady coefficients. A linear transition has a corner
/// at its start; a smooth one has none. The bounds are this project's own.
#[test]
fn transitions_do_not_click() {
    let hz = 48_000.0;
    let mut worst = [0.0_f64; 2];
    for (from, to) in [(0, 1), (1, 0), (2, 0), (0, 2), (1, 2), (2, 1)] {
        let (from, to) = (equaliser(hz, from), equaliser(hz, to));
        for signal in smooth_signals(hz, 24_000) {
            let (edge, length) = (signal.len() / 4, 480);
            let steady = [&from, &to]
                .map(|cascade| second_difference(&glide(cascade, cascade, 0, smooth, &signal), edge / 2, 24_000))
                .into_iter()
                .fold(0.0, f64::max);
            let measure = |samples: usize, shape: fn(f64) -> f64| {
                let output = glide(&from, &to, samples, shape, &signal);
                second_difference(&output, edge - 2, edge + length + 200) / steady
            };
            let [linear, soft, hard] =
                [measure(length, std::convert::identity), measure(length, smooth), measure(0, smooth)];
            println!(
                "second difference against steady coefficients: linear {linear:.2}, smooth {soft:.2}, immediate {hard:.0}"
            );
            assert!(hard > 40.0 * soft.max(linear), "negative control: {hard} {linear} {soft}");
            worst = [worst[0].max(linear), worst[1].max(soft)];
        }
    }
    assert!(worst[0] < 25.0 && worst[1] < 3.0, "{worst:?}");
}

/// Settings that change during a transition continue from the current coefficients.
#[test]
fn an_interrupted_transition_continues() {
    let hz = 48_000.0;
    let [a, b, c] = [0, 1, 2].map(|which| equaliser(hz, which));
    let midway = a.interpolated(&b, smooth(0.4));
    assert_eq!(midway.interpolated(&c, 0.0).interpolated(&c, 0.0), midway.interpolated(&c, 0.0));
    let [signal, _] = smooth_signals(hz, 24_000);
    let mut frames: Vec<[f32; 1]> = signal.iter().map(|v| [*v]).collect();
    let mut state = CascadeState::<1, 8>::new();
    for (at, frame) in frames.chunks_mut(1).enumerate() {
        match at {
            0..6_000 => a.run(&mut state, frame),
            6_000..6_200 => {
                if at == 6_000 {
                    state.enter_transition(&a);
                }
                a.interpolated(&b, smooth((at - 5_999) as f64 / 500.0)).run(&mut state, frame);
            }
            6_200..6_700 => {
                midway.interpolated(&c, smooth((at - 6_199) as f64 / 500.0)).run(&mut state, frame);
            }
            _ => {
                if at == 6_700 {
                    state.leave_transition(&c);
                }
                c.run(&mut state, frame);
            }
        }
    }
    let output: Vec<f32> = frames.into_iter().map(|[v]| v).collect();
    let steady = [&a, &b, &c]
        .map(|cascade| second_difference(&glide(cascade, cascade, 0, smooth, &signal), 3_000, 24_000))
        .into_iter()
        .fold(0.0, f64::max);
    let moved = second_difference(&output, 5_990, 7_000) / steady;
    assert!(moved < 2.0, "{moved}");
}
