//! Frames of one sample per channel, `[f32; C]`, and conversion from and to the planar blocks of hosts.

use crate::blank::Blank;
use wide::f64x2;

/// Maximum number of frames that a stage processes at once. Longer blocks are split into chunks of this length.
pub const CHUNK: usize = 64;

/// A frame of one or two channels. Its `Lanes` type holds one `f64` per channel.
pub trait Frame: Copy + Default + PartialEq + sealed::Sealed {
    /// One double-precision value per channel.
    type Lanes: Lanes;
    /// Converts the frame to double precision.
    fn widen(self) -> Self::Lanes;
    /// Rounds to the nearest frame in single precision.
    fn narrow(lanes: Self::Lanes) -> Self;
}

/// Double-precision values, one per channel, computed in parallel.
pub trait Lanes:
    Copy
    + Blank
    + core::fmt::Debug
    + core::ops::Add<Output = Self>
    + core::ops::Sub<Output = Self>
    + core::ops::Mul<Output = Self>
    + sealed::Sealed
{
    /// Sets every lane to the same value.
    fn splat(value: f64) -> Self;
    /// Returns the lanes as an array. A mono frame returns its value twice.
    fn to_pair(self) -> [f64; 2];
    /// Builds the lanes from an array. A mono frame uses the first value.
    fn from_pair(pair: [f64; 2]) -> Self;
    /// Zeroes every lane with a magnitude below [`FLUSH_THRESHOLD`](crate::math::FLUSH_THRESHOLD).
    #[must_use]
    fn flush_denormals(self) -> Self {
        Self::from_pair(self.to_pair().map(crate::math::flush_denormals))
    }
}

mod sealed {
    pub trait Sealed {}
    impl Sealed for [f32; 1] {}
    impl Sealed for [f32; 2] {}
    impl Sealed for f64 {}
    impl Sealed for wide::f64x2 {}
}

impl Lanes for f64 {
    #[inline(always)]
    fn splat(value: f64) -> Self {
        value
    }
    #[inline(always)]
    fn to_pair(self) -> [f64; 2] {
        [self, self]
    }
    #[inline(always)]
    fn from_pair(pair: [f64; 2]) -> Self {
        pair[0]
    }
}

impl Lanes for f64x2 {
    #[inline(always)]
    fn splat(value: f64) -> Self {
        f64x2::splat(value)
    }
    #[inline(always)]
    fn to_pair(self) -> [f64; 2] {
        self.to_array()
    }
    #[inline(always)]
    fn from_pair(pair: [f64; 2]) -> Self {
        f64x2::from(pair)
    }
}

impl Frame for [f32; 1] {
    type Lanes = f64;
    #[inline(always)]
    fn widen(self) -> f64 {
        f64::from(self[0])
    }
    #[inline(always)]
    fn narrow(lanes: f64) -> Self {
        [lanes as f32]
    }
}

impl Frame for [f32; 2] {
    type Lanes = f64x2;
    #[inline(always)]
    fn widen(self) -> f64x2 {
        f64x2::from([f64::from(self[0]), f64::from(self[1])])
    }
    #[inline(always)]
    fn narrow(lanes: f64x2) -> Self {
        let [left, right] = lanes.to_array();
        [left as f32, right as f32]
    }
}

/// Interleaves planar channels into frames: `frames[n][c] = planar[c][n]`. The shorter side sets the length.
pub fn interleave<const C: usize>(planar: [&[f32]; C], frames: &mut [[f32; C]]) {
    for (c, channel) in planar.iter().enumerate() {
        for (frame, &sample) in frames.iter_mut().zip(channel.iter()) {
            frame[c] = sample;
        }
    }
}

/// Deinterleaves frames into planar channels: `planar[c][n] = frames[n][c]`. The shorter side sets the length.
pub fn deinterleave<const C: usize>(frames: &[[f32; C]], planar: [&mut [f32]; C]) {
    for (c, channel) in planar.into_iter().enumerate() {
        for (sample, frame) in channel.iter_mut().zip(frames.iter()) {
            *sample = frame[c];
        }
    }
}
