//! The editor: a page that a mixer reads, from top to bottom.
//!
//! Nothing here knows a plugin framework or a window. [`Page::ui`] draws a [`ViewModel`] into an `egui::Ui` and says
//! what the person asks for ([`UserAction`]); whoever embeds it answers. The same code is drawn and driven in tests without a window.
//!
//! - `layout`: the whole page and the places of its parts; `page`: what it remembers; `view_model`: what it shows and asks for;
//!   `history`: what the meters said;
//! - `tonal_balance`: the measured voice against published speech, with `findings` in place; below it `frequency_response`: what the strip does,
//!   with a handle for each of its `bands` (`band_handle`);
//! - `history_plots`: the last fifteen seconds;
//! - `stages`: one `row` per stage, with its most telling settings (`row_settings`), which opens (`expanded_row`) to its `curve`,
//!   the band of the `detector` or the room's `decay`, and all its settings; `value` is one of them, `typing` its field;
//! - `header` and `footer`: what is heard, and what can be done; `path_field`: the path of a settings file;
//! - `draw_context`: what all of them draw with; `axes` of frequency, `widgets`, and the `keyboard` of what has it; `strip_design`: the
//!   strip's curve;
//! - `style`: colours and letters; `formatting`: numbers and settings as text; `measurement_text`: what was measured as text;
//! - `context`: what an egui context needs; `pointer_queue`: what the pointer did, in order.

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
