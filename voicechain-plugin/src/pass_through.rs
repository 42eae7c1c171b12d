//! Output at sample rates that the strip cannot process: the input, without what no host may receive.

/// Replaces non-finite and subnormal samples by zero, in place. Does not allocate.
pub fn pass_through(channels: &mut [&mut [f32]]) {
    for sample in channels.iter_mut().flat_map(|channel| channel.iter_mut()) {
        if !(sample.is_normal()) {
            *sample = 0.0;
        }
    }
}
