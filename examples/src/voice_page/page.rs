//! The page in the terminal: at most a hundred columns.

use super::{VoicePage, words};
use crate::report::table::{clean, wrap};
use crate::report::text::{channels, count, kilohertz, length, number, signed, stage};
use std::fmt::Write;
use voicechain_core::measure::profile::{Doubt, Measured};
use voicechain_core::propose::Proposal;

/// Columns of the names.
const NAMES: usize = 26;

/// The page.
#[must_use]
pub fn render(voice: &VoicePage) -> String {
    let mut page = Page(String::new());
    let p = &voice.profile;
    page.words("", &clean(&voice.file));
    page.words(
        "",
        &format!(
            "{}, {}, {}, {}",
            voice.kind,
            kilohertz(p.rate_hz.round() as u32),
            channels(p.channels as u16),
            length(p.duration_s)
        ),
    );
    page.words("", words::subject(p.subject));
    for warning in &voice.file_warnings {
        page.words("warning: ", &warning.to_string());
    }
    level(&mut page, voice);
    ground(&mut page, voice);
    colour(&mut page, voice);
    sibilance_and_room(&mut page, voice);
    proposal(&mut page, voice);
    page.0
}

struct Page(String);

impl Page {
    fn words(&mut self, start: &str, text: &str) {
        wrap(&mut self.0, start, text);
    }

    fn title(&mut self, text: &str) {
        let _ = writeln!(self.0, "\n{text}");
    }

    fn row(&mut self, name: &str, text: &str) {
        self.words(&format!("  {name:<NAMES$}"), text);
    }

    /// A quantity in words, or why it is not known.
    fn measured<T>(&mut self, name: &str, value: Measured<T>, text: impl FnOnce(T) -> String) {
        match value {
            Ok(value) => self.row(name, &text(value)),
            Err(why) => self.unknown(name, why),
        }
    }

    fn unknown(&mut self, name: &str, why: Doubt) {
        self.row(name, &format!("not known: {}", words::doubt(why)));
    }
}

fn with(unit: &'static str) -> impl Fn(f64) -> String {
    move |value| if value.is_finite() { format!("{} {unit}", number(value, 1)) } else { "–".into() }
}

fn hertz(hz: f64) -> String {
    if hz < 10_000.0 { format!("{} Hz", number(hz, 0)) } else { format!("{} kHz", number(hz / 1000.0, 1)) }
}

fn level(page: &mut Page, voice: &VoicePage) {
    let l = &voice.profile.level;
    page.title("Level");
    page.measured("Integrated loudness", l.integrated_lufs, with("LUFS"));
    page.measured("Loudness range", l.loudness_range_lu, with("LU"));
    page.row("True peak", &with("dBTP")(l.true_peak_dbtp));
    page.row("Sample peak", &with("dBFS")(l.sample_peak_dbfs));
    page.measured("Active speech level", l.active_level_dbov, |level| {
        format!("{}, active {} % of the time", with("dBov")(level), number(l.activity_percent, 0))
    });
    page.measured("Crest factor", l.crest_db, with("dB"));
    page.measured("From phrase to phrase", voice.profile.phrases, |phrases| {
        let heard = count(phrases.count as usize, "phrase", "phrases");
        format!("spread of {} dB over {heard}", number(phrases.spread_db, 1))
    });
    page.measured("Spikes", voice.profile.spikes, |spikes| match spikes.count {
        0 => "none".into(),
        n => format!(
            "{n}, {} in ten seconds, the highest {} dB above its surroundings",
            number(spikes.per_10_s, 1),
            number(spikes.max_excess_db, 1)
        ),
    });
    page.row(
        "Clipped",
        &match l.clipping.stretches {
            0 => "no".into(),
            n => format!("{} ({})", count(n as usize, "place", "places"), {
                count(l.clipping.samples as usize, "sample", "samples")
            }),
        },
    );
}

