//! The plain data of a report, as written to `report.json`.
//!
//! Levels are rounded to two decimals when they are written, times to three; there is no negative zero. A quantity that
//! does not exist (the loudness of silence, say) is `None` and becomes `null`. A number that must exist and is not finite
//! is an error instead of a made-up value.

use serde::{Deserialize, Serialize};

/// Number of the file format, written as `format`.
pub const FORMAT: u32 = 1;

/// The JSON Schema (draft 2020-12) of `report.json`.
pub const SCHEMA: &str = include_str!("schema.json");

/// A whole report.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Report {
    /// Format of the file, [`FORMAT`].
    pub format: u32,
    /// What was made, in a few words.
    pub title: String,
    /// What the demo invented; absent when the recordings were the user's own.
    pub demo: Option<Demo>,
    /// The voices, in the order of the mix.
    pub voices: Vec<Voice>,
    /// The delivered mix.
    pub mix: Mix,
    /// What was asked for.
    pub target: Target,
    /// How long it is and how long it took.
    pub timing: Timing,
    /// Warnings that concern the whole job.
    pub warnings: Vec<String>,
    /// Every file that was written, relative to the folder of the report.
    pub files: Vec<WrittenFile>,
}

/// What the demo invented, so that the result can be judged against it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Demo {
    /// The invented situation, in a sentence.
    pub scenario: String,
    /// The faults that were put in on purpose.
    pub faults: Vec<Fault>,
}

/// One fault of a demo voice.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Fault {
    /// Name of the voice.
    pub voice: String,
    /// The fault in words, with its size.
    pub description: String,
}

/// One voice: the file as it came, and what became of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Voice {
    /// Name in tables and file names.
    pub name: String,
    /// The recording, as the user gave it.
    pub file: String,
    /// Length of the recording.
    #[serde(with = "three_decimals")]
    pub duration_s: f64,
    /// Sample rate of the recording.
    pub sample_rate_hz: u32,
    /// Channels of the recording.
    pub channels: u16,
    /// Measured on the recording.
    pub input: Levels,
    /// Measured on the processed and balanced voice, before programme gain and programme limiter.
    pub output: Levels,
    /// What each stage added or took, in signal order.
    pub ledger: Vec<LedgerEntry>,
    /// What the dynamic stages took away.
    pub gain_reduction: GainReductions,
    /// Where the settings are from, in a few words.
    #[serde(default)]
    pub settings_source: String,
    /// The settings of each stage in words, in signal order.
    pub settings: Vec<StageDescription>,
    /// What was measured and what was set from it; empty when the settings were given.
    #[serde(default)]
    pub evidence: Vec<Reason>,
    /// Gain that brought the voice to the level of the others, after the strip.
    #[serde(with = "two_decimals")]
    pub balance_gain_db: f64,
    /// What a person should know about this recording.
    pub warnings: Vec<String>,
}

/// Loudness (ITU-R BS.1770), loudness range (EBU Tech 3342) and peaks of one file.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Levels {
    /// Integrated loudness.
    #[serde(with = "two_decimals_or_null")]
    pub integrated_lufs: Option<f64>,
    /// Loudness range.
    #[serde(with = "two_decimals_or_null")]
    pub loudness_range_lu: Option<f64>,
    /// Largest true peak.
    #[serde(with = "two_decimals_or_null")]
    pub true_peak_dbtp: Option<f64>,
    /// Largest sample.
    #[serde(with = "two_decimals_or_null")]
    pub sample_peak_dbfs: Option<f64>,
}

/// What one stage added (positive) or took (negative).
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LedgerEntry {
    /// Id of the stage, as in the settings file.
    pub stage: String,
    /// Loudness after it minus loudness before it.
    #[serde(with = "two_decimals_or_null")]
    pub lu: Option<f64>,
}

/// What the dynamic stages of a voice took away.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct GainReductions {
    /// The de-reverb.
    #[serde(default)]
    pub de_reverb: GainReduction,
    /// The expander.
    #[serde(default)]
    pub expander: GainReduction,
    /// The leveller's cuts.
    #[serde(default)]
    pub leveller: GainReduction,
    /// The compressor.
    pub compressor: GainReduction,
    /// The de-esser.
    pub de_esser: GainReduction,
    /// The limiter.
    pub limiter: GainReduction,
}

