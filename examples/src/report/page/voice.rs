//! Section of a voice: spectrum, levels, players, loudness over time and stages.

use super::parts::{CAUTION, FULL_WIDTHS, KEY_AFTER, n, note, player, rounded, warnings};
use crate::report::data::{ChangeReason, GainReduction, Levels, Voice};
use crate::report::page_data::{Excerpt, VoiceSeries};
use crate::report::plot::{self, LoudnessTrace, ReductionTrace, SpectrumPlot, TimePlot};
use crate::report::text::{self, escape, number, percentile_text, reduction_text, signed};
use std::fmt::Write;

/// Class and width of the plots beside the column of facts.
const COLUMN_WIDTHS: [(&str, f32); 3] = [("plot large", 660.0), ("plot middle", 660.0), ("plot small", 344.0)];

const KEY_BEFORE: &str = r#"<span class="key"><svg viewBox="0 0 28 12" aria-hidden="true"><path class="before" d="M0 8H9V3H19V7H28"/></svg>before</span>"#;
const KEY_BEFORE_LINE: &str = r#"<span class="key"><svg viewBox="0 0 28 12" aria-hidden="true"><path class="before" d="M0 9C8 9 8 3 14 3S20 8 28 6"/></svg>before (thin)</span>"#;

pub(super) fn voice_section(html: &mut String, at: usize, voice: &Voice, series: Option<&VoiceSeries>, range: f64) {
    let id = format!("voice-{}", at + 1);
    let _ = write!(
        html,
        "<section id=\"{id}\" aria-labelledby=\"{id}-name\">\n<div class=\"head\"><div><h2 id=\"{id}-name\">{}</h2>\
         <span class=\"quiet\">{} · {} · {} {}</span></div>\n<div class=\"in-out\"><span class=\"quiet\">in</span> {} \
         <span class=\"quiet\">→ out</span> {} <span class=\"quiet\">LUFS</span></div></div>\n",
        escape(&voice.name),
        escape(&voice.file),
        text::length(voice.duration_s),
        text::kilohertz(voice.sample_rate_hz),
        text::channels(voice.channels),
        n(number(voice.input.integrated_lufs, 1)),
        n(number(voice.output.integrated_lufs, 1)),
    );
    html.push_str("<div class=\"beside\">\n");
    if let Some(series) = series {
        frequency_figure(html, &id, voice, series);
    }
    html.push_str("<div class=\"facts\">\n");
    levels_table(html, &voice.input, &voice.output);
    if let Some(excerpt) = series.and_then(|series| series.excerpt.as_ref()) {
        players(html, &id, &voice.name, excerpt);
    }
    warnings(html, &voice.warnings);
    html.push_str("</div>\n</div>\n");
    if let Some(series) = series {
        time_figure(html, &id, voice, series);
    }
    stages_table(html, voice, range);
    html.push_str("</section>\n");
}

fn frequency_figure(html: &mut String, id: &str, voice: &Voice, series: &VoiceSeries) {
    html.push_str("<figure>\n<figcaption><span>dB, the voice against published speech");
    note(html, 3);
    let _ = writeln!(html, " (band: spread of speakers)</span><span>{KEY_BEFORE}{KEY_AFTER}</span></figcaption>");
    let shown = SpectrumPlot {
        before: &series.spectrum_before,
        after: &series.spectrum_after,
        response: &series.response,
        bands: &series.bands,
        pitch_hz: series.pitch_hz,
    };
    for (at, (class, width)) in COLUMN_WIDTHS.into_iter().enumerate() {
        html.push_str(&plot::spectrum_plot(&shown, &voice.name, class, &format!("{id}-f{at}"), width));
        html.push('\n');
    }
    html.push_str(
        "<figcaption class=\"below\">below: response of the strip’s filters and equalisers, dB</figcaption>\n</figure>\n",
    );
}

fn levels_table(html: &mut String, input: &Levels, output: &Levels) {
    html.push_str(
        "<table class=\"levels\"><thead><tr><th scope=\"col\">measured</th><th scope=\"col\" class=\"n\">before</th>\
         <th scope=\"col\" class=\"n\">after</th><th scope=\"col\" class=\"n\">change</th></tr></thead>\n<tbody>",
    );
    let rows = [
        ("loudness, LUFS", Some(1), input.integrated_lufs, output.integrated_lufs),
        ("loudness range, LU", Some(2), input.loudness_range_lu, output.loudness_range_lu),
        ("true peak, dBTP", None, input.true_peak_dbtp, output.true_peak_dbtp),
        ("sample peak, dBFS", None, input.sample_peak_dbfs, output.sample_peak_dbfs),
    ];
    for (name, source, before, after) in rows {
        let _ = write!(html, "<tr><th scope=\"row\">{name}");
        if let Some(source) = source {
            note(html, source);
        }
        let change = before.zip(after).map(|(before, after)| rounded(after) - rounded(before));
        let _ = write!(
            html,
            "</th><td class=\"n\">{}</td><td class=\"n\">{}</td><td class=\"n\">{}</td></tr>",
            number(before, 1),
            number(after, 1),
            signed(change, 1)
        );
    }
    html.push_str("</tbody></table>\n");
}

