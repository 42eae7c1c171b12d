#[cfg(feature = "opengl")]
mod error_handler;
mod xlib_connection;
mod xlib_xcb;

pub use xlib_connection::*;
pub use xlib_xcb::*;

#[cfg(feature = "opengl")]
pub use self::{
    error_handler::{XErrorHandler, XLibError},
    xlib_connection::XlibConnection,
};
