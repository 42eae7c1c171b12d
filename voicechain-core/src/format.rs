//! Numbers, units and names as a person reads them: one rounding per unit, in sentences, tables and windows alike.
//!
//! Decibels and loudness have one decimal, frequencies three digits, times three digits in ms below one second and in s
//! from there, per cent none, ratios and Q no more digits than they need. Minus is U+2212, zero has no sign, and a number
//! that is not finite is a dash. What has to be read back to the last digit is written by
//! [`SettingInfo::text`](crate::settings::SettingInfo::text) instead.

use core::fmt::{self, Write};

/// Stands for a number that there is not.
pub const MISSING: &str = "–";
/// Longest text of a rounded number, bytes; longer ones are written as they are.
const MAX_LENGTH: usize = 32;

/// A number with a given number of decimals, as it displays.
///
/// Tested by `numbers_have_a_true_minus_and_no_negative_zero`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Number {
    value: f64,
    decimals: usize,
    plus: bool,
    trimmed: bool,
}

impl Number {
    /// The number rounded to `decimals`.
    #[must_use]
    pub const fn new(value: f64, decimals: usize) -> Self {
        Self { value, decimals, plus: false, trimmed: false }
    }

    /// With a plus sign where it is above zero.
    #[must_use]
    pub const fn signed(mut self) -> Self {
        self.plus = true;
        self
    }

    /// Without zeros at the end of its decimals.
    #[must_use]
    pub const fn trimmed(mut self) -> Self {
        self.trimmed = true;
        self
    }
}

/// A text of bounded length without allocation.
struct Short {
    bytes: [u8; MAX_LENGTH],
    length: usize,
}

impl Write for Short {
    fn write_str(&mut self, text: &str) -> fmt::Result {
        let end = self.length + text.len();
        self.bytes.get_mut(self.length..end).ok_or(fmt::Error)?.copy_from_slice(text.as_bytes());
        self.length = end;
        Ok(())
    }
}

impl fmt::Display for Number {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if !self.value.is_finite() {
            return f.write_str(MISSING);
        }
        let (size, decimals) = (libm::fabs(self.value), self.decimals);
        let mut short = Short { bytes: [0; MAX_LENGTH], length: 0 };
        if write!(short, "{size:.decimals$}").is_err() {
            return write!(f, "{:.decimals$}", self.value);
        }
        let digits = core::str::from_utf8(&short.bytes[..short.length]).unwrap_or_default();
        let digits =
            if self.trimmed && decimals > 0 { digits.trim_end_matches('0').trim_end_matches('.') } else { digits };
        if digits.bytes().any(|byte| byte.is_ascii_digit() && byte != b'0') {
            f.write_str(if self.value < 0.0 {
                "\u{2212}"
            } else if self.plus {
                "+"
            } else {
                ""
            })?;
        }
        f.write_str(digits)
    }
}

/// A number with its unit, as it displays: `72 Hz`, `2.5 kHz`, `354 ms`, `1.28 s`, `−18.0 dB`, `4:1`, `30 %`.
///
/// Tested by `every_unit_has_one_rounding`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quantity<'a> {
    value: f64,
    unit: &'a str,
    plus: bool,
}

/// `value` in `unit`; the unit is written as in [`Unit::symbol`](crate::units::Unit::symbol), and `s` for seconds.
///
/// ```
/// use voicechain_core::format::quantity;
///
/// assert_eq!(format!("{}, {}", quantity(0.354, "s"), quantity(-3.0, "dB")), "354 ms, −3.0 dB");
/// ```
#[must_use]
pub const fn quantity(value: f64, unit: &str) -> Quantity<'_> {
    Quantity { value, unit, plus: false }
}

impl Quantity<'_> {
    /// With a plus sign where it is above zero.
    #[must_use]
    pub const fn signed(mut self) -> Self {
        self.plus = true;
        self
    }

    fn write(&self, f: &mut fmt::Formatter<'_>, number: Number, unit: &str) -> fmt::Result {
        fmt::Display::fmt(&if self.plus { number.signed() } else { number }, f)?;
        match unit {
            "" => Ok(()),
            ":1" => f.write_str(unit),
            _ => write!(f, " {unit}"),
        }
    }

    /// Three digits, at most `decimals` of them behind the point, in the unit or in the one that is a thousand times as large.
    fn write_scaled(&self, f: &mut fmt::Formatter<'_>, value: f64, decimals: usize, units: [&str; 2]) -> fmt::Result {
        let (value, decimals, unit) =
            if libm::fabs(value) < 999.5 { (value, decimals, units[0]) } else { (value / 1_000.0, 2, units[1]) };
        let whole = match libm::fabs(value) {
            size if size < 9.995 => 1,
            size if size < 99.95 => 2,
            _ => 3,
        };
        self.write(f, Number::new(value, decimals.min(3 - whole)).trimmed(), unit)
    }
}

