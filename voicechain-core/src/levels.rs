//! The working level: loudness of a voice inside the strip.

use crate::math::power_to_db;

/// Target loudness of the trim for one channel, integrated, LUFS (programme level of EBU R 128). Thresholds of
/// starting points and proposals assume this level.
pub const WORKING_LEVEL_LUFS: f64 = -23.0;

/// Target loudness of the trim for one or two channels, LUFS.
///
/// A stereo recording of a voice has it in both channels, and both count: its target is 3 dB higher. Each channel
/// then meets the thresholds at the level of a mono voice. In a stereo mix, with a mono voice on both sides, both
/// voices are equally loud. Tested by `voices_12_db_apart_are_delivered_equally_loud_in_mono_and_stereo`.
#[must_use]
pub fn working_level_lufs(channels: usize) -> f64 {
    WORKING_LEVEL_LUFS + if channels == 2 { power_to_db(2.0) } else { 0.0 }
}
