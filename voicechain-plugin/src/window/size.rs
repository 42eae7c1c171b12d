//! Initial size of the window, and limits for resizing by the host.

use crate::instance::Instance;
use crate::scale::Scale;
use nice_plug::editor::ResizeHint;
use nice_plug::editor::dpi::{LogicalSize, NativeSize};
use voicechain_editor::MIN_SIZE;

/// Limits for resizing by the host.
pub(super) const RESIZE_HINT: ResizeHint =
    ResizeHint::RESIZABLE.with_min_logical_size(LogicalSize::new(MIN_SIZE[0], MIN_SIZE[1]));

/// Size of the window when it is opened, in the units of the host.
pub(super) fn opening_size(instance: &Instance, scale: &Scale) -> NativeSize<u32> {
    let [width, height] = instance.parameters.preferences().size;
    NativeSize::from_size(LogicalSize::new(width, height).into(), scale.get())
}
