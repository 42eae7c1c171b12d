//! True peak of the limiter's output, measured by reference meters that are independent of its detector.

use super::*;
use core::f64::consts::PI;
use std::{format, println, string::String, vec, vec::Vec};

/// Windowed sinc at 16 times the sample rate: `taps` per phase, Kaiser window.
struct ReferenceMeter {
    phases: Vec<Vec<f64>>,
    taps: usize,
}

/// Modified Bessel function of the first kind, order 0, by its power series.
fn bessel_i0(x: f64) -> f64 {
    let (mut sum, mut term, mut k) = (1.0, 1.0, 1.0);
    while term > 1e-14 * sum {
        term *= (x / (2.0 * k)) * (x / (2.0 * k));
        sum += term;
        k += 1.0;
    }
    sum
}

fn kaiser_sinc(t: f64, half_width: f64, beta: f64) -> f64 {
    let u = t / half_width;
    if u.abs() > 1.0 {
        return 0.0;
    }
    let sinc = if t == 0.0 { 1.0 } else { libm::sin(PI * t) / (PI * t) };
    sinc * bessel_i0(beta * libm::sqrt(1.0 - u * u)) / bessel_i0(beta)
}

impl ReferenceMeter {
    fn new(taps: usize, beta: f64) -> Self {
        let half = taps as f64 / 2.0;
        let phases = (0..16)
            .map(|p| {
                (0..taps).map(|k| kaiser_sinc(k as f64 - (half - 1.0) - f64::from(p) / 16.0, half, beta)).collect()
            })
            .collect();
        Self { phases, taps }
    }

    /// Largest magnitude at 16 times the rate, with silence before and after.
    fn peak(&self, signal: &[f32]) -> f64 {
        let mut line = vec![0.0; self.taps];
        line.extend(signal.iter().map(|&x| f64::from(x)));
        line.resize(line.len() + self.taps, 0.0);
        let mut peak = 0.0_f64;
        for window in line.windows(self.taps) {
            // A phase reads at most the sum of its tap magnitudes, 12 dB above the largest sample.
            let largest = window.iter().fold(0.0_f64, |m, x| m.max(x.abs()));
            if largest * 4.0 < peak {
                continue;
            }
            for phase in &self.phases {
                let mut sums = [0.0; 4];
                for (h, x) in phase.chunks_exact(4).zip(window.chunks_exact(4)) {
                    for i in 0..4 {
                        sums[i] += h[i] * x[i];
                    }
                }
                peak = peak.max((sums[0] + sums[1] + sums[2] + sums[3]).abs());
            }
        }
        peak
    }

    /// The sequence of +-1 with this meter's highest reading.
    fn worst_sequence(&self) -> Vec<f64> {
        self.phases[8].iter().map(|&h| if h < 0.0 { -1.0 } else { 1.0 }).collect()
    }
}

/// Low-pass of 511 taps that removes everything above `edge` (share of the sample rate).
fn band_limit(signal: &[f64], edge: f64) -> Vec<f64> {
    let cutoff = edge - 0.006;
    let kernel: Vec<f64> = (-255..=255)
        .map(|k| {
            let t = f64::from(k);
            let u = t / 256.0;
            let sinc = if k == 0 { 2.0 * cutoff } else { libm::sin(2.0 * PI * cutoff * t) / (PI * t) };
            sinc * bessel_i0(9.0 * libm::sqrt(1.0 - u * u)) / bessel_i0(9.0)
        })
        .collect();
    let mut out = vec![0.0; signal.len()];
    for (n, &x) in signal.iter().enumerate() {
        if x != 0.0 {
            for (k, h) in kernel.iter().enumerate() {
                if let Some(y) = (n + k).checked_sub(255).and_then(|i| out.get_mut(i)) {
                    *y += h * x;
                }
            }
        }
    }
    out
}

fn place(length: usize, parts: &[(usize, f64, &[f64])]) -> Vec<f64> {
    let mut out = vec![0.0; length];
    for &(at, gain, part) in parts {
        for (y, x) in out[at..].iter_mut().zip(part) {
            *y += gain * x;
        }
    }
    out
}

const LENGTH: usize = 2_400;

fn reference_meters() -> [ReferenceMeter; 4] {
    [
        ReferenceMeter::new(96, 5.0),
        ReferenceMeter::new(96, 8.0),
        ReferenceMeter::new(128, 9.0),
        ReferenceMeter::new(192, 10.0),
    ]
}

