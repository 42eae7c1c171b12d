//! From level to gain: static curves and ballistics.

pub mod ballistics;
pub mod curve;

pub use ballistics::{Branching, Decoupled};
pub use curve::{Compression, Expansion, Limiting, RangeLimit};
