//! Report of a finished mix: as JSON (`report.json`), as an HTML page (`report.html`) and as a short table for the
//! terminal.
//!
//! [`data`] defines the JSON. [`page::render`] turns the data and the time series into one self-contained page,
//! [`table::summary`] turns the data into a text table. [`excerpt`] encodes the clips that the page plays.

pub mod data;
pub mod excerpt;
pub mod page;
mod page_data;
pub(crate) mod plot;
pub mod table;
pub(crate) mod text;

pub use page::render;
pub use page_data::{Excerpt, LoudnessWindow, MixSeries, ReportPage, TimeSeries, VoiceSeries};
