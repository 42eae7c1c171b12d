//! Text descriptions of the settings, stage by stage.

use crate::report::data::StageDescription;
use voicechain_core::format::quantity;
use voicechain_core::settings::{MakeUp, SpectralLatency, StageId, StripSettings, row};
use voicechain_core::strip::StripCoefs;

fn hertz(value: f64) -> String {
    quantity(value, "Hz").to_string()
}

/// Readable values of settings, by id.
fn values<const N: usize>(s: &StripSettings, ids: [&str; N]) -> [String; N] {
    ids.map(|id| row(id).map_or_else(String::new, |info| info.readable(s.get(id).unwrap_or(f64::NAN)).to_string()))
}

/// Whether the de-reverb is on and the spectral latency allows it to run.
fn de_reverb_acts(s: &StripSettings) -> bool {
    s.de_reverb.on && s.spectral.latency != SpectralLatency::None
}

/// Stages whose gain reduction is plotted over time, in signal order. De-reverb, expander and leveller are included
/// only when active.
pub(super) fn stages_with_reduction(s: &StripSettings) -> impl Iterator<Item = StageId> {
    let drawn = |stage: &StageId| match stage {
        StageId::DeReverb => de_reverb_acts(s),
        StageId::Expander => s.expander.on,
        StageId::Leveller => s.leveller.on,
        StageId::DeEsser | StageId::Compressor | StageId::Limiter => true,
        StageId::Trim
        | StageId::Hum
        | StageId::HighPass
        | StageId::CorrectiveEq
        | StageId::ToneEq
        | StageId::Output => false,
    };
    s.signal_order().into_iter().filter(drawn)
}

/// Describes the removed hum (frequency in Hz, level in dBFS), appended to the other reason, if any.
pub(super) fn hum(removed: Option<(f64, f64)>, why: Option<String>) -> String {
    let removed = removed.map_or_else(
        || "found no hum".into(),
        |(hz, dbfs)| {
            format!("removed hum of {} (after the trim) at {hz:.2} Hz and its harmonics", quantity(dbfs, "dBFS"))
        },
    );
    match why {
        Some(sentence) if sentence.ends_with('.') => format!("{sentence} The stage {removed}."),
        Some(words) => format!("{words}; {removed}"),
        None => removed,
    }
}

/// Every stage with its on switch and main settings, in signal order.
pub(super) fn stages(
    s: &StripSettings,
    coefs: &StripCoefs<2>,
    why: impl Fn(StageId) -> Option<String>,
) -> Vec<StageDescription> {
    s.signal_order()
        .into_iter()
        .map(|stage| {
            let (on, words) = stage_text(stage, s, coefs);
            StageDescription {
                stage: stage.id().to_string(),
                on,
                description: if on { words } else { "off".into() },
                rationale: why(stage),
            }
        })
        .collect()
}

/// Active bands from a list of frequency, gain and Q; shelves have no Q.
fn bands(list: &[(f64, f64, Option<f64>)]) -> Vec<String> {
    let used = list.iter().filter(|(_, gain, _)| *gain != 0.0);
    used.map(|(hz, gain, q)| {
        let q = q.map(|q| format!(", Q {}", quantity(q, ""))).unwrap_or_default();
        format!("{} at {}{q}", quantity(*gain, "dB").signed(), hertz(*hz))
    })
    .collect()
}

fn equaliser(bands: Vec<String>, compensation: f64, compensated: bool) -> String {
    if bands.is_empty() {
        return "no band active".into();
    }
    let mut words = bands.join(" · ");
    if compensated {
        words.push_str(&format!(" · compensated {}", quantity(compensation, "dB").signed()));
    }
    words
}

