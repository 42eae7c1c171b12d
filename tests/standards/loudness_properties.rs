//! Properties of the loudness meter for any signal.

use super::rate;
use approx::assert_abs_diff_eq;
use proptest::prelude::*;
use voicechain_core::dsp::clock::SubBlockClock;
use voicechain_core::filters::k_weighting::{KWeighting, KWeightingState, accumulate};
use voicechain_core::meters::gating::{FirstBlocks, GatedSums, loudness, mean_square};
use voicechain_core::meters::range::RangeHistogram;
use voicechain_core::meters::{ChannelWeights, LoudnessMeter, SubBlockLoudness};
use voicechain_tests::tones::{Random, tones, wandering_noise};

/// All readings of a meter, as bits.
fn bits<const C: usize>(meter: &SubBlockLoudness<C>) -> [Option<u64>; 7] {
    [
        meter.momentary(),
        meter.short_term(),
        meter.integrated(),
        meter.range(),
        meter.max_momentary(),
        meter.max_short_term(),
        meter.gating_block().map(|block| block.mean_square),
    ]
    .map(|reading| reading.map(f64::to_bits))
}

fn split_as<const C: usize>(hz: f64, frames: &[[f32; C]], lengths: &[usize]) -> [Option<u64>; 7] {
    let mut meter = LoudnessMeter::new(rate(hz), ChannelWeights::default());
    let (mut rest, mut lengths) = (frames, lengths.iter().cycle());
    while !rest.is_empty() {
        let (now, later) = rest.split_at(rest.len().min(*lengths.next().unwrap()));
        meter.push(now);
        rest = later;
    }
    bits(&meter)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn loudness_is_independent_of_block_size(
        lengths in proptest::collection::vec(1_usize..700, 1..20),
        hz in prop_oneof![Just(8_000.0), Just(11_025.0), Just(44_100.0)],
        seed in 0_u64..1_000,
    ) {
        let frames = wandering_noise::<2>(hz, 3.7, seed);
        prop_assert_eq!(split_as(hz, &frames, &lengths), split_as(hz, &frames, &[frames.len()]));
        let five = wandering_noise::<5>(hz, 0.7, seed);
        prop_assert_eq!(split_as(hz, &five, &lengths), split_as(hz, &five, &[five.len()]));
    }
}

/// Nine signals at once give the same bits as each alone, in mono and stereo; likewise fewer signals up to five
/// channels.
#[test]
fn ledger_points_do_not_depend_on_each_other() {
    fn check<const C: usize, const POINTS: usize>() {
        let filter = KWeighting::new(rate(48_000.0));
        let signals: Vec<Vec<[f32; C]>> = (0..POINTS).map(|t| wandering_noise(48_000.0, 0.05, t as u64)).collect();
        let mut together = [KWeightingState::new(); POINTS];
        for n in (0..2_400).step_by(64) {
            accumulate(&filter, &mut together, std::array::from_fn(|t| &signals[t][n..2_400.min(n + 64)]));
        }
        for (state, signal) in together.iter_mut().zip(&signals) {
            let mut alone = KWeightingState::new();
            accumulate(&filter, std::array::from_mut(&mut alone), [signal]);
            assert_eq!(alone, *state);
            assert_eq!(alone.take_energy(&filter).map(f64::to_bits), state.take_energy(&filter).map(f64::to_bits));
        }
    }
    check::<1, 9>();
    check::<2, 9>();
    check::<3, 4>();
    check::<4, 2>();
    check::<5, 3>();
}

#[test]
fn pushing_energies_equals_pushing_frames() {
    let frames = wandering_noise::<2>(11_025.0, 9.0, 3);
    let mut meter = LoudnessMeter::new(rate(11_025.0), ChannelWeights::default());
    let mut driven = SubBlockLoudness::new(rate(11_025.0), ChannelWeights::default());
    let mut gating_blocks = 0;
    meter.push_each(&frames, |energies, meter| {
        driven.push_energy(energies);
        assert_eq!(bits(&driven), bits(meter));
        let index = meter.clock().index();
        if index >= 40 && index % 10 == 0 {
            let block = meter.gating_block().unwrap();
            assert_eq!(block.index, gating_blocks);
            assert_eq!(Some(block.loudness()), meter.momentary());
            gating_blocks += 1;
        }
    });
    assert_eq!(gating_blocks, 87);
}

