//! The editor without a window: what it asks for when it is handled, and what it looks like.

mod colours;
mod controls;
mod desk;
mod guest;
mod keyboard;
mod layout;
mod pictures;
mod raster;
mod typed;
