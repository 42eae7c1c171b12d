//! Footer: commands, preview of the proposal, hint line, colours and zoom.

use crate::draw_context::DrawContext;
use crate::formatting;
use crate::page::{Page, ZOOM_RANGE};
use crate::path_field;
use crate::style::{BASELINE, BODY, SMALL, text_font, width, write};
use crate::view_model::{FileOperation, UserAction};
use crate::widgets::{GAP, TextButton, button};
use egui::{Align, Popup, Rect, RectAlign, Role, Sense, Ui, WidgetInfo, pos2};
use voicechain_core::settings::SectionId;
use voicechain_core::strip::StartingPoint;

impl Page {
    pub(crate) fn footer(&mut self, ui: &mut Ui, rect: Rect, cx: &mut DrawContext<'_>) {
        let y = rect.top() + 20.0;
        match cx.view.file_dialog {
            Some(file_dialog) => self.path_field(ui, rect, y, file_dialog, cx),
            None if self.preview => self.preview_actions(ui, rect, y, cx),
            None => self.actions(ui, rect, y, cx),
        }
        if cx.view.file_dialog.is_none() {
            self.path = None;
        }
        let y = rect.bottom() - 15.0;
        // Colours and zoom, at the right.
        let mut x = rect.right() - 116.0;
        let paper = if self.dark { "light" } else { "dark" };
        if self.text_button(ui, x, y, SMALL, &button(paper, true, "Light or dark paper."), cx).clicked() {
            self.dark = !self.dark;
        }
        x = rect.right() - 72.0;
        if self.text_button(ui, x, y, SMALL, &button("\u{2212}", self.zoom > ZOOM_RANGE[0], "Smaller."), cx).clicked() {
            self.zoom = (self.zoom - 0.25).max(ZOOM_RANGE[0]);
        }
        let (at, percent) = (pos2(rect.right() - 34.0, y + BASELINE), format!("{:.0} %", 100.0 * self.zoom));
        write(ui.painter(), at, Align::Center, percent, text_font(SMALL), cx.palette.quiet);
        x = rect.right() - 8.0;
        if self.text_button(ui, x, y, SMALL, &button("+", self.zoom < ZOOM_RANGE[1], "Larger."), cx).clicked() {
            self.zoom = (self.zoom + 0.25).min(ZOOM_RANGE[1]);
        }
        // Hint line.
        let usual = "drag a value, or click it and type \u{00b7} shift: finer \u{00b7} double-click: default";
        let (text, ink) = match (&self.typing, cx.view.message) {
            (Some(typing), _) if typing.invalid => {
                (formatting::refusal(&typing.at.0.rows()[typing.at.1], &typing.text), cx.palette.reduction)
            }
            (_, Some(message)) if self.hint.is_empty() => (message.to_string(), cx.palette.ink),
            _ if self.hint.is_empty() && cx.view.file_dialog.is_some() => {
                (cx.view.file_dialog.map_or("", path_field::hint).into(), cx.palette.ink)
            }
            _ if self.hint.is_empty() => {
                cx.view.pass_through.map_or((usual.into(), cx.palette.quiet), |why| (why.into(), cx.palette.ink))
            }
            _ => (self.hint.clone(), cx.palette.quiet),
        };
        let line = Rect::from_min_max(pos2(rect.left(), y - 12.0), pos2(rect.right() - 130.0, y + 12.0));
        let painter = ui.painter_at(line);
        write(&painter, pos2(rect.left(), y + BASELINE), Align::Min, text.as_str(), text_font(SMALL), ink);
        // The hint line in the accessibility tree.
        let response = ui.interact(line, ui.scope_id().with("hint"), Sense::hover());
        response.widget_info(|| WidgetInfo::labeled(Role::Label, true, &text));
        ui.ctx().accesskit_node_builder(response.id, |node| node.set_live(egui::accesskit::Live::Polite));
    }

