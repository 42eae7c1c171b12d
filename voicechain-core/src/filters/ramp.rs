//! Straight line along a few frames: one step of a transition.

/// Position within a straight line of `length` frames.
///
/// Values depend only on the position of a frame in the line, so they are the same for any split into blocks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ramp {
    /// Frames of the line that have passed.
    pub at: u32,
    /// Length of the whole line, frames; at least 1.
    pub length: u32,
}

impl Ramp {
    /// A line of one frame, which ends at once.
    pub const END: Self = Self { at: 0, length: 1 };

    /// Values of a line from `from` to `to`, beginning with the next frame. The last frame of the line reaches `to` up
    /// to rounding.
    #[inline(always)]
    pub(crate) fn values(self, from: f32, to: f32) -> impl Iterator<Item = f32> {
        let slope = (to - from) / self.length as f32;
        (self.at + 1..).map(move |position| from + slope * position as f32)
    }
}
