//! The editor without a window: what it asks for when it is handled, and what it looks like.

mod colours;
mod controls;
mod example_profile;
mod keyboard;
mod layout;
mod pictures;
mod raster;
mod track;
mod typed;
