//! Table of the stages: one row each, in signal order.

use crate::draw_context::DrawContext;
use crate::expanded_row;
use crate::formatting;
use crate::page::Page;
use crate::row::{Columns, ROW};
use crate::style::{DIGITS, SMALL, number_font, text_font, write};
use egui::{Align, Rect, ScrollArea, Sense, Ui, UiBuilder, pos2, vec2};
use voicechain_core::settings::StageId;

/// Heights of the title line and of the sum line, points.
const TITLES: f32 = 30.0;
const SUM: f32 = 28.0;

/// Height of the table without scrolling, points.
pub(crate) fn height(open: Option<StageId>, width: f32) -> f32 {
    let inside = open.map_or(0.0, |stage| expanded_row::height(stage, width));
    TITLES + ROW * StageId::COUNT as f32 + SUM + inside
}

impl Page {
    pub(crate) fn stages(&mut self, ui: &mut Ui, rect: Rect, cx: &mut DrawContext<'_>) {
        let palette = cx.palette;
        let columns = Columns::of(rect);
        let base = rect.top() + 20.0;
        let title = |x: f32, align: Align, text: &str| {
            write(ui.painter(), pos2(x, base), align, text, text_font(SMALL), palette.quiet);
        };
        title(columns.name, Align::Min, "stage");
        if let Some(measurement) = columns.measurement {
            title(measurement, Align::Min, "what was measured");
        }
        title(columns.setting, Align::Min, if self.preview { "what would change" } else { "settings" });
        title(columns.now, Align::Max, "now, dB");
        title(columns.ledger, Align::Max, "ledger, LU");

        let body = Rect::from_min_max(
            pos2(rect.left() - 12.0, rect.top() + TITLES),
            pos2(rect.right() + 12.0, rect.bottom() - 1.0),
        );
        let mut inside = ui.new_child(UiBuilder::new().max_rect(body).id_salt("stages"));
        inside.set_clip_rect(body);
        ScrollArea::vertical().id_salt("rows").auto_shrink([false, false]).show(&mut inside, |ui| {
            ui.spacing_mut().item_spacing = vec2(0.0, 0.0);
            for stage in cx.view.settings.signal_order() {
                self.stage(ui, stage, rect, &columns, cx);
            }
            let (sum, _) = ui.allocate_exact_size(vec2(body.width(), SUM), Sense::hover());
            if let Some(ledger) = cx.view.ledger {
                let at = pos2(columns.ledger, sum.top() + 17.0);
                write(
                    ui.painter(),
                    at,
                    Align::Max,
                    formatting::signed(ledger.total_lu, 1),
                    number_font(DIGITS),
                    palette.ink,
                );
                write(ui.painter(), at - vec2(52.0, 0.0), Align::Max, "sum", text_font(SMALL), palette.quiet);
            }
        });
    }
}