/// Adversarial signals at up to 20 dB over full scale.
///
/// Each comes with the index of the meter that it targets, otherwise of the third.
fn adversarial_signals(reference_meters: &[ReferenceMeter], seed: u64) -> Vec<(String, Vec<f64>, usize)> {
    let mut noise = Noise(seed);
    let white: Vec<f64> = (0..1_400).map(|_| noise.normal()).collect();
    let signs: Vec<f64> = (0..1_400).map(|_| noise.sign()).collect();
    let mut flips = Vec::new();
    let mut sign = 1.0;
    for n in 0..1_600 {
        sign = if noise.next() > 0.99 { sign } else { -sign };
        flips.push(if n % 400 < 300 { sign } else { 0.1 * sign });
    }
    let fs4: Vec<f64> = (0..200).map(|n| if n % 4 < 2 { 1.0 } else { -1.0 }).collect();
    let step = vec![1.0; 300];
    let alternation: Vec<f64> = (0..2_000).map(|n| if n % 2 == 0 { 1.0 } else { -1.0 }).collect();
    let beat: Vec<f64> = (0..1_800).map(|n| libm::sin(2.0 * PI * 0.49 * f64::from(n))).collect();
    let clicks: Vec<f64> = (0..1_800)
        .map(|n| {
            if noise.next() > 0.99 {
                30.0 * noise.next()
            } else if n > 0 {
                0.01 * noise.normal()
            } else {
                0.0
            }
        })
        .collect();
    let all = vec![
        (String::from("white noise, 0 dB"), place(LENGTH, &[(300, 0.3, &white)])),
        (String::from("white noise, +20 dB"), place(LENGTH, &[(300, 10.0, &white)])),
        (String::from("random signs, 0 dB"), place(LENGTH, &[(300, 1.0, &signs)])),
        (String::from("random signs, +20 dB"), place(LENGTH, &[(300, 10.0, &signs)])),
        (String::from("alternation with flips, 0 dB"), place(LENGTH, &[(300, 1.0, &flips)])),
        (String::from("alternation with flips, +20 dB"), place(LENGTH, &[(300, 10.0, &flips)])),
        (String::from("fs/4 bursts"), place(LENGTH, &[(300, 1.0, &fs4), (1_200, 10.0, &fs4)])),
        (String::from("steps"), place(LENGTH, &[(300, 10.0, &step), (1_200, 1.0, &step[..3]), (1_800, -3.0, &step)])),
        (
            String::from("single impulses"),
            place(LENGTH, &[(300, 1.0, &[1.0]), (900, 30.0, &[1.0]), (910, -5.0, &[1.0])]),
        ),
        (String::from("clicks in quiet"), place(LENGTH, &[(300, 1.0, &clicks)])),
        (
            String::from("tone near fs/2, jumping 32 dB"),
            place(LENGTH, &[(200, 0.24, &beat), (1_000, 9.0, &beat[..300])]),
        ),
    ];
    let mut all: Vec<_> = all.into_iter().map(|(name, signal)| (name, signal, 2)).collect();
    for (own, meter) in reference_meters.iter().enumerate() {
        let worst = meter.worst_sequence();
        let name = format!("worst case of meter {own}, {} taps", meter.taps);
        all.push((name.clone(), place(LENGTH, &[(400, 1.0, &worst), (1_400, 10.0, &worst)]), own));
        all.push((name + ", late", place(LENGTH, &[(200, 0.3, &alternation), (1_000, 10.0, &worst)]), own));
    }
    all
}

/// Largest reading above the ceiling over all meters, dB. Also checks that no sample exceeds the ceiling.
fn excess_db(coefs: &LimiterCoefs, ceiling_dbtp: f64, signal: &[f64], reference_meters: &[ReferenceMeter]) -> f64 {
    let input: Vec<f32> = signal.iter().map(|&x| x as f32).collect();
    let output = limit(coefs, &input);
    let ceiling = libm::exp10(ceiling_dbtp / 20.0);
    assert!(output.iter().all(|&y| f64::from(y).abs() <= ceiling), "a sample exceeds the ceiling");
    reference_meters.iter().map(|meter| db(meter.peak(&output) / ceiling)).fold(f64::NEG_INFINITY, f64::max)
}

const RATES: [f64; 6] = [8_000.0, 16_000.0, 44_100.0, 48_000.0, 96_000.0, 192_000.0];

