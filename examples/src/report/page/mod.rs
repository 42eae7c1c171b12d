//! Report as one self-contained HTML page, with style, plots and audio embedded. It is readable without its script.

mod header;
mod mix;
mod parts;
mod voice;

pub(super) use header::{compliance_text, deviation_text};

use super::data::Report;
use super::page_data::ReportPage;
use super::text::{END_OF_RANGE, escape};
use header::header;
use mix::mix_section;
use std::fmt::Write;
use voice::voice_section;

const STYLE: &str = concat!(include_str!("../palette.css"), include_str!("../marks.css"), include_str!("../style.css"));
const SCRIPT: &str = include_str!("../listen.js");

/// Renders the whole page as HTML.
#[must_use]
pub fn render(page: &ReportPage) -> String {
    let report = &page.report;
    let mut html = String::with_capacity(1 << 20);
    let _ = write!(
        html,
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta name=\"color-scheme\" content=\"light dark\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'; \
         script-src 'unsafe-inline'; media-src data:\">\n<title>{}</title>\n<style>\n{STYLE}</style>\n</head>\n<body>\n",
        escape(&report.title)
    );
    header(&mut html, report);
    let range = bar_range(report);
    html.push_str("<main>\n");
    for (at, voice) in report.voices.iter().enumerate() {
        voice_section(&mut html, at, voice, page.voices.get(at), range);
    }
    mix_section(&mut html, page);
    html.push_str("</main>\n");
    footer(&mut html);
    let _ = write!(html, "<script>\n{SCRIPT}</script>\n</body>\n</html>\n");
    html
}

/// Common range of all gain-reduction bars, dB.
fn bar_range(report: &Report) -> f64 {
    let most = report.voices.iter().flat_map(|voice| voice.gain_reduction.all()).map(|reduction| reduction.max_db);
    most.filter(|db| db.is_finite()).fold(6.0, f64::max)
}

fn footer(html: &mut String) {
    html.push_str(
        "<footer id=\"notes\" class=\"small\">\n<p>Loudness and peak targets change. Follow the current written specification \
         of the destination.</p>\n<p>Start playback at a low level, and raise it only once you know how loud the audio is. \
         The loudness jumps when processing is switched off.</p>\n<ol>\n\
         <li id=\"note-1\">Loudness and true peak: Recommendation ITU-R BS.1770. Momentary and short-term loudness: EBU Tech 3341. A \
         mono voice counts as one channel here and as two in a stereo mix, where it measures 3 LU more.</li>\n\
         <li id=\"note-2\">Loudness range: EBU Tech 3342.</li>\n\
         <li id=\"note-3\">Published speech: Byrne et al. 1994, An international comparison of long-term average speech spectra, \
         Journal of the Acoustical Society of America 96(4), table 2, both sexes; below 200 Hz men or women, chosen by the measured pitch. Each spectrum is normalised to equal power between \
         160 Hz and 6.3 kHz, so that the line shows tonal balance, not level. The band is ± one standard deviation over 49 \
         recorded speakers measured for this project, 100 Hz to 10 kHz; it is wide because voices, rooms and microphones \
         differ.</li>\n\
         <li id=\"note-4\">The ledger is measured: loudness after a stage minus loudness before it, over the 400 ms blocks that \
         pass the gates of BS.1770 at the input of the strip. Gain reduction is given as median, 95th percentile (95 %) and \
         maximum (max) over time. ",
    );
    html.push_str(END_OF_RANGE);
    html.push_str("</li>\n</ol>\n</footer>\n");
}
