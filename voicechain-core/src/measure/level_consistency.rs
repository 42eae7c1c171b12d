//! Level consistency between phrases, and transients.

use super::profile::{LevelConsistency, Measured, Transients, Unavailable};
use crate::blank::blank;
use crate::dsp::SubBlockClock;
use crate::dsp::histogram::interpolated_bin;
use crate::filters::k_weighting::{self, KWeighting, KWeightingState};
use crate::math::power_to_db;
use crate::units::SampleRate;

/// Sub-blocks in one level; a level is taken at every second sub-block.
const POWERS: usize = 5;
/// Levels per second.
const LEVELS_PER_S: f64 = 50.0;
/// Stored levels, one every 20 ms: 164 s.
const KEPT: usize = 8_192;
/// Lowest stored level, dB.
const BOTTOM_DB: f64 = -120.0;
/// Level steps per dB.
const PER_DB: f64 = 2.0;
/// Number of level steps.
const STEPS: usize = 256;
/// Margin of active speech below the speech without its loudest 15 %, dB. The margin of ITU-T P.56 is 15.9 dB; the
/// loudest 15 % raise the level by some 3 dB.
const QUIETER_MARGIN_DB: f64 = 13.0;
/// Gap that ends a phrase, levels (0.25 s).
const GAP: u32 = 12;
/// Minimum length of a phrase, levels (0.5 s).
const MIN_PHRASE: u32 = 25;
/// Counted share of a phrase: all but its loudest 15 %, which may contain a transient.
const COUNTED_SHARE: f64 = 0.85;
/// Length of a segment, levels: half a second of speech. The standard deviation is taken over segments, so it needs no
/// pauses, and four segments suffice. Chosen on the development recordings (see tests/accuracy/RESULTS.md).
const SEGMENT: usize = 25;
/// Levels excluded from a segment at each end: the quietest fifth, gaps between syllables, and the loudest fifth,
/// possible transients.
const LEFT_OUT: usize = 5;
/// Minimum remainder of a phrase that counts as a segment, levels (0.3 s). A shorter remainder continues with the next
/// phrase.
const MIN_SEGMENT: usize = 15;
/// Minimum number of segments.
const MIN_SEGMENTS: u32 = 4;
/// Neighbourhood of a transient, levels to both sides (1.2 s). Doubled up to two times if it contains little speech.
const NEIGHBOURHOOD: u64 = 60;
/// Largest neighbourhood.
const MAX_NEIGHBOURHOOD: u64 = 4 * NEIGHBOURHOOD;
/// Levels to both sides of a transient that are excluded from its neighbourhood (0.15 s).
const EXCLUDED: u64 = 7;
/// Minimum number of active levels in the neighbourhood (0.2 s).
const MIN_NEIGHBOURS: u32 = 10;
/// Percentile of the neighbourhood with which a transient is compared.
const SURROUNDING_PERCENTILE: f64 = 0.9;
/// Minimum excess of a transient over its surroundings, dB.
const TRANSIENT_DB: f64 = 9.0;
/// Maximum width of a transient, levels (0.14 s), measured 6 dB below its top. A longer event is a loud syllable.
const TRANSIENT_WIDTH: u64 = 7;
/// Level steps below the top at which the width is measured.
const WIDTH_STEPS: u8 = 12;
/// Level differences between phrases are counted in bins of 0.25 dB up to 40 dB.
const STEP_BINS: usize = 160;
const BINS_PER_DB: f64 = 4.0;

/// Measures level consistency and transients from the K-weighted level of 50 ms, taken every 20 ms.
///
/// Active speech is only known once the active level is. Levels are therefore stored, in steps of 0.5 dB. Every 82 s
/// the levels older than 82 s are evaluated against the active level so far, which is a mean over minutes. The active
/// level is that of the K-weighted levels (see `active_step`). Memory 10 kB. Tested by
/// `level_steps_and_transients_are_distinguished` and `a_transient_in_an_isolated_word_counts`.
#[derive(Clone, Debug)]
pub struct LevelConsistencyMeter {
    clock: SubBlockClock,
    filter: KWeighting,
    state: KWeightingState<1>,
    powers: [f64; POWERS],
    count: u64,
    levels: [u8; KEPT],
    /// Number of levels so far.
    level_count: u64,
    histogram: [u32; STEPS],
    scanner: LevelScanner,
}