fn ground(page: &mut Page, voice: &VoicePage) {
    let g = &voice.profile.ground;
    page.title("Ground");
    page.measured("Noise floor", g.noise_floor_dbfs, with("dBFS"));
    page.measured("Signal-to-noise ratio", g.snr_db, with("dB"));
    page.measured("Mains hum", voice.profile.hum, |hum| match hum {
        None => "none".into(),
        Some(hum) => format!("{} Hz and its multiples, {}", number(hum.frequency_hz, 1), with("dBFS")(hum.level_dbfs)),
    });
    page.row("Rumble under 60 Hz", &with("dBFS")(g.rumble_dbfs));
    page.row("Offset", &format!("{} % of full scale", number(100.0 * g.offset, 2)));
}

fn colour(page: &mut Page, voice: &VoicePage) {
    let p = &voice.profile;
    page.title("Colour");
    page.measured("Pitch", p.pitch, |pitch| {
        format!("{}, mostly {} to {}", hertz(pitch.median_hz), hertz(pitch.low_hz), hertz(pitch.high_hz))
    });
    page.measured("Bandwidth", p.bandwidth, |band| {
        let words = match (band.telephone, band.limited) {
            (true, _) => ", as narrow as a telephone",
            (false, true) => ", nothing above",
            (false, false) => ", whole",
        };
        format!("{}{words}", hertz(band.high_hz))
    });
    let against = |value: f64| format!("{} dB against published speech", signed(value, 1));
    match p.colour {
        Err(why) => page.unknown("Against published speech", why),
        Ok(colour) => {
            page.measured("Low end, 100 to 250 Hz", colour.low_end_db, against);
            page.measured("Presence, 2 to 5 kHz", colour.presence_db, against);
            page.measured("Top end, 6.3 to 12.5 kHz", colour.top_end_db, against);
        }
    }
    page.measured("Stands out", p.resonances, |candidates| {
        let all: Vec<String> = candidates
            .iter()
            .flatten()
            .map(|found| {
                let sure = number(100.0 * found.confidence, 0);
                let end = if acted_on(&voice.proposal, found.frequency_hz) { "acted on" } else { "left to the ear" };
                let (hz, db) = (hertz(found.frequency_hz), signed(found.prominence_db, 1));
                format!("{hz} by {db} dB (Q {}, {sure} % sure, {end})", number(found.q, 1))
            })
            .collect();
        if all.is_empty() { "nothing".into() } else { all.join("; ") }
    });
}

fn sibilance_and_room(page: &mut Page, voice: &VoicePage) {
    page.title("Sibilance and room");
    page.measured("Sibilance", voice.profile.sibilance, |s| {
        format!(
            "{} dB against the usual, strongest at {}; {} % of the fricatives too strong",
            signed(s.excess_db, 1),
            hertz(s.frequency_hz),
            number(s.share_percent, 0)
        )
    });
    page.measured("Decay time", voice.profile.room, |room| {
        format!("{} s{}", number(room.decay_time_s, 2), if room.dry { ", dry" } else { "" })
    });
}

fn proposal(page: &mut Page, voice: &VoicePage) {
    page.title(&format!("Proposed for {}", words::context(voice.context)));
    let mut before = "";
    for reason in voice.proposal.reasons() {
        if reason.stage() != before {
            before = reason.stage();
            page.words("  ", &stage(before));
        }
        page.words("    ", &reason.to_string());
    }
    if before.is_empty() {
        page.words("  ", "Nothing: the strip stays at rest, and its limiter waits.");
    }
    let warnings = words::warnings_beside(&voice.file_warnings, &voice.proposal);
    if !warnings.is_empty() {
        page.title("Beware");
        for warning in warnings {
            page.words("  ", &warning);
        }
    }
}

/// Whether the proposal cuts what stands out at this frequency.
pub(super) fn acted_on(proposal: &Proposal, frequency_hz: f64) -> bool {
    proposal.evidence().any(|e| {
        e.setting.starts_with("corrective_eq.") && e.place_hz.is_some_and(|hz| (hz - frequency_hz).abs() < 1e-6)
    })
}
