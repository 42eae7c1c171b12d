//! Mains hum.

use super::profile::{HUM_HARMONICS, Hum, Measured, Unavailable};
use crate::blank::{Blank, blank};
use crate::dsp::fft::RealFft;
use crate::dsp::window::{BLACKMAN_HARRIS, blackman_harris};
use crate::dsp::{HalfBandDecimator, parabola};
use crate::math::power_to_db;

/// The sample rate is halved while it stays at or above this, Hz. The tenth harmonic of 60.5 Hz then passes the last
/// halving.
const MIN_RATE_HZ: f64 = 1_400.0;
/// Maximum number of halvings, from 48 kHz down.
const HALVINGS: usize = 5;
/// Frame length at the low rate, samples (1.5 to 2.9 s).
const LENGTH: usize = 4_096;
/// Hop, samples.
const HOP: usize = 1_024;
/// Range in which harmonics and their neighbours lie, Hz.
const LOWEST_HZ: f64 = 41.0;
const HIGHEST_HZ: f64 = 614.0;
/// Maximum number of bins in that range.
const BINS: usize = 1_696;
/// Levels are stored in steps of 0.5 dB from -150 dB up.
const BOTTOM_DB: f64 = -150.0;
const STEP_DB: f64 = 0.5;
/// Frames in a segment; percentiles are taken over one segment.
const PIECE: usize = 12;
/// Minimum frames in the last, incomplete segment.
const MIN_LAST_PIECE: usize = 6;
/// Minimum duration, s.
const MIN_S: f64 = 9.5;
/// Percentile over time at which levels are measured.
const QUIET_SHARE: f64 = 0.15;
/// Percentiles between which the fluctuation of a harmonic is measured.
const FLUCTUATION_SHARES: [f64; 2] = [0.15, 0.6];
/// Distance range of the neighbours of a harmonic, Hz.
const NEIGHBOUR_HZ: [f64; 2] = [2.5, 8.0];
/// Maximum number of neighbouring bins, on both sides.
const MAX_NEIGHBOURS: usize = 64;
/// Nominal mains frequencies, Hz.
const MAINS_HZ: [f64; 2] = [50.0, 60.0];
/// Tolerance of the mains frequency, Hz.
const TOLERANCE_HZ: f64 = 0.5;
/// Search step within the tolerance, Hz.
const SEARCH_STEP_HZ: f64 = 0.02;
/// Minimum prominence of a harmonic, dB.
const MIN_PROMINENCE_DB: f64 = 6.0;
/// Prominence beyond which the score no longer grows, dB.
const MAX_PROMINENCE_DB: f64 = 20.0;
/// Minimum score. The criteria were chosen on the development recordings (see tests/accuracy/RESULTS.md).
const SCORE: f64 = 10.0;
/// Minimum number of harmonics.
const MIN_HARMONICS: usize = 2;
/// Maximum distance of a harmonic from its multiple of the common frequency, bins.
const TOLERANCE_BINS: f64 = 0.35;
/// Maximum mean fluctuation of the harmonics, dB.
const MAX_FLUCTUATION_DB: f64 = 6.0;
/// Hum further below the voice is not reported, dB (common practice, no source).
pub(crate) const MAX_UNDER_VOICE_DB: f64 = 42.0;

