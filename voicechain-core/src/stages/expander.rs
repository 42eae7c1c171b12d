//! The expander: attenuates background noise between words.

use super::{Stage, StageContext};
use crate::blank::blank;
use crate::detectors::sub_band_snr::SubBandSnrFilters;
use crate::detectors::{SubBandSnr, TICK};
use crate::error::SettingError;
use crate::frame::Frame;
use crate::gain::{ExpanderCurve, SmoothBranching};
use crate::math::{fast_from_db, for_each_value, smoothing};
use crate::settings::ExpanderSettings;
use crate::units::SampleRate;

/// Downward expander that follows the noise floor.
///
/// - **Detector**: level above the noise floor, in the band where it is largest ([`SubBandSnr`]). The threshold is
///   independent of the level of recording and noise. Breaths and weak ends of words stay.
/// - **Gate logic**: opens at the threshold. Closes once the level has been below threshold minus hysteresis for the
///   hold time.
/// - **Static curve**: attenuates by `ratio - 1` dB per dB below the threshold, up to the range.
/// - **Ballistics**: attack opens, release closes (63 % of a step in dB).
///
/// One gain for all channels. Latency 0, tail 0. While open, the output is the input bit for bit. The expander stays
/// open for the first 0.4 s, and until the detector has distinguished voice from noise. The noise floor covers the
/// last three seconds. Tested by `expander` in `properties`.
#[derive(Clone, Copy, Debug)]
pub struct Expander;

/// Width of the knee around the threshold, dB (common practice, no source).
const KNEE_DB: f64 = 3.0;
/// Substitute for an infinite ratio.
const MAX_RATIO: f64 = 1e3;

/// Coefficients of the [`Expander`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ExpanderCoefs {
    bands: SubBandSnrFilters,
    curve: ExpanderCurve<f64>,
    threshold_db: f64,
    ratio: f64,
    range_db: f64,
    hysteresis_db: f64,
    hold_ticks: u32,
    attack: f64,
    release: f64,
}

blank! { ExpanderCoefs { bands, curve, threshold_db, ratio, range_db, hysteresis_db, hold_ticks, attack, release } }

impl ExpanderCoefs {
    /// Attenuation of the closed expander, dB.
    fn reduction_db(&self, snr_db: f64) -> f64 {
        (-self.curve.gain_db(snr_db)).min(self.range_db)
    }

    /// True when all coefficients are finite, the smoothing coefficients are in range, and the detector is stable.
    #[must_use]
    pub fn is_stable(&self) -> bool {
        let Self { bands, curve, threshold_db, ratio, range_db, hysteresis_db, hold_ticks: _, attack, release } = self;
        bands.is_stable()
            && curve.is_finite()
            && [threshold_db, range_db, hysteresis_db].iter().all(|value| value.is_finite())
            && *ratio >= 1.0
            && [attack, release].iter().all(|kept| (0.0..1.0).contains(*kept))
    }

    /// Static gain of the closed expander, dB, at a level in dB above the noise floor.
    #[must_use]
    pub fn gain_db(&self, level_db: f64) -> f64 {
        -self.reduction_db(level_db)
    }
}

/// State of an [`Expander`].
#[derive(Clone, Copy, Debug)]
pub struct ExpanderState<const C: usize>
where
    [f32; C]: Frame,
{
    detector: SubBandSnr<C>,
    open: bool,
    /// Remaining ticks of the hold time.
    hold: u32,
    target_reduction_db: f64,
    ballistics: SmoothBranching,
    max_reduction_db: f64,
}

blank! {
    [const C: usize] ExpanderState<C> where [f32; C]: Frame {
        detector, open, hold, target_reduction_db, ballistics, max_reduction_db,
    }
}

impl<const C: usize> ExpanderState<C>
where
    [f32; C]: Frame,
{
    /// Current level above the noise floor, dB.
    #[must_use]
    pub fn snr_db(&self) -> f32 {
        self.detector.snr_db()
    }
}

