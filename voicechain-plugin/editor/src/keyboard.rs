//! Keys that move the focused control.

use egui::{EventFilter, Id, Key, Ui};

/// Requested steps `[horizontal, vertical]`: one per arrow key, ten with shift, ten per page key.
pub(crate) fn requested_steps(ui: &Ui, id: Id) -> [f64; 2] {
    use egui::accesskit::Action;
    ui.input(|input| {
        let times = if input.modifiers.shift { 10.0 } else { 1.0 };
        let count = |key| input.num_presses(key) as f64;
        let requested = |action| input.num_accesskit_action_requests(id, action) as f64;
        let along = times * (count(Key::ArrowRight) - count(Key::ArrowLeft));
        let up =
            times * (count(Key::ArrowUp) - count(Key::ArrowDown)) + 10.0 * (count(Key::PageUp) - count(Key::PageDown));
        [along, up + requested(Action::Increment) - requested(Action::Decrement)]
    })
}

/// Reserves the arrow keys for the focused control.
pub(crate) fn lock_arrow_keys(ui: &Ui, id: Id) {
    let filter = EventFilter { tab: false, horizontal_arrows: true, vertical_arrows: true, escape: false };
    ui.memory_mut(|memory| memory.set_focus_lock_filter(id, filter));
}