/// Sub-block k ends at the frame nearest to k times 10 ms, even after ten days.
#[test]
fn the_clock_does_not_drift() {
    let mut clock = SubBlockClock::new(rate(11_025.0));
    let mut frames = 0_u64;
    for k in 1..100_000_u32 {
        assert!(clock.length() == 110 || clock.length() == 111);
        frames += clock.length() as u64;
        assert!(!clock.advance(clock.remaining() - 1));
        assert!(clock.advance(1));
        assert_abs_diff_eq!(frames as f64, f64::from(k) * 110.25, epsilon = 0.5);
    }
    assert_eq!(clock.frames_between(0, 86_400_000), 86_400_000 / 100 * 11_025);
}

#[test]
fn readings_start_only_when_their_window_is_full() {
    let mut meter = LoudnessMeter::new(rate(48_000.0), ChannelWeights::default());
    let frames = tones(48_000.0, &[(-23.0, 3.0)]);
    meter.push(&frames[..19_199]);
    assert_eq!(bits(&meter), [None; 7]);
    meter.push(&frames[19_199..19_200]);
    assert!(meter.momentary().is_some() && meter.integrated().is_some() && meter.short_term().is_none());
    meter.push(&frames[19_200..143_999]);
    assert!(meter.short_term().is_none() && meter.range().is_none());
    meter.push(&frames[143_999..]);
    assert!(meter.short_term().is_some() && meter.range() == Some(0.0));
    meter.reset();
    assert_eq!(bits(&meter), [None; 7]);
}

/// After silence the state is that of a new meter: exactly zero, without subnormal numbers on the way.
#[test]
fn silence_ends_in_exact_zero() {
    for hz in [8_000.0, 48_000.0, 192_000.0] {
        let filter = KWeighting::new(rate(hz));
        let mut state = KWeightingState::<1>::new();
        accumulate(&filter, std::array::from_mut(&mut state), [&[[1.0]]]);
        let silence = vec![[0.0]; (hz / 100.0) as usize];
        for _ in 0..200 {
            accumulate(&filter, std::array::from_mut(&mut state), [&silence]);
            let [energy] = state.take_energy(&filter);
            assert!(energy == 0.0 || energy.is_normal());
        }
        assert_eq!(state, KWeightingState::new());
    }
}

/// A sub-block with a sample that is not finite counts as silence; the readings after it are right.
#[test]
fn non_finite_samples_do_not_affect_later_readings() {
    for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, f32::MAX, -f32::MAX] {
        let mut meter = LoudnessMeter::new(rate(48_000.0), ChannelWeights::default());
        meter.push(&tones(48_000.0, &[(-23.0, 1.0)]));
        meter.push(&[[bad, 0.1]; 100]);
        meter.push(&tones(48_000.0, &[(-23.0, 5.0)]));
        assert_abs_diff_eq!(meter.momentary().unwrap(), -22.9933, epsilon = 2e-4);
        assert_abs_diff_eq!(meter.short_term().unwrap(), -22.9933, epsilon = 2e-4);
        assert!(meter.integrated().unwrap().is_finite());
    }
}

/// Gating by BS.1770-5 Annex 1, eq. 5 to 7, on the list of all blocks.
fn exact_gating(blocks: &[f64]) -> f64 {
    let mean = |over: &dyn Fn(f64) -> bool| {
        let passed: Vec<f64> = blocks.iter().copied().filter(|&block| over(block)).collect();
        passed.iter().sum::<f64>() / passed.len() as f64
    };
    let gate = 0.1 * mean(&|block| loudness(block) > -70.0);
    mean(&|block| loudness(block) > -70.0 && block > gate)
}

