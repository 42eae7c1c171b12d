//! Clipping: flat peaks at any level.

use super::profile::Clipping;
use crate::blank::blank;

/// Number of stored values of one polarity.
const VALUES: usize = 8;
/// Lower values do not count, -40 dBFS: 16-bit steps would look alike.
const LOWEST: f32 = 0.01;
/// Samples examined together.
const PIECE: usize = 32;
/// Minimum length of a flat peak, samples.
const MIN_RUN: u32 = 3;
/// Length of a segment, samples: about one pitch period of a low voice at 48 kHz.
const SEGMENT: usize = 512;
/// Minimum number of flat peaks at one value (common practice, no source).
const MIN_RUNS: u32 = 2;
/// Maximum ratio of segments that reach the value to segments with a flat peak. Clipping flattens at least one peak in
/// twelve, noise by chance fewer than one in fifty. Common practice, no source;
/// `voices_without_clipping_are_not_reported` counts false reports.
const MAX_SEGMENTS_PER_FLAT: u64 = 12;
/// Bins of the segment peaks: 32 per octave from [`LOWEST`] up, 8 octaves.
const BINS: usize = 256;
/// Mantissa bits below a bin.
const BIN_SHIFT: u32 = 18;

/// Bin of a magnitude of at least [`LOWEST`].
fn bin(magnitude: f32) -> usize {
    let bits = |x: f32| (x.to_bits() >> BIN_SHIFT) as usize;
    bits(magnitude).saturating_sub(bits(LOWEST)).min(BINS - 1)
}

/// Flat peaks at one value.
#[derive(Clone, Copy, Debug, Default)]
struct Flat {
    /// Magnitude.
    height: f32,
    /// Segments with such a peak.
    segments: u32,
    runs: u32,
    samples: u64,
}

blank! { Flat { height, segments, runs, samples } }

/// Peaks of one polarity, as magnitudes.
#[derive(Clone, Debug)]
struct Polarity {
    /// Highest sample of the current segment.
    highest: f32,
    /// Highest flat peak of the current segment.
    flat: Flat,
    /// Segments by their highest sample.
    segments: [u32; BINS],
    /// Highest values with flat peaks.
    flats: [Flat; VALUES],
}

blank! { Polarity { highest, flat, segments, flats } }

impl Polarity {
    const NEW: Self = {
        const NONE: Flat = Flat { height: 0.0, segments: 0, runs: 0, samples: 0 };
        Self { highest: 0.0, flat: NONE, segments: [0; BINS], flats: [NONE; VALUES] }
    };

    /// Adds a flat peak of the current segment.
    fn add(&mut self, height: f32, samples: u32) {
        self.highest = self.highest.max(height);
        if height > self.flat.height {
            self.flat = Flat { height, segments: 1, ..Flat::default() };
        }
        if height == self.flat.height {
            self.flat.runs += 1;
            self.flat.samples += u64::from(samples);
        }
    }

    /// Ends a segment. Its flat peak counts if no sample of the segment is higher.
    fn end_segment(&mut self) {
        let (highest, flat) = (core::mem::take(&mut self.highest), core::mem::take(&mut self.flat));
        if highest < LOWEST {
            return;
        }
        let count = &mut self.segments[bin(highest)];
        *count = count.saturating_add(1);
        if flat.height == highest {
            self.store(&flat);
        }
    }

    /// Adds to the stored values; the lowest gives way to a higher one.
    fn store(&mut self, new: &Flat) {
        let place = self.flats.iter().position(|flat| flat.height == new.height).unwrap_or_else(|| {
            let heights = self.flats.iter().enumerate();
            heights.fold(0, |lowest, (at, flat)| if flat.height < self.flats[lowest].height { at } else { lowest })
        });
        let flat = &mut self.flats[place];
        if flat.height < new.height {
            *flat = Flat { height: new.height, ..Flat::default() };
        }
        if flat.height == new.height {
            flat.segments = flat.segments.saturating_add(new.segments);
            flat.runs = flat.runs.saturating_add(new.runs);
            flat.samples += new.samples;
        }
    }

    /// Adds the values at which the signal is clipped.
    fn add_clipping(&self, clipping: &mut Clipping) {
        for flat in self.flats.iter().filter(|flat| flat.runs >= MIN_RUNS) {
            let reaching: u64 = self.segments[bin(flat.height)..].iter().map(|&count| u64::from(count)).sum();
            if reaching <= MAX_SEGMENTS_PER_FLAT * u64::from(flat.segments) {
                clipping.runs = clipping.runs.saturating_add(flat.runs);
                clipping.samples += flat.samples;
            }
        }
    }
}

