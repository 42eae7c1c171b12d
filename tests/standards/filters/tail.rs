//! The stated tail against the impulse response.

use voicechain_core::filters::design::{bell, butterworth_high_pass, high_shelf, low_pass, low_shelf, notch};
use voicechain_core::filters::{Cascade, Section};
use voicechain_tests::spectra::{Noise, impulse, rate, run_direct};

/// The last sample of the impulse response above -120 dB of its peak; the response is run well beyond the tail.
fn last_above(cascade: &Cascade<8>, tail: u32) -> usize {
    let mut response = impulse(tail as usize * 5 / 4 + 1_000);
    run_direct(cascade.sections(), &mut response);
    let peak = response.iter().fold(0.0_f64, |peak, v| peak.max(v.abs()));
    response.iter().rposition(|v| v.abs() > 1e-6 * peak).unwrap_or(0)
}

/// Panics if the tail is too short or over twice too long; returns its ratio to the true tail.
fn check(cascade: &Cascade<8>, what: &str, slack: usize) -> f64 {
    let tail = cascade.tail();
    let last = last_above(cascade, tail);
    assert!(last <= tail as usize, "{what}: {tail} samples, but still above -120 dB after {last}");
    assert!(tail as usize <= 2 * last + slack, "{what}: {tail} samples, but the response ends at {last}");
    if last > 100 { f64::from(tail) / last as f64 } else { 1.0 }
}

fn alone(section: Section) -> Cascade<8> {
    let mut sections = [Section::IDENTITY; 8];
    sections[0] = section;
    Cascade::new(sections)
}

fn repeated(section: Section, times: usize) -> Cascade<8> {
    let mut sections = [Section::IDENTITY; 8];
    sections[..times].fill(section);
    Cascade::new(sections)
}

fn with_high_pass(order: u32, f0: f64, hz: f64, others: [Section; 4]) -> Cascade<8> {
    let [h0, h1, h2, h3] = butterworth_high_pass(order, f0, rate(hz));
    let [s0, s1, s2, s3] = others;
    Cascade::new([h0, h1, h2, h3, s0, s1, s2, s3])
}

#[test]
fn tail_bounds_the_impulse_response() {
    let mut worst = (0.0_f64, String::new());
    let mut note = |cascade: &Cascade<8>, what: String, slack: usize| {
        let ratio = check(cascade, &what, slack);
        if ratio > worst.0 {
            worst = (ratio, what);
        }
    };
    for hz in [8_000.0, 44_100.0, 192_000.0] {
        let rate = rate(hz);
        for f0 in [20.0, 80.0, 400.0, 1_500.0, 3_000.0] {
            for order in [1, 2, 3, 4, 8] {
                note(&with_high_pass(order, f0, hz, [Section::IDENTITY; 4]), format!("high-pass {order} {f0} {hz}"), 0);
            }
            for q in [0.3, 0.7, 2.0, 12.0] {
                for gain in [-18.0, -6.0, -1.0, 1.0, 6.0, 18.0] {
                    // A weak bell may exceed -120 dB only in its first half period: then the period counts.
                    let slack = (hz / f0) as usize;
                    note(&alone(bell(f0, gain, q, rate)), format!("bell {f0} {gain} {q} {hz}"), slack);
                }
            }
            for gain in [-12.0, -1.0, 1.0, 12.0] {
                let slack = (hz / f0) as usize;
                note(&alone(low_shelf(f0, gain, rate)), format!("low shelf {f0} {gain} {hz}"), slack);
                note(&alone(high_shelf(f0, gain, rate)), format!("high shelf {f0} {gain} {hz}"), slack);
            }
            note(&alone(low_pass(f0.max(200.0), 0.7, rate)), format!("low-pass {f0} {hz}"), 0);
            note(&alone(notch(f0, 30.0, rate)), format!("notch {f0} {hz}"), 0);
            for times in [2, 3, 4, 8] {
                note(&repeated(bell(f0, 6.0, 2.0, rate), times), format!("bell {f0} {hz}, {times} times"), 0);
                note(&repeated(bell(f0, -3.0, 0.35, rate), times), format!("wide cut {f0} {hz}, {times} times"), 0);
                note(&repeated(bell(f0, 12.0, 0.4, rate), times), format!("wide bell {f0} {hz}, {times} times"), 0);
            }
        }
    }
    println!("largest ratio of stated and true tail: {worst:?}");
}

/// 20 Hz, Q 12, +18 dB at 192 kHz: the slowest possible settings, once and four times.
#[test]
fn tail_is_right_for_the_slowest_settings() {
    let slow = bell(20.0, 18.0, 12.0, rate(192_000.0));
    for times in [1, 4] {
        let ratio = check(&repeated(slow, times), "slowest", 0);
        println!("slowest, {times} times: {} samples, {ratio} times the true tail", repeated(slow, times).tail());
    }
}

#[test]
fn tail_is_right_for_random_equalisers() {
    let mut noise = Noise::new(5);
    let mut worst = 0.0_f64;
    for _ in 0..300 {
        let hz = noise.octaves_between(8_000.0, 96_000.0);
        let order = [1, 2, 3, 4, 8][noise.between(0.0, 5.0) as usize];
        let mut any_bell = |_| {
            let f0 = noise.octaves_between(60.0, 20_000.0);
            bell(f0, noise.between(-18.0, 18.0), noise.octaves_between(0.3, 12.0), rate(hz))
        };
        let bells = [0, 1, 2, 3].map(&mut any_bell);
        let cascade = with_high_pass(order, noise.octaves_between(40.0, 400.0), hz, bells);
        worst = worst.max(check(&cascade, "random", 0));
    }
    println!("largest ratio of stated and true tail: {worst}");
}

/// Sections so similar that their poles nearly coincide.
#[test]
fn tail_is_right_for_nearly_equal_sections() {
    for hz in [8_000.0, 48_000.0] {
        for apart in [1e-12, 1e-9, 1e-6, 1e-4, 1e-3, 1e-2, 3e-2] {
            for q in [0.3, 0.5, 1.0, 4.0] {
                let bells = [1.0, 2.0, 3.0, 4.0].map(|k| bell(200.0 * (1.0 + k * apart), 9.0, q, rate(hz)));
                let cascade = with_high_pass(2, 200.0, hz, bells);
                check(&cascade, &format!("{apart} {q} {hz}"), 0);
            }
        }
    }
}
