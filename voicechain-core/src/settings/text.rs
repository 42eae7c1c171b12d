//! Exact text of a value, and the parser of typed values.

use super::position::five_digits;
use super::row::SettingInfo;
use crate::units::Unit;
use core::fmt;

/// Maximum length of a number, characters.
const LONGEST_NUMBER: usize = 24;

/// Reason why a typed text is no value of a setting.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum InvalidText {
    /// Not a number, not in the unit of the setting, or not one of its choices.
    NotAValue,
    /// A comma before exactly three digits: a thousands separator or a decimal comma.
    AmbiguousComma,
}

impl fmt::Display for InvalidText {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::NotAValue => "not a value of this setting",
            Self::AmbiguousComma => "leave out the comma, or write a decimal point",
        })
    }
}

impl core::error::Error for InvalidText {}

impl SettingInfo {
    /// Value with its unit and every digit: `2.5 kHz`, `-18 dB`, `3:1`, `inf:1`, `1.5 s`, `on`, `split-band`.
    #[must_use]
    pub const fn text(&self, value: f64) -> ValueText<'_> {
        ValueText { info: self, value }
    }

    /// Parses a typed value: the output of [`text`](Self::text) and looser forms (`2500`, `2.5k`, `2,5 kHz`, `−18`, `3`,
    /// `infinite`, the beginning of a choice). The result is [`rounded`](Self::rounded) and clamped to the range.
    ///
    /// # Errors
    /// A text that is no value of this setting, and a comma before exactly three digits: `2,500 Hz` may be 2.5 kHz or
    /// 2.5 Hz. `0,125` is a decimal comma. Tested by `a_comma_that_may_separate_thousands_is_refused`.
    pub fn parse(&self, text: &str) -> Result<f64, InvalidText> {
        let text = text.trim();
        match self.unit {
            Unit::Switch => {
                let is = |words: &[&str]| words.iter().any(|word| text.eq_ignore_ascii_case(word));
                return if is(&["on", "yes", "true", "1"]) {
                    Ok(1.0)
                } else if is(&["off", "no", "false", "0"]) {
                    Ok(0.0)
                } else {
                    Err(InvalidText::NotAValue)
                };
            }
            Unit::Choice => return self.parse_choice(text).ok_or(InvalidText::NotAValue),
            _ => {}
        }
        let (number, unit) = split_number(text)?;
        let Some(number) = number else {
            let infinite = ["inf", "infinite", "infinity", "∞"].iter().any(|word| unit.eq_ignore_ascii_case(word));
            let infinite = infinite && self.unit == Unit::Ratio;
            return if infinite { Ok(f64::INFINITY) } else { Err(InvalidText::NotAValue) };
        };
        let is = |words: &[&str]| unit.is_empty() || words.iter().any(|word| unit.eq_ignore_ascii_case(word));
        let factor = match self.unit {
            Unit::Hertz if is(&["Hz"]) => 1.0,
            Unit::Hertz if is(&["k", "kHz"]) => 1_000.0,
            Unit::Millisecond if is(&["ms"]) => 1.0,
            Unit::Millisecond if is(&["s"]) => 1_000.0,
            Unit::Decibel | Unit::DecibelTruePeak if is(&["dB", "dBTP"]) => 1.0,
            Unit::Loudness if is(&["LUFS", "LU"]) => 1.0,
            Unit::Percent if is(&["%"]) => 1.0,
            Unit::Ratio if is(&[":1"]) => 1.0,
            Unit::Number if is(&[]) => 1.0,
            _ => return Err(InvalidText::NotAValue),
        };
        Ok(self.rounded(number * factor))
    }

    /// Index of the choice with this name or unique beginning of a name.
    fn parse_choice(&self, text: &str) -> Option<f64> {
        let begins = |name: &str| name.get(..text.len()).is_some_and(|start| start.eq_ignore_ascii_case(text));
        let whole = self.choices.iter().position(|name| name.eq_ignore_ascii_case(text));
        let index = whole.or_else(|| {
            let mut found = self.choices.iter().enumerate().filter(|(_, name)| !text.is_empty() && begins(name));
            let first = found.next();
            if found.next().is_none() { first.map(|(index, _)| index) } else { None }
        })?;
        Some(index as f64)
    }
}

