//! Library of the example programs: audio files, demo voices, delivery, report and timing.

pub mod audio_file;
pub mod delivery;
pub mod demo_voices;
pub mod error;
pub mod interview;
pub mod output_folder;
pub mod progress;
pub mod report;
pub mod resample;
pub mod series;
pub mod settings_file;
pub mod terminal;
pub mod timing;
pub mod voice_page;
pub mod wav_file;

pub use error::{JobError, JobErrorKind};
