//! Parameter gestures: the host moves the parameters, and can record and undo each move.

use nice_plug::prelude::ParamPtr;

/// Host that accepts gestures: the framework's editor context, or a test.
pub trait Gestures {
    /// Begins a gesture on a parameter.
    fn begin(&self, parameter: ParamPtr);
    /// Sets the normalised value of a parameter.
    fn set(&self, parameter: ParamPtr, normalised: f32);
    /// Ends the gesture.
    fn end(&self, parameter: ParamPtr);
}

#[allow(unsafe_code)]
impl Gestures for nice_plug::context::gui::GuiContext {
    fn begin(&self, parameter: ParamPtr) {
        // SAFETY: the framework looks the pointer up among those of its own plugin.
        unsafe { self.raw_begin_set_parameter(parameter) }
    }
    fn set(&self, parameter: ParamPtr, normalised: f32) {
        // SAFETY: as above.
        unsafe { self.raw_set_parameter_normalized(parameter, normalised) }
    }
    fn end(&self, parameter: ParamPtr) {
        // SAFETY: as above.
        unsafe { self.raw_end_set_parameter(parameter) }
    }
}

/// Performs one complete gesture.
pub(crate) fn gesture(parameter: ParamPtr, normalised: f32, host: &dyn Gestures) {
    host.begin(parameter);
    host.set(parameter, normalised);
    host.end(parameter);
}
