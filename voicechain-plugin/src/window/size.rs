//! The size of a window that is opened, and how hosts may change it.

use crate::instance::Instance;
use crate::scale::Scale;
use nice_plug::editor::ResizeHint;
use nice_plug::editor::dpi::{LogicalSize, NativeSize};
use voicechain_editor::MIN_SIZE;

/// How hosts may resize the window.
pub(super) const RESIZE_HINT: ResizeHint =
    ResizeHint::RESIZABLE.with_min_logical_size(LogicalSize::new(MIN_SIZE[0], MIN_SIZE[1]));

/// The size that a window has when it is opened, as hosts count.
pub(super) fn opening_size(instance: &Instance, scale: &Scale) -> NativeSize<u32> {
    let [width, height] = instance.parameters.preferences().size;
    NativeSize::from_size(LogicalSize::new(width, height).into(), scale.get())
}
