//! gain
