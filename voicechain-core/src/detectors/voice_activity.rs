//! Voice activity: an envelope compared with the tracked level of active speech.

use crate::blank::blank;
use crate::math::{FLUSH_THRESHOLD, smoothing};
use crate::units::SampleRate;

/// Margin of ITU-T P.56 between the active speech level and the activity threshold, dB.
pub const P56_MARGIN_DB: f64 = 15.9;
/// The same as a power ratio.
const P56_MARGIN: f64 = 0.025_703_957_827_688_63;

/// Voice activity detector, independent of level, fed with the mean power of successive ticks.
///
/// Similar to ITU-T P.56 method B: an envelope of two one-pole smoothers of 30 ms, a threshold 15.9 dB below the active
/// level, a hang-over of 200 ms. The active level is tracked (common practice, no source):
///
/// - It rises with 0.5 s and, during speech, falls with 5 s.
/// - After five seconds without speech it decays by 3 dB per second until a voice comes within 6 dB of it.
/// - It is limited to -13 dBFS, so that an overload does not mask normal speech afterwards.
///
/// Power below -60 dBFS is never speech. Tested by `voice_activity_follows_phrases_at_any_level`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct VoiceActivity {
    margin: f64,
    envelope_smoothing: f64,
    rise_smoothing: f64,
    fall_smoothing: f64,
    decay: f64,
    seconds_per_tick: f64,
    first: f64,
    envelope: f64,
    active_power: f64,
    since_active: f64,
    decaying: bool,
}

blank! {
    VoiceActivity {
        margin, envelope_smoothing, rise_smoothing, fall_smoothing, decay, seconds_per_tick, first, envelope,
        active_power, since_active, decaying,
    }
}

/// Minimum power of speech (-60 dBFS).
const FLOOR: f64 = 1e-6;
/// Maximum tracked power of active speech (-13 dBFS).
const CEILING: f64 = 0.05;
/// Envelope relative to the active level (-6 dB) above which the decay stops.
const DECAY_STOP_RATIO: f64 = 0.25;
const HANG_OVER_S: f64 = 0.2;
const DECAY_DELAY_S: f64 = 5.0;

impl VoiceActivity {
    /// Creates a cleared detector that is fed once per `tick` frames.
    #[must_use]
    pub fn new(rate: SampleRate, tick: f64) -> Self {
        Self { margin: P56_MARGIN, ..Self::with_margin(rate, tick, P56_MARGIN_DB, 5.0) }
    }

    /// Creates a detector with another margin below the active level, dB, and another release time constant, s: for
    /// voices with jumps in level.
    #[must_use]
    pub fn with_margin(rate: SampleRate, tick: f64, margin_db: f64, fall_s: f64) -> Self {
        let kept = |ms: f64| smoothing(ms, rate.hz(), tick);
        let seconds_per_tick = tick / rate.hz();
        Self {
            margin: libm::exp10(-0.1 * margin_db),
            envelope_smoothing: kept(30.0),
            rise_smoothing: kept(500.0),
            fall_smoothing: kept(1e3 * fall_s),
            decay: libm::exp10(-0.3 * seconds_per_tick),
            seconds_per_tick,
            first: 0.0,
            envelope: 0.0,
            active_power: 0.0,
            since_active: f64::INFINITY,
            decaying: true,
        }
    }

    /// Processes the mean power of one tick.
    pub fn tick(&mut self, power: f64) {
        self.first = power + self.envelope_smoothing * (self.first - power);
        self.envelope = self.first + self.envelope_smoothing * (self.envelope - self.first);
        if self.envelope < FLUSH_THRESHOLD {
            (self.first, self.envelope) = (0.0, 0.0);
        }
        let loud = self.envelope > FLOOR && self.envelope > self.margin * self.active_power;
        if loud {
            let kept = if self.envelope > self.active_power { self.rise_smoothing } else { self.fall_smoothing };
            self.active_power = (self.envelope + kept * (self.active_power - self.envelope)).min(CEILING);
            self.since_active = 0.0;
        } else {
            self.since_active += self.seconds_per_tick;
            self.decaying |= self.since_active > DECAY_DELAY_S;
        }
        self.decaying &= self.envelope < DECAY_STOP_RATIO * self.active_power || !loud;
        if self.decaying {
            self.active_power = (self.active_power * self.decay).max(FLOOR);
        }
    }

    /// True during speech and the hang-over of 200 ms.
    #[must_use]
    pub fn is_active(&self) -> bool {
        self.since_active < HANG_OVER_S
    }

    /// True during speech, without the hang-over.
    #[must_use]
    pub fn is_above_threshold(&self) -> bool {
        self.since_active == 0.0
    }

    /// Tracked mean power of active speech; 0 before any speech.
    #[must_use]
    pub fn active_power(&self) -> f64 {
        self.active_power
    }
}
