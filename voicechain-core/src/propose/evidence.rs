//! Why a setting is proposed, and what a person is warned of: each one plain sentence.

use crate::settings::{SettingInfo, row};
use crate::units::Unit;
use core::fmt;

/// Why one setting is proposed: what was measured, against what, and where that reference comes from.
///
/// It displays as one sentence. Tested by `evidence_is_one_plain_sentence`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Evidence {
    /// Id of the setting, as in the table of settings.
    pub setting: &'static str,
    /// The proposed value; a switch or a choice is given as its number.
    pub proposed: f64,
    /// What was measured, as the beginning of a sentence: `the prominence`.
    pub quantity: &'static str,
    /// Where, Hz, if it has a place.
    pub place_hz: Option<f64>,
    /// Its value; not a number where the rule needs no measurement or it is unknown.
    pub measured: f64,
    /// What the reference is, as it stands before its number: `usual is`.
    pub reference_words: &'static str,
    /// What it is compared with.
    pub reference: f64,
    /// Measured minus reference; not a number where nothing was measured.
    pub difference: f64,
    /// Unit of the three, as written behind a number.
    pub unit: &'static str,
    /// How sure it is, 0 to 1.
    pub confidence: f64,
    /// Where the reference comes from.
    pub source: &'static str,
}

/// A number with a true minus sign, without a negative zero, with as many decimals as `unit` deserves.
pub(crate) struct Shown(pub f64, pub &'static str);

impl fmt::Display for Shown {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self(value, unit) = *self;
        let size = if value < 0.0 { -value } else { value };
        let decimals = match unit {
            "Hz" | "%" => 0,
            "s" => 2,
            _ => 1,
        };
        let smallest = [0.5, 0.05, 0.005][decimals];
        f.write_str(if value <= -smallest { "\u{2212}" } else { "" })?;
        write!(f, "{size:.decimals$}")?;
        match unit {
            "" => Ok(()),
            ":1" => f.write_str(unit),
            _ => write!(f, " {unit}"),
        }
    }
}

impl fmt::Display for Evidence {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.write_cause(f)?;
        f.write_str(": ")?;
        match row(self.setting) {
            None => f.write_str(self.setting)?,
            Some(info) => {
                write!(f, "{} ", stage_words(info.stage))?;
                self.write_setting(f)?;
            }
        }
        write!(f, " ({}).", self.source)
    }
}

impl Evidence {
    /// The stage of the setting, as its id.
    #[must_use]
    pub fn stage(&self) -> &'static str {
        row(self.setting).map_or("", |info| info.stage)
    }

    /// True when both say the same of what was measured and what it is compared with.
    pub(super) fn has_the_cause_of(&self, other: &Self) -> bool {
        let bits = |e: &Self| (e.place_hz.map(f64::to_bits), e.measured.to_bits(), e.reference.to_bits());
        let words = |e: &Self| (e.quantity, e.reference_words, e.unit);
        words(self) == words(other) && bits(self) == bits(other)
    }

    /// What was measured and what it is compared with, as the beginning of a sentence.
    pub(super) fn write_cause(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut letters = self.quantity.chars();
        if let Some(first) = letters.next() {
            write!(f, "{}{}", first.to_ascii_uppercase(), letters.as_str())?;
        }
        if let Some(place) = self.place_hz {
            write!(f, " at {}", Shown(place, "Hz"))?;
        }
        if self.measured.is_finite() {
            write!(f, " is {}", Shown(self.measured, self.unit))?;
        } else {
            f.write_str(" is not known")?;
        }
        write!(f, ", {} {}", self.reference_words, Shown(self.reference, self.unit))
    }

    /// The setting with its proposed value, without its stage.
    pub(super) fn write_setting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Some(info) = row(self.setting) else { return f.write_str(self.setting) };
        write_value(f, info, self.proposed)
    }
}

/// A setting's name with a value of it: `ratio 3.0:1`; a stage's switch is just `on` or `off`.
pub(super) fn write_value(f: &mut fmt::Formatter<'_>, info: &SettingInfo, value: f64) -> fmt::Result {
    if info.name != "on" {
        write!(f, "{} ", info.name)?;
    }
    match info.unit {
        Unit::Switch => f.write_str(if value >= 0.5 { "on" } else { "off" }),
        Unit::Choice => f.write_str(info.choices.get(value as usize).copied().unwrap_or("")),
        unit => write!(f, "{}", Shown(value, unit.symbol())),
    }
}

/// The stage's id as words.
pub(super) fn stage_words(id: &str) -> &str {
    match id {
        "high_pass" => "high-pass",
        "de_reverb" => "de-reverb",
        "corrective_eq" => "corrective EQ",
        "de_esser" => "de-esser",
        "tone_eq" => "tone EQ",
        other => other,
    }
}

/// What a person is warned of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Warning {
    /// What is heard is not a voice; nothing is proposed.
    NotAVoice,
    /// Several voices: every number describes their mixture.
    SeveralVoices,
    /// Less than 30 s of active speech; seconds.
    Short(f64),
    /// Clipped stretches; how many.
    Clipped(u32),
    /// The crest factor is so small that it has been compressed before; dB.
    CompressedBefore(f64),
    /// The proposed compressor would seldom rest; dB of reduction on loud phrases.
    SeldomRests(f64),
    /// The noise is too close for compression; signal-to-noise ratio, dB.
    NoisyForCompression(f64),
    /// The noise is so close that no setting of the strip repairs it; signal-to-noise ratio, dB.
    BeyondRepairNoise(f64),
    /// As narrow as a telephone; highest frequency, Hz.
    Telephone(f64),
    /// A room of which the strip can take away only a part; decay time, s.
    Roomy(f64),
}

impl fmt::Display for Warning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::NotAVoice => f.write_str("This does not sound like one voice: nothing is proposed."),
            Self::SeveralVoices => {
                f.write_str("Several voices take turns: the proposal fits their mixture, not any one of them.")
            }
            Self::Short(s) => write!(f, "Only {s:.1} s of speech was heard: half a minute tells more."),
            Self::Clipped(n) => {
                write!(f, "The recording is clipped in {n} place(s): the strip cannot bring back what is cut off.")
            }
            Self::CompressedBefore(db) => write!(
                f,
                "The peaks stand only {} over the voice: it has been compressed before, so nothing more is taken.",
                Shown(db, "dB")
            ),
            Self::SeldomRests(db) => write!(
                f,
                "The phrases differ so much that about {} is taken from the loud ones and the compressor seldom rests.",
                Shown(db, "dB")
            ),
            Self::NoisyForCompression(db) => {
                write!(f, "The noise lies only {} under the voice: compression is gentle.", Shown(db, "dB"))
            }
            Self::BeyondRepairNoise(db) => write!(
                f,
                "The noise lies only {} under the voice: no setting repairs that, and compression would raise it.",
                Shown(db, "dB")
            ),
            Self::Telephone(hz) => {
                write!(f, "Nothing is recorded above {}: no setting can bring it back.", Shown(hz, "Hz"))
            }
            Self::Roomy(s) => {
                write!(f, "The room rings for {}: the de-reverb takes only a part of it away.", Shown(s, "s"))
            }
        }
    }
}
