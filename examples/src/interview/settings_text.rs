//! Settings in words, stage by stage.

use crate::report::data::StageDescription;
use voicechain_core::settings::{MakeUp, SpectralLatency, StageId, StripSettings};
use voicechain_core::strip::StripCoefs;

/// A duration as a person reads it.
pub(super) fn duration(seconds: f64) -> String {
    let whole = seconds.round() as u64;
    match (whole / 3_600, whole / 60 % 60, whole % 60) {
        (0, 0, s) => format!("{s} s"),
        (0, m, s) => format!("{m} min {s:02} s"),
        (h, m, _) => format!("{h} h {m:02} min"),
    }
}

/// A signed number of decibels with a true minus sign.
fn db(value: f64) -> String {
    let rounded = (value * 10.0).round() / 10.0;
    let sign = if rounded > 0.0 {
        "+"
    } else if rounded < 0.0 {
        "−"
    } else {
        ""
    };
    format!("{sign}{:.1}", rounded.abs())
}

fn hertz(value: f64) -> String {
    if value >= 1_000.0 {
        let text = format!("{:.2}", value / 1_000.0);
        format!("{} kHz", text.trim_end_matches('0').trim_end_matches('.'))
    } else {
        format!("{value:.0} Hz")
    }
}

fn one_decimal(value: f64) -> String {
    let text = format!("{value:.1}");
    text.trim_end_matches(".0").to_string()
}

/// The de-reverb is on, and has the latency that it needs.
fn de_reverb_acts(s: &StripSettings) -> bool {
    s.de_reverb.on && s.spectral.latency != SpectralLatency::None
}

/// The stages whose gain reduction is drawn over time, in signal order: those that mend where they are on.
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

/// What the hum stage has taken: frequency and level of the hum, Hz, dBFS; after what else there is to say, a sentence after
/// a sentence.
pub(super) fn hum(taken: Option<(f64, f64)>, why: Option<String>) -> String {
    let taken = taken.map_or_else(
        || "found no hum and took nothing".into(),
        |(hz, dbfs)| format!("took out hum of {} dBFS (behind the trim), at {hz:.2} Hz and its multiples", db(dbfs)),
    );
    match why {
        Some(sentence) if sentence.ends_with('.') => format!("{sentence} It {taken}."),
        Some(words) => format!("{words}; {taken}"),
        None => taken,
    }
}

/// Every stage with its switch and its main settings, in signal order.
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

/// Bands in use: frequency, gain, and the Q of a bell; shelves have none.
fn bands(list: &[(f64, f64, Option<f64>)]) -> Vec<String> {
    let used = list.iter().filter(|(_, gain, _)| *gain != 0.0);
    used.map(|(hz, gain, q)| {
        let q = q.map(|q| format!(", Q {}", one_decimal(q))).unwrap_or_default();
        format!("{} dB at {}{q}", db(*gain), hertz(*hz))
    })
    .collect()
}

fn equaliser(bands: Vec<String>, compensation: f64, compensated: bool) -> String {
    if bands.is_empty() {
        return "no band active".into();
    }
    let mut words = bands.join(" · ");
    if compensated {
        words.push_str(&format!(" · compensated {} dB", db(compensation)));
    }
    words
}

fn stage_text(stage: StageId, s: &StripSettings, coefs: &StripCoefs<2>) -> (bool, String) {
    let compensation = coefs.compensation_db(stage);
    match stage {
        StageId::Trim => (true, format!("{} dB", db(s.trim.gain_db))),
        StageId::Hum => {
            let h = &s.hum;
            let mains = voicechain_core::settings::Mains::NAMES[h.mains as usize];
            (h.on, format!("{mains} · {:.0} harmonics · {} dB", h.harmonics, one_decimal(h.depth_db)))
        }
        StageId::DeReverb => {
            let d = &s.de_reverb;
            let decay = format!("{:.2} s", d.decay_ms * 1e-3);
            let words = match s.spectral.latency {
                SpectralLatency::None if d.on => "bypassed: the spectral latency is none".into(),
                latency => {
                    let latency = SpectralLatency::NAMES[latency as usize];
                    format!("{latency} latency · decay {decay} · range {} dB", one_decimal(d.range_db))
                }
            };
            (de_reverb_acts(s), words)
        }
        StageId::Expander => {
            let e = &s.expander;
            let ratio = if e.ratio.is_finite() { format!("1:{}", one_decimal(e.ratio)) } else { "1:∞".into() };
            let threshold = one_decimal(e.threshold_db);
            (e.on, format!("{threshold} dB above the noise · {ratio} · range {} dB", one_decimal(e.range_db)))
        }
        StageId::Leveller => {
            let l = &s.leveller;
            let range = format!("{} to {} dB", db(-l.maximum_cut_db), db(l.maximum_boost_db));
            (l.on, format!("to {} LUFS · {range} · {} ms", db(l.target_lufs), one_decimal(l.response_time_ms)))
        }
        StageId::HighPass => {
            let slope = voicechain_core::settings::Slope::NAMES[s.high_pass.slope as usize];
            (s.high_pass.on, format!("{} · {slope}", hertz(s.high_pass.frequency_hz)))
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
            let d = &s.de_esser;
            (
                d.on,
                format!(
                    "{} · threshold {} dB · range {} dB",
                    hertz(d.frequency_hz),
                    db(d.threshold_db),
                    one_decimal(d.range_db)
                ),
            )
        }
        StageId::Compressor => {
            let c = &s.compressor;
            let ratio = if c.ratio.is_finite() { format!("{}:1", one_decimal(c.ratio)) } else { "∞:1".into() };
            let make_up = match c.make_up {
                MakeUp::Automatic => format!("make\u{2011}up automatic, {} dB", db(compensation)),
                MakeUp::Manual => format!("make\u{2011}up {} dB", db(c.make_up_db)),
            };
            let times = format!("{} ms · {} ms", one_decimal(c.attack_ms), one_decimal(c.release_ms));
            (c.on, format!("{} dB · {ratio} · {times} · {make_up}", db(c.threshold_db)))
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
            let l = &s.limiter;
            (l.on, format!("ceiling {} dBTP · {} ms", db(l.ceiling_dbtp), one_decimal(l.look_ahead_ms)))
        }
        StageId::Output => (true, format!("trim {} dB", db(s.output.gain_db))),
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
        settings.spectral.latency = SpectralLatency::Low;
        assert_eq!(stages_with_reduction(&settings).next(), Some(StageId::DeReverb));
        let words = hum(Some((49.98, -50.04)), Some("the host’s changes".into()));
        assert_eq!(
            words,
            "the host’s changes; took out hum of −50.0 dBFS (behind the trim), at 49.98 Hz and its multiples"
        );
        assert_eq!(hum(None, None), "found no hum and took nothing");
        assert_eq!(hum(None, Some("It was set.".into())), "It was set. It found no hum and took nothing.");
    }

    #[test]
    fn every_stage_has_a_description_without_negative_zero() {
        let settings = StartingPoint::SpokenLiveRoom.settings();
        let coefs = StripCoefs::design(&settings, SampleRate::new(48_000.0).unwrap()).unwrap();
        let rows = stages(&settings, &coefs, |stage| (stage == StageId::Trim).then(|| "measured".into()));
        assert_eq!(rows.len(), StageId::ALL.len());
        // A bell is told with its Q, a shelf has none.
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
        assert_eq!(db(-0.04), "0.0");
        assert_eq!(hertz(2_500.0), "2.5 kHz");
        assert_eq!(duration(3_725.0), "1 h 02 min");
    }
}
