//! Rules: one file for each stage that a proposal sets, and the warnings about the recording.

mod compressor;
mod corrective_eq;
mod de_esser;
mod de_reverb;
mod expander;
mod high_pass;
mod hum;
mod known;
mod leveller;
mod limited;
mod limiter;
mod recording;
mod tone_budget;
mod tone_eq;
mod trim;

pub(super) use compressor::compressor;
pub(super) use corrective_eq::corrective_eq;
pub(super) use de_esser::de_esser;
pub(super) use de_reverb::de_reverb;
pub(super) use expander::expander;
pub(super) use high_pass::high_pass;
pub(super) use hum::hum;
pub(super) use leveller::leveller;
pub(super) use limiter::limiter;
pub(super) use recording::warn_of_recording;
pub(super) use tone_eq::tone_eq;
pub(super) use trim::trim;
