//! How parameters are moved: by a host, as gestures that it can record and undo.

use nice_plug::prelude::ParamPtr;

/// A host that takes gestures: the framework's context of an editor, or a test.
pub trait Gestures {
    /// The person takes hold of a parameter.
    fn begin(&self, parameter: ParamPtr);
    /// The parameter gets a normalised value.
    fn set(&self, parameter: ParamPtr, normalised: f32);
    /// The person lets go.
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

/// One whole gesture.
pub(crate) fn gesture(parameter: ParamPtr, normalised: f32, host: &dyn Gestures) {
    host.begin(parameter);
    host.set(parameter, normalised);
    host.end(parameter);
}
