//! Table of settings in Markdown.

use super::table::{StripSettings, rows};
use crate::units::Unit;

impl StripSettings {
    /// Writes the table of settings in Markdown, one line per setting.
    ///
    /// # Errors
    /// Errors of the writer.
    pub fn write_table(to: &mut impl core::fmt::Write) -> core::fmt::Result {
        writeln!(to, "| setting | name | range | default | what it does |")?;
        writeln!(to, "| --- | --- | --- | --- | --- |")?;
        for info in rows() {
            let choice = info.choices.get(info.default as usize).copied().unwrap_or("");
            write!(to, "| `{}` | {} | ", info.id, info.name)?;
            match info.unit {
                Unit::Switch => write!(to, "off, on | {} | ", if info.default == 1.0 { "on" } else { "off" })?,
                Unit::Choice => {
                    for (i, name) in info.choices.iter().enumerate() {
                        write!(to, "{}{name}", if i == 0 { "" } else { ", " })?;
                    }
                    write!(to, " | {choice} | ")?;
                }
                Unit::Ratio => write!(to, "{} to {}, infinite | {}:1 | ", info.min, info.max, info.default)?,
                unit => {
                    let space = if unit.symbol().is_empty() { "" } else { " " };
                    let symbol = unit.symbol();
                    write!(to, "{} to {}{space}{symbol} | ", info.min, info.max)?;
                    write!(to, "{}{space}{symbol} | ", info.default)?;
                }
            }
            writeln!(to, "{} |", info.explanation)?;
        }
        Ok(())
    }
}
