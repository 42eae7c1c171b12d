//! The report as one self-contained page: style, drawings and sounds are inside it, and it reads without its script.

use super::data::{GainReduction, Levels, Report, Voice};
use super::excerpt::Clip;
use super::plot::{self, Frequencies, Line, Taken, Times};
use super::text::{self, escape, number, signed, taken};
use std::fmt::Write;

const STYLE: &str = include_str!("style.css");
const SCRIPT: &str = include_str!("listen.js");

/// Widths of the drawings beside a column of facts, with the class that shows them.
const BESIDE: [(&str, f32); 3] = [("plot large", 660.0), ("plot middle", 660.0), ("plot small", 344.0)];
/// Widths of the drawings that take the whole page.
const ACROSS: [(&str, f32); 3] = [("plot large", 1080.0), ("plot middle", 660.0), ("plot small", 344.0)];

/// Everything that the page shows: the data, and the series that are too long for `report.json`.
#[derive(Clone, Debug, PartialEq)]
pub struct Page {
    /// The data.
    pub report: Report,
    /// Series of the voices, in the order of `report.voices`. A voice without an entry gets its tables only.
    pub voices: Vec<VoiceSeries>,
    /// Series of the mix.
    pub mix: MixSeries,
}

/// Values over time, equally long.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TimeSeries {
    /// Seconds from the start.
    pub seconds: Vec<f32>,
    /// The value there. Silence may be negative infinity or not a number: it is drawn below the scale.
    pub values: Vec<f32>,
}

/// Over which time loudness was measured.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum LoudnessWindow {
    /// 400 ms.
    Momentary,
    /// 3 s.
    #[default]
    ShortTerm,
}

impl LoudnessWindow {
    fn words(self) -> &'static str {
        match self {
            Self::Momentary => "momentary (400 ms)",
            Self::ShortTerm => "short-term (3 s)",
        }
    }
}

/// What is drawn and played for one voice.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct VoiceSeries {
    /// Long-term spectrum of the recording in third octaves: (middle in Hz, level in dB, any reference). Levels are compared
    /// with published speech at equal power; bands that could not be measured are left out or not finite.
    pub spectrum_before: Vec<(f32, f32)>,
    /// The same of the processed voice.
    pub spectrum_after: Vec<(f32, f32)>,
    /// Total response of the strip's filters and equalisers, without trims: (Hz, dB), frequencies rising.
    pub response: Vec<(f32, f32)>,
    /// Where the bands in use lie on it: (Hz, dB on the response).
    pub bands: Vec<(f32, f32)>,
    /// Over which time the loudness was measured.
    pub window: LoudnessWindow,
    /// Loudness of the recording over time, LUFS.
    pub loudness_before: TimeSeries,
    /// Loudness of the processed and balanced voice over time, LUFS.
    pub loudness_after: TimeSeries,
    /// Gain of each dynamic stage over time in dB, negative where it takes, with the stage's id. For stretches of time the
    /// lowest gain.
    pub gain: Vec<(String, TimeSeries)>,
    /// What can be listened to.
    pub excerpt: Option<Excerpt>,
}

/// The same stretch of a voice before and after, at the same loudness.
#[derive(Clone, Debug, PartialEq)]
pub struct Excerpt {
    /// Where it starts in the recording, seconds.
    pub start_s: f32,
    /// The unprocessed side, already matched.
    pub before: Clip,
    /// The processed side.
    pub after: Clip,
    /// By how much the unprocessed side was raised (positive) or lowered to match, dB.
    pub match_db: f64,
    /// By how much both sides were then lowered so that no peak passes the ceiling, dB, not negative.
    pub both_lowered_db: f64,
}

/// What is drawn and played for the mix.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct MixSeries {
    /// Over which time the loudness was measured.
    pub window: LoudnessWindow,
    /// Loudness of the delivered mix over time, LUFS.
    pub loudness: TimeSeries,
    /// Gain of the programme limiter over time in dB, negative where it takes.
    pub limiter_gain: TimeSeries,
    /// Where the clip starts (seconds), and the clip.
    pub excerpt: Option<(f32, Clip)>,
}

