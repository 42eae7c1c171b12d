//! The leveller: brings the phrases of a voice that drifts to one level.

use super::{Stage, StageContext};
use crate::detectors::{NoiseFloor, VoiceActivity};
use crate::dsp::SubBlockClock;
use crate::error::SettingError;
use crate::filters::k_weighting::{self, KWeighting, KWeightingState};
use crate::frame::Frame;
use crate::math::{from_db, smoothing};
use crate::meters::gating::loudness;
use crate::settings::LevellerSettings;
use crate::units::SampleRate;

pub mod gain_curve;

/// Turns quiet phrases up and loud ones down, by one gain.
///
/// Every 10 ms: the K-weighted mean square (ITU-R BS.1770) of the channels, over active time only, as a one-pole of the
/// set speed. Syllables and words differ by more than a talker drifts, so that level is a calm one; but where a second mean
/// over the last word (0.016 of the speed) has been 5 dB under it for 0.1 of the speed, or 4.2 dB over it for 0.05,
/// somebody has moved or another phrase has begun, and the level starts anew from there. Where the levelled loudness would lie
/// more than 2 dB off the target, the gain moves towards the edge of that zone, up in 0.006 and down in 0.007 of the speed, but
/// never beyond the maximum boost and cut. A syllable that would come out more than 2.2 dB over the target (mean of 50 ms) turns
/// the gain down at once: the first of a loud phrase. On steady speech the gain travels some 6 dB per second of it
/// (model on the recorded voices). In pauses, and on what stands
/// less than 6 dB above the noise floor, everything is frozen. The gain moves along straight lines of 10 ms. Both channels
/// get one gain; a stereo voice counts with the mean of its channels, so that a mono voice in both is levelled as in one.
/// Latency 0, tail 0. A voice that stays inside the zone, and no syllable of which is so loud, returns bit for bit. The gain
/// reached and the level that belongs to it are kept as long as nobody speaks. For files there is a second form: [`gain_curve::compute`] finds
/// all gains beforehand, and the strip is guided along them. Tested by `mending` in `properties`, measured by the group
/// `restoration` of `tests/accuracy`.
#[derive(Clone, Copy, Debug)]
pub struct Leveller;

/// Half the zone around the target in which nothing moves, dB. With all shares and limits below and the default speed it was
/// taken from some 5 000 sets, drawn at random and bettered step by step on one half of the recorded voices with phrases of
/// 12 dB jumps; steady ones were to be moved by less than 1 dB, and how far the gain travels was counted, too. The other
/// half's figures were seen when one of the best was picked, and its largest excess was then set with both in view.
pub const DEAD_ZONE_DB: f64 = 2.0;
/// The gain rises and falls in these shares of the speed.
const RISE_SHARE: f64 = 0.006;
const FALL_SHARE: f64 = 0.007;
/// The mean over the last word, and how long it has to lie under and over the level by so much before the level starts anew:
/// shares of the speed, power ratios (5 and 4.2 dB).
const SHORT_TERM_SHARE: f64 = 0.016;
const UNDER_SHARE: f64 = 0.1;
const UNDER: f64 = 3.162_277_660_168_379_5;
const OVER_SHARE: f64 = 0.05;
const OVER: f64 = 2.630_267_991_895_382;
/// A mean of so many ms may come out so far over the target, dB; what is over it is taken back in this time, ms.
const OVERSHOOT_MS: f64 = 50.0;
const OVERSHOOT_DB: f64 = 2.2;
const OVERSHOOT_FALL_MS: f64 = 5.0;
/// What is so far under the running level is no speech, dB: the margin of ITU-T P.56, and more, because a phrase may be 12 dB
/// quieter than the one before it. That level falls with this time constant, s.
const MARGIN_DB: f64 = 21.0;
const FALL_S: f64 = 1.0;
/// Smoothing in front of the floor, ms, its stretch, s, and the power ratio to it that is no noise (6 dB).
const FLOOR_MS: f64 = 80.0;
const FLOOR_S: f64 = 8.0;
const ABOVE_FLOOR: f64 = 4.0;
/// Active sub-blocks before the gain begins to move: an onset alone says little about a level.
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
    /// Sub-blocks that the last word has to lie under the level, and over it, before that starts anew.
    under: f64,
    over: f64,
    rise_smoothing: f64,
    fall_smoothing: f64,
    overshoot_smoothing: f64,
    overshoot_fall_smoothing: f64,
    floor_smoothing: f64,
}