/// Describes how both sides were loudness-matched.
fn loudness_match_text(excerpt: &Excerpt) -> String {
    let raised = rounded(excerpt.loudness_match_db);
    let mut words = if raised > 0.0 {
        format!("Both at the same loudness: the unprocessed side is raised by {} dB", number(raised, 1))
    } else if raised < 0.0 {
        format!("Both at the same loudness: the unprocessed side is lowered by {} dB", number(-raised, 1))
    } else {
        "Both at the same loudness without a change".into()
    };
    let both = rounded(excerpt.peak_attenuation_db);
    if both > 0.0 {
        let _ = write!(words, ", then both are lowered by {} dB so that no peak exceeds the ceiling", number(both, 1));
    }
    words + "."
}

fn players(html: &mut String, id: &str, voice: &str, excerpt: &Excerpt) {
    let _ = writeln!(
        html,
        "<div class=\"listen\"><h3>listen: {} from {}</h3>",
        text::length(excerpt.before.seconds),
        text::clock(f64::from(excerpt.start_s))
    );
    player(html, "before", &format!("{voice}, before"), id, &excerpt.before);
    player(html, "after", &format!("{voice}, after"), id, &excerpt.after);
    let _ = writeln!(
        html,
        "<p class=\"quiet small\">{} <span class=\"hint\">While one plays, start the other to continue at the same position.</span> \
         {CAUTION}</p></div>",
        escape(&loudness_match_text(excerpt))
    );
}

fn time_figure(html: &mut String, id: &str, voice: &Voice, series: &VoiceSeries) {
    let _ = write!(
        html,
        "<figure>\n<figcaption><span>LUFS, {} loudness over time; below, gain reduction of the dynamic stages, dB</span>\
         <span>{KEY_BEFORE_LINE}{KEY_AFTER}</span></figcaption>\n",
        series.window.words()
    );
    for (at, (class, width)) in FULL_WIDTHS.into_iter().enumerate() {
        let shown = TimePlot {
            loudness: vec![
                LoudnessTrace { class: "before", series: &series.loudness_before },
                LoudnessTrace { class: "after", series: &series.loudness_after },
            ],
            target: None,
            reductions: series
                .gain
                .iter()
                .map(|(stage, gain)| ReductionTrace { name: text::stage(stage).to_lowercase(), gain })
                .collect(),
            excerpt: series.excerpt.as_ref().map(|excerpt| (excerpt.start_s, excerpt.before.seconds as f32)),
            duration_s: voice.duration_s as f32,
        };
        let title = format!("{}: loudness and gain reduction over time", voice.name);
        html.push_str(&plot::time_plot(&shown, &title, class, &format!("{id}-t{at}"), width));
        html.push('\n');
    }
    html.push_str("</figure>\n");
}

const NO_REDUCTION: &str = "<td role=\"cell\" class=\"empty\"></td>";

