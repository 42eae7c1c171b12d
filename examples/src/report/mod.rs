//! The report of a finished mix: as data (`report.json`), as a page to read (`report.html`) and as a short table for
//! the terminal.
//!
//! [`data`] holds the plain numbers, [`page::render`] turns them and the series beside them into one self-contained
//! page, [`table::summary`] into a few lines of text. [`excerpt`] makes the short clips that the page plays.

mod contents;
pub mod data;
pub mod excerpt;
pub mod page;
pub(crate) mod plot;
pub mod table;
pub(crate) mod text;

pub use contents::{Excerpt, LoudnessWindow, MixSeries, Page, TimeSeries, VoiceSeries};
pub use page::render;
