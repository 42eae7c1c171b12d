//! What the row of a stage says of its settings without being opened.

use crate::bands::bands;
use crate::look::{DIGIT, SMALL, TINY, width, words, write};
use crate::page::Page;
use crate::pen::{Pen, name_in, row_for};
use crate::words as say;
use egui::{Align, Rect, Ui, pos2, vec2};
use voicechain_core::settings::{SectionId, StageId};

/// A piece of what a row says of its settings.
enum Piece {
    /// A name, which may be left out, or a word that may not.
    Name(String),
    Word(&'static str),
    Value(SectionId, usize),
}

/// The settings that a row says without being opened, by the ends of their ids; `None` for a stage of bands, of which it
/// says those that do not rest.
const fn fields(stage: StageId) -> Option<&'static [&'static str]> {
    Some(match stage {
        StageId::CorrectiveEq | StageId::ToneEq => return None,
        StageId::Trim | StageId::Output => &["gain_db"],
        StageId::HighPass => &["frequency_hz", "slope"],
        StageId::Hum => &["mains", "harmonics", "depth_db"],
        StageId::DeReverb => &["latency", "decay_ms", "range_db"],
        StageId::Expander => &["threshold_db", "range_db"],
        StageId::Leveller => &["target_lufs", "rise_db", "cut_db"],
        StageId::DeEsser => &["frequency_hz", "threshold_db", "range_db"],
        StageId::Compressor => &["threshold_db", "ratio", "attack_ms", "release_ms"],
        StageId::Limiter => &["ceiling_dbtp", "release_ms"],
    })
}

/// What a row says without being opened.
fn said(stage: StageId, pen: &Pen<'_>) -> Vec<Piece> {
    if let Some(fields) = fields(stage) {
        let bypassed = pen.is_on(stage) && pen.lacks_latency(stage);
        let rows = fields
            .iter()
            .filter_map(|field| row_for(stage, field))
            .filter(|(section, ..)| !bypassed || *section == SectionId::Spectral);
        let words = bypassed.then_some(Piece::Word("bypassed:"));
        let named = rows
            .flat_map(|(section, row, info)| [Piece::Name(name_in(stage, section, info)), Piece::Value(section, row)]);
        return words.into_iter().chain(named).collect();
    }
    let gains = bands().iter().filter(|band| band.stage == stage);
    let moved = gains.filter_map(|band| Some((band.gain?, band.frequency)));
    let moved = moved.filter(|(gain, _)| pen.value(stage, *gain) != 0.0);
    moved
        .flat_map(|(gain, hz)| [Piece::Value(stage.into(), gain), Piece::Word("at"), Piece::Value(stage.into(), hz)])
        .collect()
}

impl Page {
    /// Writes them into `place`, as many as there is room for; each can be moved there.
    pub(crate) fn row_settings(&mut self, ui: &mut Ui, stage: StageId, place: Rect, base: f32, pen: &mut Pen<'_>) {
        let pieces = said(stage, pen);
        if pieces.is_empty() {
            let at = pos2(place.left(), base);
            write(ui.painter(), at, Align::Min, "every band at rest", words(SMALL), pen.look.quiet);
            return;
        }
        // Names are left out where there is no room for all of them.
        let slot = |section: SectionId, row: usize| DIGIT * say::widest(&section.rows()[row]) as f32;
        let gap = |with_names: bool| if with_names { 18.0 } else { 12.0 };
        let wide = |piece: &Piece, with_names: bool| match piece {
            Piece::Name(_) if !with_names => 0.0,
            Piece::Name(name) => width(ui.painter(), name, words(TINY)) + 6.0,
            Piece::Word(word) => width(ui.painter(), word, words(TINY)) + 6.0,
            Piece::Value(section, row) => slot(*section, *row) + gap(with_names),
        };
        let all: f32 = pieces.iter().map(|piece| wide(piece, true)).sum();
        let with_names = all - gap(true) <= place.width();
        let widths: Vec<f32> = pieces.iter().map(|piece| wide(piece, with_names)).collect();
        let mut x = place.left();
        for (n, (piece, wide)) in pieces.iter().zip(widths).enumerate() {
            let last = n + 1 == pieces.len();
            let end = x + wide - if matches!(piece, Piece::Value(..)) { gap(with_names) } else { 0.0 };
            if end > place.right() - if last { 0.0 } else { 12.0 } {
                write(ui.painter(), pos2(x, base), Align::Min, "\u{2026}", words(SMALL), pen.look.quiet);
                break;
            }
            match piece {
                Piece::Name(_) if !with_names => {}
                Piece::Name(name) => {
                    write(ui.painter(), pos2(x, base), Align::Min, name, words(TINY), pen.look.quiet);
                }
                Piece::Word(word) => {
                    write(ui.painter(), pos2(x, base), Align::Min, *word, words(TINY), pen.look.quiet);
                }
                Piece::Value(section, row) => {
                    let end = x + slot(*section, *row);
                    let slot = Rect::from_x_y_ranges(x..=end, place.y_range()).shrink2(vec2(0.0, 1.0));
                    self.value(ui, slot, *section, *row, Align::Min, pen);
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
    fn a_row_says_settings_that_there_are() {
        for &stage in StageId::ALL {
            for field in fields(stage).unwrap_or_default() {
                assert!(row_for(stage, field).is_some(), "{stage:?} {field}");
            }
            assert_eq!(fields(stage).is_none(), bands().iter().any(|band| band.stage == stage && band.gain.is_some()));
        }
    }
}