/// Guarantee for full-band signals: 0.3 dB.
#[test]
fn full_band_signals_stay_within_three_tenths_of_a_decibel() {
    let reference_meters = reference_meters();
    let all = adversarial_signals(&reference_meters, 1);
    for (name, signal, own) in &all {
        let mut line = String::new();
        for hz in RATES {
            let mut largest_excess = f64::NEG_INFINITY;
            for ceiling in [-24.0, 0.0] {
                let coefs = design(hz, ceiling, 0.5, 10.0);
                largest_excess = largest_excess.max(excess_db(&coefs, ceiling, signal, &reference_meters[*own..=*own]));
            }
            line += &format!(" {largest_excess:6.3}");
            assert!(largest_excess <= 0.3, "{name} at {hz} Hz: {largest_excess:.3} dB over the ceiling");
        }
        println!("{name:36}{line}");
    }
}

/// Guarantee for signals up to 20 kHz (0.4535 of the rate below 44.1 kHz): 0.1 dB.
#[test]
fn band_limited_signals_stay_within_a_tenth_of_a_decibel() {
    let reference_meters = reference_meters();
    let all = adversarial_signals(&reference_meters, 2);
    for (name, signal, _) in &all {
        let mut line = String::new();
        for hz in RATES {
            let edge = (20_000.0 / hz).min(0.4535);
            let limited = band_limit(signal, edge);
            let mut largest_excess = f64::NEG_INFINITY;
            for ceiling in [-24.0, 0.0] {
                let coefs = design(hz, ceiling, 0.5, 10.0);
                largest_excess = largest_excess.max(excess_db(&coefs, ceiling, &limited, &reference_meters[1..2]));
            }
            line += &format!(" {largest_excess:6.3}");
            assert!(largest_excess <= 0.1, "{name} at {hz} Hz: {largest_excess:.3} dB over the ceiling");
        }
        println!("{name:36}{line}");
    }
}

#[test]
fn longer_look_ahead_and_release_stay_within_the_limits() {
    let reference_meters = reference_meters();
    let all = adversarial_signals(&reference_meters, 3);
    let mut largest_excess = [f64::NEG_INFINITY; 2];
    for (hz, look_ahead_ms, release_ms) in [
        (8_000.0, 5.0, 10.0),
        (44_100.0, 2.3, 10.0),
        (48_000.0, 1.5, 80.0),
        (48_000.0, 2.0, 10.0),
        (192_000.0, 5.0, 1_000.0),
    ] {
        let coefs = design(hz, -6.0, look_ahead_ms, release_ms);
        for (_, signal, _) in &all {
            largest_excess[0] = largest_excess[0].max(excess_db(&coefs, -6.0, signal, &reference_meters[2..3]));
            let limited = band_limit(signal, (20_000.0 / hz).min(0.4535));
            largest_excess[1] = largest_excess[1].max(excess_db(&coefs, -6.0, &limited, &reference_meters[1..2]));
        }
    }
    println!("any signal {:.3} dB, band-limited {:.3} dB", largest_excess[0], largest_excess[1]);
    assert!(largest_excess[0] <= 0.3 && largest_excess[1] <= 0.1, "{largest_excess:?}");
}

/// Negative control: the same signals and meters detect sample-peak limiting and a gain that moves too fast.
#[test]
fn weaker_designs_exceed_the_limits() {
    let reference_meters = reference_meters();
    let all = adversarial_signals(&reference_meters, 1);
    let mut samples_only = f64::NEG_INFINITY;
    let mut too_fast = f64::NEG_INFINITY;
    let coefs = LimiterCoefs { slope: 4, flat: 1, ..design(8_000.0, -12.0, 0.5, 10.0) };
    let ceiling = libm::exp10(-12.0 / 20.0);
    for (_, signal, _) in &all {
        let clipped: Vec<f32> = signal.iter().map(|&x| x.clamp(-ceiling, ceiling) as f32).collect();
        samples_only = samples_only.max(db(reference_meters[1].peak(&clipped) / ceiling));
        too_fast = too_fast.max(excess_db(&coefs, -12.0, signal, &reference_meters[2..3]));
    }
    println!("samples only {samples_only:.2} dB, slope of 4 samples {too_fast:.2} dB");
    assert!(samples_only > 6.0, "{samples_only}");
    assert!(too_fast > 1.0, "{too_fast}");
}

/// Check of the meters: a sine of fs/4 at 45 degrees has a true peak of 1.0 and samples of -3.01 dB.
#[test]
fn the_reference_meter_reads_the_standard_tone() {
    let tone: Vec<f32> = (0..2_000)
        .map(|n| {
            let fade = (f64::from(n.min(1_999 - n)) / 500.0).min(1.0);
            (fade * libm::sin(PI / 2.0 * f64::from(n) + PI / 4.0)) as f32
        })
        .collect();
    for meter in reference_meters() {
        assert!(db(meter.peak(&tone)).abs() < 0.01);
    }
}
