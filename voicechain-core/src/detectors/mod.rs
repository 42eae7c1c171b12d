//! What drives a gain: levels, sibilance, voice activity.

pub mod above_noise;
mod band_powers;
pub mod level;
pub mod noise_floor;
pub mod oversampled_peak;
pub mod peak_hold;
pub mod sibilance;
pub mod voice_activity;

pub use above_noise::AboveNoise;
pub use level::CrestFactor;
pub use noise_floor::NoiseFloor;
pub use oversampled_peak::OversampledPeak;
pub use peak_hold::PeakHold;
pub use sibilance::Sibilance;
pub use voice_activity::VoiceActivity;

/// Slow quantities are updated once in so many frames, counted on the sample clock.
pub const TICK: u32 = 16;