/// Splits a text into a leading number, if any, and its unit, without spaces around a colon. `inf:1` has no number and the
/// unit `inf`.
fn split_number(text: &str) -> Result<(Option<f64>, &str), InvalidText> {
    let mut digits = [0_u8; LONGEST_NUMBER];
    let mut length = 0;
    let mut comma = None;
    let mut end = text.len();
    for (at, character) in text.char_indices() {
        let byte = match character {
            '0'..='9' | '.' | '-' | '+' => character as u8,
            ',' => {
                comma = Some(length);
                b'.'
            }
            '−' => b'-',
            _ => {
                end = at;
                break;
            }
        };
        *digits.get_mut(length).ok_or(InvalidText::NotAValue)? = byte;
        length += 1;
    }
    let unit = text[end..].trim();
    // "3 : 1" and "inf:1"
    let unit = match unit.split_once(':') {
        Some((before, after)) if after.trim() == "1" => {
            if before.trim().is_empty() {
                ":1"
            } else {
                before.trim()
            }
        }
        _ => unit,
    };
    let digits = &digits[..length];
    if digits.is_empty() {
        return Ok((None, unit));
    }
    if comma.is_some_and(|comma| may_separate_thousands(&digits[..comma], &digits[comma + 1..])) {
        return Err(InvalidText::AmbiguousComma);
    }
    let number = core::str::from_utf8(digits).ok().and_then(|digits| digits.parse().ok());
    number.map(|number| (Some(number), unit)).ok_or(InvalidText::NotAValue)
}

/// Whether a comma between these characters may separate thousands: exactly three digits follow, up to the end or to a
/// point, and the digits before it are not just zeros.
fn may_separate_thousands(before: &[u8], after: &[u8]) -> bool {
    let digits = after.iter().take_while(|byte| byte.is_ascii_digit()).count();
    digits == 3 && before.iter().any(|byte| (b'1'..=b'9').contains(byte))
}

/// Exact text of a value, as [`SettingInfo::text`] returns it.
#[derive(Clone, Copy, Debug)]
pub struct ValueText<'a> {
    info: &'a SettingInfo,
    value: f64,
}

