//! The working level: how loud a voice is where the strip shapes it.

use crate::math::power_to_db;

/// The integrated loudness, LUFS (one channel), to which the trim should bring a voice so that the thresholds of starting
/// points and proposals fit (EBU R 128 programme level).
pub const WORKING_LEVEL_LUFS: f64 = -23.0;

/// The same for a recording of one or two channels, LUFS: both channels of a stereo file carry the voice, and both count.
/// So each channel meets the thresholds at the same level as a mono voice does, and in the stereo mix, where a mono voice
/// goes to both sides, the two are equally loud. Tested by
/// `voices_12_db_apart_are_delivered_alike_in_one_channel_or_two`.
#[must_use]
pub fn working_level_lufs(channels: usize) -> f64 {
    WORKING_LEVEL_LUFS + if channels == 2 { power_to_db(2.0) } else { 0.0 }
}
