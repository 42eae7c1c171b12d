//! Frames: one sample of every channel, `[f32; C]`, and the planar blocks that hosts give.

use wide::f64x2;

/// The number of frames that stages work on at a time; longer blocks are taken in pieces of this length.
pub const CHUNK: usize = 64;

/// A frame of one or two channels, with the vector type that holds one `f64` per channel.
pub trait Frame: Copy + Default + PartialEq + sealed::Sealed {
    /// One double-precision value per channel.
    type Lanes: Lanes;
    /// The frame in double precision.
    fn widen(self) -> Self::Lanes;
    /// The nearest frame in single precision.
    fn narrow(lanes: Self::Lanes) -> Self;
}

/// Double-precision values, one per channel, that are computed together.
pub trait Lanes:
    Copy
    + core::fmt::Debug
    + core::ops::Add<Output = Self>
    + core::ops::Sub<Output = Self>
    + core::ops::Mul<Output = Self>
    + sealed::Sealed
{
    /// The same value in every lane.
    fn splat(value: f64) -> Self;
    /// The lanes as an array; a mono frame gives its value twice.
    fn to_pair(self) -> [f64; 2];
    /// The lanes from an array; a mono frame takes the first value.
    fn from_pair(pair: [f64; 2]) -> Self;
    /// Zero in every lane whose magnitude is under [`FLUSH_THRESHOLD`](crate::math::FLUSH_THRESHOLD).
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

/// Interleaves planar channels into frames: `frames[n][c] = planar[c][n]`, as far as both reach.
pub fn interleave<const C: usize>(planar: [&[f32]; C], frames: &mut [[f32; C]]) {
    for (c, channel) in planar.iter().enumerate() {
        for (frame, &sample) in frames.iter_mut().zip(channel.iter()) {
            frame[c] = sample;
        }
    }
}

/// Deinterleaves frames into planar channels: `planar[c][n] = frames[n][c]`, as far as both reach.
pub fn deinterleave<const C: usize>(frames: &[[f32; C]], planar: [&mut [f32]; C]) {
    for (c, channel) in planar.into_iter().enumerate() {
        for (sample, frame) in channel.iter_mut().zip(frames.iter()) {
            *sample = frame[c];
        }
    }
}
