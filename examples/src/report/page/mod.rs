//! The report as one self-contained page: style, drawings and sounds are inside it, and it reads without its script.

mod header;
mod mix;
mod parts;
mod voice;

pub(super) use header::verdict_words;

use super::data::Report;
use super::excerpt::Clip;
use super::text::escape;
use header::header;
use mix::mix_section;
use std::fmt::Write;
use voice::voice_section;

const STYLE: &str = concat!(include_str!("../palette.css"), include_str!("../marks.css"), include_str!("../style.css"));
const SCRIPT: &str = include_str!("../listen.js");

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
    /// Median pitch, by which published speech of men or of women is meant below 200 Hz; `None` where it is not known.
    pub pitch_hz: Option<f64>,
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
         160 Hz and 6.3 kHz, so that the line is colour, not level. The band is one standard deviation to either side over 49 \
         recorded speakers measured for this project, 100 Hz to 10 kHz; it is wide because voices, rooms and microphones \
         differ.</li>\n\
         <li id=\"note-4\">The ledger is measured: loudness after a stage minus loudness before it, over those 400 ms blocks that \
         pass the gates of BS.1770 at the input of the strip. Gain reduction is exceeded half of the time (median), one \
         twentieth of the time (95 %), or never (most).</li>\n</ol>\n</footer>\n",
    );
}