/// Detects mains hum: steady harmonics of one frequency near 50 or 60 Hz.
///
/// - The sample rate is halved to 1.4 to 2.8 kHz. Frames of 4096 samples, every 1024, are windowed by Blackman-Harris
///   (four terms, -92 dB; Harris 1978).
/// - The level of each bin is its 15th percentile over time, which a voice seldom reaches. Percentiles are taken over
///   segments of 12 frames and averaged in dB.
/// - The prominence of a harmonic is its level above the median of the bins 2.5 to 8 Hz away.
/// - The score of a mains frequency sums the prominences of its ten harmonics above 6 dB, at most 14 dB each. All
///   frequencies within 0.5 Hz of 50 and 60 Hz are tried in steps of 0.02 Hz.
/// - The harmonics of the best frequency are refined by parabolas. Those that are not multiples of a common frequency
///   are discarded.
/// - Hum is reported if two harmonics remain, score 10 or more, and fluctuate by less than 6 dB from their 15th to
///   their 60th percentile. A held sung note fluctuates more.
///
/// Memory 53 kB. Tested by its own tests and measured by the group `hum` of `tests/accuracy`.
#[derive(Clone, Debug)]
pub struct HumMeter {
    decimators: [HalfBandDecimator; HALVINGS],
    halved: usize,
    rate_hz: f64,
    past: [f32; LENGTH],
    filled: usize,
    /// Samples processed at the low rate.
    samples: u64,
    first_bin: usize,
    bins: usize,
    /// Levels of the current segment, frame by frame.
    piece: [[u8; BINS]; PIECE],
    frames: usize,
    /// Completed segments.
    pieces: u32,
    /// Sums over completed segments, in level steps: levels and fluctuations.
    quiet: [f32; BINS],
    fluctuation: [f32; BINS],
}

blank! {
    HumMeter {
        decimators, halved, rate_hz, past, filled, samples, first_bin, bins, piece, frames, pieces, quiet, fluctuation,
    }
}

/// Long-term levels and fluctuations over all segments, dB.
struct LongTermSpectrum {
    bin_hz: f64,
    first_bin: usize,
    bins: usize,
    quiet: [f32; BINS],
    fluctuation: [f32; BINS],
}

/// Harmonic of a mains frequency.
#[derive(Clone, Copy)]
struct Harmonic {
    hz: f64,
    level_db: f64,
    prominence_db: f64,
    fluctuation_db: f64,
}

