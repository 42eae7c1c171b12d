//! The stored figures: settings by their position in the table, and expected values.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use voicechain_core::StripSettings;
use voicechain_core::settings::{ReorderableStage, SpectralLatency, rows};

const STORED: &str = include_str!("figures.txt");
const POSITIONS: &str = include_str!("positions.txt");

/// Named settings.
#[derive(Clone, Debug)]
pub(crate) struct Case {
    pub(crate) name: String,
    line: String,
    pub(crate) settings: StripSettings,
}

/// One value of a figure.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Value {
    /// Must be identical: a decision, a position, a hash.
    Exact(String),
    /// A measured number with a tolerance.
    Near(f64),
}

impl Value {
    pub(crate) fn exact(value: impl ToString) -> Self {
        Self::Exact(value.to_string())
    }

    fn agrees(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::Exact(a), Self::Exact(b)) => a == b,
            (Self::Near(a), Self::Near(b)) => {
                a.to_bits() == b.to_bits()
                    || (a.is_nan() && b.is_nan())
                    || a == b
                    || (a - b).abs() <= 1e-3_f64.max(2e-5 * a.abs().max(b.abs()))
            }
            _ => false,
        }
    }
}

/// A named list of values.
#[derive(Clone, Debug)]
pub(crate) struct Figure {
    pub(crate) name: String,
    pub(crate) values: Vec<Value>,
}

/// Content of the file of figures.
pub(crate) struct Figures {
    pub(crate) cases: Vec<Case>,
    figures: BTreeMap<String, Vec<Value>>,
    head: Vec<String>,
}

/// Ids of all settings, in the order of the table of commit b1805f7.
pub(crate) fn ids() -> impl Iterator<Item = &'static str> {
    let lines = POSITIONS.lines().filter(|line| !line.starts_with('#'));
    lines.map(|line| line.rsplit(" -> ").next().unwrap_or(line))
}

/// The values of all settings by position, then the positions of the reorderable stages.
pub(crate) fn positions(settings: &StripSettings) -> String {
    let mut text = String::new();
    for id in ids() {
        let counts_as_on = id == "de_reverb.on" && settings.spectral.latency == SpectralLatency::None;
        let value = if counts_as_on { Some(1.0) } else { settings.get(id) };
        let _ = write!(text, "{} ", value.unwrap_or(f64::NAN));
    }
    let order: Vec<String> = settings.order.iter().map(|stage| (*stage as u8).to_string()).collect();
    text + "| " + &order.join(" ")
}

fn from_positions(text: &str) -> Result<StripSettings, String> {
    let (values, order) = text.split_once('|').ok_or("settings without an order")?;
    let mut settings = StripSettings::default();
    let values: Vec<f64> =
        values.split_whitespace().map(str::parse).collect::<Result<_, _>>().map_err(|e| format!("settings: {e}"))?;
    if values.len() != ids().count() || values.len() != rows().count() {
        return Err(format!("settings have {} positions, the table {}", values.len(), rows().count()));
    }
    for (id, value) in ids().zip(values) {
        settings.set(id, value).map_err(|e| format!("{id}: {e}"))?;
    }
    let order: Vec<ReorderableStage> = order
        .split_whitespace()
        .filter_map(|at| ReorderableStage::ALL.get(at.parse::<usize>().ok()?).copied())
        .collect();
    settings.order = order.try_into().map_err(|_| "an order with a wrong number of stages")?;
    settings.check().map_err(|e| e.to_string())?;
    Ok(settings)
}

impl Figures {
    pub(crate) fn stored() -> Result<Self, String> {
        let mut stored = Self { cases: Vec::new(), figures: BTreeMap::new(), head: Vec::new() };
        for line in STORED.lines() {
            if line.starts_with('#') || line.is_empty() {
                stored.head.push(line.to_owned());
            } else if let Some(rest) = line.strip_prefix("settings ") {
                let (name, values) = rest.split_once(": ").ok_or_else(|| format!("no name in {line:?}"))?;
                stored.cases.push(Case {
                    name: name.to_owned(),
                    line: line.to_owned(),
                    settings: from_positions(values)?,
                });
            } else {
                let (name, values) = line.split_once(": ").ok_or_else(|| format!("no name in {line:?}"))?;
                let values = values.split(' ').map(|word| match word.strip_prefix('=') {
                    Some(exact) => Ok(Value::Exact(exact.to_owned())),
                    None => word.parse().map(Value::Near).map_err(|e| format!("{word}: {e}")),
                });
                stored.figures.insert(name.to_owned(), values.collect::<Result<_, String>>()?);
            }
        }
        Ok(stored)
    }

    /// The text of the file, with these figures in place of the stored ones.
    pub(crate) fn written(&self, found: &[Figure]) -> String {
        let mut text = String::new();
        for line in &self.head {
            let _ = writeln!(text, "{line}");
        }
        for case in &self.cases {
            let _ = writeln!(text, "{}", case.line);
        }
        for figure in found {
            let values: Vec<String> = figure
                .values
                .iter()
                .map(|value| match value {
                    Value::Exact(word) => format!("={word}"),
                    Value::Near(number) => {
                        format!("{number:.5}").trim_end_matches('0').trim_end_matches('.').to_owned()
                    }
                })
                .collect();
            let _ = writeln!(text, "{}: {}", figure.name, values.join(" "));
        }
        text
    }

    /// One line for each figure that differs, with its differing values.
    pub(crate) fn differences(&self, found: &[Figure], wanted: &dyn Fn(&str) -> bool) -> Vec<String> {
        let mut differences = Vec::new();
        for Figure { name, values } in found {
            let Some(before) = self.figures.get(name) else {
                differences.push(format!("{name}: not among the stored figures"));
                continue;
            };
            let mut wrong: Vec<String> = before
                .iter()
                .zip(values)
                .enumerate()
                .filter(|(_, (before, now))| !before.agrees(now))
                .map(|(at, (before, now))| format!("#{at} was {before:?}, is {now:?}"))
                .collect();
            if before.len() != values.len() {
                wrong.push(format!("{} values instead of {}", values.len(), before.len()));
            }
            if !wrong.is_empty() {
                differences.push(format!("{name}: {}", wrong.join("; ")));
            }
        }
        for name in self.figures.keys() {
            let part = name.split(' ').next().unwrap_or_default();
            if wanted(part) && found.iter().all(|figure| figure.name != *name) {
                differences.push(format!("{name}: no longer found"));
            }
        }
        differences
    }
}

/// FNV-1a hash over the bits of samples.
#[derive(Clone, Copy)]
pub(crate) struct Hash(u64);

impl Hash {
    pub(crate) fn new() -> Self {
        Self(0xCBF2_9CE4_8422_2325)
    }

    pub(crate) fn bytes(&mut self, bytes: &[u8]) {
        for &byte in bytes {
            self.0 = (self.0 ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01B3);
        }
    }

    pub(crate) fn samples<'a>(&mut self, samples: impl IntoIterator<Item = &'a f32>) {
        for sample in samples {
            self.bytes(&sample.to_bits().to_le_bytes());
        }
    }

    pub(crate) fn value(self) -> Value {
        Value::Exact(format!("{:016x}", self.0))
    }
}