impl LevellerCoefs {
    /// The gain that a level asks for, when the gain is `now_db`.
    fn wanted_db(&self, lufs: f64, now_db: f64) -> f64 {
        let middle = self.target_lufs - lufs;
        now_db.clamp(middle - DEAD_ZONE_DB, middle + DEAD_ZONE_DB).clamp(-self.maximum_cut_db, self.maximum_boost_db)
    }

    /// True when everything is finite.
    #[must_use]
    pub fn is_stable(&self) -> bool {
        [self.level_smoothing, self.short_term_smoothing, self.rise_smoothing, self.fall_smoothing]
            .iter()
            .all(|kept| (0.0..1.0).contains(kept))
    }

    /// Gain in dB that a fresh leveller reaches on a voice of this loudness, LUFS.
    #[must_use]
    pub fn gain_db(&self, level_db: f64) -> f64 {
        self.wanted_db(level_db, 0.0)
    }
}

/// What the sound has left in a [`Leveller`].
#[derive(Clone, Copy, Debug)]
pub struct LevellerState<const C: usize> {
    clock: SubBlockClock,
    weighted: KWeightingState<C>,
    activity: VoiceActivity,
    smooth: f64,
    floor: NoiseFloor,
    /// Mean square over active time, and how many active sub-blocks it has heard.
    level: f64,
    active_sub_blocks: u32,
    /// The same over the last word, and for how many sub-blocks it has been far under and far over the level.
    short_term: f64,
    restart_counts: [u32; 2],
    /// Mean square of the last 50 ms.
    overshoot: f64,
    gain_db: f64,
    /// The gain at the beginning and at the end of the running sub-block.
    from: f32,
    to: f32,
    max_cut_since_read_db: f64,
    /// The gain that is given to it, in place of its own.
    gain_override_db: Option<f64>,
}

impl<const C: usize> LevellerState<C> {
    /// The gain now, in dB; above 0 it gives.
    #[must_use]
    pub fn gain_db(&self) -> f64 {
        self.gain_db
    }

    /// Is given a gain in dB in place of its own, within the maximum boost and cut, until `None` gives it back.
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

    fn state(rate: SampleRate) -> LevellerState<C> {
        LevellerState {
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
        }
    }

    fn run(context: StageContext<'_, Self, C>, frames: &mut [[f32; C]]) {
        let StageContext { coefs, state } = context;
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

/// Runs the frames up to the end of the sub-block at most.
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

/// Takes the K-weighted mean square of a sub-block and finds the gain at the end of the next.
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
            let wanted = coefs.wanted_db(loudness(state.level), state.gain_db);
            let kept = if wanted < state.gain_db { coefs.fall_smoothing } else { coefs.rise_smoothing };
            state.gain_db = wanted + kept * (state.gain_db - wanted);
            let over_db = loudness(state.overshoot) + state.gain_db - (coefs.target_lufs + OVERSHOOT_DB);
            if over_db > 0.0 {
                state.gain_db -= over_db * (1.0 - coefs.overshoot_fall_smoothing);
            }
        }
    }
    if let Some(guided) = state.gain_override_db {
        state.gain_db = guided;
    }
    // A range that was set smaller holds at once, also in a pause.
    state.gain_db = state.gain_db.clamp(-coefs.maximum_cut_db, coefs.maximum_boost_db);
    state.from = state.to;
    state.to = if state.gain_db == 0.0 { 1.0 } else { from_db(state.gain_db) as f32 };
    state.max_cut_since_read_db = state.max_cut_since_read_db.max(-state.gain_db);
}

/// Takes the mean square of a sub-block of speech into the level.
fn update_level<const C: usize>(coefs: &LevellerCoefs, state: &mut LevellerState<C>, power: f64) {
    state.active_sub_blocks = state.active_sub_blocks.saturating_add(1);
    let mean = 1.0 - 1.0 / f64::from(state.active_sub_blocks);
    state.level = power + mean.min(coefs.level_smoothing) * (state.level - power);
    state.short_term = power + mean.min(coefs.short_term_smoothing) * (state.short_term - power);
    let [under, over] = &mut state.restart_counts;
    *under = if UNDER * state.short_term < state.level { *under + 1 } else { 0 };
    *over = if state.short_term > OVER * state.level { *over + 1 } else { 0 };
    if f64::from(*under) > coefs.under || f64::from(*over) > coefs.over {
        // As much is known of it as the words tell.
        state.active_sub_blocks = (1.0 / (1.0 - coefs.short_term_smoothing)) as u32;
        (state.level, state.restart_counts) = (state.short_term, [0; 2]);
    }
}
