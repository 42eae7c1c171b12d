//! Leveller gains for files: all levels are known before any gain is chosen.

use super::SUB_BLOCKS_PER_S;
use crate::detectors::voice_activity::P56_MARGIN_DB;
use crate::dsp::SubBlockClock;
use crate::dsp::histogram::percentile_bin;
use crate::filters::k_weighting::{self, KWeighting, KWeightingState};
use crate::frame::Frame;
use crate::math::power_to_db;
use crate::settings::LevellerSettings;
use crate::units::SampleRate;

/// Sub-blocks per level, 50 ms.
const SMOOTH: usize = 5;
/// Active levels per segment, half a second. Chosen on the development recordings (see tests/accuracy/RESULTS.md).
const SEGMENT: usize = 50;
/// Transient limit within a segment: levels count up to `TRANSIENT_DB` above the level at this rank of the sorted
/// levels.
const TYPICAL_INDEX: usize = 35;
const TRANSIENT_DB: f64 = 4.0;
/// Half width of the dead zone, dB. Smaller than in the real-time form.
const DEAD_ZONE_DB: f64 = 1.0;
/// Speech threshold below the active level, dB: the margin of ITU-T P.56, plus 8 dB for quiet phrases.
const MARGIN_DB: f64 = P56_MARGIN_DB;
const QUIET_PHRASE_DB: f64 = 8.0;
/// Minimum level of speech above the noise, dB. The noise level is the 5th percentile of all levels.
const OVER_NOISE_DB: f64 = 6.0;
const NOISE_SHARE: f64 = 0.05;
/// Minimum level of speech, dB, and the histogram of levels: its lower end, dB, bins and bins per dB.
const LOWEST_DB: f64 = -60.0;
const BOTTOM_DB: f64 = -110.0;
const STEPS: usize = 240;
const PER_DB: f64 = 2.0;
/// Gains to each side in the smoothing window.
const SMOOTHING_HALF_WIDTH: usize = 3;

/// K-weighted mean square of every 10 ms of a recording: the input of [`compute`].
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
    /// Creates a meter with clear state.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        Self { filter: KWeighting::new(rate), weighted: KWeightingState::new(), clock: SubBlockClock::new(rate) }
    }

    /// Adds frames. Passes the mean power of the channels to `power` for each completed sub-block of 10 ms.
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

/// Leveller gain in dB for every 10 ms of a recording.
///
/// `powers` comes from a [`SubBlockPowerMeter`]. `gain_before_db` is the gain between its input and the leveller.
///
/// Each active moment belongs to three candidate segments of half a second of speech: before it, after it and around
/// it. The segment with the lowest variance sets its level, so a level step keeps its position (edge-preserving
/// smoothing of images, Kuwahara et al. 1976). The gain brings that level within 1 dB of the target, limited to
/// maximum boost and cut. Through pauses it is interpolated linearly.
///
/// With less than half a second of speech all gains are 0. No allocation: `gains_db`, as long as `powers`, also
/// serves as work space. Cost: about a microsecond per 10 ms. Tested by `leveller_gain_curve_halves_level_steps` in
/// `properties`.
pub fn compute(powers: &[f32], gain_before_db: f64, settings: &LevellerSettings, gains_db: &mut [f32]) {
    let n = powers.len().min(gains_db.len());
    let (powers, gains) = (&powers[..n], &mut gains_db[..n]);
    let speech_threshold_db = speech_threshold_db(powers, gain_before_db);
    let level = |at: usize| level_db(powers, at) + gain_before_db;
    let is_active = |at: usize| level(at) > speech_threshold_db;
    // Compact the levels of speech at the start of `gains`.
    let mut count = 0;
    for at in 0..n {
        if is_active(at) {
            gains[count] = level(at) as f32;
            count += 1;
        }
    }
    if count < SEGMENT {
        gains.fill(0.0);
        return;
    }
    let mut segments = [(f64::INFINITY, 0.0); SEGMENT];
    let last = count - SEGMENT;
    for k in 0..count {
        if k <= last {
            segments[k % SEGMENT] = variance_and_level(&gains[k..k + SEGMENT]);
        }
        // Segments that start here, are centred here and end here, limited to existing ones.
        let starts = [k, k.saturating_sub(SEGMENT / 2), k.saturating_sub(SEGMENT - 1)].map(|start| start.min(last));
        let of = |start: usize| segments[start % SEGMENT];
        let mut best = of(starts[0]);
        for other in [of(starts[1]), of(starts[2])] {
            best = if other.0 < best.0 { other } else { best };
        }
        let off = settings.target_lufs - lufs(best.1);
        let gain = off - off.clamp(-DEAD_ZONE_DB, DEAD_ZONE_DB);
        gains[k] = gain.clamp(-settings.maximum_cut_db, settings.maximum_boost_db) as f32;
    }
    expand(gains, count, is_active);
    smooth(gains);
}

