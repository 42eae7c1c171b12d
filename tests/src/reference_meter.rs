//! True-peak meter of high precision: windowed sinc at 32 times the sample rate, in double precision.

use std::f64::consts::PI;

/// Interpolated values per sample.
pub const OVERSAMPLING: usize = 32;
/// Spacing of the values that are always computed, in steps of the oversampled grid: a quarter of a sample.
const COARSE: usize = OVERSAMPLING / 4;
/// Least ratio of a value on the coarse grid to the peak next to it: a sine at half the sample rate, read an eighth of a
/// sample off its peak, is `cos(pi / 8)` = 0.924 of it.
const COARSE_SHARE: f64 = 0.92;

/// Windowed sinc interpolator with a Kaiser window.
#[derive(Clone, Debug)]
pub struct ReferenceMeter {
    phases: Vec<Vec<f64>>,
    /// The phases of the coarse grid between the samples, in single precision.
    coarse: Vec<Vec<f32>>,
    taps: usize,
}

/// Largest reading of a signal.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// Magnitude, linear.
    pub peak: f64,
    /// Time in samples.
    pub time: f64,
}

/// Modified Bessel function of the first kind, order 0, by its power series.
fn bessel_i0(x: f64) -> f64 {
    let (mut sum, mut term, mut k) = (1.0, 1.0, 1.0);
    while term > 1e-15 * sum {
        term *= (x / (2.0 * k)) * (x / (2.0 * k));
        sum += term;
        k += 1.0;
    }
    sum
}

/// Sinc at `t` samples under a Kaiser window that ends at `half_width` samples.
fn kaiser_sinc(t: f64, half_width: f64, beta: f64) -> f64 {
    let u = t / half_width;
    if u.abs() > 1.0 {
        return 0.0;
    }
    let sinc = if t == 0.0 { 1.0 } else { (PI * t).sin() / (PI * t) };
    sinc * bessel_i0(beta * (1.0 - u * u).sqrt()) / bessel_i0(beta)
}

impl ReferenceMeter {
    /// A meter with this many taps per phase (a multiple of 8) and this parameter of the Kaiser window.
    #[must_use]
    pub fn new(taps: usize, beta: f64) -> Self {
        let half = taps as f64 / 2.0;
        let phases: Vec<Vec<f64>> = (0..OVERSAMPLING)
            .map(|p| {
                let offset = half - 1.0 + p as f64 / OVERSAMPLING as f64;
                (0..taps).map(|k| kaiser_sinc(k as f64 - offset, half, beta)).collect()
            })
            .collect();
        let rounded = |phase: usize| phases[phase].iter().map(|&h| h as f32).collect();
        let coarse = (0..OVERSAMPLING).step_by(COARSE).map(rounded).collect();
        Self { phases, coarse, taps }
    }

    /// Weight of sample `n` in the value at `time`, a time on the oversampled grid.
    #[must_use]
    pub fn weight(&self, time: f64, n: usize) -> f64 {
        let fine = ((time + self.taps as f64 / 2.0 + 1.0) * OVERSAMPLING as f64).round() as usize;
        let tap = (n + self.taps).checked_sub(fine / OVERSAMPLING);
        tap.and_then(|tap| self.phases[fine % OVERSAMPLING].get(tap)).copied().unwrap_or(0.0)
    }

    /// Value at `at` samples, on the oversampled grid, with silence before and after the signal.
    fn value(&self, padded: &[f64], at: usize, phase: usize) -> f64 {
        let mut sums = [0.0; 4];
        for (h, x) in self.phases[phase].as_chunks::<4>().0.iter().zip(padded[at..].as_chunks::<4>().0) {
            for i in 0..4 {
                sums[i] += h[i] * x[i];
            }
        }
        (sums[0] + sums[1] + sums[2] + sums[3]).abs()
    }

    /// Value of the coarse grid, in single precision.
    fn coarse_value(&self, padded: &[f32], phase: usize) -> f64 {
        let mut sums = [0.0_f32; 8];
        for (h, x) in self.coarse[phase].as_chunks::<8>().0.iter().zip(padded.as_chunks::<8>().0) {
            for i in 0..8 {
                sums[i] += h[i] * x[i];
            }
        }
        f64::from(sums.iter().sum::<f32>().abs())
    }

