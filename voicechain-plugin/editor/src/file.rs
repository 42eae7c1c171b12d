//! The path of a settings file, typed in place of the actions while one is being chosen.

use crate::look::{BODY, DIGITS, numbers, width, words, write};
use crate::page::{Page, TypedPath};
use crate::pen::Pen;
use crate::shown::{Ask, Choosing, Filing};
use crate::widgets::{GAP, action};
use egui::{Align, Key, Rect, StrokeKind, TextEdit, Ui, pos2, vec2};

impl Page {
    /// The line of the path; `y` is the middle of the line.
    pub(crate) fn file(&mut self, ui: &mut Ui, rect: Rect, y: f32, choosing: Choosing<'_>, pen: &mut Pen<'_>) {
        let fresh = || TypedPath { text: choosing.path.into(), begun: false, has_keyboard: false };
        let mut typed = self.path.take().unwrap_or_else(fresh);
        let taken = !choosing.taken.is_empty() && typed.text == choosing.taken;
        let (lead, does, what) = match choosing.filing {
            Filing::Open => ("open", "open it", "Applies the settings of this file, as one step that can be undone."),
            Filing::Save if taken => ("save to", "replace it", "Writes over the file that is there."),
            Filing::Save => {
                ("save to", "save it", "Writes the settings into this file, with what is known of the voice.")
            }
        };
        let at = pos2(rect.left(), y + 0.36 * BODY);
        let left = write(ui.painter(), at, Align::Min, lead, words(BODY), pen.look.quiet).right() + 12.0;
        let wide = |text: &str| width(ui.painter(), text, words(BODY));
        // One width whatever stands there.
        let cancel = rect.right() - wide("cancel");
        let press = cancel - GAP[0] - wide("replace it");
        let field = Rect::from_min_max(pos2(left, y - 11.0), pos2(press - GAP[0], y + 11.0));
        let edge = if typed.has_keyboard { pen.look.after } else { pen.look.rule };
        ui.painter().rect(field, 2.0, pen.look.field, (1.0, edge), StrokeKind::Outside);
        let id = ui.scope_id().with("path");
        let edit = TextEdit::singleline(&mut typed.text)
            .id(id)
            .frame(egui::Frame::NONE)
            .font(numbers(DIGITS))
            .text_color(pen.look.ink)
            .char_limit(4_096)
            .desired_width(field.width())
            .clip_text(true)
            .margin(egui::Margin::symmetric(4, 2));
        let response = ui.put(field.shrink2(vec2(0.0, 1.0)), edit);
        ui.ctx().accesskit_node_builder(id, |node| node.set_label("path of the settings file"));
        if !typed.begun && !choosing.dialog {
            response.request_focus();
            typed.begun = true;
        }
        typed.has_keyboard = response.has_focus();
        let enter = response.lost_focus() && ui.input(|input| input.key_pressed(Key::Enter));
        let escape = response.lost_focus() && ui.input(|input| input.key_pressed(Key::Escape));
        let pressed = self.word(ui, press, y, BODY, &action(does, true, what), pen).clicked();
        let left = self.word(ui, cancel, y, BODY, &action("cancel", true, "No file after all."), pen).clicked();
        if pressed || enter {
            // If it is refused, the next attempt begins in the field.
            typed.begun = false;
            pen.asks.push(Ask::File { path: typed.text.clone(), replace: taken });
        } else if left || escape {
            pen.asks.push(Ask::NoFile);
        }
        self.path = Some(typed);
    }
}

/// What the hint line says meanwhile.
pub(crate) fn hint(choosing: Choosing<'_>) -> &'static str {
    match (choosing.taken.is_empty(), choosing.dialog) {
        (false, _) => "there is such a file already: replace it, or change the path",
        (true, true) => "choose it in the system's window, or type its path here",
        (true, false) => "this system shows no window for choosing files: type the path here",
    }
}