blank! { LevelConsistencyMeter { clock, filter, state, powers, count, levels, level_count, histogram, scanner } }

impl LevelConsistencyMeter {
    /// A meter for a sample rate.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        Self {
            clock: SubBlockClock::new(rate),
            filter: KWeighting::new(rate),
            state: KWeightingState::new(),
            powers: [0.0; POWERS],
            count: 0,
            levels: [0; KEPT],
            level_count: 0,
            histogram: [0; STEPS],
            scanner: LevelScanner::new(),
        }
    }

    /// Processes samples.
    pub fn push(&mut self, samples: &[f32]) {
        let Self { clock, filter, state, powers, count, levels, level_count, histogram, scanner } = self;
        clock.cut(samples, |part, complete| {
            k_weighting::accumulate(filter, core::array::from_mut(state), [part.as_chunks::<1>().0]);
            let Some(length) = complete else { return };
            let [energy] = state.take_energy(filter);
            powers[(*count % POWERS as u64) as usize] = energy / length;
            *count += 1;
            if *count < POWERS as u64 || *count % 2 == 0 {
                return;
            }
            let db = power_to_db(powers.iter().sum::<f64>() / POWERS as f64);
            let step = ((db - BOTTOM_DB) * PER_DB).max(0.0).min((STEPS - 1) as f64) as u8;
            levels[(*level_count % KEPT as u64) as usize] = step;
            histogram[usize::from(step)] = histogram[usize::from(step)].saturating_add(1);
            *level_count += 1;
            if *level_count - scanner.at == KEPT as u64 - 2 * MAX_NEIGHBOURHOOD {
                let active = active_step(histogram);
                scanner.read(levels, *level_count, *level_count - KEPT as u64 / 2, active);
            }
        });
    }

    /// Results so far. Level consistency needs two seconds of speech, transients one.
    pub fn result(&self) -> (Measured<LevelConsistency>, Measured<Transients>) {
        let mut scanner = self.scanner.clone();
        scanner.read(&self.levels, self.level_count, self.level_count, active_step(&self.histogram));
        scanner.end_phrase();
        if scanner.active == 0 {
            return (Err(Unavailable::Silence), Err(Unavailable::Silence));
        }
        (scanner.level_consistency(), scanner.transients())
    }
}

/// Centre of a level step, dB.
fn level_db(step: f64) -> f64 {
    BOTTOM_DB + (step + 0.5) / PER_DB
}

/// Power of a level step.
fn power(step: usize) -> f64 {
    libm::exp10(0.1 * level_db(step as f64))
}

/// Lowest level step that counts as speech: the lowest that is at most 13 dB below the mean power of all levels from it
/// up, without their loudest 15 %. Without transients this is about 15.9 dB below the mean power of all of them. The
/// search runs upwards, so that a single loud bang does not determine the step. Without sound the result is a step that
/// no level reaches.
fn active_step(histogram: &[u32; STEPS]) -> u8 {
    let mut above: f64 = histogram.iter().skip(1).map(|&n| f64::from(n)).sum();
    for (step, &n) in histogram.iter().enumerate().skip(1) {
        if above < 0.5 {
            break;
        }
        let (mut energy, mut left) = (0.0, COUNTED_SHARE * above);
        for (louder, &n) in histogram.iter().enumerate().skip(step) {
            let counted = f64::from(n).min(left);
            if counted > 0.0 {
                energy += counted * power(louder);
                left -= counted;
            }
        }
        if power_to_db(energy / (COUNTED_SHARE * above - left)) - level_db(step as f64) <= QUIETER_MARGIN_DB {
            return step as u8;
        }
        above -= f64::from(n);
    }
    u8::MAX
}

/// Scans the stored levels once.
#[derive(Clone, Debug)]
struct LevelScanner {
    /// Next level to be scanned.
    at: u64,
    /// Current phrase: histogram of its active levels, their number, its length with gaps, and the length of the
    /// current gap.
    phrase: [u16; STEPS],
    in_phrase: u32,
    length: u32,
    gap: u32,
    last_db: Option<f64>,
    count: u32,
    /// Active levels of the current segment.
    segment: [u8; SEGMENT],
    in_segment: usize,
    /// Completed segments, the sum of their levels and the sum of squares.
    segments: u32,
    first: f64,
    second: f64,
    steps: [u16; STEP_BINS],
    /// Number of active levels.
    active: u64,
    transients: u32,
    highest_db: f64,
}

