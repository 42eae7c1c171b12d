//! filters