/// Some blocks are loud; the others scatter around the relative gate, where every block decides.
fn blocks_at_the_gate(random: &mut Random, count: usize, quiet: f64, spread: f64) -> Vec<f64> {
    // Level of the quiet blocks on the gate: t = ((1 - q) l + q t) / 10.
    let level = -20.0 + 10.0 * ((1.0 - quiet) / (10.0 - quiet)).log10();
    (0..count)
        .map(|n| {
            let is_quiet = (n as f64 * quiet).fract() + quiet >= 1.0;
            mean_square(if is_quiet { level + spread * random.normal() } else { -20.0 + 0.5 * random.normal() })
        })
        .collect()
}

const QUIET: [f64; 3] = [0.1, 0.5, 0.9];
const SPREADS: [f64; 6] = [0.0, 0.01, 0.1, 0.3, 1.0, 5.0];

/// The largest error of a gating method over programmes at the gate, LU.
fn worst_gating(counts: &[usize], spreads: &[f64], runs: usize, gated: impl Fn(&[f64]) -> f64) -> f64 {
    let mut random = Random::new(7);
    let mut worst = 0.0_f64;
    for &count in counts {
        for quiet in QUIET {
            for &spread in spreads {
                let mut error = 0.0_f64;
                for _ in 0..runs {
                    let blocks = blocks_at_the_gate(&mut random, count, quiet, spread);
                    error = error.max((loudness(gated(&blocks)) - loudness(exact_gating(&blocks))).abs());
                }
                println!("{count} blocks, {quiet} of them within {spread} LU of the gate: {error:.5} LU");
                worst = worst.max(error);
            }
        }
    }
    worst
}

#[test]
fn short_programmes_are_gated_exactly() {
    let worst = worst_gating(&[1, 2, 20, 100, 600, 3_000], &SPREADS, 20, |blocks| {
        let mut first = FirstBlocks::<3_000>::new();
        blocks.iter().for_each(|&block| first.push(block));
        first.gated(-10.0).unwrap()
    });
    assert!(worst < 1e-6, "{worst} LU");
    let mut full = FirstBlocks::<4>::new();
    assert_eq!(full.gated(-10.0), None);
    [1.0; 5].into_iter().for_each(|block| full.push(block));
    assert_eq!(full.gated(-10.0), None);
}

#[test]
fn histogram_gating_is_within_0_03_lu_of_exact_gating() {
    let from_histogram = |blocks: &[f64]| {
        let mut sums = GatedSums::<1, 1_000>::new();
        blocks.iter().for_each(|&block| {
            sums.push([block]);
        });
        sums.gated(-10.0).unwrap().mean[0]
    };
    let worst = worst_gating(&[3_001, 36_000], &[0.0, 0.1, 0.3, 1.0, 5.0], 6, from_histogram);
    assert!(worst < 0.03, "{worst} LU");
    // Worst case: half of the programme is steady to 0.01 LU and exactly on the gate, within one bin of the histogram.
    let worst = worst_gating(&[3_001, 36_000], &[0.01], 6, from_histogram);
    assert!(worst < 0.5, "{worst} LU");
}

#[test]
fn gating_of_one_signal_selects_the_blocks_of_the_others() {
    let mut random = Random::new(9);
    let mut sums = Box::new(GatedSums::<3, 400>::new());
    for _ in 0..3_000 {
        let block = mean_square(-30.0 + 6.0 * random.normal());
        sums.push([block, 2.0 * block, 0.5 * block]);
    }
    let gated = sums.gated(-10.0).unwrap();
    assert_abs_diff_eq!(gated.mean[1] / gated.mean[0], 2.0, epsilon = 1e-12);
    assert_abs_diff_eq!(gated.mean[2] / gated.mean[0], 0.5, epsilon = 1e-12);
    assert!(gated.blocks > 1_000.0 && gated.blocks < 3_000.0);
}

