//! Plots as SVG, inline in the report page or standalone.
//!
//! Every inline plot exists in several widths; the style sheet shows the one that fits, so that text keeps its size.
//! Colours come from the style sheet by class name. Long lines are decimated; each bucket keeps its lowest and highest
//! value.

mod axes;
mod bars;
mod frequency;
mod lines;
mod off_scale;
mod published;
mod spectrum;
mod time;
mod voice;

pub(super) use bars::{reduction_bar, waterfall_bar};
pub(super) use spectrum::{SpectrumPlot, spectrum_plot};
pub(super) use time::{LoudnessTrace, ReductionTrace, TimePlot, time_plot};
pub(crate) use voice::{Finding, FindingMark, VoiceDrawing, voice_drawing};