    /// The largest magnitude on the grid of 32 times the rate, with silence before and after the signal.
    ///
    /// The grid of four times the rate is read first, in single precision, and the finer one in double precision around
    /// values that can lie next to the largest.
    #[must_use]
    pub fn read(&self, signal: &[f32]) -> Reading {
        let mut rounded = vec![0.0; self.taps];
        rounded.extend_from_slice(signal);
        rounded.resize(rounded.len() + 2 * self.taps, 0.0);
        let padded: Vec<f64> = rounded.iter().map(|&x| f64::from(x)).collect();
        let places = signal.len() + self.taps;
        let mut coarse = Vec::with_capacity(self.coarse.len() * places);
        for at in 0..places {
            coarse.push(f64::from(rounded[at + self.taps / 2 - 1].abs()));
            for phase in 1..self.coarse.len() {
                coarse.push(self.coarse_value(&rounded[at..], phase));
            }
        }
        let most = coarse.iter().copied().fold(0.0, f64::max);
        let mut reading = Reading { peak: 0.0, time: 0.0 };
        for (i, &value) in coarse.iter().enumerate() {
            if value < COARSE_SHARE * most.max(reading.peak) {
                continue;
            }
            for fine in (COARSE * i).saturating_sub(COARSE / 2)..=COARSE * i + COARSE / 2 {
                let peak = self.value(&padded, fine / OVERSAMPLING, fine % OVERSAMPLING);
                if peak > reading.peak {
                    let time = fine as f64 / OVERSAMPLING as f64 - self.taps as f64 / 2.0 - 1.0;
                    reading = Reading { peak, time };
                }
            }
        }
        reading
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tones::Random;

    /// The largest magnitude on the whole fine grid, in double precision.
    fn exhaustive(meter: &ReferenceMeter, signal: &[f32]) -> Reading {
        let mut padded = vec![0.0; meter.taps];
        padded.extend(signal.iter().map(|&x| f64::from(x)));
        padded.resize(padded.len() + 2 * meter.taps, 0.0);
        let mut reading = Reading { peak: 0.0, time: 0.0 };
        for fine in 0..OVERSAMPLING * (signal.len() + meter.taps) {
            let peak = meter.value(&padded, fine / OVERSAMPLING, fine % OVERSAMPLING);
            if peak > reading.peak {
                let time = fine as f64 / OVERSAMPLING as f64 - meter.taps as f64 / 2.0 - 1.0;
                reading = Reading { peak, time };
            }
        }
        reading
    }

    /// Full-band signals whose highest values lie close together: noise, random signs, alternation with flips.
    #[test]
    fn the_coarse_grid_in_single_precision_misses_no_peak() {
        let mut random = Random::new(5);
        let mut sign = 1.0;
        for (taps, beta) in [(96, 5.0), (96, 8.0), (128, 9.0), (192, 10.0)] {
            let meter = ReferenceMeter::new(taps, beta);
            for which in 0..9 {
                let level = 10_f64.powf(2.0 * random.signed());
                let signal: Vec<f32> = (0..200)
                    .map(|_| {
                        let flips = random.unit() < [0.0, 0.5, 0.03][which % 3];
                        sign = if flips { sign } else { -sign };
                        (level * if which % 3 == 0 { random.normal() } else { sign }) as f32
                    })
                    .collect();
                assert_eq!(meter.read(&signal), exhaustive(&meter, &signal), "{taps} taps, signal {which}");
            }
        }
    }

    /// A sine of a quarter of the rate at 45 degrees has a true peak of 1 and samples of -3.01 dB.
    #[test]
    fn the_meter_reads_peaks_between_samples() {
        for (taps, beta) in [(96, 5.0), (96, 8.0), (128, 9.0), (192, 10.0)] {
            let meter = ReferenceMeter::new(taps, beta);
            let tone: Vec<f32> = (0..2_000)
                .map(|n| {
                    let fade = (f64::from(n.min(1_999 - n)) / 500.0).min(1.0);
                    (fade * (PI / 2.0 * f64::from(n) + PI / 4.0).sin()) as f32
                })
                .collect();
            let reading = meter.read(&tone);
            assert!((reading.peak - 1.0).abs() < 2e-3, "{reading:?}");
            let mut impulse = [0.0; 300];
            impulse[123] = -1.0;
            assert_eq!(meter.read(&impulse), Reading { peak: 1.0, time: 123.0 });
        }
    }
}