blank! {
    LevelScanner {
        at, phrase, in_phrase, length, gap, last_db, count, segment, in_segment, segments, first, second, steps, active,
        transients, highest_db,
    }
}

impl LevelScanner {
    const fn new() -> Self {
        Self {
            at: 0,
            phrase: [0; STEPS],
            in_phrase: 0,
            length: 0,
            gap: 0,
            last_db: None,
            count: 0,
            segment: [0; SEGMENT],
            in_segment: 0,
            segments: 0,
            first: 0.0,
            second: 0.0,
            steps: [0; STEP_BINS],
            active: 0,
            transients: 0,
            highest_db: 0.0,
        }
    }

    /// Scans the levels up to a position; the latest [`KEPT`] levels are available.
    fn read(&mut self, levels: &[u8; KEPT], level_count: u64, to: u64, active_from: u8) {
        let level = |place: u64| levels[(place % KEPT as u64) as usize];
        while self.at < to {
            let here = level(self.at);
            if here >= active_from {
                self.active += 1;
                self.length += self.gap + 1;
                self.gap = 0;
                self.in_phrase += 1;
                self.phrase[usize::from(here)] = self.phrase[usize::from(here)].saturating_add(1);
                self.add_to_segment(here);
                self.detect_transient(&level, level_count, active_from);
            } else if self.in_phrase > 0 {
                self.gap += 1;
                if self.gap >= GAP {
                    self.end_phrase();
                }
            }
            self.at += 1;
        }
    }

    fn detect_transient(&mut self, level: &impl Fn(u64) -> u8, level_count: u64, active_from: u8) {
        let here = level(self.at);
        let (centre_first, centre_last) = (self.at.saturating_sub(EXCLUDED), self.at + EXCLUDED);
        // An event has one maximum; of equal levels the first.
        let highest = (centre_first..self.at).all(|place| level(place) < here)
            && (self.at + 1..=centre_last.min(level_count - 1)).all(|place| level(place) <= here);
        if !highest {
            return;
        }
        // The end of the recording also ends an event.
        let near = |place: u64| place < level_count && level(place) >= here.saturating_sub(WIDTH_STEPS);
        let before =
            (1..=TRANSIENT_WIDTH).take_while(|back| self.at.checked_sub(*back).is_some_and(near)).count() as u64;
        let after = (1..=TRANSIENT_WIDTH).take_while(|ahead| near(self.at + ahead)).count() as u64;
        if before + 1 + after > TRANSIENT_WIDTH {
            return;
        }
        let mut around = [0_u16; STEPS];
        let (mut count, mut reach) = (0, 0);
        while count < MIN_NEIGHBOURS && reach < MAX_NEIGHBOURHOOD {
            reach = if reach == 0 { NEIGHBOURHOOD } else { 2 * reach };
            let (first, last) = (self.at.saturating_sub(reach), (self.at + reach).min(level_count - 1));
            (around, count) = ([0; STEPS], 0);
            for place in (first..centre_first).chain(centre_last + 1..last + 1) {
                let step = level(place);
                if step >= active_from {
                    around[usize::from(step)] += 1;
                    count += 1;
                }
            }
        }
        if count < MIN_NEIGHBOURS {
            return;
        }
        let counts = around.iter().rev().map(|&n| f64::from(n));
        let Some(above) = interpolated_bin(counts, (1.0 - SURROUNDING_PERCENTILE) * f64::from(count)) else { return };
        let surroundings = STEPS as f64 - above;
        let excess_db = (f64::from(here) + 0.5 - surroundings) / PER_DB;
        self.highest_db = self.highest_db.max(excess_db);
        if excess_db > TRANSIENT_DB {
            self.transients += 1;
        }
    }

    /// Adds an active level to the current segment.
    fn add_to_segment(&mut self, level: u8) {
        self.segment[self.in_segment] = level;
        self.in_segment += 1;
        if self.in_segment == SEGMENT {
            self.end_segment();
        }
    }

