//! Text field for a value.

use crate::draw_context::DrawContext;
use crate::formatting;
use crate::page::Page;
use crate::style::{DIGITS, number_font};
use egui::{Key, Rect, Response, Sense, TextEdit, Ui, vec2};
use voicechain_core::settings::SectionId;

impl Page {
    /// Draws the field over the place of the value. On enter or loss of focus, a valid text is applied.
    pub(crate) fn type_value(
        &mut self,
        ui: &mut Ui,
        place: Rect,
        section: SectionId,
        row: usize,
        cx: &mut DrawContext<'_>,
    ) -> Response {
        let info = &section.rows()[row];
        let Some(mut typing) = self.typing.take() else { return ui.interact(place, ui.scope_id(), Sense::hover()) };
        let colour = if typing.invalid { cx.palette.reduction } else { cx.palette.ink };
        let name = formatting::setting(section, info);
        let field = Rect::from_center_size(place.center(), vec2(place.width().max(76.0) + 6.0, 20.0));
        ui.painter().rect(
            field,
            2.0,
            cx.palette.field,
            (1.0, if typing.invalid { cx.palette.reduction } else { cx.palette.accent }),
            egui::StrokeKind::Outside,
        );
        let id = ui.scope_id().with("typing");
        let edit = TextEdit::singleline(&mut typing.text)
            .id(id)
            .frame(egui::Frame::NONE)
            .font(number_font(DIGITS))
            .text_color(colour)
            .char_limit(32)
            .margin(egui::Margin::symmetric(3, 1));
        let response = ui.put(field, edit);
        ui.ctx().accesskit_node_builder(id, |node| node.set_label(name));
        if !typing.had_focus {
            response.request_focus();
            typing.had_focus = true;
            self.typing = Some(typing);
            return response;
        }
        if response.changed() {
            typing.invalid = false;
        }
        let (enter, escape) = ui.input(|input| (input.key_pressed(Key::Enter), input.key_pressed(Key::Escape)));
        if escape {
            return response;
        }
        if enter || response.lost_focus() {
            match info.parse(&typing.text) {
                Ok(value) => {
                    if value != cx.value(section, row) {
                        cx.set(section, row, value);
                    }
                    if enter {
                        ui.memory_mut(|memory| memory.request_focus(ui.scope_id().with((section.id(), row))));
                    }
                    return response;
                }
                Err(_) if enter => {
                    typing.invalid = true;
                    response.request_focus();
                }
                // Focus was lost by a click elsewhere: an invalid text is discarded.
                Err(_) => return response,
            }
        }
        self.typing = Some(typing);
        response
    }
}
