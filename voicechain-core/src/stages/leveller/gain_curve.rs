//! The leveller for files: all levels are known before any gain is chosen.

use super::SUB_BLOCKS_PER_S;
use crate::detectors::voice_activity::P56_MARGIN_DB;
use crate::dsp::SubBlockClock;
use crate::dsp::histogram::percentile_bin;
use crate::filters::k_weighting::{self, KWeighting, KWeightingState};
use crate::frame::Frame;
use crate::math::power_to_db;
use crate::settings::LevellerSettings;
use crate::units::SampleRate;

/// Powers that make a level, 50 ms.
const SMOOTH: usize = 5;
/// Active levels in a stretch, half a second: chosen among 0.4 to 1 s on half of the recorded voices.
const STRETCH: usize = 50;
/// In a stretch nothing counts for more than this many dB over the level that this share of it stays under: transients.
const USUAL_INDEX: usize = 35;
const OVER_USUAL_DB: f64 = 4.0;
/// Half the zone in which nothing is moved, dB: less than the one-pass form needs.
const DEAD_ZONE_DB: f64 = 1.0;
/// What is so far under the active level is no speech, dB: the margin of ITU-T P.56, and 8 dB for quiet phrases.
const MARGIN_DB: f64 = P56_MARGIN_DB;
const QUIETER_DB: f64 = 8.0;
/// Nor is what stands no further over the noise, dB: the level that a twentieth of everything stays under.
const OVER_NOISE_DB: f64 = 6.0;
const NOISE_SHARE: f64 = 0.05;
/// Lowest level of speech, dB, and the histogram of levels: from there in half decibels.
const LOWEST_DB: f64 = -60.0;
const BOTTOM_DB: f64 = -110.0;
const STEPS: usize = 240;
const PER_DB: f64 = 2.0;
/// Gains to each side over which a gain is smoothed.
const SMOOTHING_HALF_WIDTH: usize = 3;

/// Gives the K-weighted mean square of every 10 ms of a recording, from which [`compute`] finds the gains.
#[derive(Clone, Debug)]
pub struct SubBlockPowerMeter<const C: usize> {
    filter: KWeighting,
    weighted: KWeightingState<C>,
    clock: SubBlockClock,
}

impl<const C: usize> SubBlockPowerMeter<C>
where
    [f32; C]: Frame,
{
    /// An ear that has heard nothing.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        Self { filter: KWeighting::new(rate), weighted: KWeightingState::new(), clock: SubBlockClock::new(rate) }
    }

    /// Takes frames, and gives the mean of the channels' powers of every 10 ms that they complete.
    pub fn push(&mut self, frames: &[[f32; C]], mut power: impl FnMut(f32)) {
        let mut rest = frames;
        while !rest.is_empty() {
            let (now, later) = rest.split_at(rest.len().min(self.clock.remaining()));
            let length = self.clock.length();
            k_weighting::accumulate(&self.filter, core::array::from_mut(&mut self.weighted), [now]);
            if self.clock.advance(now.len()) {
                let energies = self.weighted.take_energy(&self.filter);
                power((energies.iter().sum::<f64>() / (C as f64 * length as f64)) as f32);
            }
            rest = later;
        }
    }
}

/// Finds the gain in dB of every 10 ms of a recording from the powers of a [`SubBlockPowerMeter`], raised by `gain_before_db` on their way
/// to the leveller.
///
/// Around every moment in which somebody speaks lie three stretches of half a second of speech: before it, behind it, and
/// with it in their middle. The steadiest of them gives its level, so that a jump of level stays where it is (Kuwahara et al.
/// 1976 smooth pictures so). The gain brings that level to 1 dB of the target, within the maximum boost and cut; through pauses
/// it goes straight from the one to the next. Nothing is allocated: `gains_db`, as long as `powers`, is also the place to
/// reckon in. Where nobody speaks for half a second all gains are 0. Cost: a microsecond or so per 10 ms.
///
/// Tested by `leveller_gain_curve_halves_level_steps` in `properties`.
pub fn compute(powers: &[f32], gain_before_db: f64, settings: &LevellerSettings, gains_db: &mut [f32]) {
    let n = powers.len().min(gains_db.len());
    let (powers, gains) = (&powers[..n], &mut gains_db[..n]);
    let speech_threshold_db = speech_threshold_db(powers, gain_before_db);
    let level = |at: usize| level_db(powers, at) + gain_before_db;
    let is_active = |at: usize| level(at) > speech_threshold_db;
    // The levels of speech, one behind the other.
    let mut count = 0;
    for at in 0..n {
        if is_active(at) {
            gains[count] = level(at) as f32;
            count += 1;
        }
    }
    if count < STRETCH {
        gains.fill(0.0);
        return;
    }
    let mut stretches = [(f64::INFINITY, 0.0); STRETCH];
    let last = count - STRETCH;
    for k in 0..count {
        if k <= last {
            stretches[k % STRETCH] = variance_and_level(&gains[k..k + STRETCH]);
        }
        // Those that begin here, that have it in the middle, and that end with it, as far as there are such.
        let starts = [k, k.saturating_sub(STRETCH / 2), k.saturating_sub(STRETCH - 1)].map(|start| start.min(last));
        let of = |start: usize| stretches[start % STRETCH];
        let mut best = of(starts[0]);
        for other in [of(starts[1]), of(starts[2])] {
            best = if other.0 < best.0 { other } else { best };
        }
        let off = settings.target_lufs - lufs(best.1);
        let gain = off - off.clamp(-DEAD_ZONE_DB, DEAD_ZONE_DB);
        gains[k] = gain.clamp(-settings.maximum_cut_db, settings.maximum_boost_db) as f32;
    }
    spread_out(gains, count, is_active);
    smooth(gains);
}

