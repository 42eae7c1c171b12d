//! Tests of the editor page without a window: user actions, layout, and pictures.

mod colours;
mod controls;
mod example_profile;
mod keyboard;
mod layout;
mod pictures;
mod raster;
mod track;
mod typed;
