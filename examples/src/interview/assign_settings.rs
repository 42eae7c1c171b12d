//! Assigns settings to every voice, with the reasons: proposed, carried over from the host, or given.

use super::assigned_settings::AssignedSettings;
use super::job::SettingsSource;
use super::voice::Voice;
use crate::report::data::{LeftOff, Reason};
use crate::voice_page::words::{signal_class, warnings_beside};
use voicechain_core::StripSettings;
use voicechain_core::format::quantity;
use voicechain_core::levels::working_level_lufs;
use voicechain_core::measure::profile::SignalClass;
use voicechain_core::propose::{Context, Proposal, carry_over, propose};
use voicechain_core::settings::{StageId, row};

/// Difference from the proposed trim above which the host's settings probably belong to another recording, dB.
const TRIM_MISMATCH_DB: f64 = 3.0;

/// Assigns settings to all voices. The host is the first voice.
pub(super) fn assign(voices: &mut [Voice], choice: &SettingsSource) {
    let chosen: Vec<AssignedSettings> = match choice {
        SettingsSource::Given { settings, from } => voices.iter().map(|voice| given(voice, settings, from)).collect(),
        SettingsSource::Proposed(context) => {
            voices.iter().map(|voice| proposed(voice, &proposal(voice, *context))).collect()
        }
        SettingsSource::CarriedOver { context, host, from } => carried_over(voices, *context, host, from),
    };
    for (voice, chosen) in voices.iter_mut().zip(chosen) {
        voice.assign(chosen);
    }
}

fn proposal(voice: &Voice, context: Context) -> Proposal {
    propose(&voice.profile, context)
}

fn is_voice(voice: &Voice) -> bool {
    matches!(voice.profile.signal_class, SignalClass::Voice | SignalClass::SeveralVoices)
}

/// The given settings, with the trim that brings the voice to the working level.
fn given(voice: &Voice, settings: &StripSettings, from: &str) -> AssignedSettings {
    let mut chosen = AssignedSettings { settings: *settings, from: from.to_owned(), ..AssignedSettings::default() };
    set_trim_to_working_level(voice, &mut chosen);
    chosen
}

/// The proposal. A signal that is not a voice only gets a trim.
fn proposed(voice: &Voice, proposal: &Proposal) -> AssignedSettings {
    let mut chosen = AssignedSettings { settings: proposal.settings, ..AssignedSettings::default() };
    if !is_voice(voice) {
        chosen.from = "only trim and limiter, because it is not a voice".into();
        chosen.warnings.push(format!("{} Only the trim is set.", signal_class(voice.profile.signal_class)));
        set_trim_to_working_level(voice, &mut chosen);
        return chosen;
    }
    chosen.from = "proposed from the measurement".into();
    chosen.evidence = proposal
        .reasons()
        .map(|reason| Reason {
            stage: reason.stage().to_owned(),
            settings: reason.evidence().map(|e| e.setting.to_owned()).collect(),
            sentence: reason.to_string(),
            confidence: reason.confidence(),
        })
        .collect();
    chosen.left_off = proposal
        .left_off()
        .map(|off| LeftOff { stage: off.stage.id().to_owned(), sentence: off.to_string() })
        .collect();
    chosen.warnings = warnings_beside(&voice.file_warnings, proposal);
    chosen
}

/// The host gets its own settings. Every other voice gets its proposal, changed by the difference between the host's
/// settings and the host's proposal.
fn carried_over(voices: &[Voice], context: Context, host: &StripSettings, from: &str) -> Vec<AssignedSettings> {
    let Some((first, others)) = voices.split_first() else { return Vec::new() };
    let host_proposal = proposal(first, context);
    let mut chosen = proposed(first, &host_proposal);
    chosen.settings = *host;
    chosen.from = format!("from {from}");
    chosen.why = changes(host, &host_proposal.settings, "changed");
    let known = is_voice(first);
    if !known {
        chosen.why.clear();
        chosen.warnings =
            vec![format!("{} Its settings are not carried over.", signal_class(first.profile.signal_class))];
    }
    let trims = host.trim.gain_db - host_proposal.settings.trim.gain_db;
    if known && trims.abs() > TRIM_MISMATCH_DB {
        chosen.warnings.push(format!(
            "the trim in {from} is {} {} than proposed: the settings may belong to another recording",
            quantity(trims.abs(), "dB"),
            if trims > 0.0 { "higher" } else { "lower" }
        ));
    }
    let mut all = vec![chosen];
    for voice in others {
        let own = proposal(voice, context);
        let mut chosen = proposed(voice, &own);
        if known && is_voice(voice) {
            chosen.settings = carry_over(host, &host_proposal.settings, &own.settings);
            chosen.from = "proposed from the measurement, with the host’s changes".into();
            chosen.why = changes(&chosen.settings, &own.settings, "the host’s changes");
        }
        all.push(chosen);
    }
    all
}

/// Lists the settings that differ from the proposal, stage by stage.
fn changes(settings: &StripSettings, proposal: &StripSettings, begin: &str) -> Vec<(&'static str, String)> {
    let mut found = Vec::new();
    for stage in StageId::ALL {
        let of = |s: &StripSettings, id: &str| s.get(id).unwrap_or_default();
        let changed: Vec<String> = stage
            .sections()
            .flat_map(|section| section.rows())
            .filter(|info| of(settings, info.id) != of(proposal, info.id))
            .map(|info| {
                let text = |s: &StripSettings| info.readable(of(s, info.id)).to_string();
                let name = if info.name == "on" { String::new() } else { format!("{} ", info.name) };
                format!("{name}{} instead of {}", text(settings), text(proposal))
            })
            .collect();
        if !changed.is_empty() {
            found.push((stage.id(), format!("{begin}: {}", changed.join(", "))));
        }
    }
    found
}

/// Sets the trim that brings the voice to the working level, and adds the reason.
fn set_trim_to_working_level(voice: &Voice, chosen: &mut AssignedSettings) {
    let (Some(loudness), Some(row)) = (voice.input.integrated_lufs, row("trim.gain_db")) else { return };
    let level = working_level_lufs(voice.channels());
    let wanted = ((level - loudness) * 10.0).round() / 10.0;
    chosen.settings.trim.gain_db = row.nearest(wanted);
    let rest = wanted - chosen.settings.trim.gain_db;
    if rest != 0.0 {
        chosen.warnings.push(format!(
            "recorded at {}: the trim is at the end of its range, {} {} the working level",
            quantity(loudness, "LUFS"),
            quantity(rest.abs(), "dB"),
            if rest > 0.0 { "below" } else { "above" }
        ));
    }
    let words = format!("recorded at {}, working level {}", quantity(loudness, "LUFS"), quantity(level, "LUFS"));
    chosen.why.push((StageId::Trim.id(), words));
}