fn stages_table(html: &mut String, voice: &Voice, range: f64) {
    // Settings and ledger are both in signal order; a stage may be in only one of them.
    let mut stages: Vec<&str> = voice.ledger.iter().map(|entry| entry.stage.as_str()).collect();
    for (at, row) in voice.settings.iter().enumerate() {
        if !stages.contains(&row.stage.as_str()) {
            stages.insert(at.min(stages.len()), &row.stage);
        }
    }
    let (mut low, mut high, mut sum) = (0.0f64, 0.0f64, 0.0f64);
    for lu in voice.ledger.iter().filter_map(|entry| entry.lu) {
        sum += lu;
        (low, high) = (low.min(sum), high.max(sum));
    }
    let from = match voice.settings_source.as_str() {
        "" => String::new(),
        from => format!("{}; ", escape(from)),
    };
    let _ = write!(
        html,
        "<table class=\"stages\" role=\"table\"><caption>the stages in signal order: {from}the ledger shows the loudness change \
         of each stage, and sums to the change from in to out<sup><a href=\"#note-4\" aria-label=\"note 4\">4</a></sup></caption>\n<thead role=\"rowgroup\"><tr role=\"row\"><th scope=\"col\">stage</th>\
         <th scope=\"col\">setting</th><th scope=\"col\" class=\"n picture\"><span>reduction, dB</span></th>\
         <th scope=\"col\" class=\"n\">median</th><th scope=\"col\" class=\"n\">95 %</th><th scope=\"col\" class=\"n\">max</th>\
         <th scope=\"col\" class=\"picture path\">from in to out</th><th scope=\"col\" class=\"n\">ledger, LU</th></tr></thead>\n\
         <tbody role=\"rowgroup\">",
    );
    let mut reached = 0.0;
    for stage in stages {
        let settings = voice.settings.iter().find(|row| row.stage == stage);
        let lu = voice.ledger.iter().find(|entry| entry.stage == stage).and_then(|entry| entry.lu);
        let on = settings.is_none_or(|row| row.on);
        let _ = write!(
            html,
            "<tr role=\"row\"{}><th scope=\"row\" role=\"rowheader\" class=\"name\">{}</th><td role=\"cell\" class=\"words\">",
            if on { "" } else { " class=\"off\"" },
            escape(text::stage(stage))
        );
        if let Some(row) = settings {
            html.push_str(&escape(&non_breaking(&row.description)));
        }
        let reasons = voice.evidence.iter().filter(|reason| reason.stage == stage).map(|reason| &reason.sentence);
        let off = voice.left_off.iter().filter(|off| off.stage == stage).map(|off| &off.sentence);
        for why in reasons.chain(off).chain(settings.and_then(|row| row.rationale.as_ref())) {
            let _ = write!(html, "<span class=\"quiet\">{}</span>", escape(why));
        }
        html.push_str("</td>");
        match voice.gain_reduction.of(stage).filter(|_| on) {
            Some(reduction) => reduction_cells(html, &reduction, range),
            None => {
                html.push_str("<td role=\"cell\" class=\"picture\"></td>");
                html.push_str(&NO_REDUCTION.repeat(3));
            }
        }
        let next = reached + lu.unwrap_or(0.0);
        let _ = writeln!(
            html,
            "<td role=\"cell\" class=\"picture path\">{}</td><td role=\"cell\" class=\"n ledger\">{}</td></tr>",
            plot::waterfall_bar(reached, next, low, high),
            signed(lu.map(rounded), 1)
        );
        reached = next;
    }
    html.push_str("</tbody>\n<tfoot role=\"rowgroup\">");
    let strip = voice.ledger.iter().filter_map(|entry| entry.lu).map(rounded).reduce(|sum, lu| sum + lu);
    total_row(html, "the strip", "sum of the stages", strip);
    for change in voice.changes_beside_ledger(1) {
        let (name, words) = match change.reason {
            ChangeReason::Gating => (
                "gating",
                "the stages are measured while the input passes the gates, the output while the output does; with rounding",
            ),
            ChangeReason::TwoChannels => ("two channels", "a mono voice plays on both"),
            ChangeReason::Balance => ("balance", "to match the level of the other voices"),
        };
        total_row(html, name, words, change.lu);
    }
    total_row(html, "in to out", "loudness after minus loudness before", voice.loudness_change_lu(1));
    html.push_str("</tfoot></table>\n");
}

/// Row below the stages.
fn total_row(html: &mut String, name: &str, words: &str, lu: Option<f64>) {
    let _ = write!(
        html,
        "<tr role=\"row\"><th scope=\"row\" role=\"rowheader\" class=\"name quiet\">{name}</th>\
         <td role=\"cell\" class=\"words\"><span class=\"quiet\">{words}</span></td>\
         <td role=\"cell\" class=\"picture\"></td>{}<td role=\"cell\" class=\"picture path\"></td>\
         <td role=\"cell\" class=\"n ledger\">{}</td></tr>",
        NO_REDUCTION.repeat(3),
        signed(lu, 1)
    );
}

/// Makes the short items of a settings text non-breaking.
fn non_breaking(words: &str) -> String {
    let item = |item: &str| {
        if item.chars().count() <= 30 { item.replace(' ', "\u{a0}") } else { item.to_owned() }
    };
    words.split(" · ").map(item).collect::<Vec<_>>().join("\u{a0}· ")
}

fn reduction_cells(html: &mut String, reduction: &GainReduction, range: f64) {
    let _ = write!(html, "<td role=\"cell\" class=\"picture\">{}</td>", plot::reduction_bar(reduction, range));
    for (label, text) in [
        ("median", percentile_text(reduction.median_db)),
        ("95 %", percentile_text(reduction.p95_db)),
        ("max", reduction_text(reduction.max_db, 1)),
    ] {
        let _ = write!(html, "<td role=\"cell\" class=\"n reduction\" data-label=\"{label}\">{text}</td>");
    }
}