/// The whole page as HTML.
#[must_use]
pub fn render(page: &Page) -> String {
    let report = &page.report;
    let mut html = String::with_capacity(1 << 20);
    let _ = write!(
        html,
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta name=\"color-scheme\" content=\"light dark\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'; \
         script-src 'unsafe-inline'; media-src data:\">\n<title>{}</title>\n<style>\n{STYLE}</style>\n</head>\n<body>\n",
        escape(&report.job)
    );
    header(&mut html, report);
    let reach = bar_reach(report);
    html.push_str("<main>\n");
    for (at, voice) in report.voices.iter().enumerate() {
        voice_section(&mut html, at, voice, page.voices.get(at), reach);
    }
    mix_section(&mut html, page);
    html.push_str("</main>\n");
    footer(&mut html);
    let _ = write!(html, "<script>\n{SCRIPT}</script>\n</body>\n</html>\n");
    html
}

/// The reach of all gain reduction bars, so that they can be compared.
fn bar_reach(report: &Report) -> f64 {
    let voices = report.voices.iter().map(|voice| &voice.gain_reduction);
    let most = voices.flat_map(|all| [all.compressor.max_db, all.de_esser.max_db, all.limiter.max_db]);
    most.filter(|db| db.is_finite()).fold(6.0, f64::max)
}

