//! What the example programs share: reading and writing recordings, the demo voices, delivery and the report.

pub mod audio_file;
pub mod demo_voices;
pub mod error;
pub mod resample;
pub mod wav_file;

pub use error::{JobError, Trouble};
