//! Meters: loudness (ITU-R BS.1770, EBU Tech 3341 and 3342), true peak (ITU-R BS.1770 Annex 2), level ledger, gain
//! reduction.

pub mod channels;
pub mod gating;
pub mod ledger;
pub mod loudness;
pub mod range;
pub mod reduction;
pub mod true_peak;

pub use channels::{Channel, ChannelWeights};
pub use ledger::LevelLedger;
pub use loudness::{GatingBlock, LoudnessMeter, SubBlockLoudness};
pub use reduction::GainReductionMeter;
pub use true_peak::TruePeakMeter;
