//! DSP primitives shared by filters, detectors, meters, measuring and stages.

pub mod clock;
pub mod complex;
pub mod decimator;
pub mod dot;
pub mod extent;
pub mod fft;
pub mod half_band;
pub mod histogram;
pub mod parabola;
pub mod unit_circle;
pub mod window;

pub use clock::SubBlockClock;
pub use complex::{Complex, Complex4};
pub use decimator::{Decimator, TriangleDecimator};
pub use dot::dot;
pub use fft::RealFft;
pub use half_band::HalfBandDecimator;
pub use histogram::LevelHistogram;
