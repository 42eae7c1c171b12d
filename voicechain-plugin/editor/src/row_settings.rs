//! Settings shown in the closed row of a stage.

use crate::bands::bands;
use crate::draw_context::{DrawContext, name_in, row_for};
use crate::formatting;
use crate::page::Page;
use crate::style::{DIGIT, SMALL, TINY, text_font, width, write};
use egui::{Align, Rect, Ui, pos2, vec2};
use voicechain_core::settings::{SectionId, StageId};

/// Item of the settings in a closed row.
enum RowItem {
    /// Name of a setting, omitted if space is short.
    Name(String),
    /// Word that is never omitted.
    Word(&'static str),
    /// Value of a setting.
    Value(SectionId, usize),
}

/// Settings shown in the closed row, by the last part of their ids. `None` for a stage of bands, which shows its active
/// bands.
const fn fields(stage: StageId) -> Option<&'static [&'static str]> {
    Some(match stage {
        StageId::CorrectiveEq | StageId::ToneEq => return None,
        StageId::Trim | StageId::Output => &["gain_db"],
        StageId::HighPass => &["frequency_hz", "slope"],
        StageId::Hum => &["mains", "harmonics", "depth_db"],
        StageId::DeReverb => &["latency", "decay_ms", "range_db"],
        StageId::Expander => &["threshold_db", "range_db"],
        StageId::Leveller => &["target_lufs", "maximum_boost_db", "maximum_cut_db"],
        StageId::DeEsser => &["frequency_hz", "threshold_db", "range_db"],
        StageId::Compressor => &["threshold_db", "ratio", "attack_ms", "release_ms"],
        StageId::Limiter => &["ceiling_dbtp", "release_ms"],
    })
}

/// Items of the closed row.
fn row_items(stage: StageId, cx: &DrawContext<'_>) -> Vec<RowItem> {
    if let Some(fields) = fields(stage) {
        let bypassed = cx.is_on(stage) && cx.lacks_latency(stage);
        let rows = fields
            .iter()
            .filter_map(|field| row_for(stage, field))
            .filter(|(section, ..)| !bypassed || *section == SectionId::Spectral);
        let prefix = bypassed.then_some(RowItem::Word("bypassed:"));
        let named = rows.flat_map(|(section, row, info)| {
            [RowItem::Name(name_in(stage, section, info)), RowItem::Value(section, row)]
        });
        return prefix.into_iter().chain(named).collect();
    }
    let gains = bands().iter().filter(|band| band.stage == stage);
    let moved = gains.filter_map(|band| Some((band.gain?, band.frequency)));
    let moved = moved.filter(|(gain, _)| cx.value(stage, *gain) != 0.0);
    moved
        .flat_map(|(gain, hz)| {
            [RowItem::Value(stage.into(), gain), RowItem::Word("at"), RowItem::Value(stage.into(), hz)]
        })
        .collect()
}

impl Page {
    /// Draws the items into `place`, as many as fit; each value can be edited there.
    pub(crate) fn row_settings(
        &mut self,
        ui: &mut Ui,
        stage: StageId,
        place: Rect,
        base: f32,
        cx: &mut DrawContext<'_>,
    ) {
        let items = row_items(stage, cx);
        if items.is_empty() {
            let at = pos2(place.left(), base);
            write(ui.painter(), at, Align::Min, "every band flat", text_font(SMALL), cx.palette.quiet);
            return;
        }
        // Names are omitted unless all of them fit.
        let slot = |section: SectionId, row: usize| DIGIT * formatting::widest(&section.rows()[row]) as f32;
        let gap = |with_names: bool| if with_names { 18.0 } else { 12.0 };
        let wide = |item: &RowItem, with_names: bool| match item {
            RowItem::Name(_) if !with_names => 0.0,
            RowItem::Name(name) => width(ui.painter(), name, text_font(TINY)) + 6.0,
            RowItem::Word(word) => width(ui.painter(), word, text_font(TINY)) + 6.0,
            RowItem::Value(section, row) => slot(*section, *row) + gap(with_names),
        };
        let total: f32 = items.iter().map(|item| wide(item, true)).sum();
        let with_names = total - gap(true) <= place.width();
        let widths: Vec<f32> = items.iter().map(|item| wide(item, with_names)).collect();
        let mut x = place.left();
        for (n, (item, wide)) in items.iter().zip(widths).enumerate() {
            let last = n + 1 == items.len();
            let end = x + wide - if matches!(item, RowItem::Value(..)) { gap(with_names) } else { 0.0 };
            if end > place.right() - if last { 0.0 } else { 12.0 } {
                write(ui.painter(), pos2(x, base), Align::Min, "\u{2026}", text_font(SMALL), cx.palette.quiet);
                break;
            }
            match item {
                RowItem::Name(_) if !with_names => {}
                RowItem::Name(name) => {
                    write(ui.painter(), pos2(x, base), Align::Min, name, text_font(TINY), cx.palette.quiet);
                }
                RowItem::Word(word) => {
                    write(ui.painter(), pos2(x, base), Align::Min, *word, text_font(TINY), cx.palette.quiet);
                }
                RowItem::Value(section, row) => {
                    let end = x + slot(*section, *row);
                    let slot = Rect::from_x_y_ranges(x..=end, place.y_range()).shrink2(vec2(0.0, 1.0));
                    self.value(ui, slot, *section, *row, Align::Min, cx);
                }
            }
            x += wide;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn row_settings_exist() {
        for &stage in StageId::ALL {
            for field in fields(stage).unwrap_or_default() {
                assert!(row_for(stage, field).is_some(), "{stage:?} {field}");
            }
            assert_eq!(fields(stage).is_none(), bands().iter().any(|band| band.stage == stage && band.gain.is_some()));
        }
    }
}