    fn end_segment(&mut self) {
        let levels = &mut self.segment[..self.in_segment];
        levels.sort_unstable();
        let left_out = self.in_segment * LEFT_OUT / SEGMENT;
        let counted = &levels[left_out..self.in_segment - left_out];
        let db = power_to_db(counted.iter().map(|&step| power(usize::from(step))).sum::<f64>() / counted.len() as f64);
        self.segments += 1;
        self.first += db;
        self.second += db * db;
        self.in_segment = 0;
    }

    fn end_phrase(&mut self) {
        if self.in_segment >= MIN_SEGMENT {
            self.end_segment();
        }
        if self.length >= MIN_PHRASE {
            let mut wanted = COUNTED_SHARE * f64::from(self.in_phrase);
            let whole = wanted;
            let mut energy = 0.0;
            for (step, &count) in self.phrase.iter().enumerate() {
                let count = f64::from(count).min(wanted);
                if count > 0.0 {
                    energy += count * power(step);
                    wanted -= count;
                }
            }
            // A phrase with more than 65 535 equal levels loses some of them.
            let db = power_to_db(energy / (whole - wanted).max(1.0));
            self.count += 1;
            if let Some(last) = self.last_db {
                let bin = (((db - last).abs() * BINS_PER_DB) as usize).min(STEP_BINS - 1);
                self.steps[bin] = self.steps[bin].saturating_add(1);
            }
            self.last_db = Some(db);
        }
        self.phrase = [0; STEPS];
        (self.in_phrase, self.length, self.gap) = (0, 0, 0);
    }

    fn level_consistency(&self) -> Measured<LevelConsistency> {
        if self.segments < MIN_SEGMENTS {
            return Err(Unavailable::TooShort);
        }
        let number = f64::from(self.segments);
        let mean = self.first / number;
        let steps = self.steps.iter().map(|&n| f64::from(n));
        let median_step_db =
            interpolated_bin(steps.clone(), 0.5 * steps.sum::<f64>()).map_or(0.0, |place| place / BINS_PER_DB);
        Ok(LevelConsistency {
            phrase_count: self.count,
            standard_deviation_db: libm::sqrt((self.second / number - mean * mean).max(0.0)),
            median_step_db,
        })
    }