impl<const C: usize> Stage<C> for Expander
where
    [f32; C]: Frame,
{
    type Settings = ExpanderSettings;
    type Coefs = ExpanderCoefs;
    type State = ExpanderState<C>;

    fn design(s: &ExpanderSettings, rate: SampleRate) -> Result<ExpanderCoefs, SettingError> {
        s.check()?;
        Ok(ExpanderCoefs {
            bands: SubBandSnrFilters::new(rate),
            curve: ExpanderCurve::new(s.threshold_db, s.ratio.min(MAX_RATIO), KNEE_DB),
            threshold_db: s.threshold_db,
            ratio: s.ratio.min(MAX_RATIO),
            range_db: s.range_db,
            hysteresis_db: s.hysteresis_db,
            hold_ticks: rate.samples(s.hold_ms).div_ceil(TICK),
            attack: smoothing(s.attack_ms, rate.hz(), 1.0),
            release: smoothing(s.release_ms, rate.hz(), 1.0),
        })
    }

    fn clear(state: &mut ExpanderState<C>, rate: SampleRate) {
        *state = ExpanderState {
            detector: SubBandSnr::new(rate),
            open: true,
            hold: 0,
            target_reduction_db: 0.0,
            ballistics: SmoothBranching::default(),
            max_reduction_db: 0.0,
        };
    }

    fn run(context: StageContext<'_, Self, C>, frames: &mut [[f32; C]]) {
        let StageContext { coefs, state, .. } = context;
        let mut rest = frames;
        while !rest.is_empty() {
            let (now, later) = rest.split_at_mut(rest.len().min(state.detector.remaining()));
            run_segment(coefs, state, now);
            rest = later;
        }
    }

    const HAS_GAIN_REDUCTION: bool = true;

    fn interpolated(from: &ExpanderCoefs, to: &ExpanderCoefs, t: f64) -> ExpanderCoefs {
        let mix = |a: f64, b: f64| a + (b - a) * t;
        let (threshold_db, ratio) = (mix(from.threshold_db, to.threshold_db), mix(from.ratio, to.ratio));
        ExpanderCoefs {
            curve: ExpanderCurve::new(threshold_db, ratio, KNEE_DB),
            threshold_db,
            ratio,
            range_db: mix(from.range_db, to.range_db),
            hysteresis_db: mix(from.hysteresis_db, to.hysteresis_db),
            attack: mix(from.attack, to.attack),
            release: mix(from.release, to.release),
            ..*to
        }
    }

    fn is_stable(coefs: &ExpanderCoefs) -> bool {
        coefs.is_stable()
    }

    fn gain_db(coefs: &ExpanderCoefs, level_db: f64) -> f64 {
        coefs.gain_db(level_db)
    }

    fn take_reduction_db(state: &mut ExpanderState<C>) -> f64 {
        core::mem::take(&mut state.max_reduction_db)
    }
}

/// Processes frames up to the next tick. The target reduction is constant within a segment.
fn run_segment<const C: usize>(coefs: &ExpanderCoefs, state: &mut ExpanderState<C>, frames: &mut [[f32; C]])
where
    [f32; C]: Frame,
{
    let ticked = state.detector.run(&coefs.bands, frames);
    if state.target_reduction_db > 0.0 || state.ballistics.reduction_db() > 0.0 {
        let mut gains = [0.0f32; TICK as usize];
        for gain in &mut gains[..frames.len()] {
            // Closing increases the reduction, so release and attack are swapped here.
            let now = state.ballistics.step(state.target_reduction_db, coefs.release, coefs.attack);
            state.max_reduction_db = if now > state.max_reduction_db { now } else { state.max_reduction_db };
            *gain = now as f32;
        }
        for_each_value(&mut gains, |reduction| fast_from_db(-reduction));
        for (frame, gain) in frames.iter_mut().zip(gains) {
            frame.iter_mut().for_each(|sample| *sample *= gain);
        }
    }
    if ticked {
        tick(coefs, state);
    }
}

/// Opens or closes the expander and sets the target reduction.
fn tick<const C: usize>(coefs: &ExpanderCoefs, state: &mut ExpanderState<C>)
where
    [f32; C]: Frame,
{
    let snr_db = f64::from(state.detector.snr_db());
    if snr_db >= coefs.threshold_db || (state.open && snr_db >= coefs.threshold_db - coefs.hysteresis_db) {
        (state.open, state.hold) = (true, coefs.hold_ticks);
    } else if state.hold > 0 {
        state.hold -= 1;
    } else {
        state.open = false;
    }
    state.target_reduction_db = if state.open { 0.0 } else { coefs.reduction_db(snr_db) };
    if state.target_reduction_db == 0.0 {
        state.ballistics.snap();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    every_number_is_checked! {
        Expander,
        ExpanderSettings::default(),
        curve = ExpanderCurve::new(f64::NAN, 4.0, 3.0),
        curve = ExpanderCurve::new(8.0, f64::INFINITY, 3.0),
        threshold_db = f64::NAN,
        ratio = f64::NAN,
        range_db = f64::INFINITY,
        hysteresis_db = f64::NAN,
        attack = f64::NAN,
        release = 1.0,
    }
}
