//! Faults of the demo recordings, and the functions that add them.

use super::biquad::Biquad;
use super::level::from_db;
use super::random::Random;
use dasp::Signal;
use std::fmt;

/// Deliberate fault of a voice, with its true value.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Fault {
    /// The voice is quieter than the other.
    Quieter {
        /// Difference of the active levels, dB.
        db: f64,
    },
    /// The voice is reverberant.
    Reverberation {
        /// Reverberation time (decay by 60 dB), s, equal at all frequencies.
        t60_s: f64,
        /// Direct-to-reverberant energy ratio, dB.
        direct_to_reverberant_db: f64,
    },
    /// The voice has a resonance, made by a bell filter.
    Resonance {
        /// Centre frequency, Hz.
        hz: f64,
        /// Gain at the centre, dB.
        gain_db: f64,
        /// Q of the bell.
        q: f64,
    },
    /// The recording has mains hum with harmonics.
    Hum {
        /// Mains frequency, Hz.
        hz: f64,
        /// Level of all harmonics together, dBFS (RMS).
        level_dbfs: f64,
    },
    /// The recording has low-frequency noise, such as footsteps or wind.
    Rumble {
        /// Upper frequency limit, Hz.
        below_hz: f64,
        /// Level, dBFS (RMS).
        level_dbfs: f64,
    },
    /// The voice lacks treble, by a high shelf.
    Dull {
        /// Mid-slope frequency of the shelf, Hz.
        above_hz: f64,
        /// Gain of the shelf, dB.
        gain_db: f64,
    },
    /// The sibilants /s/ and /z/ are too loud.
    Sibilant {
        /// Excess level, dB.
        gain_db: f64,
    },
    /// Single syllables are too loud.
    Transients {
        /// Excess level, dB.
        gain_db: f64,
        /// Centres of the syllables, s.
        at_s: Vec<f64>,
    },
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Quieter { db } => write!(f, "{db} dB quieter than the other voice"),
            Self::Reverberation { t60_s, direct_to_reverberant_db } => {
                write!(
                    f,
                    "a live room: decay time {t60_s} s, direct sound {direct_to_reverberant_db} dB above the reverberation"
                )
            }
            Self::Resonance { hz, gain_db, q } => write!(f, "boxy: a resonance of {gain_db} dB at {hz} Hz, Q {q}"),
            Self::Hum { hz, level_dbfs } => write!(f, "mains hum of {hz} Hz and its harmonics at {level_dbfs} dBFS"),
            Self::Rumble { below_hz, level_dbfs } => write!(f, "rumble below {below_hz} Hz at {level_dbfs} dBFS"),
            Self::Dull { above_hz, gain_db } => write!(f, "dull: a shelf of {gain_db} dB above {above_hz} Hz"),
            Self::Sibilant { gain_db } => write!(f, "sibilant: /s/ and /z/ {gain_db} dB too loud"),
            Self::Transients { gain_db, at_s } => write!(f, "{} single syllables {gain_db} dB too loud", at_s.len()),
        }
    }
}

/// Background noise of room and microphone, dBFS (RMS).
const ROOM_TONE_DBFS: f64 = -68.0;
pub(super) const QUIETER_DB: f64 = 9.0;
pub(super) const REVERBERATION_T60_S: f64 = 0.55;
pub(super) const DIRECT_TO_REVERBERANT_DB: f64 = 3.0;
pub(super) const BOXY: (f64, f64, f64) = (420.0, 7.0, 2.0);
pub(super) const HUM: (f64, f64) = (50.0, -55.0);
pub(super) const RUMBLE: (f64, f64) = (40.0, -50.0);
pub(super) const DULL: (f64, f64) = (4_500.0, -8.0);
pub(super) const SIBILANT_DB: f64 = 7.0;
pub(super) const TRANSIENT_DB: f64 = 12.0;

/// Impulse response of the guest's room: direct sound, followed by exponentially decaying velvet noise (Karjalainen and
/// Järveläinen, AES 30th Conf. 2007, from memory). The decay rate is equal at all frequencies.
pub(super) fn room_impulse_response(rate: u32) -> Vec<f32> {
    let fs = f64::from(rate);
    let mut random = Random::new(77);
    let count = (1.1 * REVERBERATION_T60_S * fs) as usize;
    let mut response = vec![0.0f32; count];
    let spacing = fs / 2_500.0;
    let mut cell = 0.006 * fs;
    while cell < count as f64 {
        let at = (cell + random.uniform() * spacing) as usize;
        let sign = if random.uniform() < 0.5 { -1.0 } else { 1.0 };
        if let Some(tap) = response.get_mut(at) {
            *tap = (sign * (-3.0 * std::f64::consts::LN_10 * at as f64 / (REVERBERATION_T60_S * fs)).exp()) as f32;
        }
        cell += spacing;
    }
    // A low-pass over the whole tail models the absorption of walls and air without changing the decay rate.
    Biquad::low_pass(5_500.0, 0.6, rate).run(&mut response);
    let energy: f64 = response.iter().map(|&s| f64::from(s).powi(2)).sum();
    let gain = (from_db(-DIRECT_TO_REVERBERANT_DB) / energy.sqrt()) as f32;
    response.iter_mut().for_each(|s| *s *= gain);
    response[0] += 1.0;
    response
}

pub(super) fn add_hum(samples: &mut [f32], rate: u32) {
    // Odd harmonics of a transformer field dominate; the relative amplitudes are invented.
    let shares = [1.0f64, 0.5, 0.7, 0.25, 0.4, 0.15];
    let power: f64 = shares.iter().map(|s| s * s / 2.0).sum();
    let gain = from_db(HUM.1) / power.sqrt();
    let clock = dasp::signal::rate(f64::from(rate));
    for (k, share) in shares.into_iter().enumerate() {
        let tone = clock.const_hz(HUM.0 * (k + 1) as f64).sine().scale_amp(share * gain);
        samples.iter_mut().zip(tone.until_exhausted()).for_each(|(s, hum)| *s += hum as f32);
    }
}

pub(super) fn add_rumble(samples: &mut [f32], rate: u32) {
    let mut random = Random::new(5);
    let mut filters = [Biquad::low_pass(0.8 * RUMBLE.0, 0.54, rate), Biquad::low_pass(0.8 * RUMBLE.0, 1.31, rate)];
    let rumble: Vec<f32> =
        (0..samples.len()).map(|_| filters.iter_mut().fold(random.white(), |x, f| f.next(x)) as f32).collect();
    add_at_level(samples, &rumble, RUMBLE.1);
}

pub(super) fn add_room_tone(samples: &mut [f32], rate: u32, seed: u64) {
    let mut random = Random::new(seed);
    let mut filter = Biquad::low_pass(900.0, 0.5, rate);
    let tone: Vec<f32> = (0..samples.len())
        .map(|_| {
            let white = random.white();
            (filter.next(white) + 0.03 * white) as f32
        })
        .collect();
    add_at_level(samples, &tone, ROOM_TONE_DBFS);
}

fn add_at_level(samples: &mut [f32], noise: &[f32], level_dbfs: f64) {
    let power = noise.iter().map(|&s| f64::from(s).powi(2)).sum::<f64>() / noise.len() as f64;
    let gain = (from_db(level_dbfs) / power.sqrt()) as f32;
    dasp::slice::add_in_place_with_amp_per_channel(samples, noise, gain);
}
