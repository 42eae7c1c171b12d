//! From level to gain: static curves and ballistics.

pub mod ballistics;
pub mod curve;

pub use ballistics::{SmoothBranching, SmoothDecoupled};
pub use curve::{CompressorCurve, ExpanderCurve, LimiterCurve, RangeLimitedCurve};