/// Detects clipped runs of one channel: flat peaks that recur at one value which the signal seldom exceeds.
///
/// - **Flat peak**: at least three successive equal samples, entered and left with a jump. Rounding to 16 bits flattens
///   smooth peaks too, but their neighbours then fall by a few steps only: a parabola whose top stays within one step
///   for `L` samples falls by `2 ((L + 1) / (L - 1))^2` steps on both sides together.
/// - **Nothing higher near by**: no sample of the same sign in the segment of 512 samples is higher.
/// - **Recurrence**: two flat peaks or more have the very same value, and at least one in twelve of the segments that
///   reach it has one. Noise makes flat peaks by chance, at values that differ and that other peaks exceed.
///
/// The value need not be full scale, because a recording may have been attenuated after clipping, and may differ between
/// both signs. The eight highest values of each sign are stored.
///
/// Limits: a square wave is indistinguishable from clipping. Clipping in one place only, clipping below three samples
/// and clipping before lossy coding, resampling or dither is not detected. Memory 3 kB. Tested by
/// `clipping_is_counted_at_any_level`, `voices_without_clipping_are_not_reported`,
/// `clipped_voices_are_reported_at_any_level` and `loud_waves_are_not_clipped`.
#[derive(Clone, Debug)]
pub struct ClippingDetector {
    last: f32,
    /// Length of the current run of equal samples.
    run: u32,
    /// Sample before that run.
    before: f32,
    /// Samples of the current segment.
    filled: usize,
    positive: Polarity,
    negative: Polarity,
}

blank! { ClippingDetector { last, run, before, filled, positive, negative } }

impl Default for ClippingDetector {
    fn default() -> Self {
        Self::new()
    }
}

impl ClippingDetector {
    /// A detector in its initial state.
    #[must_use]
    pub const fn new() -> Self {
        Self { last: 0.0, run: 0, before: 0.0, filled: 0, positive: Polarity::NEW, negative: Polarity::NEW }
    }

    /// Processes samples of the channel at the original sample rate.
    pub fn push(&mut self, samples: &[f32]) {
        let mut rest = samples;
        while !rest.is_empty() {
            let (now, later) = rest.split_at(rest.len().min(SEGMENT - self.filled));
            self.push_segment(now);
            self.filled += now.len();
            if self.filled == SEGMENT {
                self.filled = 0;
                self.positive.end_segment();
                self.negative.end_segment();
            }
            rest = later;
        }
    }

    /// Processes samples of one segment.
    fn push_segment(&mut self, samples: &[f32]) {
        let (mut highest, mut lowest) = (self.positive.highest, -self.negative.highest);
        for &sample in samples {
            highest = if sample > highest { sample } else { highest };
            lowest = if sample < lowest { sample } else { lowest };
        }
        (self.positive.highest, self.negative.highest) = (highest, -lowest);
        let (pieces, rest) = samples.as_chunks::<PIECE>();
        for piece in pieces {
            // Most pieces contain no equal neighbours: no run starts or ends in them.
            let repeats = piece.iter().zip(&piece[1..]).fold(false, |repeats, (a, b)| repeats | (a == b));
            if repeats || self.run >= MIN_RUN || piece[0] == self.last {
                self.examine(piece);
            } else {
                (self.before, self.last, self.run) = (piece[PIECE - 2], piece[PIECE - 1], 1);
            }
        }
        self.examine(rest);
    }

    /// Processes samples one by one.
    fn examine(&mut self, samples: &[f32]) {
        for &sample in samples {
            if sample == self.last {
                self.run = self.run.saturating_add(1);
            } else {
                if self.run >= MIN_RUN {
                    self.finish(sample);
                }
                self.before = self.last;
                self.last = sample;
                self.run = 1;
            }
        }
    }

    /// Ends a run; `after` is the sample that follows it.
    fn finish(&mut self, after: f32) {
        const STEP: f32 = 1.0 / 32_768.0;
        let side = 1.0_f32.copysign(self.last);
        let height = self.last.abs();
        let (fall_before, fall_after) = (height - side * self.before, height - side * after);
        let length = self.run as f32;
        let ratio = (length + 1.0) / (length - 1.0);
        // One more step for the rounding of both neighbours. The last term keeps the slope of a loud peak out.
        let jump = (2.0 * ratio * ratio + 1.0) * STEP + height / 4_096.0;
        if height >= LOWEST && fall_before > 0.0 && fall_after > 0.0 && fall_before + fall_after > jump {
            let polarity = if side > 0.0 { &mut self.positive } else { &mut self.negative };
            polarity.add(height, self.run);
        }
    }

