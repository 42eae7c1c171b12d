//! What an egui context needs before the page is drawn with it.

use crate::{pointer_queue, style};
use egui::Id;

/// Gives a context what the page needs, once, before or with its first drawing: its letters, and how a pointer is
/// understood. True when it has all of it already; its letters it has from the next drawing on.
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
        // A button that is let go late was pressed all the same: by a calm hand, or between two slow drawings.
        ctx.options_mut(|options| options.input_options.max_click_duration = f64::INFINITY);
    }
    prepared
}