impl HumMeter {
    /// A meter for a mono recording at 8 to 48 kHz.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        let mut meter = Self::BLANK;
        meter.restart(rate_hz);
        meter
    }

    /// Clears the meter in place, for any rate of [`new`](Self::new).
    pub(crate) fn restart(&mut self, rate_hz: f64) {
        let (mut low_hz, mut halved) = (rate_hz, 0);
        while 0.5 * low_hz >= MIN_RATE_HZ && halved < HALVINGS {
            (low_hz, halved) = (0.5 * low_hz, halved + 1);
        }
        let bin_hz = low_hz / LENGTH as f64;
        let first_bin = (LOWEST_HZ / bin_hz) as usize;
        let last_bin = ((HIGHEST_HZ / bin_hz) as usize + 1).min(LENGTH / 2 - 1);
        *self = Self::BLANK;
        self.decimators = core::array::from_fn(|_| HalfBandDecimator::new());
        (self.halved, self.rate_hz) = (halved, low_hz);
        (self.first_bin, self.bins) = (first_bin, (last_bin - first_bin).min(BINS));
    }

    /// Processes samples.
    pub fn push(&mut self, samples: &[f32]) {
        const BLOCK: usize = 256;
        for piece in samples.chunks(BLOCK) {
            let mut now = [0.0; BLOCK];
            now[..piece.len()].copy_from_slice(piece);
            let mut count = piece.len();
            for decimator in &mut self.decimators[..self.halved] {
                let mut half = [0.0; BLOCK];
                count = decimator.run(&now[..count], &mut half);
                now = half;
            }
            self.samples += count as u64;
            let mut rest = &now[..count];
            while !rest.is_empty() {
                let (fits, later) = rest.split_at(rest.len().min(LENGTH - self.filled));
                self.past[self.filled..self.filled + fits.len()].copy_from_slice(fits);
                self.filled += fits.len();
                rest = later;
                if self.filled == LENGTH {
                    self.process_frame();
                    self.past.copy_within(HOP.., 0);
                    self.filled = LENGTH - HOP;
                }
            }
        }
    }

    fn process_frame(&mut self) {
        let Some(levels) = self.piece.get_mut(self.frames) else { return };
        let mut work = self.past;
        blackman_harris(&mut work);
        let (mut z, mut scratch) = ([[0.0; LENGTH / 2]; 2], [[0.0; LENGTH / 2]; 2]);
        let [re, im] = &mut z;
        for ((re, im), pair) in re.iter_mut().zip(im).zip(work.as_chunks::<2>().0) {
            [*re, *im] = *pair;
        }
        RealFft::new(LENGTH).forward(&mut z, &mut scratch);
        let [re, im] = &z;
        // Scaled so that the peak of a harmonic is its mean square.
        let gain = BLACKMAN_HARRIS[0] * LENGTH as f64;
        let scale = 2.0 / (gain * gain);
        let bins = re[self.first_bin..].iter().zip(&im[self.first_bin..]);
        for (level, (re, im)) in levels.iter_mut().zip(bins).take(self.bins) {
            let power = scale * f64::from(re * re + im * im);
            *level = ((power_to_db(power.max(1e-15)) - BOTTOM_DB) / STEP_DB + 0.5) as u8;
        }
        self.frames += 1;
        if self.frames == PIECE {
            add_piece(&self.piece, self.bins, &mut self.quiet, &mut self.fluctuation, 1.0);
            self.pieces += 1;
            self.frames = 0;
        }
    }

    /// Hum below a voice of an active level in dBov; `Ok(None)` if none is found or it lies more than 42 dB below the
    /// voice. Cost: some hundred microseconds.
    ///
    /// # Errors
    ///
    /// [`Unavailable::TooShort`] for less than 9.5 s.
    pub fn hum(&self, active_dbov: f64) -> Measured<Option<Hum>> {
        if (self.samples as f64) < MIN_S * self.rate_hz {
            return Err(Unavailable::TooShort);
        }
        let mut read = LongTermSpectrum {
            bin_hz: self.rate_hz / LENGTH as f64,
            first_bin: self.first_bin,
            bins: self.bins,
            quiet: self.quiet,
            fluctuation: self.fluctuation,
        };
        let mut weight = self.pieces as f32;
        if self.pieces == 0 || self.frames >= MIN_LAST_PIECE {
            let part = self.frames as f32 / PIECE as f32;
            add_piece(&self.piece[..self.frames], self.bins, &mut read.quiet, &mut read.fluctuation, part);
            weight += part;
        }
        let step = STEP_DB as f32 / weight;
        read.quiet.iter_mut().for_each(|level| *level = BOTTOM_DB as f32 + *level * step);
        read.fluctuation.iter_mut().for_each(|fluctuation| *fluctuation *= step);
        Ok(read.hum().filter(|hum| hum.level_dbfs >= active_dbov - MAX_UNDER_VOICE_DB))
    }
}

/// Adds the percentiles of every bin over a segment, in level steps, with a weight.
fn add_piece(frames: &[[u8; BINS]], bins: usize, quiet: &mut [f32; BINS], fluctuation: &mut [f32; BINS], weight: f32) {
    let count = frames.len();
    if count == 0 || count > PIECE {
        return;
    }
    for bin in 0..bins {
        let mut levels = [0_u8; PIECE];
        levels.iter_mut().zip(frames).for_each(|(to, frame)| *to = frame[bin]);
        let levels = &mut levels[..count];
        levels.sort_unstable();
        let at = |share: f64| {
            let place = share * (count - 1) as f64;
            let below = place as usize;
            let (low, high) = (f32::from(levels[below]), f32::from(levels[(below + 1).min(count - 1)]));
            low + (place - below as f64) as f32 * (high - low)
        };
        quiet[bin] += weight * at(QUIET_SHARE);
        fluctuation[bin] += weight * (at(FLUCTUATION_SHARES[1]) - at(FLUCTUATION_SHARES[0]));
    }
}

