//! Section of the mix: loudness over time, delivery, balance and files.

use super::parts::{BAD, CAUTION, FULL_WIDTHS, GOOD, KEY_TARGET, n, note, player};
use crate::report::data::Report;
use crate::report::page_data::ReportPage;
use crate::report::plot::{self, LoudnessTrace, ReductionTrace, TimePlot};
use crate::report::text::{self, escape, number, percentile_amount, signed};
use std::fmt::Write;

pub(super) fn mix_section(html: &mut String, page: &ReportPage) {
    let report = &page.report;
    let mix = &report.mix;
    let _ = write!(
        html,
        "<section id=\"mix\" aria-labelledby=\"mix-name\">\n<div class=\"head\"><div><h2 id=\"mix-name\">The mix</h2>\
         <span class=\"quiet\">{} · {} {} {}</span></div>\n<div class=\"in-out\"><span class=\"quiet\">delivered</span> {} \
         <span class=\"quiet\">LUFS</span></div></div>\n",
        text::length(mix.duration_s),
        text::kilohertz(mix.sample_rate_hz),
        text::bits(mix.bits),
        text::channels(mix.channels),
        n(number(mix.integrated_lufs, 1)),
    );
    time_figure(html, page);
    html.push_str("<div class=\"beside\">\n<div>");
    delivery_table(html, report);
    limiter_words(html, report);
    html.push_str("</div>\n<div class=\"facts\">\n");
    balance_table(html, report);
    listen(html, page);
    html.push_str("</div></div>\n");
    files_table(html, report);
    html.push_str("</section>\n");
}

/// Loudness over time, and gain reduction of the programme limiter.
fn time_figure(html: &mut String, page: &ReportPage) {
    let (mix, target) = (&page.report.mix, &page.report.target);
    let _ = write!(
        html,
        "<figure>\n<figcaption><span>LUFS, {} loudness of the mix over time; below, gain reduction of the programme limiter, dB\
         </span><span><span class=\"key\">{KEY_TARGET}target {}</span></span></figcaption>\n",
        page.mix.window.words(),
        n(number(target.integrated_lufs, 1))
    );
    for (at, (class, width)) in FULL_WIDTHS.into_iter().enumerate() {
        let shown = TimePlot {
            loudness: vec![LoudnessTrace { class: "after", series: &page.mix.loudness }],
            target: Some(target.integrated_lufs as f32),
            reductions: vec![ReductionTrace { name: "programme limiter".into(), gain: &page.mix.limiter_gain }],
            excerpt: page.mix.excerpt.as_ref().map(|(start, clip)| (*start, clip.seconds as f32)),
            duration_s: mix.duration_s as f32,
        };
        let title = "The mix: loudness and programme limiter over time";
        html.push_str(&plot::time_plot(&shown, title, class, &format!("mix-t{at}"), width));
        html.push('\n');
    }
    html.push_str("</figure>\n");
}

/// Begins a row of the delivery table; the note names the source of the measure.
fn measured(html: &mut String, name: &str, source: Option<u8>) {
    let _ = write!(html, "<tr><th scope=\"row\">{name}");
    if let Some(source) = source {
        note(html, source);
    }
}

/// Table of the delivery against the target.
fn delivery_table(html: &mut String, report: &Report) {
    let (mix, target, compliance) = (&report.mix, &report.target, report.compliance());
    html.push_str(
        "<table><caption>delivery against target</caption><thead><tr><th scope=\"col\">measured on the file</th>\
         <th scope=\"col\" class=\"n\">delivered</th><th scope=\"col\" class=\"n\">target</th>\
         <th scope=\"col\" class=\"n\">difference</th></tr></thead>\n<tbody>",
    );
    let sign = |met: bool| {
        let (sign, word) = if met { (GOOD, "met") } else { (BAD, "missed") };
        format!("<span class=\"met\">{sign}{word}</span>")
    };
    measured(html, "loudness, LUFS", Some(1));
    let _ = writeln!(
        html,
        "{}</th><td class=\"n\">{}</td><td class=\"n\">{} ± {}</td><td class=\"n\">{}</td></tr>",
        sign(compliance.loudness_compliant),
        number(mix.integrated_lufs, 1),
        number(target.integrated_lufs, 1),
        number(target.tolerance_lu, 1),
        signed(compliance.loudness_deviation_lu, 1),
    );
    measured(html, "true peak, dBTP", Some(1));
    let _ = writeln!(
        html,
        "{}</th><td class=\"n\">{}</td><td class=\"n\">≤ {}</td><td class=\"n\">{}</td></tr>",
        sign(compliance.true_peak_compliant),
        number(mix.true_peak_dbtp, 1),
        number(target.ceiling_dbtp, 1),
        signed(compliance.true_peak_excess_db, 1),
    );
    for (name, source, value) in [
        ("loudness range, LU", Some(2), number(mix.loudness_range_lu, 1)),
        ("sample peak, dBFS", None, number(mix.sample_peak_dbfs, 1)),
        ("programme gain, dB", None, signed(mix.programme_gain_db, 1)),
    ] {
        measured(html, name, source);
        let _ = writeln!(html, "</th><td class=\"n\">{value}</td><td></td><td></td></tr>");
    }
    html.push_str("</tbody></table>\n");
}

