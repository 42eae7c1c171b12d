//! A press counts where it was made, also when much happened before the page could be drawn.

use egui::{Context, Event, Plugin, RawInput};

/// Holds back what the pointer did after a button until the page was drawn with that button.
///
/// What is under the pointer is found once per drawing, at the pointer's last place. A busy machine gathers a click and the
/// movement away from it into one drawing: the click would be one beside the control, and lost.
#[derive(Default)]
pub(crate) struct InOrder {
    kept: Vec<Event>,
}

impl Plugin for InOrder {
    fn debug_name(&self) -> &'static str {
        "voicechain pointer"
    }

    fn input_hook(&mut self, ctx: &Context, input: &mut RawInput) {
        let mut events = std::mem::take(&mut self.kept);
        events.append(&mut input.events);
        let button = events.iter().position(|event| matches!(event, Event::PointerButton { .. }));
        let moves = |event: &Event| matches!(event, Event::PointerMoved(_) | Event::PointerGone);
        if let Some(button) = button
            && let Some(after) = events[button..].iter().position(moves)
        {
            self.kept = events.split_off(button + after);
            ctx.request_repaint();
        }
        input.events = events;
    }
}
