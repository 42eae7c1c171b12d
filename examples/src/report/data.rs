//! Data of a report, as written to `report.json`.
//!
//! Levels are written with two decimals, times with three, never with a negative zero. A quantity that does not exist,
//! such as the loudness of silence, is `None` and becomes `null`. A required number that is not finite is an error.

use crate::delivery::DeliverySpec;
use serde::{Deserialize, Serialize};

/// Loudness increase of a mono voice that plays on two channels, dB: 10 log10(2).
pub const DUAL_MONO_GAIN_DB: f64 = 3.010_299_956_639_812;

/// Format number, written as `format`.
pub const FORMAT: u32 = 1;

/// JSON Schema (draft 2020-12) of `report.json`.
pub const SCHEMA: &str = include_str!("schema.json");

/// Report of a job.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Report {
    /// Format number, [`FORMAT`].
    pub format: u32,
    /// Title of the job.
    pub title: String,
    /// Description of the demo; `None` for the user's own recordings.
    pub demo: Option<Demo>,
    /// The voices, in the order of the mix.
    pub voices: Vec<Voice>,
    /// The delivered mix.
    pub mix: Mix,
    /// The requested delivery.
    pub target: Target,
    /// Length of the programme and processing time.
    pub timing: Timing,
    /// Warnings about the whole job.
    pub warnings: Vec<String>,
    /// All written files, relative to the folder of the report.
    pub files: Vec<WrittenFile>,
}

/// Description of the demo, including the true faults of its voices.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Demo {
    /// Scenario of the demo.
    pub scenario: String,
    /// Deliberate faults of the voices.
    pub faults: Vec<Fault>,
}

/// Fault of a demo voice.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Fault {
    /// Name of the voice.
    pub voice: String,
    /// Description of the fault with its size.
    pub description: String,
}

/// Voice: measurements before and after processing, settings and their reasons.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Voice {
    /// Name in tables and file names.
    pub name: String,
    /// File name of the recording.
    pub file: String,
    /// Length of the recording, s.
    #[serde(with = "three_decimals")]
    pub duration_s: f64,
    /// Sample rate of the recording, Hz.
    pub sample_rate_hz: u32,
    /// Number of channels of the recording.
    pub channels: u16,
    /// Levels of the recording.
    pub input: Levels,
    /// Levels of the processed and balanced voice, before programme gain and programme limiter.
    pub output: Levels,
    /// Loudness change of each stage, in signal order.
    pub ledger: Vec<LedgerEntry>,
    /// Loudness changes besides the stages. With the ledger they sum exactly, to 0.01 LU, to the loudness of the output
    /// minus that of the input.
    #[serde(default)]
    pub beside_ledger: Vec<LoudnessChange>,
    /// Gain reduction of the dynamic stages.
    pub gain_reduction: GainReductions,
    /// Origin of the settings, as text.
    #[serde(default)]
    pub settings_source: String,
    /// Settings of each stage as text, in signal order.
    pub settings: Vec<StageDescription>,
    /// Measurements and the settings derived from them; empty if the settings were given.
    #[serde(default)]
    pub evidence: Vec<Reason>,
    /// Stages, and filters of the tone EQ, that a rule could have switched on, and why it did not; empty if the settings
    /// were given.
    #[serde(default)]
    pub left_off: Vec<LeftOff>,
    /// Gain after the strip that matches the level of the other voices, dB.
    #[serde(with = "two_decimals")]
    pub balance_gain_db: f64,
    /// Warnings about this recording.
    pub warnings: Vec<String>,
}

/// Loudness (ITU-R BS.1770), loudness range (EBU Tech 3342) and peaks of one file.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Levels {
    /// Integrated loudness, LUFS.
    #[serde(with = "two_decimals_or_null")]
    pub integrated_lufs: Option<f64>,
    /// Loudness range, LU.
    #[serde(with = "two_decimals_or_null")]
    pub loudness_range_lu: Option<f64>,
    /// Maximum true peak, dBTP.
    #[serde(with = "two_decimals_or_null")]
    pub true_peak_dbtp: Option<f64>,
    /// Maximum sample peak, dBFS.
    #[serde(with = "two_decimals_or_null")]
    pub sample_peak_dbfs: Option<f64>,
}

