//! Elements shared by several sections of the page.

use crate::report::data;
use crate::report::excerpt::Clip;
use crate::report::text::escape;
use std::fmt::Write;

/// Class and width of the plots that span the whole page.
pub(super) const FULL_WIDTHS: [(&str, f32); 3] =
    [("plot large", 1080.0), ("plot middle", 660.0), ("plot small", 344.0)];

/// A number in the typeface of numbers.
pub(super) fn n(text: impl AsRef<str>) -> String {
    format!(r#"<span class="n">{}</span>"#, escape(text.as_ref()))
}

pub(super) fn note(html: &mut String, number: u8) {
    let _ = write!(html, r##"<sup><a href="#note-{number}" aria-label="note {number}">{number}</a></sup>"##);
}

pub(super) const GOOD: &str =
    r#"<svg class="sign" viewBox="0 0 12 12" aria-hidden="true"><path d="M1 6.5L4.5 10L11 2"/></svg>"#;
pub(super) const BAD: &str =
    r#"<svg class="sign bad" viewBox="0 0 12 12" aria-hidden="true"><path d="M6 0L12 12H0Z"/></svg>"#;

pub(super) fn warnings(html: &mut String, warnings: &[String]) {
    if warnings.is_empty() {
        return;
    }
    html.push_str("<ul class=\"warnings\">");
    for warning in warnings {
        let _ = write!(html, "<li><span class=\"quiet\">Warning.</span> {}</li>", escape(warning));
    }
    html.push_str("</ul>\n");
}

pub(super) const KEY_TARGET: &str =
    r#"<svg viewBox="0 0 28 12" aria-hidden="true"><path class="target" d="M0 6H28"/></svg>"#;
pub(super) const KEY_AFTER: &str = r#"<span class="key"><svg viewBox="0 0 28 12" aria-hidden="true"><path class="after" d="M0 8C8 8 8 4 14 4S20 7 28 6"/></svg>after</span>"#;

pub(super) fn player(html: &mut String, word: &str, label: &str, pair: &str, clip: &Clip) {
    let _ = writeln!(
        html,
        "<div class=\"player\"><span>{word}</span><audio controls preload=\"metadata\" data-pair=\"{pair}\" \
         aria-label=\"{}\" src=\"{}\"></audio></div>",
        escape(label),
        clip.data_uri()
    );
}

pub(super) const CAUTION: &str = "Start playback at a low level.";

/// The value as displayed, so that differences agree with the displayed values.
pub(super) fn rounded(value: f64) -> f64 {
    data::round(value, 1)
}