/// What a K-weighted mean square in dB is as loudness, LUFS (ITU-R BS.1770).
fn lufs(db: f64) -> f64 {
    db - 0.691
}

/// Mean power of the 50 ms around a place, dB.
fn level_db(powers: &[f32], at: usize) -> f64 {
    let around = &powers[at.saturating_sub(SMOOTH / 2)..(at + SMOOTH / 2 + 1).min(powers.len())];
    power_to_db(around.iter().map(|&p| f64::from(p)).sum::<f64>() / around.len() as f64)
}

/// Levels over this are speech, dB.
fn speech_threshold_db(powers: &[f32], gain_before_db: f64) -> f64 {
    let mut histogram = [0u32; STEPS];
    for at in 0..powers.len() {
        let db = level_db(powers, at) + gain_before_db;
        if db > BOTTOM_DB {
            let step = ((db - BOTTOM_DB) * PER_DB) as usize;
            histogram[step.min(STEPS - 1)] += 1;
        }
    }
    let middle = |step: usize| BOTTOM_DB + (step as f64 + 0.5) / PER_DB;
    let all: f64 = histogram.iter().map(|&n| f64::from(n)).sum();
    let counts = histogram.iter().map(|&n| f64::from(n));
    let noise_db = percentile_bin(counts, NOISE_SHARE * all).map_or(BOTTOM_DB, middle);
    // The lowest level that lies at most the margin under the mean power of everything over it.
    let mut active_db = LOWEST_DB;
    for step in 0..STEPS {
        let over = histogram[step..].iter().enumerate().fold((0.0, 0.0), |(energy, count), (k, &n)| {
            let n = f64::from(n);
            (energy + n * libm::exp10(0.1 * middle(step + k)), count + n)
        });
        if over.1 > 0.0 && power_to_db(over.0 / over.1) - middle(step) <= MARGIN_DB {
            active_db = middle(step);
            break;
        }
    }
    (active_db - QUIETER_DB).max(noise_db + OVER_NOISE_DB).max(LOWEST_DB)
}

/// The variance of the levels of a stretch, and its level without what transients add, dB.
fn variance_and_level(levels: &[f32]) -> (f64, f64) {
    let mut sorted = [0.0f32; STRETCH];
    for (to, from) in sorted.iter_mut().zip(levels) {
        *to = *from;
    }
    let mean = sorted.iter().map(|&l| f64::from(l)).sum::<f64>() / STRETCH as f64;
    let variance = sorted.iter().map(|&l| (f64::from(l) - mean) * (f64::from(l) - mean)).sum::<f64>();
    let (_, usual, _) = sorted.select_nth_unstable_by(USUAL_INDEX, f32::total_cmp);
    let most = f64::from(*usual) + OVER_USUAL_DB;
    let power = levels.iter().map(|&l| libm::exp10(0.1 * f64::from(l).min(most))).sum::<f64>() / STRETCH as f64;
    (variance, power_to_db(power))
}

/// Puts the gains of the active places, which stand at the beginning, where they belong, and straight lines between them.
fn spread_out(gains: &mut [f32], count: usize, is_active: impl Fn(usize) -> bool) {
    let mut left = count;
    // Of the next active place, if there is one.
    let mut next: Option<(usize, f32)> = None;
    let mut at = gains.len();
    while at > 0 {
        at -= 1;
        if is_active(at) {
            left -= 1;
            let gain = gains[left];
            if let Some((to, end)) = next {
                for (k, pause) in gains[at + 1..to].iter_mut().enumerate() {
                    *pause = gain + (k + 1) as f32 / (to - at) as f32 * (end - gain);
                }
            } else {
                gains[at + 1..].fill(gain);
            }
            gains[at] = gain;
            next = Some((at, gain));
        }
    }
    if let Some((first, gain)) = next {
        gains[..first].fill(gain);
    }
}

/// The mean over 70 ms.
fn smooth(gains: &mut [f32]) {
    let mut before = [gains.first().copied().unwrap_or(0.0); SMOOTHING_HALF_WIDTH];
    for at in 0..gains.len() {
        let own = gains[at];
        let last = gains.len() - 1;
        let behind: f32 = (1..=SMOOTHING_HALF_WIDTH).map(|k| gains[(at + k).min(last)]).sum();
        gains[at] = (before.iter().sum::<f32>() + own + behind) / (2 * SMOOTHING_HALF_WIDTH + 1) as f32;
        before[at % SMOOTHING_HALF_WIDTH] = own;
    }
}

/// Which of the gains is to be [guided](crate::Strip::override_leveller_gain) to when `frames` have gone into a strip whose sound
/// comes to the leveller `delay` frames later: a guided gain is reached within two steps.
#[must_use]
pub fn gain_index(frames: u64, delay: u32, rate: SampleRate) -> usize {
    let ahead = 2.0 * rate.hz() / SUB_BLOCKS_PER_S;
    ((frames as f64 + ahead - f64::from(delay)).max(0.0) * SUB_BLOCKS_PER_S / rate.hz()) as usize
}