/// Gain reduction of the programme limiter, and processing time.
fn limiter_words(html: &mut String, report: &Report) {
    let limiter = &report.mix.limiter;
    let reduction = if limiter.max_db < 0.05 {
        "is idle throughout".into()
    } else {
        format!(
            "reduces the gain by {} (median), {} (95th percentile) and {} dB at most",
            n(percentile_amount(limiter.median_db)),
            n(percentile_amount(limiter.p95_db)),
            n(number(limiter.max_db, 1))
        )
    };
    let speed = report.timing.programme_s / report.timing.processing_s;
    let _ = write!(
        html,
        "<p class=\"quiet small after-table\">The programme limiter {reduction}. {} of audio took {} to process{}.</p>",
        text::length(report.timing.programme_s),
        text::length(report.timing.processing_s),
        if speed.is_finite() && speed >= 2.0 { format!(", {speed:.0} times real time") } else { String::new() }
    );
}

/// Player of the excerpt.
fn listen(html: &mut String, page: &ReportPage) {
    let Some((start, clip)) = &page.mix.excerpt else { return };
    let _ = writeln!(
        html,
        "<div class=\"listen\"><h3>listen: {} from {}</h3>",
        text::length(clip.seconds),
        text::clock(f64::from(*start))
    );
    player(html, "mix", "the mix", "mix", clip);
    let _ = writeln!(html, "<p class=\"quiet small\">As delivered. {CAUTION}</p></div>");
}

/// Table of the written files.
fn files_table(html: &mut String, report: &Report) {
    if report.files.is_empty() {
        return;
    }
    html.push_str(
        "<table class=\"files\"><caption>files beside this page</caption><thead><tr><th scope=\"col\">name</th>\
         <th scope=\"col\">description</th></tr></thead>\n<tbody>",
    );
    for file in &report.files {
        let _ = write!(
            html,
            "<tr><th scope=\"row\"><span class=\"n\">{}</span></th><td>{}</td></tr>",
            escape(&file.name),
            escape(&file.description)
        );
    }
    html.push_str("</tbody></table>\n");
}

/// Table of the balance gains.
fn balance_table(html: &mut String, report: &Report) {
    let spread = match report.balance_spread_lu() {
        Some(spread) => format!("the voices are within {} LU of each other", number(spread, 1)),
        None => "the voices before programme gain".into(),
    };
    let _ = write!(
        html,
        "<table class=\"balance\"><caption>balance: {}</caption><thead><tr><th scope=\"col\">voice</th>\
         <th scope=\"col\" class=\"picture\"></th><th scope=\"col\" class=\"n\">gain, dB</th>\
         <th scope=\"col\" class=\"n\">LUFS</th></tr></thead>\n<tbody>",
        escape(&spread)
    );
    let range =
        report.voices.iter().map(|voice| voice.balance_gain_db.abs()).filter(|db| db.is_finite()).fold(3.0, f64::max);
    for voice in &report.voices {
        let _ = write!(
            html,
            "<tr><th scope=\"row\">{}</th><td class=\"picture\">{}</td><td class=\"n\">{}</td><td class=\"n\">{}</td></tr>",
            escape(&voice.name),
            plot::waterfall_bar(0.0, voice.balance_gain_db, -range, range),
            signed(voice.balance_gain_db, 1),
            number(voice.output.integrated_lufs, 1)
        );
    }
    html.push_str("</tbody></table>\n");
}
