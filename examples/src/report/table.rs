//! Summary table at the end of a run, plain text of at most 100 columns.

use super::data::{GainReduction, Report, Voice};
use super::page::{compliance_text, deviation_text};
use super::text::{self, END_OF_RANGE, at_end_of_range, number, percentile_text, printable_character};
use std::fmt::Write;

/// Maximum line width, columns.
pub const MAX_COLUMNS: usize = 100;

/// Renders the table: every voice, the mix against its target, reasons, warnings and written files. `folder` is shown
/// as given.
#[must_use]
pub fn summary(report: &Report, folder: &str) -> String {
    let mut out = String::new();
    let name_width =
        report.voices.iter().map(|voice| printable(&voice.name).chars().count()).chain([6]).max().unwrap_or(6).min(18);
    let mut row = |cells: [&str; 7]| {
        let [name, before, after, peak, compressor, de_esser, limiter] = cells;
        let line = format!(
            "{name:<name_width$}  {before:>7} {after:>9}  {peak:>9}  {compressor:>13}  {de_esser:>13}  {limiter:>13}"
        );
        let _ = writeln!(out, "{}", line.trim_end());
    };
    row(["", "LUFS in", "LUFS out", "dBTP out", "compressor", "de-esser", "limiter"]);
    for voice in &report.voices {
        let after = format!("→ {}", number(voice.output.integrated_lufs, 1));
        let all = &voice.gain_reduction;
        row([
            &shorten(&printable(&voice.name), name_width),
            &number(voice.input.integrated_lufs, 1),
            &after,
            &number(voice.output.true_peak_dbtp, 1),
            &median_and_p95(&all.compressor),
            &median_and_p95(&all.de_esser),
            &median_and_p95(&all.limiter),
        ]);
    }
    let peak = number(report.mix.true_peak_dbtp, 1);
    let mix = number(report.mix.integrated_lufs, 1);
    row(["Mix", "", &mix, &peak, "", "", &median_and_p95(&report.mix.limiter)]);
    let target = number(report.target.integrated_lufs, 1);
    let ceiling = format!("≤ {}", number(report.target.ceiling_dbtp, 1));
    row(["Target", "", &target, &ceiling, "", "", ""]);
    let mut columns =
        "Columns compressor, de-esser and limiter: gain reduction in dB, median / 95th percentile.".to_string();
    let of_voice =
        |voice: &Voice| [voice.gain_reduction.compressor, voice.gain_reduction.de_esser, voice.gain_reduction.limiter];
    let mut shown = report.voices.iter().flat_map(of_voice).chain([report.mix.limiter]);
    if shown.any(|reduction| at_end_of_range(reduction.p95_db)) {
        columns = format!("{columns} {END_OF_RANGE}");
    }
    wrap(&mut out, "", &columns);
    let _ = writeln!(out);
    wrap(&mut out, "", &compliance_text(report));
    if let Some(spread) = report.balance_spread_lu() {
        wrap(&mut out, "", &format!("The voices are within {} LU of each other.", number(spread, 1)));
    }
    let speed = report.timing.programme_s / report.timing.processing_s;
    if speed.is_finite() {
        let (audio, processing) = (text::length(report.timing.programme_s), text::length(report.timing.processing_s));
        let _ = writeln!(out, "{audio} of audio processed in {processing}.");
    }
    for voice in &report.voices {
        reasons(&mut out, voice);
    }
    let warned = report.warnings.len() + report.voices.iter().map(|voice| voice.warnings.len()).sum::<usize>();
    if warned > 0 && report.voices.iter().any(|voice| !voice.settings_source.is_empty()) {
        let _ = writeln!(out);
    }
    for voice in &report.voices {
        for warning in &voice.warnings {
            wrap(&mut out, "warning: ", &format!("{}: {warning}", voice.name));
        }
    }
    for warning in &report.warnings {
        wrap(&mut out, "warning: ", warning);
    }
    if !report.files.is_empty() {
        let _ = writeln!(out);
        let names: Vec<String> = report.files.iter().map(|file| printable(&file.name)).collect();
        wrap(&mut out, "", &format!("Written to {}: {}", printable(folder), names.join(", ")));
    }
    out
}

/// One line for a mix that misses its target, with the place, the deviation and the advice; `None` if it meets the target.
#[must_use]
pub fn target_missed(report: &Report, mix: &str) -> Option<String> {
    let verdict = report.compliance();
    let advice = report.mix.shortfall.as_ref().map_or("", |shortfall| &shortfall.advice);
    let line = format!("{mix}: {} {advice}", deviation_text(report));
    (!verdict.is_compliant()).then(|| printable(line.trim_end()))
}

/// Writes the origin of a voice's settings and the reasons for them.
fn reasons(out: &mut String, voice: &Voice) {
    if voice.settings_source.is_empty() {
        return;
    }
    let _ = writeln!(out);
    wrap(out, "", &format!("{}: {}.", voice.name, voice.settings_source));
    for reason in &voice.evidence {
        wrap(out, "  ", &reason.sentence);
    }
    for row in &voice.settings {
        if let Some(why) = &row.rationale {
            wrap(out, "  ", &format!("{}: {why}.", text::stage(&row.stage)));
        }
    }
}

/// Median and 95th percentile.
fn median_and_p95(reduction: &GainReduction) -> String {
    format!("{} / {}", percentile_text(reduction.median_db), percentile_text(reduction.p95_db))
}

/// Replaces control characters and characters that reorder text.
pub(crate) fn printable(text: &str) -> String {
    text.chars().map(printable_character).collect()
}

fn shorten(text: &str, width: usize) -> String {
    if text.chars().count() <= width {
        return text.into();
    }
    text.chars().take(width - 1).chain(['…']).collect()
}

/// Wraps text at [`MAX_COLUMNS`]. Continuation lines are indented to the text of the first line.
pub(crate) fn wrap(out: &mut String, start: &str, text: &str) {
    let mut line = start.to_owned();
    let indent = start.chars().count();
    let mut used = indent;
    for word in printable(text).split(' ') {
        let mut word: Vec<char> = word.chars().collect();
        if used > indent && used + 1 + word.len() > MAX_COLUMNS {
            let _ = writeln!(out, "{line}");
            line = " ".repeat(indent);
            used = indent;
        } else if used > indent {
            line.push(' ');
            used += 1;
        }
        while used + word.len() > MAX_COLUMNS {
            let rest = word.split_off(MAX_COLUMNS - used);
            line.extend(&word);
            let _ = writeln!(out, "{line}");
            (line, used, word) = (" ".repeat(indent), indent, rest);
        }
        used += word.len();
        line.extend(&word);
    }
    let _ = writeln!(out, "{line}");
}