/// Loudness of a K-weighted mean square in dB, LUFS (ITU-R BS.1770).
fn lufs(db: f64) -> f64 {
    db - 0.691
}

/// Mean power of the 50 ms around a sub-block, dB.
fn level_db(powers: &[f32], at: usize) -> f64 {
    let around = &powers[at.saturating_sub(SMOOTH / 2)..(at + SMOOTH / 2 + 1).min(powers.len())];
    power_to_db(around.iter().map(|&p| f64::from(p)).sum::<f64>() / around.len() as f64)
}

/// Level above which a sub-block is speech, dB.
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
    // The lowest level within the margin below the mean power of everything above it.
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
    (active_db - QUIET_PHRASE_DB).max(noise_db + OVER_NOISE_DB).max(LOWEST_DB)
}

/// Variance of the levels of a segment, and its level with transients limited, dB.
fn variance_and_level(levels: &[f32]) -> (f64, f64) {
    let mut sorted = [0.0f32; SEGMENT];
    for (to, from) in sorted.iter_mut().zip(levels) {
        *to = *from;
    }
    let mean = sorted.iter().map(|&l| f64::from(l)).sum::<f64>() / SEGMENT as f64;
    let variance = sorted.iter().map(|&l| (f64::from(l) - mean) * (f64::from(l) - mean)).sum::<f64>();
    let (_, typical, _) = sorted.select_nth_unstable_by(TYPICAL_INDEX, f32::total_cmp);
    let limit = f64::from(*typical) + TRANSIENT_DB;
    let power = levels.iter().map(|&l| libm::exp10(0.1 * f64::from(l).min(limit))).sum::<f64>() / SEGMENT as f64;
    (variance, power_to_db(power))
}

/// Moves the gains of active sub-blocks from the start of the buffer to their positions and interpolates between
/// them.
fn expand(gains: &mut [f32], count: usize, is_active: impl Fn(usize) -> bool) {
    let mut left = count;
    // Position and gain of the next active sub-block, if any.
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

/// Running mean over 70 ms.
fn smooth(gains: &mut [f32]) {
    let mut before = [gains.first().copied().unwrap_or(0.0); SMOOTHING_HALF_WIDTH];
    for at in 0..gains.len() {
        let own = gains[at];
        let last = gains.len() - 1;
        let after: f32 = (1..=SMOOTHING_HALF_WIDTH).map(|k| gains[(at + k).min(last)]).sum();
        gains[at] = (before.iter().sum::<f32>() + own + after) / (2 * SMOOTHING_HALF_WIDTH + 1) as f32;
        before[at % SMOOTHING_HALF_WIDTH] = own;
    }
}

/// Index of the gain to pass to [`override_leveller_gain`](crate::Strip::override_leveller_gain) after `frames` input
/// frames.
///
/// `delay` is the delay of the signal at the leveller, in frames. The index looks two sub-blocks ahead, because the
/// leveller reaches an external gain within two.
#[must_use]
pub fn gain_index(frames: u64, delay: u32, rate: SampleRate) -> usize {
    let ahead = 2.0 * rate.hz() / SUB_BLOCKS_PER_S;
    ((frames as f64 + ahead - f64::from(delay)).max(0.0) * SUB_BLOCKS_PER_S / rate.hz()) as usize
}