fn stage_text(stage: StageId, s: &StripSettings, coefs: &StripCoefs<2>) -> (bool, String) {
    let compensation = coefs.compensation_db(stage);
    match stage {
        StageId::Trim => {
            let [gain] = values(s, ["trim.gain_db"]);
            (true, gain)
        }
        StageId::Hum => {
            let [mains, harmonics, depth] = values(s, ["hum.mains", "hum.harmonics", "hum.depth_db"]);
            (s.hum.on, format!("{mains} · {harmonics} harmonics · {depth}"))
        }
        StageId::DeReverb => {
            let [latency, decay, range] = values(s, ["spectral.latency", "de_reverb.decay_ms", "de_reverb.range_db"]);
            let words = match s.spectral.latency {
                SpectralLatency::None => "bypassed: the spectral latency is none".into(),
                SpectralLatency::Low | SpectralLatency::High => {
                    format!("{latency} latency · decay time {decay} · range {range}")
                }
            };
            (s.de_reverb.on, words)
        }
        StageId::Expander => {
            let ids = ["expander.threshold_db", "expander.ratio", "expander.range_db"];
            let [threshold, ratio, range] = values(s, ids);
            (s.expander.on, format!("{threshold} above the noise floor · {ratio} · range {range}"))
        }
        StageId::Leveller => {
            let [target, response] = values(s, ["leveller.target_lufs", "leveller.response_time_ms"]);
            let [most_cut, most_boost] = [-s.leveller.maximum_cut_db, s.leveller.maximum_boost_db]
                .map(|db| quantity(db, "dB").signed().to_string());
            (s.leveller.on, format!("to {target} · {most_cut} to {most_boost} · {response}"))
        }
        StageId::HighPass => {
            let [frequency, slope] = values(s, ["high_pass.frequency_hz", "high_pass.slope"]);
            (s.high_pass.on, format!("{frequency} · {slope}"))
        }
        StageId::CorrectiveEq => {
            let eq = &s.corrective_eq;
            let list = bands(&[
                (eq.bell_1_frequency_hz, eq.bell_1_gain_db, Some(eq.bell_1_q)),
                (eq.bell_2_frequency_hz, eq.bell_2_gain_db, Some(eq.bell_2_q)),
                (eq.bell_3_frequency_hz, eq.bell_3_gain_db, Some(eq.bell_3_q)),
                (eq.bell_4_frequency_hz, eq.bell_4_gain_db, Some(eq.bell_4_q)),
            ]);
            (eq.on, equaliser(list, compensation, eq.level_compensation))
        }
        StageId::DeEsser => {
            let ids = ["de_esser.frequency_hz", "de_esser.threshold_db", "de_esser.range_db"];
            let [frequency, threshold, range] = values(s, ids);
            (s.de_esser.on, format!("{frequency} · threshold {threshold} · range {range}"))
        }
        StageId::Compressor => {
            let ids = ["compressor.threshold_db", "compressor.ratio", "compressor.attack_ms", "compressor.release_ms"];
            let [threshold, ratio, attack, release] = values(s, ids);
            let make_up = match s.compressor.make_up {
                MakeUp::Automatic => format!("make\u{2011}up automatic, {}", quantity(compensation, "dB").signed()),
                MakeUp::Manual => format!("make\u{2011}up {}", quantity(s.compressor.make_up_db, "dB").signed()),
            };
            (s.compressor.on, format!("{threshold} · {ratio} · {attack} · {release} · {make_up}"))
        }
        StageId::ToneEq => {
            let t = &s.tone_eq;
            let list = bands(&[
                (t.low_shelf_frequency_hz, t.low_shelf_gain_db, None),
                (t.bell_frequency_hz, t.bell_gain_db, Some(t.bell_q)),
                (t.high_shelf_frequency_hz, t.high_shelf_gain_db, None),
            ]);
            (t.on, equaliser(list, compensation, t.level_compensation))
        }
        StageId::Limiter => {
            let [ceiling, look_ahead] = values(s, ["limiter.ceiling_dbtp", "limiter.look_ahead_ms"]);
            (s.limiter.on, format!("ceiling {ceiling} · {look_ahead}"))
        }
        StageId::Output => {
            let [gain] = values(s, ["output.gain_db"]);
            (true, format!("trim {gain}"))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use voicechain_core::SampleRate;
    use voicechain_core::strip::StartingPoint;

    #[test]
    fn only_active_stages_are_plotted_and_the_removed_hum_is_reported() {
        let mut settings = StripSettings::default();
        let always = [StageId::DeEsser, StageId::Compressor, StageId::Limiter];
        assert_eq!(stages_with_reduction(&settings).collect::<Vec<_>>(), always);
        (settings.de_reverb.on, settings.leveller.on) = (true, true);
        assert_eq!(stages_with_reduction(&settings).next(), Some(StageId::Leveller), "the de-reverb is bypassed");
        let text = |settings: &StripSettings| {
            let coefs = StripCoefs::design(settings, SampleRate::new(48_000.0).unwrap()).unwrap();
            stage_text(StageId::DeReverb, settings, &coefs)
        };
        assert_eq!(text(&settings), (true, "bypassed: the spectral latency is none".into()));
        settings.spectral.latency = SpectralLatency::Low;
        assert_eq!(stages_with_reduction(&settings).next(), Some(StageId::DeReverb));
        assert!(text(&settings).1.starts_with("low latency"));
        let words = hum(Some((49.98, -50.04)), Some("the host’s changes".into()));
        assert_eq!(
            words,
            "the host’s changes; removed hum of −50.0 dBFS (after the trim) at 49.98 Hz and its harmonics"
        );
        assert_eq!(hum(None, None), "found no hum");
        assert_eq!(hum(None, Some("It was set.".into())), "It was set. The stage found no hum.");
    }

    #[test]
    fn every_stage_has_a_description_without_negative_zero() {
        let settings = StartingPoint::SpokenLiveRoom.settings();
        let coefs = StripCoefs::design(&settings, SampleRate::new(48_000.0).unwrap()).unwrap();
        let rows = stages(&settings, &coefs, |stage| (stage == StageId::Trim).then(|| "measured".into()));
        assert_eq!(rows.len(), StageId::ALL.len());
        // Bells are described with their Q; shelves have none.
        let words_of = |id: &str| rows.iter().find(|row| row.stage == id).map_or("", |row| &row.description);
        let bells = words_of("corrective_eq");
        assert!(bells.starts_with("−2.0 dB at 240 Hz, Q "), "{bells}");
        assert!(
            rows.iter().any(|row| row.description.contains("+1.0 dB at ") && !row.description.contains("+1.0 dB at 140 Hz, Q"))
        );
        assert_eq!(rows.iter().filter(|row| row.rationale.is_some()).count(), 1);
        for row in rows {
            assert!(
                !row.description.is_empty() && !row.description.contains("-0") && !row.description.contains("−0.0"),
                "{row:?}"
            );
        }
        assert_eq!(hertz(2_500.0), "2.5 kHz");
    }
}
