//! Editor page of the plugin, independent of plugin framework and window.
//!
//! [`Page::ui`] draws a [`ViewModel`] into an `egui::Ui` and returns the user's actions ([`UserAction`]); the embedding
//! program performs them. Tests draw and operate the same code without a window.
//!
//! - `layout`: layout of the whole page; `page`: its own state; `view_model`: what it shows and the actions it returns;
//!   `history`: meter readings.
//! - `tonal_balance`: the measured voice relative to published speech, annotated with `findings`.
//! - `frequency_response`: response of the strip, with a handle (`band_handle`) for each of its `bands`.
//! - `history_plots`: the last fifteen seconds.
//! - `stages`: table with one `row` per stage and its main settings (`row_settings`).
//! - `expanded_row`: an open row with `curve`, sibilant band (`detector`) or reverberation (`decay`), and all settings.
//! - `value`: one setting; `typing`: its text field.
//! - `header`: voice and monitor modes; `footer`: commands; `path_field`: path of a settings file.
//! - `draw_context`: shared drawing context; `axes`: frequency axis; `widgets`; `keyboard`: keys of the focused
//!   control; `strip_design`: coefficients and response of the strip.
//! - `style`: colours and fonts; `formatting`: numbers and settings as text; `measurement_text`: measurements as text.
//! - `context`: setup of the egui context; `pointer_queue`: order of pointer events.

mod axes;
mod band_handle;
mod bands;
mod context;
mod curve;
mod decay;
mod detector;
mod draw_context;
mod expanded_row;
mod findings;
mod footer;
mod formatting;
mod frequency_response;
mod header;
mod history;
mod history_plots;
mod keyboard;
mod layout;
mod measurement_text;
mod page;
mod path_field;
mod pointer_queue;
mod row;
mod row_settings;
mod stages;
mod strip_design;
mod style;
mod tonal_balance;
mod typing;
mod value;
mod view_model;
mod widgets;

pub use context::prepare;
pub use history::{HISTORY_S, History, HistoryPoint, STAGE_COUNT};
pub use layout::{DEFAULT_SIZE, MIN_SIZE};
pub use page::{Page, ZOOM_RANGE};
pub use style::Palette;
pub use view_model::{FileDialog, FileOperation, UserAction, ViewModel};
