//! The drawings of the page, as inline SVG.
//!
//! Every drawing exists in several widths; the style sheet shows the one that fits, so that text keeps its size. Colours
//! come from the style sheet by class name. Points beyond what a line can show are dropped so that each small stretch
//! keeps its lowest and highest value.

mod axes;
mod bars;
mod beyond;
mod frequency;
mod lines;
mod published;
mod spectrum;
mod time;
mod voice;

pub(super) use bars::{reduction_bar, step_bar};
pub(super) use spectrum::{Frequencies, frequencies};
pub(super) use time::{Line, Taken, Times, times};
pub(crate) use voice::{Finding, Marked, VoiceDrawing, voice_drawing};