impl fmt::Display for Quantity<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { value, unit, .. } = *self;
        match unit {
            "Hz" => self.write_scaled(f, value, 0, ["Hz", "kHz"]),
            "ms" => self.write_scaled(f, value, 1, ["ms", "s"]),
            "s" => self.write_scaled(f, 1_000.0 * value, 1, ["ms", "s"]),
            ":1" if value == f64::INFINITY => f.write_str("∞:1"),
            ":1" => self.write(f, Number::new(value, 1).trimmed(), unit),
            "" => self.write(f, Number::new(value, 2).trimmed(), unit),
            "%" => self.write(f, Number::new(value, 0), unit),
            _ => self.write(f, Number::new(value, 1), unit),
        }
    }
}

/// A name inside a sentence: its first letter is lower case.
#[derive(Clone, Copy, Debug)]
pub struct InSentence<'a>(pub &'a str);

impl fmt::Display for InSentence<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write_first(f, self.0, |letter| letter.to_ascii_lowercase())
    }
}

/// The beginning of a sentence: its first letter is upper case.
#[derive(Clone, Copy, Debug)]
pub struct SentenceStart<'a>(pub &'a str);

impl fmt::Display for SentenceStart<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write_first(f, self.0, |letter| letter.to_ascii_uppercase())
    }
}

fn write_first(f: &mut fmt::Formatter<'_>, text: &str, changed: impl Fn(char) -> char) -> fmt::Result {
    let mut letters = text.chars();
    if let Some(first) = letters.next() {
        f.write_char(changed(first))?;
    }
    f.write_str(letters.as_str())
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::string::ToString;

    #[test]
    fn numbers_have_a_true_minus_and_no_negative_zero() {
        let cases = [
            (Number::new(-27.94, 1), "−27.9"),
            (Number::new(-0.04, 1), "0.0"),
            (Number::new(0.04, 1).signed(), "0.0"),
            (Number::new(0.06, 1).signed(), "+0.1"),
            (Number::new(-3.0, 1).signed(), "−3.0"),
            (Number::new(3.0, 1).trimmed(), "3"),
            (Number::new(200.0, 0).trimmed(), "200"),
            (Number::new(1.25, 2).trimmed(), "1.25"),
            (Number::new(f64::NAN, 1), "–"),
            (Number::new(f64::NEG_INFINITY, 1), "–"),
        ];
        for (number, text) in cases {
            assert_eq!(number.to_string(), text, "{number:?}");
        }
        assert_eq!(Number::new(1e60, 0).to_string(), std::format!("{:.0}", 1e60));
    }

    #[test]
    fn every_unit_has_one_rounding() {
        let cases = [
            (quantity(72.4, "Hz"), "72 Hz"),
            (quantity(999.6, "Hz"), "1 kHz"),
            (quantity(2_500.0, "Hz"), "2.5 kHz"),
            (quantity(12_340.0, "Hz"), "12.3 kHz"),
            (quantity(0.354, "s"), "354 ms"),
            (quantity(354.0, "ms"), "354 ms"),
            (quantity(2.54, "ms"), "2.5 ms"),
            (quantity(1.284, "s"), "1.28 s"),
            (quantity(4_000.0, "ms"), "4 s"),
            (quantity(12.34, "s"), "12.3 s"),
            (quantity(-18.0, "dB"), "−18.0 dB"),
            (quantity(2.0, "dB").signed(), "+2.0 dB"),
            (quantity(-23.04, "LUFS"), "−23.0 LUFS"),
            (quantity(4.0, ":1"), "4:1"),
            (quantity(2.5, ":1"), "2.5:1"),
            (quantity(f64::INFINITY, ":1"), "∞:1"),
            (quantity(29.6, "%"), "30 %"),
            (quantity(0.71, ""), "0.71"),
            (quantity(f64::NAN, "dB"), "– dB"),
        ];
        for (quantity, text) in cases {
            assert_eq!(quantity.to_string(), text, "{quantity:?}");
        }
    }

    #[test]
    fn names_fit_into_sentences() {
        assert_eq!(InSentence("Corrective EQ").to_string(), "corrective EQ");
        assert_eq!(SentenceStart("the decay time").to_string(), "The decay time");
        assert_eq!(InSentence("").to_string(), "");
    }
}