impl fmt::Display for ValueText<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let value = self.info.rounded(self.value);
        match self.info.unit {
            Unit::Switch => f.write_str(if value >= 0.5 { "on" } else { "off" }),
            Unit::Choice => f.write_str(self.info.choices.get(value as usize).copied().unwrap_or("")),
            Unit::Ratio if value == f64::INFINITY => f.write_str("inf:1"),
            Unit::Ratio => write!(f, "{value}:1"),
            Unit::Number => write!(f, "{value}"),
            Unit::Hertz if value >= 1_000.0 => write!(f, "{} kHz", five_digits(value / 1_000.0)),
            Unit::Millisecond if value >= 1_000.0 => write!(f, "{} s", five_digits(value / 1_000.0)),
            unit => write!(f, "{value} {}", unit.symbol()),
        }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::InvalidText;
    use crate::settings::position::tests::values;
    use crate::settings::{row, rows};
    use std::string::ToString;

    #[test]
    fn every_value_survives_its_text() {
        for info in rows() {
            for value in values(info) {
                let text = info.text(value).to_string();
                assert_eq!(info.parse(&text), Ok(value), "{} {text}", info.id);
                assert!(text.len() <= 16, "{} {text}", info.id);
            }
        }
    }

    #[test]
    fn values_are_written_in_their_units() {
        let cases = [
            ("corrective_eq.bell_1_frequency_hz", 2_500.0, "2.5 kHz"),
            ("corrective_eq.bell_1_frequency_hz", 999.99, "999.99 Hz"),
            ("corrective_eq.bell_1_frequency_hz", 1_000.0, "1 kHz"),
            ("high_pass.frequency_hz", 70.0, "70 Hz"),
            ("compressor.threshold_db", -18.0, "-18 dB"),
            ("compressor.ratio", 3.0, "3:1"),
            ("compressor.ratio", f64::INFINITY, "inf:1"),
            ("compressor.release_ms", 1_500.0, "1.5 s"),
            ("compressor.release_ms", 100.0, "100 ms"),
            ("compressor.mix_percent", 50.0, "50 %"),
            ("limiter.ceiling_dbtp", -1.0, "-1 dBTP"),
            ("trim.gain_db", -0.001, "0 dB"),
            ("tone_eq.bell_q", 0.7, "0.7"),
            ("high_pass.on", 1.0, "on"),
            ("high_pass.slope", 3.0, "24 dB/oct"),
            ("de_esser.mode", 0.0, "split-band"),
        ];
        for (id, value, expected) in cases {
            assert_eq!(row(id).unwrap().text(value).to_string(), expected, "{id}");
        }
    }

    #[test]
    fn what_a_person_types_is_read() {
        let cases = [
            ("corrective_eq.bell_1_frequency_hz", "2500", Some(2_500.0)),
            ("corrective_eq.bell_1_frequency_hz", " 2.5k ", Some(2_500.0)),
            ("corrective_eq.bell_1_frequency_hz", "2,5 khz", Some(2_500.0)),
            ("corrective_eq.bell_1_frequency_hz", "250 HZ", Some(250.0)),
            ("corrective_eq.bell_1_frequency_hz", "99 kHz", Some(20_000.0)),
            ("corrective_eq.bell_1_frequency_hz", "2.5 dB", None),
            ("compressor.threshold_db", "−18", Some(-18.0)),
            ("compressor.threshold_db", "-18dB", Some(-18.0)),
            ("compressor.ratio", "3", Some(3.0)),
            ("compressor.ratio", "2.5 : 1", Some(2.5)),
            ("compressor.ratio", "infinite", Some(f64::INFINITY)),
            ("compressor.ratio", "∞:1", Some(f64::INFINITY)),
            ("compressor.ratio", "3:2", None),
            ("compressor.release_ms", "1.5 s", Some(1_500.0)),
            ("compressor.threshold_db", "inf", None),
            ("compressor.threshold_db", "nan", None),
            ("compressor.threshold_db", "", None),
            ("compressor.threshold_db", "--3", None),
            ("compressor.threshold_db", "1.2.3", None),
            ("compressor.threshold_db", "0000000000000000000000000000000000001", None),
            ("high_pass.on", "OFF", Some(0.0)),
            ("high_pass.on", "perhaps", None),
            ("high_pass.slope", "24", Some(3.0)),
            ("high_pass.slope", "dB", None),
            ("de_esser.mode", "Wideband", Some(1.0)),
            ("de_esser.mode", "", None),
            ("de_esser.mode", "é", None),
        ];
        for (id, text, expected) in cases {
            assert_eq!(row(id).unwrap().parse(text).ok(), expected, "{id} {text:?}");
        }
    }

    #[test]
    fn a_comma_that_may_separate_thousands_is_refused() {
        let refused = [
            ("corrective_eq.bell_1_frequency_hz", "2,500 Hz"),
            ("corrective_eq.bell_1_frequency_hz", "2,500"),
            ("corrective_eq.bell_1_frequency_hz", "12,000 Hz"),
            ("corrective_eq.bell_1_frequency_hz", "1,234.5 Hz"),
            ("corrective_eq.bell_1_frequency_hz", "1,000,000 Hz"),
            ("corrective_eq.bell_1_frequency_hz", "2,500 kHz"),
            ("compressor.release_ms", "1,500 ms"),
            ("compressor.release_ms", "+1,500"),
        ];
        for (id, text) in refused {
            assert_eq!(row(id).unwrap().parse(text), Err(InvalidText::AmbiguousComma), "{id} {text:?}");
        }
        // Negative control: decimal commas and points.
        let accepted = [
            ("corrective_eq.bell_1_frequency_hz", "2,5 kHz", 2_500.0),
            ("corrective_eq.bell_1_frequency_hz", "2,25 kHz", 2_250.0),
            ("corrective_eq.bell_1_frequency_hz", "0,125 kHz", 125.0),
            ("corrective_eq.bell_1_frequency_hz", "2.500 kHz", 2_500.0),
            ("corrective_eq.bell_1_frequency_hz", "2500 Hz", 2_500.0),
            ("compressor.release_ms", "1,5 s", 1_500.0),
            ("compressor.threshold_db", "−18,5", -18.5),
        ];
        for (id, text, value) in accepted {
            assert_eq!(row(id).unwrap().parse(text), Ok(value), "{id} {text:?}");
        }
    }
}
