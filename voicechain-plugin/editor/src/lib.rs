//! The editor: a page that a mixer reads, from top to bottom.
//!
//! Nothing here knows a plugin framework or a window. [`Page::ui`] draws what it is [`Shown`] into an `egui::Ui` and says
//! what the person [`Ask`]s for; whoever embeds it answers. The same code is drawn and driven in tests without a window.
//!
//! - `layout`: the whole page and the places of its parts; `page`: what it remembers; `shown`: what it shows and asks for;
//!   `history`: what the meters said;
//! - `voice`: the measured voice against published speech, with `findings` in place; below it `strip`: what the strip does,
//!   with a handle for each of its `bands` (`band_handle`);
//! - `past`: the last fifteen seconds;
//! - `stages`: one `row` per stage, with its most telling settings (`row_settings`), which opens (`opened`) to its `curve`,
//!   the band of the `detector` or the room's `decay`, and all its settings; `value` is one of them, `typing` its field;
//! - `header` and `footer`: what is heard, and what can be done; `file`: the path of a settings file;
//! - `pen`: what all of them draw with; `axes` of frequency, `widgets`, and the `keyboard` of what has it; `designed`: the
//!   strip's curve;
//! - `look`: colours and letters; `words`: numbers and settings as text; `evidence`: what was measured as text;
//! - `context`: what an egui context needs; `pointer`: what the pointer did, in order.

mod axes;
mod band_handle;
mod bands;
mod context;
mod curve;
mod decay;
mod designed;
mod detector;
mod evidence;
mod file;
mod findings;
mod footer;
mod header;
mod history;
mod keyboard;
mod layout;
mod look;
mod opened;
mod page;
mod past;
mod pen;
mod pointer;
mod row;
mod row_settings;
mod shown;
mod stages;
mod strip;
mod typing;
mod value;
mod voice;
mod widgets;
mod words;

pub use context::prepare;
pub use history::{History, Moment, SPAN_S, STAGES};
pub use layout::{FIRST, SMALLEST};
pub use look::Look;
pub use page::{Page, ZOOM};
pub use shown::{Ask, Choosing, Filing, Shown};
