//! Setup of an egui context for the page.

use crate::{pointer_queue, style};
use egui::Id;

/// Sets up fonts and pointer handling of a context, once, before or in the first frame. Returns whether it was set up
/// before; new fonts are available from the next frame on.
pub fn prepare(ctx: &egui::Context) -> bool {
    let id = Id::unique("voicechain prepared");
    let prepared = ctx.data_mut(|data| {
        data.get_temp::<bool>(id).is_some() || {
            data.insert_temp(id, true);
            false
        }
    });
    if !prepared {
        style::install_fonts(ctx);
        ctx.add_plugin(pointer_queue::PointerEventQueue::default());
        // A long press counts as a click too: the user may be slow, or frames may take long.
        ctx.options_mut(|options| options.input_options.max_click_duration = f64::INFINITY);
    }
    prepared
}