/// A reset does not clear every byte, but nothing of the blocks before it remains: louder and quieter ones, not-a-numbers
/// and infinite companions of a block.
#[test]
fn a_reset_histogram_equals_a_new_one() {
    let mut random = Random::new(27);
    let mut used = (GatedSums::<2, 400>::new(), RangeHistogram::new());
    for round in 0..30 {
        let mut fresh = (GatedSums::<2, 400>::new(), RangeHistogram::new());
        used.0.reset();
        used.1.reset();
        assert_eq!((used.0.gated(-10.0), used.1.range()), (None, None));
        let (level, spread) = (-50.0 + 45.0 * f64::from(round % 2), 1.0 + f64::from(round % 7));
        for _ in 0..200 {
            let block = mean_square(level + spread * random.normal());
            for (sums, range) in [&mut used, &mut fresh] {
                sums.push([block, 0.3 * block]);
                range.push(block);
            }
        }
        assert_eq!((used.0.gated(-10.0), used.1.range()), (fresh.0.gated(-10.0), fresh.1.range()), "round {round}");
        used.0.push([mean_square(level), f64::INFINITY]);
        used.0.push([mean_square(level), f64::NAN]);
    }
}

/// The loudness range by sorting all values (Tech 3342).
#[test]
fn loudness_range_equals_that_of_sorted_values() {
    let mut random = Random::new(11);
    for (count, spread) in [(300, 3.0), (600, 12.0), (6_000, 6.0), (36_000, 9.0)] {
        let values: Vec<f64> = (0..count).map(|_| mean_square(-35.0 + spread * random.normal())).collect();
        let mut histogram = RangeHistogram::new();
        for &value in &values {
            histogram.push(value);
        }
        let mut passed: Vec<f64> = values.into_iter().filter(|&value| loudness(value) > -70.0).collect();
        let gate = 0.01 * passed.iter().sum::<f64>() / passed.len() as f64;
        passed.retain(|&value| value > gate);
        passed.sort_by(f64::total_cmp);
        let at = |percent: f64| loudness(passed[((passed.len() - 1) as f64 * percent / 100.0).round() as usize]);
        assert_abs_diff_eq!(histogram.range().unwrap(), at(95.0) - at(10.0), epsilon = 0.02);
    }
}

/// Two hours of a random level against exact sums. A very loud start leaves no error in the momentary loudness at the
/// end.
#[test]
fn two_hours_accumulate_without_drift() {
    let mut random = Random::new(13);
    let mut meter = SubBlockLoudness::<1>::new(rate(48_000.0), ChannelWeights::default());
    let mut energies = Vec::new();
    let mut level = -25.0_f64;
    for k in 0..720_000 {
        level = (level + 0.3 * random.normal()).clamp(-45.0, -15.0);
        let energy = 480.0 * if k < 10 { mean_square(60.0) } else { mean_square(level) };
        meter.push_energy([energy]);
        energies.push(energy);
    }
    let window = |end: usize, length: usize| energies[end - length..end].iter().sum::<f64>() / (480 * length) as f64;
    assert_abs_diff_eq!(meter.momentary().unwrap(), loudness(window(720_000, 40)), epsilon = 1e-9);
    assert_abs_diff_eq!(meter.short_term().unwrap(), loudness(window(720_000, 300)), epsilon = 1e-9);
    let mut quiet = SubBlockLoudness::<1>::new(rate(48_000.0), ChannelWeights::default());
    for &energy in &energies[10..] {
        quiet.push_energy([energy]);
    }
    let blocks: Vec<f64> = (40..=energies.len() - 10).step_by(10).map(|end| window(end + 10, 40)).collect();
    assert_abs_diff_eq!(quiet.integrated().unwrap(), loudness(exact_gating(&blocks)), epsilon = 1e-3);
    // A constant level passes every gate: only rounding remains.
    let mut constant = SubBlockLoudness::<1>::new(rate(48_000.0), ChannelWeights::default());
    for _ in 0..720_000 {
        constant.push_energy([480.0 * mean_square(-23.1)]);
    }
    assert_abs_diff_eq!(constant.integrated().unwrap(), -23.1, epsilon = 1e-9);
}
