//! Findings in the voice, labelled at their frequency; resonances can be auditioned.

use crate::axes::Axes;
use crate::draw_context::DrawContext;
use crate::formatting;
use crate::page::Page;
use crate::style::{SMALL, text_font, width, write};
use crate::view_model::UserAction;
use egui::{Align, Pos2, Rect, Role, Sense, Ui, WidgetInfo, pos2, vec2};
use voicechain_core::measure::Profile;
use voicechain_core::measure::profile::Resonance;
use voicechain_core::propose::{TrialBell, trial_bell};
use voicechain_core::strip::AuditionBand;

/// Minimum excess of the sibilants to be shown as a finding, dB.
const STRONG_DB: f64 = 2.0;
/// Number of lines for findings, and their height in points.
const LINES: usize = 3;
const LINE: f32 = 18.0;
/// Plots below this height have the findings at the bottom, points.
const LOW: f32 = 96.0;

/// Finding in the voice.
struct Finding {
    hz: f64,
    text: String,
    /// Resonance to audition.
    candidate: Option<Resonance>,
}

fn found(profile: &Profile) -> Vec<Finding> {
    let candidates = profile.resonances.into_iter().flatten().flatten();
    let mut list: Vec<Finding> = candidates
        .map(|candidate| Finding {
            hz: candidate.frequency_hz,
            text: format!("resonance at {}:", formatting::hertz(candidate.frequency_hz)),
            candidate: Some(candidate),
        })
        .collect();
    if let Ok(sibilance) = profile.sibilance
        && sibilance.excess_db >= STRONG_DB
    {
        let text = format!("\u{201c}s\u{201d} strong by {} dB", formatting::number(sibilance.excess_db, 0));
        list.push(Finding { hz: sibilance.frequency_hz, text, candidate: None });
    }
    list.sort_by(|a, b| a.hz.total_cmp(&b.hz));
    list
}

impl Page {
    pub(crate) fn findings(&mut self, ui: &Ui, axes: &Axes, profile: &Profile, cx: &mut DrawContext<'_>) {
        let palette = cx.palette;
        let mut ends = [f32::NEG_INFINITY; LINES];
        for finding in found(profile) {
            let x = axes.x(finding.hz as f32);
            let labels: &[&str] = if finding.candidate.is_some() { &["hear it", "its cut"] } else { &[] };
            let size = |text: &str| width(ui.painter(), text, text_font(SMALL));
            let wide = size(&finding.text) + labels.iter().map(|label| size(label) + 9.0).sum::<f32>();
            let start = if x + 8.0 + wide > axes.rect.right() { x - 8.0 - wide } else { x + 8.0 };
            let row = ends.iter().position(|end| *end < start.min(x) - 10.0).unwrap_or(LINES - 1);
            ends[row] = (start + wide).max(x);
            // In a low plot the curve would cross the text, so the text is at the bottom.
            let down = 10.0 + LINE * row as f32;
            let low = axes.rect.height() < LOW;
            let y = if low { axes.rect.bottom() - down } else { axes.rect.top() + down };
            // On the background colour, so that no line crosses the text.
            let backdrop = Rect::from_min_max(pos2(start - 4.0, y - 8.0), pos2(start + wide + 4.0, y + 8.0));
            ui.painter().rect_filled(backdrop, 2.0, palette.paper.gamma_multiply(0.92));
            let mark = if low { axes.y(0.0)..=axes.rect.bottom() } else { y - 8.0..=y + 8.0 };
            ui.painter().vline(x, mark, (if low { 1.0 } else { 2.5 }, palette.reduction));
            let base = y + 4.0;
            let word = write(ui.painter(), pos2(start, base), Align::Min, &finding.text, text_font(SMALL), palette.ink);
            let Some(candidate) = finding.candidate else { continue };
            let mut at = pos2(word.right() + 7.0, base);
            let hz = formatting::hertz(finding.hz);
            let TrialBell { frequency_hz, gain_db, q } = trial_bell(&candidate);
            for (name, full, what, audition_band) in [
                (
                    "hear it",
                    format!("hear {hz} alone"),
                    "Plays this band alone; press again to hear everything.",
                    AuditionBand::BandPass { frequency_hz: candidate.frequency_hz, q: candidate.q },
                ),
                (
                    "its cut",
                    format!("hear the cut at {hz}"),
                    "Plays what a cut here would remove; press again to hear everything.",
                    AuditionBand::BellCut { frequency_hz, gain_db, q },
                ),
            ] {
                at.x = self.audition_button(ui, at, name, &full, what, audition_band, cx) + 9.0;
            }
        }
    }

    /// Draws a button that auditions a band; returns its right end.
    #[allow(clippy::too_many_arguments)]
    fn audition_button(
        &mut self,
        ui: &Ui,
        at: Pos2,
        name: &str,
        full: &str,
        what: &str,
        audition_band: AuditionBand,
        cx: &mut DrawContext<'_>,
    ) -> f32 {
        let auditioned = cx.view.audition_band == audition_band;
        let word = write(ui.painter(), at, Align::Min, name, text_font(SMALL), cx.palette.accent);
        let response = ui.interact(word.expand2(vec2(4.0, 1.0)), ui.scope_id().with(full), Sense::click());
        response.widget_info(|| WidgetInfo::selected(Role::Button, true, auditioned, full));
        let thick = if auditioned { 2.0 } else { 1.0 };
        if auditioned || response.hovered() {
            ui.painter().hline(word.x_range(), at.y + 3.0, (thick, cx.palette.accent));
        }
        if response.hovered() {
            self.hint = what.into();
        }
        self.focus_ring(ui, &response, word.expand2(vec2(3.0, 0.0)), cx);
        if response.clicked() {
            cx.actions.push(UserAction::SetAuditionBand(if auditioned { AuditionBand::Full } else { audition_band }));
        }
        word.right()
    }
}