/// How much a stage took away over time: amounts, never negative.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct GainReduction {
    /// Half of the time it took more than this.
    #[serde(with = "two_decimals")]
    pub median_db: f64,
    /// One twentieth of the time it took more than this.
    #[serde(with = "two_decimals")]
    pub p95_db: f64,
    /// The most it ever took.
    #[serde(with = "two_decimals")]
    pub max_db: f64,
}

/// The settings of one stage, in words.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StageDescription {
    /// Id of the stage, as in the settings file.
    pub stage: String,
    /// Whether the stage was on.
    pub on: bool,
    /// Its settings, such as `72 Hz · 24 dB/oct`.
    pub description: String,
    /// What led to them besides the evidence, if something did.
    pub rationale: Option<String>,
}

/// One measurement, and the settings of one stage that follow from it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reason {
    /// Id of the stage, as in the settings file.
    pub stage: String,
    /// Ids of the settings.
    pub settings: Vec<String>,
    /// All of it as a sentence.
    pub sentence: String,
    /// How sure it is, 0 to 1.
    #[serde(with = "two_decimals")]
    pub confidence: f64,
}

/// The delivered mix.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Mix {
    /// Integrated loudness of the file.
    #[serde(with = "two_decimals_or_null")]
    pub integrated_lufs: Option<f64>,
    /// Loudness range of the file.
    #[serde(with = "two_decimals_or_null")]
    pub loudness_range_lu: Option<f64>,
    /// Largest true peak of the file.
    #[serde(with = "two_decimals_or_null")]
    pub true_peak_dbtp: Option<f64>,
    /// Largest sample of the file.
    #[serde(with = "two_decimals_or_null")]
    pub sample_peak_dbfs: Option<f64>,
    /// Sample rate of the file.
    pub sample_rate_hz: u32,
    /// Bits per sample: 16, 24, or 32 for float.
    pub bits: u16,
    /// Channels of the file.
    pub channels: u16,
    /// Length of the file.
    #[serde(with = "three_decimals")]
    pub duration_s: f64,
    /// Gain that brought the sum of the voices to the target.
    #[serde(with = "two_decimals")]
    pub programme_gain_db: f64,
    /// What the programme limiter took away.
    pub limiter: GainReduction,
}

/// What was asked for.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Target {
    /// Integrated loudness.
    #[serde(with = "two_decimals")]
    pub integrated_lufs: f64,
    /// True peak that is not passed.
    #[serde(with = "two_decimals")]
    pub ceiling_dbtp: f64,
    /// How far the loudness may be off in either direction and still count as met.
    #[serde(with = "two_decimals")]
    pub tolerance_lu: f64,
    /// The published document the target was taken from, if it was.
    pub document: Option<String>,
}

/// How long the programme is and how long the work took.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Timing {
    /// Length of the programme.
    #[serde(with = "three_decimals")]
    pub programme_s: f64,
    /// Wall-clock time of the work.
    #[serde(with = "three_decimals")]
    pub processing_s: f64,
}

/// A file that was written.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct WrittenFile {
    /// Name, relative to the folder of the report.
    pub name: String,
    /// What it is, in a few words.
    pub description: String,
}

/// How the delivered file stands against what was asked for, judged on the values as shown (one decimal).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Compliance {
    /// Delivered loudness minus target.
    pub loudness_deviation_lu: Option<f64>,
    /// True peak minus ceiling.
    pub true_peak_excess_db: Option<f64>,
    /// Whether the loudness lies within the tolerance.
    pub loudness_compliant: bool,
    /// Whether the true peak stays at or under the ceiling. A silent file has no peak and stays under it.
    pub true_peak_compliant: bool,
}

impl Compliance {
    /// Whether both limits are met.
    #[must_use]
    pub fn is_compliant(&self) -> bool {
        self.loudness_compliant && self.true_peak_compliant
    }
}

impl Report {
    /// The report as the text of `report.json`, ending in a line feed.
    ///
    /// # Errors
    /// A quantity that must exist is not finite.
    pub fn to_json(&self) -> Result<String, serde_json::Error> {
        serde_json::to_string_pretty(self).map(|text| text + "\n")
    }

