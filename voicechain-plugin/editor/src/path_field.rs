//! Text field for the path of a settings file, in place of the commands while a file is being chosen.

use crate::draw_context::DrawContext;
use crate::page::{Page, TypedPath};
use crate::style::{BODY, DIGITS, number_font, text_font, width, write};
use crate::view_model::{FileDialog, FileOperation, UserAction};
use crate::widgets::{GAP, button};
use egui::{Align, Key, Rect, StrokeKind, TextEdit, Ui, pos2, vec2};

impl Page {
    /// Draws the line with the path; `y` is the middle of the line.
    pub(crate) fn path_field(
        &mut self,
        ui: &mut Ui,
        rect: Rect,
        y: f32,
        file_dialog: FileDialog<'_>,
        cx: &mut DrawContext<'_>,
    ) {
        let new_path = || TypedPath { text: file_dialog.path.into(), had_focus: false, has_keyboard: false };
        let mut typed = self.path.take().unwrap_or_else(new_path);
        let exists = !file_dialog.existing_path.is_empty() && typed.text == file_dialog.existing_path;
        let (lead, does, what) = match file_dialog.operation {
            FileOperation::Open => {
                ("open", "open it", "Applies the settings of this file, as one step that can be undone.")
            }
            FileOperation::Save if exists => ("save to", "replace it", "Writes over the file that is there."),
            FileOperation::Save => {
                ("save to", "save it", "Writes the settings into this file, with what is known of the voice.")
            }
        };
        let at = pos2(rect.left(), y + 0.36 * BODY);
        let left = write(ui.painter(), at, Align::Min, lead, text_font(BODY), cx.palette.quiet).right() + 12.0;
        let wide = |text: &str| width(ui.painter(), text, text_font(BODY));
        // The width of the longest label is reserved.
        let cancel = rect.right() - wide("cancel");
        let press = cancel - GAP[0] - wide("replace it");
        let field = Rect::from_min_max(pos2(left, y - 11.0), pos2(press - GAP[0], y + 11.0));
        let edge = if typed.has_keyboard { cx.palette.accent } else { cx.palette.rule };
        ui.painter().rect(field, 2.0, cx.palette.field, (1.0, edge), StrokeKind::Outside);
        let id = ui.scope_id().with("path");
        let edit = TextEdit::singleline(&mut typed.text)
            .id(id)
            .frame(egui::Frame::NONE)
            .font(number_font(DIGITS))
            .text_color(cx.palette.ink)
            .char_limit(4_096)
            .desired_width(field.width())
            .clip_text(true)
            .margin(egui::Margin::symmetric(4, 2));
        let response = ui.put(field.shrink2(vec2(0.0, 1.0)), edit);
        ui.ctx().accesskit_node_builder(id, |node| node.set_label("path of the settings file"));
        if !typed.had_focus && !file_dialog.system_dialog {
            response.request_focus();
            typed.had_focus = true;
        }
        typed.has_keyboard = response.has_focus();
        let enter = response.lost_focus() && ui.input(|input| input.key_pressed(Key::Enter));
        let escape = response.lost_focus() && ui.input(|input| input.key_pressed(Key::Escape));
        let pressed = self.text_button(ui, press, y, BODY, &button(does, true, what), cx).clicked();
        let left = self.text_button(ui, cancel, y, BODY, &button("cancel", true, "No file after all."), cx).clicked();
        if pressed || enter {
            // After a failure, the field is focused again.
            typed.had_focus = false;
            cx.actions.push(UserAction::EnterPath { path: typed.text.clone(), replace: exists });
        } else if left || escape {
            cx.actions.push(UserAction::CancelFile);
        }
        self.path = Some(typed);
    }
}

/// Text of the hint line while a file is being chosen.
pub(crate) fn hint(file_dialog: FileDialog<'_>) -> &'static str {
    match (file_dialog.existing_path.is_empty(), file_dialog.system_dialog) {
        (false, _) => "there is such a file already: replace it, or change the path",
        (true, true) => "choose it in the system's window, or type its path here",
        (true, false) => "this system shows no window for choosing files: type the path here",
    }
}
