//! The one table of settings.
//!
//! It declares every setting once: id, name, unit, range, default, step, scale and a one-line explanation. The settings
//! structs, the checks in `design`, the settings file, the documentation and the plugin's parameters are derived from it.
//! Ids and ranges never change; a new setting gets a new id.

#[cfg(feature = "serde")]
mod file;
mod markdown;
mod order;
mod position;
mod readable;
mod row;
mod shared;
mod signal_order;
mod table;
mod text;
mod values;

pub use order::{DEFAULT_ORDER, REORDERABLE_STAGES, ReorderableStage};
pub use readable::ReadableValue;
pub use row::{Scale, SettingInfo};
pub use signal_order::signal_order;
pub use table::{
    CompressorSettings, CorrectiveEqSettings, DeEsserSettings, DeReverbSettings, ExpanderSettings, HighPassSettings,
    HumSettings, LevellerSettings, LimiterSettings, OutputSettings, SectionId, SpectralSettings, StageId,
    StripSettings, ToneEqSettings, TrimSettings, row, rows,
};
pub use text::{InvalidText, ValueText};
pub use values::{DeEsserMode, Mains, MakeUp, Slope, SpectralLatency};
