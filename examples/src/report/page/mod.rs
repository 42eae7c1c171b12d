//! The report as one self-contained page: style, drawings and sounds are inside it, and it reads without its script.

mod header;
mod mix;
mod parts;
mod voice;

pub(super) use header::compliance_text;

use super::data::Report;
use super::page_data::ReportPage;
use super::text::escape;
use header::header;
use mix::mix_section;
use std::fmt::Write;
use voice::voice_section;

const STYLE: &str = concat!(include_str!("../palette.css"), include_str!("../marks.css"), include_str!("../style.css"));
const SCRIPT: &str = include_str!("../listen.js");

/// The whole page as HTML.
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

/// The range of all gain reduction bars, so that they can be compared.
fn bar_range(report: &Report) -> f64 {
    let most = report.voices.iter().flat_map(|voice| voice.gain_reduction.all()).map(|reduction| reduction.max_db);
    most.filter(|db| db.is_finite()).fold(6.0, f64::max)
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
         Journal of the Acoustical Society of America 96(4), table 2, both sexes; below 200 Hz men or women, by the measured pitch. Each spectrum is shown at equal power between \
         160 Hz and 6.3 kHz, so that the line is tonal balance, not level. The band is one standard deviation to either side over 49 \
         recorded speakers measured for this project, 100 Hz to 10 kHz; it is wide because voices, rooms and microphones \
         differ.</li>\n\
         <li id=\"note-4\">The ledger is measured: loudness after a stage minus loudness before it, over those 400 ms blocks that \
         pass the gates of BS.1770 at the input of the strip. Gain reduction is exceeded half of the time (median), one \
         twentieth of the time (95 %), or never (most).</li>\n</ol>\n</footer>\n",
    );
}
