//! Page header: compliance, navigation, demo description and warnings.

use super::parts::{BAD, GOOD, n, warnings};
use crate::report::data::Report;
use crate::report::text::{self, escape, number};
use std::fmt::Write;

pub(super) fn header(html: &mut String, report: &Report) {
    let (mix, target, compliance) = (&report.mix, &report.target, report.compliance());
    let _ = write!(
        html,
        "<header class=\"page\">\n<div><h1>{}</h1>\n<p class=\"quiet\">{} · {} · {} {} {}</p></div>\n",
        escape(&report.title),
        text::count(report.voices.len(), "voice", "voices"),
        text::length(mix.duration_s),
        text::kilohertz(mix.sample_rate_hz),
        text::bits(mix.bits),
        text::channels(mix.channels),
    );
    let _ = write!(
        html,
        "<div class=\"compliance\"><p class=\"large\"><span class=\"quiet\">delivered</span> {} <span class=\"quiet\">LUFS</span> {} \
         <span class=\"quiet\">dBTP</span></p>\n<p>{}{}</p>\n<p class=\"quiet small\">target {}{} LUFS ± {} LU, \
         true peak at most {} dBTP</p></div>\n",
        n(number(mix.integrated_lufs, 1)),
        n(number(mix.true_peak_dbtp, 1)),
        if compliance.is_compliant() { GOOD } else { BAD },
        compliance_text(report),
        target.document.as_deref().map(|name| escape(name) + ": ").unwrap_or_default(),
        n(number(target.integrated_lufs, 1)),
        n(number(target.tolerance_lu, 1)),
        n(number(target.ceiling_dbtp, 1)),
    );
    html.push_str("<nav aria-label=\"sections\">");
    for (at, voice) in report.voices.iter().enumerate() {
        let _ = write!(html, "<a href=\"#voice-{}\">{}</a>", at + 1, escape(&voice.name));
    }
    html.push_str("<a href=\"#mix\">The mix</a><a href=\"#notes\">Notes</a></nav>\n</header>\n");
    if report.demo.is_none() && report.warnings.is_empty() {
        return;
    }
    html.push_str("<section class=\"notices\" aria-label=\"about this job\">\n");
    if let Some(demo) = &report.demo {
        let _ = write!(
            html,
            "<div><h2 class=\"small quiet\">the demo: synthetic voices with deliberate faults</h2>\n<p>{}</p>\n\
             <ul class=\"plain\">",
            escape(&demo.scenario)
        );
        for fault in &demo.faults {
            let _ = write!(html, "<li>{}: {}</li>", escape(&fault.voice), escape(&fault.description));
        }
        html.push_str("</ul></div>\n");
    }
    warnings(html, &report.warnings);
    html.push_str("</section>\n");
}

/// The compliance as a sentence.
pub(in crate::report) fn compliance_text(report: &Report) -> String {
    let verdict = if report.compliance().is_compliant() { "Meets" } else { "Misses" };
    format!("{verdict} the target: {}", deviation_text(report))
}

/// Deviations of loudness and true peak from the target, ending in a full stop.
pub(in crate::report) fn deviation_text(report: &Report) -> String {
    let compliance = report.compliance();
    let loudness = match compliance.loudness_deviation_lu {
        None => "no loudness could be measured".into(),
        Some(0.0) => "loudness is on the target".into(),
        Some(off) => {
            format!("loudness is {} LU {} the target", number(off.abs(), 1), if off > 0.0 { "above" } else { "below" })
        }
    };
    let peak = match compliance.true_peak_excess_db {
        None => "no true peak could be measured".into(),
        Some(over) if over > 0.0 => format!("the true peak exceeds the ceiling by {} dB", number(over, 1)),
        Some(0.0) => "the true peak is at the ceiling".into(),
        Some(over) => format!("the true peak is {} dB below the ceiling", number(-over, 1)),
    };
    format!("{loudness}, {peak}.")
}