/// Loudness change of one stage.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LedgerEntry {
    /// Id of the stage, as in the settings file.
    pub stage: String,
    /// Loudness after the stage minus loudness before it, LU.
    #[serde(with = "two_decimals_or_null")]
    pub lu: Option<f64>,
}

/// Loudness change that no stage causes.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LoudnessChange {
    /// Cause of the change.
    pub reason: ChangeReason,
    /// Change, LU; `None` if the voice is silent.
    #[serde(with = "two_decimals_or_null")]
    pub lu: Option<f64>,
}

/// Cause of a loudness change that no stage causes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ChangeReason {
    /// The ledger measures the blocks that pass the gates of BS.1770 at the input; the loudness of the output has gates
    /// of its own. Where levels jump and a stage evens them out, other blocks pass. Contains the rounding of the ledger.
    Gating,
    /// A mono voice plays on both channels of the mix.
    TwoChannels,
    /// Gain that matches the level of the other voices.
    Balance,
}

/// Gain reduction of the dynamic stages of a voice.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct GainReductions {
    /// De-reverb.
    #[serde(default)]
    pub de_reverb: GainReduction,
    /// Expander.
    #[serde(default)]
    pub expander: GainReduction,
    /// Leveller, cuts only.
    #[serde(default)]
    pub leveller: GainReduction,
    /// Compressor.
    pub compressor: GainReduction,
    /// De-esser.
    pub de_esser: GainReduction,
    /// Limiter.
    pub limiter: GainReduction,
}

/// Statistics of a stage's gain reduction over time, as non-negative amounts. The range of the percentiles ends at
/// [`GainReductionMeter::RANGE_DB`](voicechain_core::meters::GainReductionMeter::RANGE_DB): this value stands for that
/// much or more.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct GainReduction {
    /// Median, dB.
    #[serde(with = "two_decimals")]
    pub median_db: f64,
    /// 95th percentile, dB.
    #[serde(with = "two_decimals")]
    pub p95_db: f64,
    /// Maximum, dB.
    #[serde(with = "two_decimals")]
    pub max_db: f64,
}

/// Settings of one stage as text.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StageDescription {
    /// Id of the stage, as in the settings file.
    pub stage: String,
    /// Whether the stage was on.
    pub on: bool,
    /// Settings, such as `72 Hz · 24 dB/oct`.
    pub description: String,
    /// Reason for the settings besides the evidence, if any.
    pub rationale: Option<String>,
}

/// Measurement, and the settings of one stage that follow from it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reason {
    /// Id of the stage, as in the settings file.
    pub stage: String,
    /// Ids of the settings.
    pub settings: Vec<String>,
    /// Measurement and settings as a sentence.
    pub sentence: String,
    /// Confidence, 0 to 1.
    #[serde(with = "two_decimals")]
    pub confidence: f64,
}

/// Stage that a rule left off, with the reason.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LeftOff {
    /// Id of the stage, as in the settings file.
    pub stage: String,
    /// Reason as a sentence.
    pub sentence: String,
}