impl LongTermSpectrum {
    /// Level of a bin, counted from zero frequency, dB.
    fn level_db(&self, bin: usize) -> f64 {
        let place = bin.wrapping_sub(self.first_bin);
        self.quiet[..self.bins].get(place).map_or(BOTTOM_DB, |level| f64::from(*level))
    }

    /// Median level of the neighbours of a bin, dB.
    fn neighbours_db(&self, bin: usize) -> f64 {
        let mut levels = [0.0_f32; MAX_NEIGHBOURS];
        let mut count = 0;
        let [near, far] = NEIGHBOUR_HZ.map(|hz| libm::ceil(hz / self.bin_hz) as usize);
        for away in near..=far {
            for beside in [bin.wrapping_sub(away), bin + away] {
                let place = beside.wrapping_sub(self.first_bin);
                if let (true, Some(to)) = (place < self.bins, levels.get_mut(count)) {
                    *to = self.quiet[place];
                    count += 1;
                }
            }
        }
        let levels = &mut levels[..count];
        if levels.is_empty() {
            return BOTTOM_DB;
        }
        let (_, median, _) = levels.select_nth_unstable_by(count / 2, f32::total_cmp);
        f64::from(*median)
    }

    /// Harmonic at a frequency, refined within a bin.
    fn harmonic(&self, hz: f64) -> Harmonic {
        let middle = (hz / self.bin_hz + 0.5) as usize;
        let peak = [middle, middle - 1, middle + 1]
            .into_iter()
            .fold(middle, |best, bin| if self.level_db(bin) > self.level_db(best) { bin } else { best });
        let around = [peak - 1, peak, peak + 1].map(|bin| self.level_db(bin));
        let part = parabola::vertex(around).clamp(-0.5, 0.5);
        let level_db = parabola::height(around, part);
        let fluctuation = self.fluctuation[..self.bins].get(peak.wrapping_sub(self.first_bin));
        Harmonic {
            hz: (peak as f64 + part) * self.bin_hz,
            level_db,
            prominence_db: level_db - self.neighbours_db(peak),
            fluctuation_db: fluctuation.map_or(0.0, |fluctuation| f64::from(*fluctuation)),
        }
    }

    fn hum(&self) -> Option<Hum> {
        // Cache of the prominences.
        let mut prominence = [f32::NAN; BINS];
        let mut best = (0.0, 0.0);
        for mains_hz in MAINS_HZ {
            let steps = (2.0 * TOLERANCE_HZ / SEARCH_STEP_HZ + 0.5) as usize;
            for step in 0..=steps {
                let hz = mains_hz - TOLERANCE_HZ + step as f64 * SEARCH_STEP_HZ;
                let mut score = 0.0;
                for k in 1..=HUM_HARMONICS {
                    let bin = (k as f64 * hz / self.bin_hz + 0.5) as usize;
                    let Some(known) = prominence.get_mut(bin.wrapping_sub(self.first_bin)) else { continue };
                    if known.is_nan() {
                        *known = (self.level_db(bin) - self.neighbours_db(bin)) as f32;
                    }
                    score += excess(f64::from(*known));
                }
                if score > best.1 {
                    best = (hz, score);
                }
            }
        }
        let (hz, score) = best;
        if score < SCORE {
            return None;
        }
        let mut harmonics: [Option<Harmonic>; HUM_HARMONICS] = core::array::from_fn(|k| {
            Some(self.harmonic((k + 1) as f64 * hz)).filter(|harmonic| harmonic.prominence_db > MIN_PROMINENCE_DB)
        });
        // Discard harmonics that are not multiples of the common frequency, the farthest first.
        let frequency_hz = loop {
            let frequency_hz = common_hz(&harmonics)?;
            let off_hz = |(k, harmonic): (usize, &Option<Harmonic>)| {
                harmonic.map(|harmonic| (k, (harmonic.hz - (k + 1) as f64 * frequency_hz).abs()))
            };
            let farthest = harmonics.iter().enumerate().filter_map(off_hz).max_by(|a, b| a.1.total_cmp(&b.1))?;
            if farthest.1 <= TOLERANCE_BINS * self.bin_hz {
                break frequency_hz;
            }
            harmonics[farthest.0] = None;
        };
        let (mut count, mut fluctuation, mut score, mut power) = (0, 0.0, 0.0, 0.0);
        for harmonic in harmonics.iter().flatten() {
            let weight = excess(harmonic.prominence_db);
            count += 1;
            score += weight;
            fluctuation += weight * harmonic.fluctuation_db;
            power += libm::exp10(0.1 * harmonic.level_db);
        }
        if count < MIN_HARMONICS || score < SCORE || fluctuation >= MAX_FLUCTUATION_DB * score {
            return None;
        }
        Some(Hum {
            frequency_hz,
            level_dbfs: power_to_db(power),
            harmonics_dbfs: harmonics.map(|harmonic| harmonic.map(|harmonic| harmonic.level_db)),
        })
    }
}