    fn actions(&mut self, ui: &Ui, rect: Rect, y: f32, cx: &mut DrawContext<'_>) {
        let view = cx.view;
        let measure = match (view.measuring, view.profile) {
            (true, _) => "stop measuring",
            (false, Some(_)) => "measure again",
            (false, None) => "measure",
        };
        let known = view.proposal.is_some();
        let list = [
            TextButton {
                longest_label: "stop measuring",
                ..button(measure, true, "Listens to the voice while it plays; half a minute is enough.")
            },
            button("propose", known, "Shows what would be set for this voice, before anything is."),
            button("undo", view.can_undo_redo[0], "Takes the last step back."),
            button("redo", view.can_undo_redo[1], "Takes it again."),
            button("copy", true, "Copies all settings as text."),
            button("paste", view.clipboard[0], "Applies the copied settings as they are."),
            button(
                "carry over",
                view.clipboard[1] && known,
                "Applies to this voice's own proposal what was changed on the track that was copied.",
            ),
            button("starting points", true, "Settings for five kinds of voice."),
            button("open", true, "Applies the settings of a file."),
            button("save", true, "Writes all settings into a file, with what is known of the voice."),
        ];
        let wide: Vec<f32> =
            list.iter().map(|button| width(ui.painter(), button.longest_label, text_font(BODY))).collect();
        let gap = (rect.width() - wide.iter().sum::<f32>()) / (list.len() - 1) as f32;
        let gap = gap.clamp(GAP[1], GAP[0]);
        let mut x = rect.left();
        for (button, wide) in list.iter().zip(wide) {
            let response = self.text_button(ui, x, y, BODY, button, cx);
            x += wide + gap;
            if button.name == "starting points" {
                Popup::menu(&response).align(RectAlign::TOP_START).show(|ui| starting_points(ui, cx));
            } else if response.clicked() {
                match button.name {
                    "propose" => self.preview = true,
                    "undo" => cx.actions.push(UserAction::Undo),
                    "redo" => cx.actions.push(UserAction::Redo),
                    "copy" => cx.actions.push(UserAction::Copy),
                    "paste" => cx.actions.push(UserAction::Paste(None)),
                    "carry over" => cx.actions.push(UserAction::CarryOver),
                    "open" => cx.actions.push(UserAction::ChooseFile(FileOperation::Open)),
                    "save" => cx.actions.push(UserAction::ChooseFile(FileOperation::Save)),
                    _ if view.measuring => cx.actions.push(UserAction::StopMeasuring),
                    _ => cx.actions.push(UserAction::StartMeasuring),
                }
            }
        }
    }

    fn preview_actions(&mut self, ui: &Ui, rect: Rect, y: f32, cx: &mut DrawContext<'_>) {
        let Some(proposal) = cx.view.proposal else { return };
        let changed = |section: &SectionId| formatting::changes(*section, &cx.view.settings, proposal).len();
        let count: usize = SectionId::ALL.iter().map(changed).sum();
        let text = match count {
            0 => "nothing would change".to_string(),
            1 => "one setting would change".to_string(),
            n => format!("{n} settings would change"),
        };
        let at = pos2(rect.left(), y + 0.36 * BODY);
        let mut x = write(ui.painter(), at, Align::Min, text, text_font(BODY), cx.palette.boost).right() + 28.0;
        let apply = button("apply", count > 0, "Sets them all, as one step that can be undone.");
        if self.text_button(ui, x, y, BODY, &apply, cx).clicked() {
            self.preview = false;
            cx.actions.push(UserAction::ApplyProposal);
        }
        x += width(ui.painter(), "apply", text_font(BODY)) + GAP[0];
        if self.text_button(ui, x, y, BODY, &button("leave as it is", true, "Changes nothing."), cx).clicked() {
            self.preview = false;
        }
        // First warning of the proposal.
        if let Some(warning) = proposal.warnings().next()
            && self.hint.is_empty()
        {
            self.hint = warning.to_string();
        }
    }
}

fn starting_points(ui: &mut Ui, cx: &mut DrawContext<'_>) {
    ui.set_min_width(210.0);
    for point in StartingPoint::ALL {
        if ui.button(point.name()).clicked() {
            cx.actions.push(UserAction::ApplyStartingPoint(point));
        }
    }
}