/// Delivered mix. Loudness and peaks are measured on the written file, decoded again.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Mix {
    /// Integrated loudness, LUFS.
    #[serde(with = "two_decimals_or_null")]
    pub integrated_lufs: Option<f64>,
    /// Loudness range, LU.
    #[serde(with = "two_decimals_or_null")]
    pub loudness_range_lu: Option<f64>,
    /// Maximum true peak, dBTP.
    #[serde(with = "two_decimals_or_null")]
    pub true_peak_dbtp: Option<f64>,
    /// Maximum sample peak, dBFS.
    #[serde(with = "two_decimals_or_null")]
    pub sample_peak_dbfs: Option<f64>,
    /// Sample rate, Hz.
    pub sample_rate_hz: u32,
    /// Bits per sample: 16, 24, or 32 for float.
    pub bits: u16,
    /// Number of channels.
    pub channels: u16,
    /// Length, s.
    #[serde(with = "three_decimals")]
    pub duration_s: f64,
    /// Gain from the sum of the voices to the target loudness, before the programme limiter, dB.
    #[serde(with = "two_decimals")]
    pub programme_gain_db: f64,
    /// Gain reduction of the programme limiter.
    pub limiter: GainReduction,
    /// Shortfall of the loudness; `None` if the target is met.
    #[serde(default)]
    pub shortfall: Option<Shortfall>,
}

/// Loudness target that the mix misses: by how much, why, and what helps.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Shortfall {
    /// Target loudness minus delivered loudness, LU.
    #[serde(with = "two_decimals")]
    pub missing_lu: f64,
    /// Reason why the programme gain is not higher.
    pub cause: ShortfallCause,
    /// Amount and reason as a sentence.
    pub explanation: String,
    /// Advice as a sentence.
    pub advice: String,
}

/// Reason for a [`Shortfall`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ShortfallCause {
    /// More gain would exceed the bound on the programme limiter's 95th percentile.
    Peaks,
    /// More gain would exceed the bound on the programme limiter's median.
    Median,
    /// More gain would bring hardly any loudness.
    Yield,
    /// The search for the gain did not settle.
    Unsettled,
}

/// Requested delivery.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Target {
    /// Integrated loudness, LUFS.
    #[serde(with = "two_decimals")]
    pub integrated_lufs: f64,
    /// True-peak ceiling, dBTP.
    #[serde(with = "two_decimals")]
    pub ceiling_dbtp: f64,
    /// Deviation of the loudness in either direction within which the target counts as met, LU.
    #[serde(with = "two_decimals")]
    pub tolerance_lu: f64,
    /// Published document of the target, if any.
    pub document: Option<String>,
}

impl Target {
    /// Target of this specification.
    pub(crate) fn of(spec: &DeliverySpec) -> Self {
        Self {
            integrated_lufs: spec.integrated_lufs,
            ceiling_dbtp: spec.ceiling_dbtp,
            tolerance_lu: spec.tolerance_lu,
            document: spec.document.clone(),
        }
    }
}

/// Length of the programme and processing time.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Timing {
    /// Length of the programme, s.
    #[serde(with = "three_decimals")]
    pub programme_s: f64,
    /// Wall-clock time of the processing, s.
    #[serde(with = "three_decimals")]
    pub processing_s: f64,
}

/// Written file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct WrittenFile {
    /// Name, relative to the folder of the report.
    pub name: String,
    /// Short description.
    pub description: String,
}

/// Compliance of the delivered file with the target, judged on the displayed values (one decimal).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Compliance {
    /// Delivered loudness minus target, LU.
    pub loudness_deviation_lu: Option<f64>,
    /// True peak minus ceiling, dB.
    pub true_peak_excess_db: Option<f64>,
    /// Whether the loudness is within the tolerance.
    pub loudness_compliant: bool,
    /// Whether the true peak is at or below the ceiling. A silent file is compliant.
    pub true_peak_compliant: bool,
}

impl Compliance {
    /// Compares a delivered mix with a target.
    pub(crate) fn of(mix: &Mix, target: &Target) -> Self {
        let tenth = |value: f64| round(value, 1);
        let off = mix.integrated_lufs.map(|lufs| tenth(tenth(lufs) - tenth(target.integrated_lufs)));
        let over = mix.true_peak_dbtp.map(|peak| tenth(tenth(peak) - tenth(target.ceiling_dbtp)));
        Self {
            loudness_deviation_lu: off,
            true_peak_excess_db: over,
            loudness_compliant: off.is_some_and(|off| off.abs() <= target.tolerance_lu + 1e-9),
            true_peak_compliant: over.is_none_or(|over| over <= 0.0),
        }
    }

