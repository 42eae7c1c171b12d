//! What can be done, and what it would do.

use crate::file;
use crate::look::{BASE, BODY, SMALL, width, words, write};
use crate::page::{Page, ZOOM};
use crate::pen::Pen;
use crate::shown::{Ask, Filing};
use crate::widgets::{Action, GAP, action};
use crate::words as say;
use egui::{Align, Popup, Rect, RectAlign, Role, Sense, Ui, WidgetInfo, pos2};
use voicechain_core::settings::SectionId;
use voicechain_core::strip::StartingPoint;

impl Page {
    pub(crate) fn footer(&mut self, ui: &mut Ui, rect: Rect, pen: &mut Pen<'_>) {
        let y = rect.top() + 20.0;
        match pen.shown.choosing {
            Some(choosing) => self.file(ui, rect, y, choosing, pen),
            None if self.preview => self.preview_actions(ui, rect, y, pen),
            None => self.actions(ui, rect, y, pen),
        }
        if pen.shown.choosing.is_none() {
            self.path = None;
        }
        let y = rect.bottom() - 15.0;
        // The look and the zoom, at the right.
        let mut x = rect.right() - 116.0;
        let paper = if self.dark { "light" } else { "dark" };
        if self.word(ui, x, y, SMALL, &action(paper, true, "Light or dark paper."), pen).clicked() {
            self.dark = !self.dark;
        }
        x = rect.right() - 72.0;
        if self.word(ui, x, y, SMALL, &action("\u{2212}", self.zoom > ZOOM[0], "Smaller."), pen).clicked() {
            self.zoom = (self.zoom - 0.25).max(ZOOM[0]);
        }
        let (at, percent) = (pos2(rect.right() - 34.0, y + BASE), format!("{:.0} %", 100.0 * self.zoom));
        write(ui.painter(), at, Align::Center, percent, words(SMALL), pen.look.quiet);
        x = rect.right() - 8.0;
        if self.word(ui, x, y, SMALL, &action("+", self.zoom < ZOOM[1], "Larger."), pen).clicked() {
            self.zoom = (self.zoom + 0.25).min(ZOOM[1]);
        }
        // One line of explanation.
        let usual = "drag a value, or click it and type \u{00b7} shift: finer \u{00b7} double-click: default";
        let (text, ink) = match (&self.typing, pen.shown.message) {
            (Some(typing), _) if typing.bad => {
                (say::refusal(&typing.at.0.rows()[typing.at.1], &typing.text), pen.look.takes)
            }
            (_, Some(message)) if self.hint.is_empty() => (message.to_string(), pen.look.ink),
            _ if self.hint.is_empty() && pen.shown.choosing.is_some() => {
                (pen.shown.choosing.map_or("", file::hint).into(), pen.look.ink)
            }
            _ if self.hint.is_empty() => (usual.into(), pen.look.quiet),
            _ => (self.hint.clone(), pen.look.quiet),
        };
        let line = Rect::from_min_max(pos2(rect.left(), y - 12.0), pos2(rect.right() - 130.0, y + 12.0));
        let painter = ui.painter_at(line);
        write(&painter, pos2(rect.left(), y + BASE), Align::Min, text.as_str(), words(SMALL), ink);
        // For those who do not see it, too.
        let response = ui.interact(line, ui.scope_id().with("hint"), Sense::hover());
        response.widget_info(|| WidgetInfo::labeled(Role::Label, true, &text));
        ui.ctx().accesskit_node_builder(response.id, |node| node.set_live(egui::accesskit::Live::Polite));
    }

    fn actions(&mut self, ui: &Ui, rect: Rect, y: f32, pen: &mut Pen<'_>) {
        let shown = pen.shown;
        let measure = match (shown.measuring, shown.profile) {
            (true, _) => "stop measuring",
            (false, Some(_)) => "measure again",
            (false, None) => "measure",
        };
        let known = shown.proposal.is_some();
        let list = [
            Action {
                room: "stop measuring",
                ..action(measure, true, "Listens to the voice while it plays; half a minute is enough.")
            },
            action("propose", known, "Shows what would be set for this voice, before anything is."),
            action("undo", shown.steps[0], "Takes the last step back."),
            action("redo", shown.steps[1], "Takes it again."),
            action("copy", true, "Copies all settings as text."),
            action("paste", shown.clipboard[0], "Applies the copied settings as they are."),
            action(
                "carry over",
                shown.clipboard[1] && known,
                "Applies to this voice's own proposal what was changed on the track that was copied.",
            ),
            action("starting points", true, "Settings for five kinds of voice."),
            action("open", true, "Applies the settings of a file."),
            action("save", true, "Writes all settings into a file, with what is known of the voice."),
        ];
        let wide: Vec<f32> = list.iter().map(|action| width(ui.painter(), action.room, words(BODY))).collect();
        let gap = (rect.width() - wide.iter().sum::<f32>()) / (list.len() - 1) as f32;
        let gap = gap.clamp(GAP[1], GAP[0]);
        let mut x = rect.left();
        for (action, wide) in list.iter().zip(wide) {
            let response = self.word(ui, x, y, BODY, action, pen);
            x += wide + gap;
            if action.name == "starting points" {
                Popup::menu(&response).align(RectAlign::TOP_START).show(|ui| starting_points(ui, pen));
            } else if response.clicked() {
                match action.name {
                    "propose" => self.preview = true,
                    "undo" => pen.asks.push(Ask::Undo),
                    "redo" => pen.asks.push(Ask::Redo),
                    "copy" => pen.asks.push(Ask::Copy),
                    "paste" => pen.asks.push(Ask::Paste(None)),
                    "carry over" => pen.asks.push(Ask::CarryOver),
                    "open" => pen.asks.push(Ask::Choose(Filing::Open)),
                    "save" => pen.asks.push(Ask::Choose(Filing::Save)),
                    _ if shown.measuring => pen.asks.push(Ask::StopMeasuring),
                    _ => pen.asks.push(Ask::Measure),
                }
            }
        }
    }

    fn preview_actions(&mut self, ui: &Ui, rect: Rect, y: f32, pen: &mut Pen<'_>) {
        let Some(proposal) = pen.shown.proposal else { return };
        let changed = |section: &SectionId| say::changes(*section, &pen.shown.settings, proposal).len();
        let count: usize = SectionId::ALL.iter().map(changed).sum();
        let text = match count {
            0 => "nothing would change".to_string(),
            1 => "one setting would change".to_string(),
            n => format!("{n} settings would change"),
        };
        let at = pos2(rect.left(), y + 0.36 * BODY);
        let mut x = write(ui.painter(), at, Align::Min, text, words(BODY), pen.look.gives).right() + 28.0;
        let apply = action("apply", count > 0, "Sets them all, as one step that can be undone.");
        if self.word(ui, x, y, BODY, &apply, pen).clicked() {
            self.preview = false;
            pen.asks.push(Ask::Propose);
        }
        x += width(ui.painter(), "apply", words(BODY)) + GAP[0];
        if self.word(ui, x, y, BODY, &action("leave as it is", true, "Changes nothing."), pen).clicked() {
            self.preview = false;
        }
        // What to beware of.
        if let Some(warning) = proposal.warnings().next()
            && self.hint.is_empty()
        {
            self.hint = warning.to_string();
        }
    }
}

fn starting_points(ui: &mut Ui, pen: &mut Pen<'_>) {
    ui.set_min_width(210.0);
    for point in StartingPoint::ALL {
        if ui.button(point.name()).clicked() {
            pen.asks.push(Ask::StartFrom(point));
        }
    }
}
