//! What was found in the voice, written where it is; what stands out can be heard alone.

use crate::axes::Axes;
use crate::look::{SMALL, width, words, write};
use crate::page::Page;
use crate::pen::Pen;
use crate::shown::Ask;
use crate::words as say;
use egui::{Align, Pos2, Rect, Role, Sense, Ui, WidgetInfo, pos2, vec2};
use voicechain_core::measure::Profile;
use voicechain_core::measure::profile::Resonance;
use voicechain_core::propose::{TrialBell, trial_bell};
use voicechain_core::strip::Part;

/// Sibilants are written from so many dB over the usual.
const STRONG_DB: f64 = 2.0;
/// Lines for what is found, and their height.
const LINES: usize = 3;
const LINE: f32 = 18.0;
/// A picture lower than this is low, points.
const LOW: f32 = 96.0;

/// Something that was found.
struct Finding {
    hz: f64,
    text: String,
    /// It can be heard.
    candidate: Option<Resonance>,
}

fn found(profile: &Profile) -> Vec<Finding> {
    let candidates = profile.resonances.into_iter().flatten().flatten();
    let mut list: Vec<Finding> = candidates
        .map(|candidate| Finding {
            hz: candidate.frequency_hz,
            text: format!("{} stands out:", say::hertz(candidate.frequency_hz)),
            candidate: Some(candidate),
        })
        .collect();
    if let Ok(sibilance) = profile.sibilance
        && sibilance.excess_db >= STRONG_DB
    {
        let text = format!("\u{201c}s\u{201d} strong by {} dB", say::number(sibilance.excess_db, 0));
        list.push(Finding { hz: sibilance.frequency_hz, text, candidate: None });
    }
    list.sort_by(|a, b| a.hz.total_cmp(&b.hz));
    list
}

impl Page {
    pub(crate) fn findings(&mut self, ui: &Ui, axes: &Axes, profile: &Profile, pen: &mut Pen<'_>) {
        let look = pen.look;
        let mut ends = [f32::NEG_INFINITY; LINES];
        for finding in found(profile) {
            let x = axes.x(finding.hz as f32);
            let ways: &[&str] = if finding.candidate.is_some() { &["hear it", "its cut"] } else { &[] };
            let size = |text: &str| width(ui.painter(), text, words(SMALL));
            let wide = size(&finding.text) + ways.iter().map(|way| size(way) + 9.0).sum::<f32>();
            let start = if x + 8.0 + wide > axes.rect.right() { x - 8.0 - wide } else { x + 8.0 };
            let row = ends.iter().position(|end| *end < start.min(x) - 10.0).unwrap_or(LINES - 1);
            ends[row] = (start + wide).max(x);
            // In a low picture what stands out reaches the words: there they stand below.
            let down = 10.0 + LINE * row as f32;
            let low = axes.rect.height() < LOW;
            let y = if low { axes.rect.bottom() - down } else { axes.rect.top() + down };
            // On paper, so that no line runs through the words.
            let ground = Rect::from_min_max(pos2(start - 4.0, y - 8.0), pos2(start + wide + 4.0, y + 8.0));
            ui.painter().rect_filled(ground, 2.0, look.paper.gamma_multiply(0.92));
            let mark = if low { axes.y(0.0)..=axes.rect.bottom() } else { y - 8.0..=y + 8.0 };
            ui.painter().vline(x, mark, (if low { 1.0 } else { 2.5 }, look.takes));
            let base = y + 4.0;
            let word = write(ui.painter(), pos2(start, base), Align::Min, &finding.text, words(SMALL), look.ink);
            let Some(candidate) = finding.candidate else { continue };
            let mut at = pos2(word.right() + 7.0, base);
            let hz = say::hertz(finding.hz);
            let TrialBell { frequency_hz, gain_db, q } = trial_bell(&candidate);
            for (name, full, what, part) in [
                (
                    "hear it",
                    format!("hear {hz} alone"),
                    "Lets this band be heard alone; press again to hear everything.",
                    Part::Band { frequency_hz: candidate.frequency_hz, q: candidate.q },
                ),
                (
                    "its cut",
                    format!("hear the cut at {hz}"),
                    "Lets be heard what a cut here would take away; press again to hear everything.",
                    Part::Cut { frequency_hz, gain_db, q },
                ),
            ] {
                at.x = self.hear(ui, at, name, &full, what, part, pen) + 9.0;
            }
        }
    }

    /// A word that lets a part be heard; gives its right end.
    #[allow(clippy::too_many_arguments)]
    fn hear(&mut self, ui: &Ui, at: Pos2, name: &str, full: &str, what: &str, part: Part, pen: &mut Pen<'_>) -> f32 {
        let hears = pen.shown.part == part;
        let word = write(ui.painter(), at, Align::Min, name, words(SMALL), pen.look.after);
        let response = ui.interact(word.expand2(vec2(4.0, 1.0)), ui.scope_id().with(full), Sense::click());
        response.widget_info(|| WidgetInfo::selected(Role::Button, true, hears, full));
        let thick = if hears { 2.0 } else { 1.0 };
        if hears || response.hovered() {
            ui.painter().hline(word.x_range(), at.y + 3.0, (thick, pen.look.after));
        }
        if response.hovered() {
            self.hint = what.into();
        }
        self.focus_mark(ui, &response, word.expand2(vec2(3.0, 0.0)), pen);
        if response.clicked() {
            pen.asks.push(Ask::Hear(if hears { Part::Whole } else { part }));
        }
        word.right()
    }
}
