//! Numbers and names as a person reads them, the same in page and terminal.

use voicechain_core::format::{MISSING, Number};
use voicechain_core::meters::GainReductionMeter;
use voicechain_core::settings::SectionId;

/// A number with a true minus sign and a fixed number of decimals; never a negative zero. What is missing is a dash.
pub(crate) fn number(value: impl Into<Option<f64>>, decimals: usize) -> String {
    Number::new(value.into().unwrap_or(f64::NAN), decimals).to_string()
}

/// Like [`number`], with a plus sign on what is added.
pub(crate) fn signed(value: impl Into<Option<f64>>, decimals: usize) -> String {
    Number::new(value.into().unwrap_or(f64::NAN), decimals).signed().to_string()
}

/// An amount that was taken away, written as the negative gain that it is.
pub(crate) fn reduction_text(amount: f64, decimals: usize) -> String {
    number(-amount, decimals)
}

/// Whether a percentile of a gain reduction lies at the end of the meter's range: it is that much or more.
pub(crate) fn at_end_of_range(amount: f64) -> bool {
    amount >= GainReductionMeter::RANGE_DB
}

/// A percentile of a gain reduction for a table, as [`reduction_text`]; "≤ −30" at the end of the meter's range, which
/// [`END_OF_RANGE`] explains.
pub(crate) fn percentile_text(amount: f64) -> String {
    if at_end_of_range(amount) {
        format!("≤ {}", reduction_text(GainReductionMeter::RANGE_DB, 0))
    } else {
        reduction_text(amount, 1)
    }
}

/// Explanation of the end of the range beside a table.
pub(crate) const END_OF_RANGE: &str = "≤ −30 stands for 30 dB or more.";

/// A percentile of a gain reduction as an amount with its unit: "4.2 dB", or "30 dB or more" at the end of the range.
pub(crate) fn percentile_amount(amount: f64) -> String {
    if at_end_of_range(amount) {
        format!("{} dB or more", number(GainReductionMeter::RANGE_DB, 0))
    } else {
        format!("{} dB", number(amount, 1))
    }
}

/// A length in hours, minutes and seconds.
pub(crate) fn length(seconds: f64) -> String {
    if !seconds.is_finite() || seconds < 0.0 {
        return MISSING.into();
    }
    if seconds < 60.0 {
        return if seconds < 10.0 { format!("{seconds:.1} s") } else { format!("{seconds:.0} s") };
    }
    let whole = seconds.round() as u64;
    let (hours, minutes, rest) = (whole / 3600, whole / 60 % 60, whole % 60);
    if hours > 0 { format!("{hours} h {minutes:02} min {rest:02} s") } else { format!("{minutes} min {rest:02} s") }
}

/// A place in time, as on a clock.
pub(crate) fn clock(seconds: f64) -> String {
    let whole = seconds.max(0.0).round() as u64;
    let (hours, minutes, rest) = (whole / 3600, whole / 60 % 60, whole % 60);
    if hours > 0 { format!("{hours}:{minutes:02}:{rest:02}") } else { format!("{minutes}:{rest:02}") }
}

/// A sample rate in kHz.
pub(crate) fn kilohertz(hz: u32) -> String {
    let text = format!("{:.3}", f64::from(hz) / 1000.0);
    format!("{} kHz", text.trim_end_matches('0').trim_end_matches('.'))
}

/// Mono, stereo, or a count.
pub(crate) fn channels(count: u16) -> String {
    match count {
        1 => "mono".into(),
        2 => "stereo".into(),
        count => format!("{count} channels"),
    }
}

/// The format of a sample.
pub(crate) fn bits(bits: u16) -> String {
    if bits == 32 { "32-bit float".into() } else { format!("{bits} bit") }
}

/// A count with its noun.
pub(crate) fn count(count: usize, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}

/// Display name of a stage, from its id.
pub(crate) fn stage(id: &str) -> &str {
    SectionId::from_id(id).map_or(id, |section| section.name())
}

/// A frequency for a label.
pub(crate) fn hertz(hz: f64) -> String {
    if hz >= 1000.0 {
        let text = format!("{:.2}", hz / 1000.0);
        format!("{}k", text.trim_end_matches('0').trim_end_matches('.'))
    } else {
        format!("{hz:.0}")
    }
}

/// Escapes text for content and quoted attributes of HTML and SVG. Control characters become the replacement character.
pub(crate) fn escape(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len() + 8);
    for letter in text.chars() {
        match letter {
            '&' => escaped.push_str("&amp;"),
            '<' => escaped.push_str("&lt;"),
            '>' => escaped.push_str("&gt;"),
            '"' => escaped.push_str("&quot;"),
            '\'' => escaped.push_str("&#39;"),
            letter => escaped.push(printable_character(letter)),
        }
    }
    escaped
}

/// Replaces control characters and characters that reorder text by the replacement character.
pub(crate) fn printable_character(letter: char) -> char {
    let reorders = matches!(letter, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    if letter.is_control() || reorders { '\u{fffd}' } else { letter }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_have_a_true_minus_and_no_negative_zero() {
        assert_eq!(number(-27.94, 1), "−27.9");
        assert_eq!(number(-0.04, 1), "0.0");
        assert_eq!(signed(0.04, 1), "0.0");
        assert_eq!(signed(0.06, 1), "+0.1");
        assert_eq!(reduction_text(0.0, 1), "0.0");
        assert_eq!(number(None, 1), "–");
        assert_eq!(number(f64::NEG_INFINITY, 1), "–");
    }

    #[test]
    fn a_percentile_at_the_end_of_the_range_reads_or_more() {
        assert_eq!((percentile_text(29.9).as_str(), percentile_amount(29.9).as_str()), ("−29.9", "29.9 dB"));
        assert_eq!((percentile_text(30.0).as_str(), percentile_amount(30.0).as_str()), ("≤ −30", "30 dB or more"));
        assert!(END_OF_RANGE.starts_with(&percentile_text(30.0)) && END_OF_RANGE.contains(&percentile_amount(30.0)));
    }

    #[test]
    fn lengths_and_rates_read_naturally() {
        assert_eq!(length(4.25), "4.2 s");
        assert_eq!(length(96.2), "1 min 36 s");
        assert_eq!(length(3_725.0), "1 h 02 min 05 s");
        assert_eq!(clock(3_725.0), "1:02:05");
        assert_eq!(kilohertz(44_100), "44.1 kHz");
        assert_eq!(kilohertz(22_050), "22.05 kHz");
    }

    #[test]
    fn markup_and_control_characters_are_escaped() {
        assert_eq!(escape("a<b>&\"c\"'d'"), "a&lt;b&gt;&amp;&quot;c&quot;&#39;d&#39;");
        assert_eq!(escape("x\u{1b}[2J\u{202e}y"), "x\u{fffd}[2J\u{fffd}y");
    }
}
