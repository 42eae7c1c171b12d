//! The report of a finished mix: as data (`report.json`), as a page to read (`report.html`) and as a short table for
//! the terminal.
//!
//! [`data`] holds the plain numbers, [`page::render`] turns them and the series beside them into one self-contained
//! page, [`table::summary`] into a few lines of text. [`excerpt`] makes the short clips that the page plays.

pub mod data;
pub mod excerpt;
pub mod page;
mod page_data;
pub(crate) mod plot;
pub mod table;
pub(crate) mod text;

pub use page::render;
pub use page_data::{Excerpt, LoudnessWindow, MixSeries, ReportPage, TimeSeries, VoiceSeries};