/// Common frequency of the harmonics: least squares, weighted by their scores. `None` without harmonics.
fn common_hz(harmonics: &[Option<Harmonic>; HUM_HARMONICS]) -> Option<f64> {
    let (mut across, mut along) = (0.0, 0.0);
    for (k, harmonic) in harmonics.iter().enumerate() {
        if let Some(harmonic) = harmonic {
            let (k, weight) = ((k + 1) as f64, excess(harmonic.prominence_db));
            across += weight * k * harmonic.hz;
            along += weight * k * k;
        }
    }
    (along > 0.0).then(|| across / along)
}

/// Contribution of a harmonic to the score, by its prominence, dB.
fn excess(prominence_db: f64) -> f64 {
    (prominence_db.min(MAX_PROMINENCE_DB) - MIN_PROMINENCE_DB).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    extern crate std;
    use std::f64::consts::TAU;
    use std::vec::Vec;

    /// Upper estimate of the level of the test voices, dBov.
    const VOICE_DBOV: f64 = -26.0;

    struct Noise(u64);

    impl Noise {
        fn unit(&mut self) -> f64 {
            self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (self.0 >> 40) as f64 / f64::from(1 << 23) - 1.0
        }
    }

    /// Syllables with eight harmonics and a wandering pitch, at about -26 dBFS, over hiss at -70 dBFS.
    fn voice(rate_hz: f64, seconds: f64, pitch_hz: f64, glides: f64) -> Vec<f32> {
        let (mut noise, mut turns) = (Noise(5), 0.0);
        (0..(seconds * rate_hz) as u64)
            .map(|n| {
                let t = n as f64 / rate_hz;
                let wander = libm::sin(TAU * 0.37 * t) + 0.7 * libm::sin(TAU * 0.113 * t + 1.0) - 0.4 * t % 1.7;
                turns += pitch_hz * (1.0 + glides * wander) / rate_hz;
                let open = libm::sin(TAU * 2.1 * t).max(0.0) * if t % 3.0 < 2.3 { 1.0 } else { 0.0 };
                let sum: f64 = (1..=8).map(|k| libm::sin(TAU * f64::from(k) * turns) / f64::from(k)).sum();
                (0.1 * open * sum + 0.000_55 * noise.unit()) as f32
            })
            .collect()
    }

    /// Adds hum of five harmonics, each 6 dB below the previous one.
    fn with_hum(voice: &[f32], rate_hz: f64, hz: f64, level_dbfs: f64) -> Vec<f32> {
        let total: f64 = (0..5).map(|k| 0.5 * libm::exp10(-0.6 * f64::from(k))).sum();
        let gain = libm::exp10(level_dbfs / 20.0) / libm::sqrt(total);
        let hum = |n: usize| -> f64 {
            let turns = hz * n as f64 / rate_hz;
            (0..5).map(|k| libm::exp10(-0.3 * f64::from(k)) * libm::sin(TAU * f64::from(k + 1) * turns)).sum()
        };
        voice.iter().enumerate().map(|(n, x)| x + (gain * hum(n)) as f32).collect()
    }

    fn measured(rate_hz: f64, samples: &[f32], split: usize) -> Measured<Option<Hum>> {
        let mut meter = HumMeter::new(rate_hz);
        samples.chunks(split).for_each(|piece| meter.push(piece));
        meter.hum(VOICE_DBOV)
    }

    #[test]
    fn hum_below_a_voice_is_found_at_its_frequency_and_level_at_every_rate() {
        for rate_hz in [8_000.0, 11_025.0, 32_000.0, 44_100.0, 48_000.0] {
            let clean = voice(rate_hz, 10.0, 135.0, 0.08);
            for (hz, level) in [(49.87, -50.0), (60.13, -60.0)] {
                let hum = measured(rate_hz, &with_hum(&clean, rate_hz, hz, level), 4_800).unwrap();
                let hum = hum.unwrap_or_else(|| panic!("{rate_hz} {hz}: none"));
                assert!((hum.frequency_hz - hz).abs() < 0.03, "{rate_hz}: {hum:?}");
                assert!((hum.level_dbfs - level).abs() < 2.0, "{rate_hz} {level}: {hum:?}");
                let fundamental = hum.harmonics_dbfs[0].unwrap();
                assert!((fundamental - (level - 1.2)).abs() < 2.0, "{rate_hz} {level}: {hum:?}");
            }
            assert_eq!(measured(rate_hz, &clean, 4_800), Ok(None), "{rate_hz}");
        }
    }

    /// Negative controls: voices at the pitch of a harmonic, notes near the mains frequencies, noise.
    #[test]
    fn voices_and_notes_are_not_mistaken_for_hum() {
        let rate_hz = 8_000.0;
        for (pitch_hz, glides) in [(100.0, 0.05), (100.0, 0.1), (120.0, 0.05), (150.0, 0.05), (60.0, 0.08)] {
            assert_eq!(
                measured(rate_hz, &voice(rate_hz, 11.0, pitch_hz, glides), 512),
                Ok(None),
                "{pitch_hz} {glides}"
            );
        }
        let clean = voice(rate_hz, 11.0, 113.0, 0.08);
        for hz in [47.0, 55.0, 70.0] {
            assert_eq!(measured(rate_hz, &with_hum(&clean, rate_hz, hz, -45.0), 512), Ok(None), "{hz}");
        }
        let mut noise = Noise(1);
        let noise: Vec<f32> = (0..160_000).map(|_| (0.1 * noise.unit()) as f32).collect();
        assert_eq!(measured(rate_hz, &noise, 512), Ok(None));
        assert_eq!(measured(rate_hz, &[0.0; 160_000], 512), Ok(None));
    }

    #[test]
    fn block_size_and_level_do_not_change_the_hum_and_seconds_are_too_few() {
        let rate_hz = 11_025.0;
        let hum = with_hum(&voice(rate_hz, 31.0, 113.0, 0.08), rate_hz, 50.2, -55.0);
        let whole = measured(rate_hz, &hum, hum.len());
        assert_eq!(measured(rate_hz, &hum, 77), whole);
        let mut meter = HumMeter::new(rate_hz);
        hum.iter().for_each(|x| meter.push(&[0.1 * x]));
        let (whole, quiet) = (whole.unwrap().unwrap(), meter.hum(VOICE_DBOV - 20.0).unwrap().unwrap());
        assert_eq!(meter.hum(0.0), Ok(None), "much louder voice");
        assert!((whole.frequency_hz - quiet.frequency_hz).abs() < 0.005);
        assert!((whole.level_dbfs - quiet.level_dbfs - 20.0).abs() < 0.1);
        assert_eq!(measured(rate_hz, &hum[..8 * 11_025], 512), Err(Unavailable::TooShort));
    }
}
