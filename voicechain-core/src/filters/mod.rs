//! filters

pub mod k_weighting;