    /// Whether both limits are met.
    #[must_use]
    pub fn is_compliant(&self) -> bool {
        self.loudness_compliant && self.true_peak_compliant
    }
}

impl Report {
    /// The text of `report.json`, ending in a line feed.
    ///
    /// # Errors
    /// A required number is not finite.
    pub fn to_json(&self) -> Result<String, serde_json::Error> {
        serde_json::to_string_pretty(self).map(|text| text + "\n")
    }

    /// Parses the text of a `report.json`.
    ///
    /// # Errors
    /// The text is not JSON or not a report.
    pub fn from_json(text: &str) -> Result<Self, serde_json::Error> {
        serde_json::from_str(text)
    }

    /// Compares the delivered mix with the target.
    #[must_use]
    pub fn compliance(&self) -> Compliance {
        Compliance::of(&self.mix, &self.target)
    }

    /// Largest loudness difference between balanced voices, LU; `None` with fewer than two measurable voices.
    #[must_use]
    pub fn balance_spread_lu(&self) -> Option<f64> {
        let measured: Vec<f64> = self.voices.iter().filter_map(|voice| voice.output.integrated_lufs).collect();
        let least = measured.iter().copied().reduce(f64::min)?;
        let most = measured.iter().copied().reduce(f64::max)?;
        (measured.len() > 1).then_some(most - least)
    }
}

impl Voice {
    /// Sum of the ledger, LU; `None` if no stage could be measured.
    #[must_use]
    pub fn ledger_sum_lu(&self) -> Option<f64> {
        self.ledger.iter().filter_map(|entry| entry.lu).reduce(|sum, lu| sum + lu)
    }

    /// Loudness of the output minus that of the input, LU, from the values rounded to `decimals`.
    #[must_use]
    pub fn loudness_change_lu(&self, decimals: i32) -> Option<f64> {
        let [input, output] = [self.input, self.output].map(|levels| levels.integrated_lufs);
        output.zip(input).map(|(output, input)| round(round(output, decimals) - round(input, decimals), decimals))
    }

    /// Loudness changes besides the stages, rounded to `decimals`: those that are known, and gating as the rest. Added
    /// to the entries of the ledger, rounded likewise, they sum exactly to
    /// [`loudness_change_lu`](Self::loudness_change_lu).
    #[must_use]
    pub fn changes_beside_ledger(&self, decimals: i32) -> Vec<LoudnessChange> {
        let total = self.loudness_change_lu(decimals);
        let two_channels = (self.channels == 1).then_some((ChangeReason::TwoChannels, DUAL_MONO_GAIN_DB));
        let known: Vec<(ChangeReason, f64)> = two_channels
            .into_iter()
            .chain([(ChangeReason::Balance, self.balance_gain_db)])
            .map(|(reason, lu)| (reason, round(lu, decimals)))
            .collect();
        let stages = self.ledger.iter().filter_map(|entry| entry.lu).map(|lu| round(lu, decimals));
        let sum: f64 = stages.chain(known.iter().map(|(_, lu)| *lu)).sum();
        let gating = total.filter(|_| self.ledger_sum_lu().is_some()).map(|total| round(total - sum, decimals));
        let known = known.into_iter().map(|(reason, lu)| LoudnessChange { reason, lu: total.map(|_| lu) });
        [LoudnessChange { reason: ChangeReason::Gating, lu: gating }].into_iter().chain(known).collect()
    }
}

impl GainReductions {
    /// Gain reductions of all stages.
    #[must_use]
    pub fn all(&self) -> [GainReduction; 6] {
        [self.de_reverb, self.expander, self.leveller, self.de_esser, self.compressor, self.limiter]
    }

    /// Gain reduction of the stage with this id.
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
        Err(serde::ser::Error::custom(format!("expected a finite number, got {value}")))
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