    fn transients(&self) -> Measured<Transients> {
        let seconds = self.active as f64 / LEVELS_PER_S;
        if seconds < 1.0 {
            return Err(Unavailable::TooShort);
        }
        Ok(Transients {
            count: self.transients,
            per_10_s: 10.0 * f64::from(self.transients) / seconds,
            max_excess_db: self.highest_db,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    extern crate std;
    use std::f64::consts::TAU;
    use std::vec::Vec;

    /// Phrases of 1.5 s with syllables and pauses of 0.5 s. Every second phrase is louder by `jump_db`. Every
    /// `transient_every` seconds a transient of 60 ms occurs, 14 dB above the maxima of the syllables.
    fn reading(rate_hz: f64, seconds: f64, jump_db: f64, transient_every: f64) -> Vec<f32> {
        (0..(seconds * rate_hz) as u64)
            .map(|n| {
                let t = n as f64 / rate_hz;
                let phrase = (t / 2.0) as u64;
                let within = t % 2.0;
                let mut db = -30.0 + 6.0 * libm::sin(TAU * 4.3 * t);
                if phrase % 2 == 1 {
                    db += jump_db;
                }
                // In the middle of a phrase.
                if (t + 0.25) % transient_every < 0.06 {
                    db = -24.0 + 14.0;
                }
                if within > 1.5 {
                    db = -90.0;
                }
                (libm::exp10(db / 20.0) * libm::sin(TAU * 400.0 * t)) as f32
            })
            .collect()
    }

    fn measured(rate_hz: f64, signal: &[f32], split: usize) -> (Measured<LevelConsistency>, Measured<Transients>) {
        let mut meter = LevelConsistencyMeter::new(SampleRate::new(rate_hz).unwrap());
        signal.chunks(split).for_each(|piece| meter.push(piece));
        meter.result()
    }

    #[test]
    fn level_steps_and_transients_are_distinguished() {
        for (rate_hz, scale) in [(8_000.0, 1.0), (11_025.0, 0.1), (48_000.0, 1.0)] {
            let read = |jump_db, transient_every| {
                let signal: Vec<f32> =
                    reading(rate_hz, 40.0, jump_db, transient_every).iter().map(|s| scale * s).collect();
                let (phrases, transients) = measured(rate_hz, &signal, 480);
                (phrases.unwrap(), transients.unwrap())
            };
            let (phrases, transients) = read(0.0, 1e9);
            assert_eq!((phrases.phrase_count, transients.count), (20, 0));
            assert!(phrases.standard_deviation_db < 0.8 && phrases.median_step_db < 0.8, "{phrases:?}");
            // Alternating by 12 dB: standard deviation 6 dB, every step 12 dB. Gaps between quiet syllables and
            // segments across a pause reduce both.
            let (phrases, transients) = read(12.0, 1e9);
            assert_eq!((phrases.phrase_count, transients.count), (20, 0));
            assert!(
                (4.0..6.2).contains(&phrases.standard_deviation_db) && (phrases.median_step_db - 11.2).abs() < 1.0,
                "{phrases:?}"
            );
            let (phrases, transients) = read(0.0, 3.0);
            // At 2.75 s, 5.75 s and so on; every second one falls into a silent pause.
            assert_eq!(transients.count, 7, "{transients:?}");
            assert!((transients.max_excess_db - 14.0).abs() < 2.0, "{transients:?}");
            assert!(phrases.standard_deviation_db < 1.2, "{phrases:?}");
        }
    }

    /// Words of 0.4 s, one every two seconds: within 1.2 s of a transient there is little other speech to compare it
    /// with.
    #[test]
    fn a_transient_in_an_isolated_word_counts() {
        let words = |with_transient: &[u64]| {
            let signal: Vec<f32> = (0..20 * 8_000_u64)
                .map(|n| {
                    let (word, within) = (n / 16_000, (n % 16_000) as f64 / 8_000.0);
                    let with_transient = with_transient.contains(&word) && (0.17..0.23).contains(&within);
                    let db = if within > 0.4 { -90.0 } else { -24.0 + if with_transient { 14.0 } else { 0.0 } };
                    (libm::exp10(db / 20.0) * libm::sin(TAU * 400.0 * n as f64 / 8_000.0)) as f32
                })
                .collect();
            measured(8_000.0, &signal, 480).1.unwrap()
        };
        assert_eq!(words(&[]).count, 0);
        let transients = words(&[2, 6]);
        assert_eq!(transients.count, 2, "{transients:?}");
        assert!((transients.max_excess_db - 14.0).abs() < 2.0, "{transients:?}");
    }

    /// Ten minutes are evaluated in parts; the result equals that of the first minute, repeated.
    #[test]
    fn recording_length_and_block_size_do_not_change_the_result() {
        let short = reading(8_000.0, 60.0, 12.0, 3.0);
        let long = short.repeat(10);
        let (phrases, transients) = measured(8_000.0, &long, 8_000);
        assert_eq!(measured(8_000.0, &long, 333), (phrases, transients));
        let (one, once) = measured(8_000.0, &short, 512);
        let (phrases, transients, one, once) = (phrases.unwrap(), transients.unwrap(), one.unwrap(), once.unwrap());
        assert_eq!(phrases.phrase_count, 10 * one.phrase_count);
        assert!(
            (phrases.standard_deviation_db - one.standard_deviation_db).abs() < 0.1
                && (phrases.median_step_db - one.median_step_db).abs() < 0.3
        );
        assert!((f64::from(transients.count) - 10.0 * f64::from(once.count)).abs() < 12.0, "{transients:?} {once:?}");
    }

    #[test]
    fn silence_and_a_single_word_are_unavailable() {
        assert_eq!(measured(16_000.0, &[0.0; 80_000], 100), (Err(Unavailable::Silence), Err(Unavailable::Silence)));
        let word = &reading(16_000.0, 2.0, 0.0, 1e9)[..12_000];
        assert_eq!(measured(16_000.0, word, 100), (Err(Unavailable::TooShort), Err(Unavailable::TooShort)));
    }
}
