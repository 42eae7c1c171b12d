//! Numbers and settings as text.

use voicechain_core::StripSettings;
use voicechain_core::format::{Number, quantity};
use voicechain_core::propose::Proposal;
use voicechain_core::settings::{InvalidText, SectionId, SettingInfo};
use voicechain_core::units::Unit;

/// A number with `decimals` decimals, as the core writes numbers.
pub(crate) fn number(value: f64, decimals: usize) -> String {
    Number::new(value, decimals).to_string()
}

/// The same, with a plus sign above zero.
pub(crate) fn signed(value: f64, decimals: usize) -> String {
    Number::new(value, decimals).signed().to_string()
}

/// A frequency with its unit.
pub(crate) fn hertz(value: f64) -> String {
    quantity(value, "Hz").to_string()
}

/// The value of a setting as a row shows it.
pub(crate) fn value(info: &SettingInfo, value: f64) -> String {
    info.readable(value).to_string()
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
    match info.parse(text) {
        Err(InvalidText::AmbiguousComma) => {
            format!("\u{201c}{short}\u{201d}: {}; {allowed}", InvalidText::AmbiguousComma)
        }
        _ => format!("\u{201c}{short}\u{201d} is no {}: {allowed}", info.name),
    }
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
    fn every_value_fits_its_slot_and_is_read_back() {
        for info in rows() {
            for position in 0..=100 {
                let meant = info.value_at(f64::from(position) / 100.0);
                let text = value(info, meant);
                assert!(text.chars().count() <= widest(info), "{} {text}", info.id);
                assert!(info.parse(&text).is_ok(), "{} {text}", info.id);
            }
        }
    }
}
