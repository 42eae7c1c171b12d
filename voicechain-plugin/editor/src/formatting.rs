//! Numbers and settings as text.

use voicechain_core::StripSettings;
use voicechain_core::propose::Proposal;
use voicechain_core::settings::{SectionId, SettingInfo};
use voicechain_core::units::Unit;

/// A number with so many decimals, a true minus sign and no negative zero.
pub(crate) fn number(value: f64, decimals: usize) -> String {
    let text = format!("{:.decimals$}", value.abs());
    let zero = text.chars().all(|c| c == '0' || c == '.');
    if value < 0.0 && !zero { format!("\u{2212}{text}") } else { text }
}

/// The same, with a plus sign.
pub(crate) fn signed(value: f64, decimals: usize) -> String {
    let text = number(value, decimals);
    let zero = text.chars().all(|c| c == '0' || c == '.');
    if value > 0.0 && !zero { format!("+{text}") } else { text }
}

/// A frequency with three digits.
pub(crate) fn hertz(value: f64) -> String {
    match value {
        v if v >= 9_995.0 => format!("{} kHz", number(v / 1_000.0, 1)),
        v if v >= 999.5 => format!("{} kHz", number(v / 1_000.0, 2)),
        v => format!("{} Hz", number(v, 0)),
    }
}

/// The value of a setting as a row shows it: always as precise, so that nothing jumps while it is dragged.
pub(crate) fn value(info: &SettingInfo, value: f64) -> String {
    let gain = info.unit == Unit::Decibel && info.min < 0.0 && info.max > 0.0;
    match info.unit {
        Unit::Decibel if gain => format!("{} dB", signed(value, 1)),
        Unit::Decibel => format!("{} dB", number(value, 1)),
        Unit::DecibelTruePeak => format!("{} dBTP", number(value, 1)),
        Unit::Loudness => format!("{} LUFS", number(value, 1)),
        Unit::Hertz => hertz(value),
        Unit::Millisecond if value >= 999.5 => format!("{} s", number(value / 1_000.0, 2)),
        Unit::Millisecond if value >= 99.5 => format!("{} ms", number(value, 0)),
        Unit::Millisecond => format!("{} ms", number(value, 1)),
        Unit::Percent => format!("{} %", number(value, 0)),
        Unit::Ratio if value.is_infinite() => "\u{221e}:1".into(),
        Unit::Ratio => format!("{}:1", number(value, 1)),
        Unit::Number => number(value, 2),
        Unit::Switch => if value >= 0.5 { "on" } else { "off" }.into(),
        Unit::Choice => info.choices.get(value as usize).copied().unwrap_or("").into(),
    }
}

/// The most letters that [`value`] needs: what a slot is made for.
pub(crate) fn widest(info: &SettingInfo) -> usize {
    match info.unit {
        Unit::Decibel | Unit::Hertz => 8,
        Unit::DecibelTruePeak | Unit::Loudness => 10,
        Unit::Millisecond => 7,
        Unit::Percent => 5,
        Unit::Ratio => 6,
        Unit::Number => 5,
        Unit::Switch => 3,
        Unit::Choice => info.choices.iter().map(|name| name.chars().count()).max().unwrap_or(0),
    }
}

/// What a setting is called for somebody who does not see its row.
pub(crate) fn setting(section: SectionId, info: &SettingInfo) -> String {
    format!("{} {}", section.name(), info.name)
}

/// Why a typed text is no value of a setting, with what is.
pub(crate) fn refusal(info: &SettingInfo, text: &str) -> String {
    let short: String = text.chars().take(16).collect();
    let allowed = match info.unit {
        Unit::Switch => "on or off".to_string(),
        Unit::Choice => info.choices.join(", "),
        Unit::Ratio => "1:1 to 20:1, or infinite".to_string(),
        _ => format!("{} to {}", info.text(info.min), info.text(info.max)).replace('-', "\u{2212}"),
    };
    format!("\u{201c}{short}\u{201d} is no {}: {allowed}", info.name)
}

/// Settings that a proposal would change: old and new, as text.
pub(crate) fn changes(section: SectionId, now: &StripSettings, proposal: &Proposal) -> Vec<String> {
    let rows = section.rows().iter().enumerate();
    rows.filter_map(|(row, info)| {
        let (old, new) = (now.value(section, row)?, info.rounded(proposal.settings.value(section, row)?));
        (info.rounded(old) != new).then(|| match info.unit {
            Unit::Switch if info.name == "on" => value(info, new),
            _ => format!("{} {}", info.name, value(info, new)),
        })
    })
    .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use voicechain_core::settings::rows;

    #[test]
    fn numbers_have_a_true_minus_and_no_negative_zero() {
        assert_eq!(number(-0.04, 1), "0.0");
        assert_eq!(signed(0.04, 1), "0.0");
        assert_eq!(number(-3.0, 1), "\u{2212}3.0");
        assert_eq!(signed(3.0, 1), "+3.0");
        assert_eq!([hertz(72.4), hertz(999.6), hertz(12_500.0)], ["72 Hz", "1.00 kHz", "12.5 kHz"]);
    }

    #[test]
    fn every_value_fits_its_slot_and_is_read_back() {
        for info in rows() {
            for position in 0..=100 {
                let meant = info.value_at(f64::from(position) / 100.0);
                let text = value(info, meant);
                assert!(text.chars().count() <= widest(info), "{} {text}", info.id);
                assert!(info.parse(&text).is_some(), "{} {text}", info.id);
            }
        }
    }
}
