//! Queue of pointer events: a press acts where it was made, even if several events arrive before the next frame.

use egui::{Context, Event, Plugin, RawInput};

/// Delays pointer movement after a button event until the page has been drawn with that event. Delays the next press
/// until the change made by the button has been drawn.
///
/// egui determines the control under the pointer once per frame, from the last pointer position and the layout of the
/// previous frame. Under load, a click, the movement away from it and another click can arrive in one frame. Without
/// the queue, the first click would miss its control, and the second would hit the control that was there before.
#[derive(Default)]
pub(crate) struct PointerEventQueue {
    delayed: Vec<Event>,
    /// The last frame had a button event; its changes have not been drawn yet.
    changed: bool,
}

impl Plugin for PointerEventQueue {
    fn debug_name(&self) -> &'static str {
        "voicechain pointer"
    }

    fn input_hook(&mut self, ctx: &Context, input: &mut RawInput) {
        let mut events = std::mem::take(&mut self.delayed);
        events.append(&mut input.events);
        let button = events.iter().position(|event| matches!(event, Event::PointerButton { .. }));
        let moves = |event: &Event| matches!(event, Event::PointerMoved(_) | Event::PointerGone);
        let changed = std::mem::take(&mut self.changed);
        if let Some(button) = button {
            let pressed = matches!(events[button], Event::PointerButton { pressed: true, .. });
            if changed && pressed {
                self.delayed = events.split_off(button);
            } else {
                self.changed = true;
                if let Some(after) = events[button..].iter().position(moves) {
                    self.delayed = events.split_off(button + after);
                }
            }
            if !self.delayed.is_empty() {
                ctx.request_repaint();
            }
        }
        input.events = events;
    }
}