    /// Reads the text of a `report.json`.
    ///
    /// # Errors
    /// The text is not JSON, or not a report.
    pub fn from_json(text: &str) -> Result<Self, serde_json::Error> {
        serde_json::from_str(text)
    }

    /// Compares what was delivered with what was asked for.
    #[must_use]
    pub fn compliance(&self) -> Compliance {
        let tenth = |value: f64| round(value, 1);
        let off = self.mix.integrated_lufs.map(|lufs| tenth(tenth(lufs) - tenth(self.target.integrated_lufs)));
        let over = self.mix.true_peak_dbtp.map(|peak| tenth(tenth(peak) - tenth(self.target.ceiling_dbtp)));
        Compliance {
            loudness_deviation_lu: off,
            true_peak_excess_db: over,
            loudness_compliant: off.is_some_and(|off| off.abs() <= self.target.tolerance_lu + 1e-9),
            true_peak_compliant: over.is_none_or(|over| over <= 0.0),
        }
    }

    /// Largest difference in loudness between two balanced voices; `None` with fewer than two measurable ones.
    #[must_use]
    pub fn balance_spread_lu(&self) -> Option<f64> {
        let measured: Vec<f64> = self.voices.iter().filter_map(|voice| voice.output.integrated_lufs).collect();
        let least = measured.iter().copied().reduce(f64::min)?;
        let most = measured.iter().copied().reduce(f64::max)?;
        (measured.len() > 1).then_some(most - least)
    }
}

impl Voice {
    /// The sum of the ledger; `None` when no stage could be measured.
    #[must_use]
    pub fn ledger_sum_lu(&self) -> Option<f64> {
        self.ledger.iter().filter_map(|entry| entry.lu).reduce(|sum, lu| sum + lu)
    }
}

impl GainReductions {
    /// All of them.
    #[must_use]
    pub fn all(&self) -> [GainReduction; 6] {
        [self.de_reverb, self.expander, self.leveller, self.de_esser, self.compressor, self.limiter]
    }

    /// The entry of the stage with this id.
    #[must_use]
    pub fn of(&self, stage: &str) -> Option<GainReduction> {
        match stage {
            "de_reverb" => Some(self.de_reverb),
            "expander" => Some(self.expander),
            "leveller" => Some(self.leveller),
            "compressor" => Some(self.compressor),
            "de_esser" => Some(self.de_esser),
            "limiter" => Some(self.limiter),
            _ => None,
        }
    }
}

/// Rounds to `decimals`; the result is never a negative zero.
pub(crate) fn round(value: f64, decimals: i32) -> f64 {
    let scale = 10f64.powi(decimals);
    let rounded = (value * scale).round() / scale;
    if rounded == 0.0 { 0.0 } else { rounded }
}

fn write_rounded<S: serde::Serializer>(value: f64, decimals: i32, serializer: S) -> Result<S::Ok, S::Error> {
    if value.is_finite() {
        serializer.serialize_f64(round(value, decimals))
    } else {
        Err(serde::ser::Error::custom(format!("a report needs a finite number here, got {value}")))
    }
}

mod two_decimals {
    use serde::{Deserialize, Deserializer, Serializer};

    pub(super) fn serialize<S: Serializer>(value: &f64, serializer: S) -> Result<S::Ok, S::Error> {
        super::write_rounded(*value, 2, serializer)
    }
    pub(super) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<f64, D::Error> {
        f64::deserialize(deserializer)
    }
}

mod three_decimals {
    use serde::Serializer;

    pub(super) use super::two_decimals::deserialize;

    pub(super) fn serialize<S: Serializer>(value: &f64, serializer: S) -> Result<S::Ok, S::Error> {
        super::write_rounded(*value, 3, serializer)
    }
}

mod two_decimals_or_null {
    use serde::{Deserialize, Deserializer, Serializer};

    pub(super) fn serialize<S: Serializer>(value: &Option<f64>, serializer: S) -> Result<S::Ok, S::Error> {
        match value {
            Some(value) if value.is_finite() => super::write_rounded(*value, 2, serializer),
            _ => serializer.serialize_none(),
        }
    }
    pub(super) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<f64>, D::Error> {
        Option::deserialize(deserializer)
    }
}
