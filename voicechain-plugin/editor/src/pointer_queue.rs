//! A press counts where it was made, also when much happened before the page could be drawn.

use egui::{Context, Event, Plugin, RawInput};

/// Holds back what the pointer did after a button until the page was drawn with that button, and the next press until what
/// the button has changed was drawn, too.
///
/// What is under the pointer is found once per drawing, at the pointer's last place among what the drawing before it showed.
/// A busy machine gathers a click, the movement away from it and another click into one drawing: the first would be one
/// beside the control, and the second one on what stood there before.
#[derive(Default)]
pub(crate) struct PointerEventQueue {
    kept: Vec<Event>,
    /// The last drawing had a button: what it has changed is not drawn yet.
    changed: bool,
}

impl Plugin for PointerEventQueue {
    fn debug_name(&self) -> &'static str {
        "voicechain pointer"
    }

    fn input_hook(&mut self, ctx: &Context, input: &mut RawInput) {
        let mut events = std::mem::take(&mut self.kept);
        events.append(&mut input.events);
        let button = events.iter().position(|event| matches!(event, Event::PointerButton { .. }));
        let moves = |event: &Event| matches!(event, Event::PointerMoved(_) | Event::PointerGone);
        let changed = std::mem::take(&mut self.changed);
        if let Some(button) = button {
            let pressed = matches!(events[button], Event::PointerButton { pressed: true, .. });
            if changed && pressed {
                self.kept = events.split_off(button);
            } else {
                self.changed = true;
                if let Some(after) = events[button..].iter().position(moves) {
                    self.kept = events.split_off(button + after);
                }
            }
            if !self.kept.is_empty() {
                ctx.request_repaint();
            }
        }
        input.events = events;
    }
}