/// A number in the numbers' face.
fn n(text: impl AsRef<str>) -> String {
    format!(r#"<span class="n">{}</span>"#, escape(text.as_ref()))
}

fn note(html: &mut String, number: u8) {
    let _ = write!(html, r##"<sup><a href="#note-{number}" aria-label="note {number}">{number}</a></sup>"##);
}

const GOOD: &str = r#"<svg class="sign" viewBox="0 0 12 12" aria-hidden="true"><path d="M1 6.5L4.5 10L11 2"/></svg>"#;
const BAD: &str = r#"<svg class="sign bad" viewBox="0 0 12 12" aria-hidden="true"><path d="M6 0L12 12H0Z"/></svg>"#;

fn header(html: &mut String, report: &Report) {
    let (mix, target, verdict) = (&report.mix, &report.target, report.verdict());
    let _ = write!(
        html,
        "<header class=\"page\">\n<div><h1>{}</h1>\n<p class=\"quiet\">{} · {} · {} {} {}</p></div>\n",
        escape(&report.job),
        text::count(report.voices.len(), "voice", "voices"),
        text::length(mix.duration_s),
        text::kilohertz(mix.sample_rate_hz),
        text::bits(mix.bits),
        text::channels(mix.channels),
    );
    let _ = write!(
        html,
        "<div class=\"verdict\"><p class=\"large\"><span class=\"quiet\">delivered</span> {} <span class=\"quiet\">LUFS</span> {} \
         <span class=\"quiet\">dBTP</span></p>\n<p>{}{}</p>\n<p class=\"quiet small\">asked for {}{} LUFS within {} LU, \
         true peak at most {} dBTP</p></div>\n",
        n(number(mix.integrated_lufs, 1)),
        n(number(mix.true_peak_dbtp, 1)),
        if verdict.met() { GOOD } else { BAD },
        verdict_words(report),
        target.name.as_deref().map(|name| escape(name) + ": ").unwrap_or_default(),
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
            "<div><h2 class=\"small quiet\">the demo: invented voices, with faults put in on purpose</h2>\n<p>{}</p>\n\
             <ul class=\"plain\">",
            escape(&demo.scenario)
        );
        for fault in &demo.faults {
            let _ = write!(html, "<li>{}: {}</li>", escape(&fault.voice), escape(&fault.words));
        }
        html.push_str("</ul></div>\n");
    }
    warnings(html, &report.warnings);
    html.push_str("</section>\n");
}

/// The verdict in a sentence, escaped.
pub(super) fn verdict_words(report: &Report) -> String {
    let verdict = report.verdict();
    let loudness = match verdict.loudness_off_lu {
        None => "no loudness could be measured".into(),
        Some(0.0) => "loudness is on the target".into(),
        Some(off) => {
            format!("loudness is {} LU {} the target", number(off.abs(), 1), if off > 0.0 { "above" } else { "below" })
        }
    };
    let peak = match verdict.peak_over_db {
        None => "there is no peak".into(),
        Some(over) if over > 0.0 => format!("the true peak passes the ceiling by {} dB", number(over, 1)),
        Some(0.0) => "the true peak is at the ceiling".into(),
        Some(over) => format!("the true peak stays {} dB under the ceiling", number(-over, 1)),
    };
    let both = format!("{loudness}, {peak}");
    if verdict.met() { format!("Meets the target: {both}.") } else { format!("Misses the target: {both}.") }
}

fn warnings(html: &mut String, warnings: &[String]) {
    if warnings.is_empty() {
        return;
    }
    html.push_str("<ul class=\"warnings\">");
    for warning in warnings {
        let _ = write!(html, "<li><span class=\"quiet\">Warning.</span> {}</li>", escape(warning));
    }
    html.push_str("</ul>\n");
}

fn voice_section(html: &mut String, at: usize, voice: &Voice, series: Option<&VoiceSeries>, reach: f64) {
    let id = format!("voice-{}", at + 1);
    let _ = write!(
        html,
        "<section id=\"{id}\" aria-labelledby=\"{id}-name\">\n<div class=\"head\"><div><h2 id=\"{id}-name\">{}</h2>\
         <span class=\"quiet\">{} · {} · {} {}</span></div>\n<div class=\"way\"><span class=\"quiet\">in</span> {} \
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
    stages_table(html, voice, reach);
    html.push_str("</section>\n");
}

const KEY_BEFORE: &str = r#"<span class="key"><svg viewBox="0 0 28 12" aria-hidden="true"><path class="before" d="M0 8H9V3H19V7H28"/></svg>before</span>"#;
const KEY_BEFORE_LINE: &str = r#"<span class="key"><svg viewBox="0 0 28 12" aria-hidden="true"><path class="before" d="M0 9C8 9 8 3 14 3S20 8 28 6"/></svg>before (thin)</span>"#;
const KEY_TARGET: &str = r#"<svg viewBox="0 0 28 12" aria-hidden="true"><path class="target" d="M0 6H28"/></svg>"#;
const KEY_AFTER: &str = r#"<span class="key"><svg viewBox="0 0 28 12" aria-hidden="true"><path class="after" d="M0 8C8 8 8 4 14 4S20 7 28 6"/></svg>after</span>"#;

fn frequency_figure(html: &mut String, id: &str, voice: &Voice, series: &VoiceSeries) {
    html.push_str("<figure>\n<figcaption><span>dB, the voice against published speech");
    note(html, 3);
    let _ = writeln!(html, " (band: how far speakers differ)</span><span>{KEY_BEFORE}{KEY_AFTER}</span></figcaption>");
    let shown = Frequencies {
        before: &series.spectrum_before,
        after: &series.spectrum_after,
        response: &series.response,
        bands: &series.bands,
    };
    for (at, (class, width)) in BESIDE.into_iter().enumerate() {
        html.push_str(&plot::frequencies(&shown, &voice.name, class, &format!("{id}-f{at}"), width));
        html.push('\n');
    }
    html.push_str(
        "<figcaption class=\"below\">below: what the strip’s filters and equalisers do, dB</figcaption>\n</figure>\n",
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
        let change = before.zip(after).map(|(before, after)| text_round(after) - text_round(before));
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

/// The value as it is shown, so that differences agree with what stands beside them.
fn text_round(value: f64) -> f64 {
    super::data::round(value, 1)
}

/// How the two sides were matched, in words.
fn match_words(excerpt: &Excerpt) -> String {
    let raised = text_round(excerpt.match_db);
    let mut words = if raised > 0.0 {
        format!("Both at the same loudness: the unprocessed side is raised by {} dB", number(raised, 1))
    } else if raised < 0.0 {
        format!("Both at the same loudness: the unprocessed side is lowered by {} dB", number(-raised, 1))
    } else {
        "Both at the same loudness as they are".into()
    };
    let both = text_round(excerpt.both_lowered_db);
    if both > 0.0 {
        let _ = write!(words, ", then both are lowered by {} dB so that no peak passes the ceiling", number(both, 1));
    }
    words + "."
}

fn player(html: &mut String, word: &str, label: &str, pair: &str, clip: &Clip) {
    let _ = writeln!(
        html,
        "<div class=\"player\"><span>{word}</span><audio controls preload=\"metadata\" data-pair=\"{pair}\" \
         aria-label=\"{}\" src=\"{}\"></audio></div>",
        escape(label),
        clip.data_uri()
    );
}

const CAUTION: &str = "Start playback low.";

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
        "<p class=\"quiet small\">{} <span class=\"hint\">While one plays, start the other to go on from the same place.</span> \
         {CAUTION}</p></div>",
        escape(&match_words(excerpt))
    );
}

fn time_figure(html: &mut String, id: &str, voice: &Voice, series: &VoiceSeries) {
    let _ = write!(
        html,
        "<figure>\n<figcaption><span>LUFS, {} loudness over time; below, what the dynamic stages took away, dB</span>\
         <span>{KEY_BEFORE_LINE}{KEY_AFTER}</span></figcaption>\n",
        series.window.words()
    );
    for (at, (class, width)) in ACROSS.into_iter().enumerate() {
        let shown = Times {
            loudness: vec![
                Line { class: "before", series: &series.loudness_before },
                Line { class: "after", series: &series.loudness_after },
            ],
            target: None,
            taken: series
                .gain
                .iter()
                .map(|(stage, gain)| Taken { name: text::stage(stage).to_lowercase(), gain })
                .collect(),
            excerpt: series.excerpt.as_ref().map(|excerpt| (excerpt.start_s, excerpt.before.seconds as f32)),
            duration_s: voice.duration_s as f32,
        };
        let title = format!("{}: loudness and gain reduction over time", voice.name);
        html.push_str(&plot::times(&shown, &title, class, &format!("{id}-t{at}"), width));
        html.push('\n');
    }
    html.push_str("</figure>\n");
}

const NO_REDUCTION: &str = "<td role=\"cell\" class=\"empty\"></td>";

fn stages_table(html: &mut String, voice: &Voice, reach: f64) {
    // Settings and ledger are both in signal order; a stage may stand in one of them only.
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
    html.push_str(
        "<table class=\"stages\" role=\"table\"><caption>the stages in signal order; the ledger says what each one added or took, \
         and its sum is what the strip did<sup><a href=\"#note-4\" aria-label=\"note 4\">4</a></sup></caption>\n<thead role=\"rowgroup\"><tr role=\"row\"><th scope=\"col\">stage</th>\
         <th scope=\"col\">setting</th><th scope=\"col\" class=\"n picture\"><span>taken away, dB</span></th>\
         <th scope=\"col\" class=\"n\">median</th><th scope=\"col\" class=\"n\">95 %</th><th scope=\"col\" class=\"n\">most</th>\
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
            escape(&text::stage(stage))
        );
        if let Some(row) = settings {
            html.push_str(&escape(&together(&row.words)));
            if let Some(why) = &row.why {
                let _ = write!(html, "<span class=\"quiet\">{}</span>", escape(why));
            }
        }
        html.push_str("</td>");
        match voice.gain_reduction.of(stage).filter(|_| on) {
            Some(reduction) => reduction_cells(html, &reduction, reach),
            None => {
                html.push_str("<td role=\"cell\" class=\"picture\"></td>");
                html.push_str(&NO_REDUCTION.repeat(3));
            }
        }
        let next = reached + lu.unwrap_or(0.0);
        let _ = writeln!(
            html,
            "<td role=\"cell\" class=\"picture path\">{}</td><td role=\"cell\" class=\"n ledger\">{}</td></tr>",
            plot::step_bar(reached, next, low, high),
            signed(lu, 1)
        );
        reached = next;
    }
    let _ = write!(
        html,
        "</tbody>\n<tfoot role=\"rowgroup\"><tr role=\"row\"><th scope=\"row\" role=\"rowheader\" class=\"name quiet\">sum</th>\
         <td role=\"cell\" class=\"words\"><span class=\"quiet\">{}</span></td><td role=\"cell\" class=\"picture\"></td>\
         {}\
         <td role=\"cell\" class=\"picture path\"></td><td role=\"cell\" class=\"n ledger\">{}</td></tr></tfoot></table>\n",
        escape(&format!("then {} dB to stand level with the other voices", signed(voice.balance_gain_db, 1))),
        NO_REDUCTION.repeat(3),
        signed(voice.ledger_sum_lu(), 1)
    );
}

/// Settings in words whose short items are not broken at the end of a line.
fn together(words: &str) -> String {
    let item = |item: &str| {
        if item.chars().count() <= 30 { item.replace(' ', "\u{a0}") } else { item.to_owned() }
    };
    words.split(" · ").map(item).collect::<Vec<_>>().join("\u{a0}· ")
}

fn reduction_cells(html: &mut String, reduction: &GainReduction, reach: f64) {
    let _ = write!(html, "<td role=\"cell\" class=\"picture\">{}</td>", plot::reduction_bar(reduction, reach));
    for (label, db) in [("median", reduction.median_db), ("95 %", reduction.p95_db), ("most", reduction.max_db)] {
        let _ = write!(html, "<td role=\"cell\" class=\"n reduction\" data-label=\"{label}\">{}</td>", taken(db, 1));
    }
}

fn mix_section(html: &mut String, page: &Page) {
    let report = &page.report;
    let (mix, target, verdict) = (&report.mix, &report.target, report.verdict());
    let _ = write!(
        html,
        "<section id=\"mix\" aria-labelledby=\"mix-name\">\n<div class=\"head\"><div><h2 id=\"mix-name\">The mix</h2>\
         <span class=\"quiet\">{} · {} {} {}</span></div>\n<div class=\"way\"><span class=\"quiet\">delivered</span> {} \
         <span class=\"quiet\">LUFS</span></div></div>\n",
        text::length(mix.duration_s),
        text::kilohertz(mix.sample_rate_hz),
        text::bits(mix.bits),
        text::channels(mix.channels),
        n(number(mix.integrated_lufs, 1)),
    );
    let _ = write!(
        html,
        "<figure>\n<figcaption><span>LUFS, {} loudness of the mix over time; below, what the programme limiter took away, dB\
         </span><span><span class=\"key\">{KEY_TARGET}target {}</span></span></figcaption>\n",
        page.mix.window.words(),
        n(number(target.integrated_lufs, 1))
    );
    for (at, (class, width)) in ACROSS.into_iter().enumerate() {
        let shown = Times {
            loudness: vec![Line { class: "after", series: &page.mix.loudness }],
            target: Some(target.integrated_lufs as f32),
            taken: vec![Taken { name: "programme limiter".into(), gain: &page.mix.limiter_gain }],
            excerpt: page.mix.excerpt.as_ref().map(|(start, clip)| (*start, clip.seconds as f32)),
            duration_s: mix.duration_s as f32,
        };
        let title = "The mix: loudness and programme limiter over time";
        html.push_str(&plot::times(&shown, title, class, &format!("mix-t{at}"), width));
        html.push('\n');
    }
    html.push_str("</figure>\n<div class=\"beside\">\n<div>");
    html.push_str(
        "<table><caption>delivered against what was asked for</caption><thead><tr><th scope=\"col\">measured on the file</th>\
         <th scope=\"col\" class=\"n\">delivered</th><th scope=\"col\" class=\"n\">asked for</th>\
         <th scope=\"col\" class=\"n\">off by</th></tr></thead>\n<tbody>",
    );
    let sign = |met: bool| {
        let (sign, word) = if met { (GOOD, "met") } else { (BAD, "missed") };
        format!("<span class=\"met\">{sign}{word}</span>")
    };
    html.push_str("<tr><th scope=\"row\">loudness, LUFS");
    note(html, 1);
    let _ = writeln!(
        html,
        "{}</th><td class=\"n\">{}</td><td class=\"n\">{} ± {}</td><td class=\"n\">{}</td></tr>",
        sign(verdict.loudness_met),
        number(mix.integrated_lufs, 1),
        number(target.integrated_lufs, 1),
        number(target.tolerance_lu, 1),
        signed(verdict.loudness_off_lu, 1),
    );
    html.push_str("<tr><th scope=\"row\">true peak, dBTP");
    note(html, 1);
    let _ = writeln!(
        html,
        "{}</th><td class=\"n\">{}</td><td class=\"n\">≤ {}</td><td class=\"n\">{}</td></tr>",
        sign(verdict.ceiling_met),
        number(mix.true_peak_dbtp, 1),
        number(target.ceiling_dbtp, 1),
        signed(verdict.peak_over_db, 1),
    );
    html.push_str("<tr><th scope=\"row\">loudness range, LU");
    note(html, 2);
    for (at, (name, value)) in [
        ("", number(mix.loudness_range_lu, 1)),
        ("sample peak, dBFS", number(mix.sample_peak_dbfs, 1)),
        ("programme gain, dB", signed(mix.programme_gain_db, 1)),
    ]
    .into_iter()
    .enumerate()
    {
        if at > 0 {
            let _ = write!(html, "<tr><th scope=\"row\">{name}");
        }
        let _ = writeln!(html, "</th><td class=\"n\">{value}</td><td></td><td></td></tr>");
    }
    html.push_str("</tbody></table>\n");
    let took = if mix.limiter.max_db < 0.05 {
        "took nothing".into()
    } else {
        format!(
            "took {} dB half of the time, {} dB or less for 95 % of it, {} dB at most",
            n(number(mix.limiter.median_db, 1)),
            n(number(mix.limiter.p95_db, 1)),
            n(number(mix.limiter.max_db, 1))
        )
    };
    let speed = report.seconds.audio / report.seconds.processing;
    let _ = writeln!(
        html,
        "<p class=\"quiet small after-table\">The programme limiter {took}. {} of sound took {} to make{}.</p></div>",
        text::length(report.seconds.audio),
        text::length(report.seconds.processing),
        if speed.is_finite() && speed >= 2.0 {
            format!(", {speed:.0} times faster than it plays")
        } else {
            String::new()
        }
    );
    html.push_str("<div class=\"facts\">\n");
    balance_table(html, report);
    if let Some((start, clip)) = &page.mix.excerpt {
        let _ = writeln!(
            html,
            "<div class=\"listen\"><h3>listen: {} from {}</h3>",
            text::length(clip.seconds),
            text::clock(f64::from(*start))
        );
        player(html, "mix", "the mix", "mix", clip);
        let _ = writeln!(html, "<p class=\"quiet small\">As delivered. {CAUTION}</p></div>");
    }
    html.push_str("</div></div>\n");
    if !report.files.is_empty() {
        html.push_str(
            "<table class=\"files\"><caption>files beside this page</caption><thead><tr><th scope=\"col\">name</th>\
             <th scope=\"col\">what it is</th></tr></thead>\n<tbody>",
        );
        for file in &report.files {
            let _ = write!(
                html,
                "<tr><th scope=\"row\"><span class=\"n\">{}</span></th><td>{}</td></tr>",
                escape(&file.name),
                escape(&file.what)
            );
        }
        html.push_str("</tbody></table>\n");
    }
    html.push_str("</section>\n");
}

fn balance_table(html: &mut String, report: &Report) {
    let spread = match report.balance_spread_lu() {
        Some(spread) => format!("the voices lie within {} LU of each other", number(spread, 1)),
        None => "the voices before programme gain".into(),
    };
    let _ = write!(
        html,
        "<table class=\"balance\"><caption>balance: {}</caption><thead><tr><th scope=\"col\">voice</th>\
         <th scope=\"col\" class=\"picture\"></th><th scope=\"col\" class=\"n\">gain, dB</th>\
         <th scope=\"col\" class=\"n\">LUFS</th></tr></thead>\n<tbody>",
        escape(&spread)
    );
    let reach =
        report.voices.iter().map(|voice| voice.balance_gain_db.abs()).filter(|db| db.is_finite()).fold(3.0, f64::max);
    for voice in &report.voices {
        let _ = write!(
            html,
            "<tr><th scope=\"row\">{}</th><td class=\"picture\">{}</td><td class=\"n\">{}</td><td class=\"n\">{}</td></tr>",
            escape(&voice.name),
            plot::step_bar(0.0, voice.balance_gain_db, -reach, reach),
            signed(voice.balance_gain_db, 1),
            number(voice.output.integrated_lufs, 1)
        );
    }
    html.push_str("</tbody></table>\n");
}

fn footer(html: &mut String) {
    html.push_str(
        "<footer id=\"notes\" class=\"small\">\n<p>Targets for loudness and peak change. What counts is the current written \
         specification of where the file is going.</p>\n<p>Start playback low, and keep it there until you know how loud it is. \
         Loudness jumps when processing is switched off.</p>\n<ol>\n\
         <li id=\"note-1\">Loudness and true peak: Recommendation ITU-R BS.1770. Momentary and short-term loudness: EBU Tech 3341. A \
         mono voice counts as one channel here and as two in a stereo mix, where it reads 3 LU more.</li>\n\
         <li id=\"note-2\">Loudness range: EBU Tech 3342.</li>\n\
         <li id=\"note-3\">Published speech: Byrne et al. 1994, An international comparison of long-term average speech spectra, \
         Journal of the Acoustical Society of America 96(4), table 2, both sexes. Each spectrum is shown at equal power between \
         160 Hz and 6.3 kHz, so that the line is colour, not level. The band is one standard deviation to either side over 49 \
         recorded speakers measured for this project, 100 Hz to 10 kHz; it is wide because voices, rooms and microphones \
         differ.</li>\n\
         <li id=\"note-4\">The ledger is measured: loudness after a stage minus loudness before it, over those 400 ms blocks that \
         pass the gates of BS.1770 at the input of the strip. Gain reduction is exceeded half of the time (median), one \
         twentieth of the time (95 %), or never (most).</li>\n</ol>\n</footer>\n",
    );
}
