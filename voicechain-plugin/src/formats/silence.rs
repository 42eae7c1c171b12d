//! Silent channels in the buffers of a host.

/// Bit mask of the channels whose samples are all zero, from the first channel in the lowest bit. The mask is 0 for an
/// empty block and has no bit for a channel above 63.
///
/// # Safety
/// `channels` is null or points to `count` pointers, each null or to `frames` samples.
#[allow(unsafe_code)]
pub(super) unsafe fn silent_channels(channels: *const *mut f32, count: u32, frames: usize) -> u64 {
    if channels.is_null() || frames == 0 {
        return 0;
    }
    let is_silent = |channel: u32| {
        // SAFETY: the caller guarantees both.
        let samples = unsafe { *channels.add(channel as usize) };
        !samples.is_null() && unsafe { std::slice::from_raw_parts(samples, frames) }.iter().all(|&x| x == 0.0)
    };
    (0..count.min(u64::BITS)).filter(|&channel| is_silent(channel)).fold(0, |mask, channel| mask | 1 << channel)
}
