//! Whether somebody speaks: an envelope against the running level of active speech.

use crate::math::{FLUSH_THRESHOLD, smoothing};
use crate::units::SampleRate;

/// How far under the active speech level speech ends and pauses begin, dB: the margin of ITU-T P.56.
pub const P56_MARGIN_DB: f64 = 15.9;
/// The same as a power ratio.
const P56_MARGIN: f64 = 0.025_703_957_827_688_63;

/// Voice activity from the power of successive ticks, independent of level.
///
/// Follows ITU-T P.56 method B in kind: an envelope of two one-poles of 30 ms, a threshold 15.9 dB under the active
/// level, a hang-over of 200 ms. The active level itself is tracked: it rises with 0.5 s, falls with 5 s while somebody
/// speaks, and after five seconds without it sinks by 3 dB per second until a voice is within 6 dB of it; it never passes
/// -13 dBFS, so that what is far too loud does not make it deaf (common practice, no source). Nothing under -60 dBFS is
/// speech. Tested by `voice_activity_follows_phrases_at_any_level`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct VoiceActivity {
    margin: f64,
    envelope_smoothing: f64,
    rise_smoothing: f64,
    fall_smoothing: f64,
    sink: f64,
    seconds_per_tick: f64,
    first: f64,
    envelope: f64,
    active_power: f64,
    since_active: f64,
    decaying: bool,
}

/// Lowest power of speech (-60 dBFS).
const FLOOR: f64 = 1e-6;
/// Highest power of active speech (-13 dBFS).
const CEILING: f64 = 0.05;
/// A voice this close to the active level (6 dB) is the one that it belongs to.
const CLOSE: f64 = 0.25;
const HANG_OVER_S: f64 = 0.2;
const PATIENCE_S: f64 = 5.0;

impl VoiceActivity {
    /// A detector that has heard nothing and is fed once per `tick` frames.
    #[must_use]
    pub fn new(rate: SampleRate, tick: f64) -> Self {
        Self { margin: P56_MARGIN, ..Self::with_margin(rate, tick, P56_MARGIN_DB, 5.0) }
    }

    /// The same with another margin under the active level, dB, which falls with another time constant, s: for voices whose
    /// level jumps.
    #[must_use]
    pub fn with_margin(rate: SampleRate, tick: f64, margin_db: f64, fall_s: f64) -> Self {
        let kept = |ms: f64| smoothing(ms, rate.hz(), tick);
        let seconds_per_tick = tick / rate.hz();
        Self {
            margin: libm::exp10(-0.1 * margin_db),
            envelope_smoothing: kept(30.0),
            rise_smoothing: kept(500.0),
            fall_smoothing: kept(1e3 * fall_s),
            sink: libm::exp10(-0.3 * seconds_per_tick),
            seconds_per_tick,
            first: 0.0,
            envelope: 0.0,
            active_power: 0.0,
            since_active: f64::INFINITY,
            decaying: true,
        }
    }

    /// Takes the mean power of one tick.
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
            self.decaying |= self.since_active > PATIENCE_S;
        }
        self.decaying &= self.envelope < CLOSE * self.active_power || !loud;
        if self.decaying {
            self.active_power = (self.active_power * self.sink).max(FLOOR);
        }
    }

    /// True while somebody speaks, and for 200 ms after.
    #[must_use]
    pub fn is_active(&self) -> bool {
        self.since_active < HANG_OVER_S
    }

    /// True while somebody speaks, without the time after.
    #[must_use]
    pub fn is_above_threshold(&self) -> bool {
        self.since_active == 0.0
    }

    /// The running mean power of active speech; 0 before any.
    #[must_use]
    pub fn active_power(&self) -> f64 {
        self.active_power
    }
}