    /// Clipping so far. A run that the recording ends in does not count.
    #[must_use]
    pub fn result(&self) -> Clipping {
        let mut clipping = Clipping::default();
        for polarity in [&self.positive, &self.negative] {
            // The segment in progress ends here.
            let mut polarity = polarity.clone();
            polarity.end_segment();
            polarity.add_clipping(&mut clipping);
        }
        clipping
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    extern crate std;
    use std::f64::consts::TAU;
    use std::vec::Vec;

    const RATE: f64 = 48_000.0;

    fn sine(hz: f64, amplitude: f64, seconds: f64) -> Vec<f64> {
        (0..(seconds * RATE) as u64).map(|n| amplitude * libm::sin(TAU * hz * n as f64 / RATE)).collect()
    }

    fn bits_16(x: f64) -> f32 {
        (libm::round(x * 32_767.0) / 32_768.0) as f32
    }

    fn clipping(signal: impl IntoIterator<Item = f32>) -> Clipping {
        let signal: Vec<f32> = signal.into_iter().collect();
        let (mut whole, mut split) = (ClippingDetector::new(), ClippingDetector::new());
        whole.push(&signal);
        signal.chunks(5).for_each(|piece| split.push(piece));
        assert_eq!(whole.result(), split.result());
        whole.result()
    }

    #[test]
    fn clipping_is_counted_at_any_level() {
        for attenuation in [1.0, 0.5, 0.1, 0.03] {
            for overdrive in [1.02, 1.3, 3.0] {
                // Light clipping that was attenuated afterwards has edges of few steps.
                if overdrive < 1.1 && attenuation < 0.5 {
                    continue;
                }
                let wave = sine(220.0, overdrive, 1.0);
                let found = clipping(wave.iter().map(|x| bits_16(attenuation * x.clamp(-1.0, 1.0))));
                // 220 periods, clipped at both peaks; the first and the last may be cut.
                assert!((438..=440).contains(&found.runs), "{attenuation} {overdrive}: {found:?}");
                let share = 1.0 - libm::asin(1.0 / overdrive) / (TAU / 4.0);
                assert!((found.samples as f64 / 48_000.0 - share).abs() < 0.03, "{overdrive}: {found:?}");
            }
        }
        // A single louder sample, such as a click after attenuation, does not hide the clipping.
        let clipped = sine(220.0, 2.0, 1.0).into_iter().map(|x| bits_16(0.8 * x.clamp(-1.0, 1.0)));
        assert!(clipping(clipped.chain([1.0, 0.0])).runs > 430);
    }

    /// Negative control: full-scale tones from 20 Hz to 20 kHz, in 16 bits, and a voice-like sum of harmonics.
    #[test]
    fn loud_waves_are_not_clipped() {
        for hz in [20.0, 50.0, 87.3, 220.0, 997.0, 1_000.0, 6_000.0, 8_000.0, 12_000.0, 19_997.0] {
            let found = clipping(sine(hz, 1.0, 2.0).into_iter().map(bits_16));
            assert_eq!(found, Clipping::default(), "{hz}");
        }
        let harmonics = (1..40).map(|h| sine(110.0 * f64::from(h), 0.3 / f64::from(h), 1.0));
        let sum = harmonics.reduce(|a, b| a.iter().zip(b).map(|(a, b)| a + b).collect()).unwrap();
        assert_eq!(clipping(sum.into_iter().map(bits_16)), Clipping::default());
        assert_eq!(clipping([0.0; 1_000]), Clipping::default());
    }

    /// Uniform and nearly normal random numbers (Knuth's linear congruential generator; sum of four).
    struct Random(u64);

    impl Random {
        fn uniform(&mut self, from: f64, to: f64) -> f64 {
            self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            from + (to - from) * (self.0 >> 11) as f64 / (1_u64 << 53) as f64
        }

        fn normal(&mut self) -> f64 {
            (0..4).map(|_| self.uniform(-1.0, 1.0)).sum::<f64>() * libm::sqrt(0.75)
        }
    }

    /// A voice-like signal with a peak of 1: pulses of a drifting pitch through a source slope and three formants, in
    /// syllables of random level.
    fn voice(seed: u64, rate: f64, seconds: f64) -> Vec<f64> {
        let mut random = Random(seed);
        let pitch = random.uniform(85.0, 260.0);
        let mut formants = [[500.0, 80.0], [1_500.0, 110.0], [2_500.0, 160.0]].map(|[hz, width]| {
            let radius = libm::exp(-core::f64::consts::PI * width / rate);
            let hz = hz * random.uniform(0.7, 1.4);
            ([2.0 * radius * libm::cos(TAU * hz / rate), -radius * radius], [0.0; 2])
        });
        let (mut phase, mut drift, mut slope) = (0.0, 0.0, 0.0);
        let (mut left, mut length, mut level) = (0.0, 1.0, 0.0);
        let mut out: Vec<f64> = (0..(seconds * rate) as usize)
            .map(|_| {
                if left <= 0.0 {
                    length = random.uniform(0.12, 0.4) * rate;
                    level = if random.uniform(0.0, 1.0) < 0.2 { 0.0 } else { libm::exp10(random.uniform(-0.8, 0.0)) };
                    left = length;
                }
                left -= 1.0;
                drift = 0.9998 * drift + 0.0006 * random.normal();
                phase += pitch * (1.0 + drift) / rate;
                let pulse = if phase >= 1.0 { 1.0 } else { 0.0 };
                phase -= pulse;
                slope = 0.8 * slope + pulse;
                let envelope = level * libm::sin(core::f64::consts::PI * left / length);
                formants.iter_mut().fold(envelope * slope, |x, ([a1, a2], past)| {
                    let y = x + *a1 * past[0] + *a2 * past[1];
                    *past = [y, past[0]];
                    y
                })
            })
            .collect();
        let peak = out.iter().fold(0.0_f64, |peak, x| peak.max(x.abs()));
        out.iter_mut().for_each(|x| *x /= peak);
        out
    }

    fn db(db: f64) -> f64 {
        libm::exp10(db / 20.0)
    }

    /// Scales to a peak level, adds noise and rounds to 16 bits.
    fn recorded(voice: &[f64], peak_db: f64, noise_db: f64, random: &mut Random) -> Vec<f32> {
        voice.iter().map(|x| bits_16(x * db(peak_db) + db(noise_db) * random.normal())).collect()
    }

    /// Limits to 9 dB below the highest peak, and scales to a peak of 1. The gain moves in straight lines from segment
    /// to segment of 10 ms, and lets the peak of a loud segment reach the ceiling exactly.
    fn limited(voice: &[f64], rate: f64) -> Vec<f64> {
        let (ceiling, length) = (db(-9.0), (0.01 * rate) as usize);
        let gain = |segment: &[f64]| (ceiling / segment.iter().fold(1e-9, |peak: f64, x| peak.max(x.abs()))).min(1.0);
        let gains: Vec<f64> = voice.chunks(length).map(gain).collect();
        let at = |k: usize| gains[k.max(1) - 1].min(gains[k.min(gains.len() - 1)]);
        let sample = |(n, x): (usize, &f64)| {
            let (k, share) = (n / length, (n % length) as f64 / length as f64);
            x / ceiling * (at(k) + share * (at(k + 1) - at(k)))
        };
        voice.iter().enumerate().map(sample).collect()
    }

    /// Negative control: 96 quiet, noisy and limited voices, and five quiet minutes with noise.
    #[test]
    fn voices_without_clipping_are_not_reported() {
        let mut random = Random(7);
        for seed in 0..32 {
            let rate = if seed % 2 == 0 { 48_000.0 } else { 22_050.0 };
            let natural = voice(seed, rate, 4.0);
            let peak_db = -0.5 - f64::from(seed as u32 % 8) * 5.0;
            let noise_db = [-60.0, -75.0, -90.0][seed as usize % 3];
            let loud = limited(&natural, rate);
            for (voice, peak_db, noise_db) in
                [(&natural, peak_db, -96.0), (&natural, peak_db, noise_db), (&loud, peak_db, noise_db)]
            {
                let found = clipping(recorded(voice, peak_db, noise_db, &mut random));
                assert_eq!(found, Clipping::default(), "voice {seed}: peak {peak_db}, noise {noise_db} dBFS");
            }
        }
        let minutes = voice(99, 22_050.0, 300.0);
        for (peak_db, noise_db) in [(-30.0, -75.0), (-20.0, -70.0)] {
            let found = clipping(recorded(&minutes, peak_db, noise_db, &mut random));
            assert_eq!(found, Clipping::default(), "300 s: peak {peak_db}, noise {noise_db} dBFS");
        }
    }

    /// Voices with noise, driven over the range of a converter by 3 to 12 dB, on both sides or on one, then lowered and
    /// rounded to 16 bits.
    #[test]
    fn clipped_voices_are_reported_at_any_level() {
        let mut random = Random(11);
        for seed in 40..52 {
            let rate = if seed % 2 == 0 { 48_000.0 } else { 22_050.0 };
            let natural = voice(seed, rate, 4.0);
            for over_db in [3.0, 6.0, 12.0] {
                // Both sides, and the upper or the lower side 4.4 dB before the other.
                for (top, sign) in [(1.0, 1.0), (0.6, 1.0), (0.6, -1.0)] {
                    for level_db in [0.0, -6.0, -20.0, -30.0] {
                        let clipped = natural
                            .iter()
                            .map(|x| (x * db(over_db) + db(over_db - 70.0) * random.normal()).clamp(-1.0, top));
                        let scale = sign * db(level_db);
                        let found = clipping(clipped.map(|x| bits_16(x * scale)).collect::<Vec<_>>());
                        assert!(found.runs >= 2, "voice {seed}: {over_db} dB over, top {}, {level_db} dB", sign * top);
                    }
                }
            }
        }
    }
}
