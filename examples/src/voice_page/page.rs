//! Terminal page of a measured voice, at most 100 columns wide.

use super::{MeasuredVoice, words};
use crate::report::table::{printable, wrap};
use crate::report::text::{channels, count, kilohertz, length, number, signed, stage};
use std::fmt::Write;
use voicechain_core::format::{MISSING, quantity};
use voicechain_core::measure::profile::{Measured, Unavailable};
use voicechain_core::propose::Proposal;

/// Width of the name column.
const NAMES: usize = 26;

/// Renders the page.
#[must_use]
pub fn render(voice: &MeasuredVoice) -> String {
    let mut page = Page(String::new());
    let p = &voice.profile;
    page.words("", &printable(&voice.file));
    page.words(
        "",
        &format!(
            "{}, {}, {}, {}",
            voice.file_format,
            kilohertz(p.rate_hz.round() as u32),
            channels(p.channels as u16),
            length(p.duration_s)
        ),
    );
    page.words("", words::signal_class(p.signal_class));
    for warning in &voice.file_warnings {
        page.words("warning: ", &warning.to_string());
    }
    level(&mut page, voice);
    background_noise(&mut page, voice);
    tonal_balance(&mut page, voice);
    sibilance_and_reverberation(&mut page, voice);
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

    /// Writes a quantity, or the reason why it is not available.
    fn measured<T>(&mut self, name: &str, value: Measured<T>, text: impl FnOnce(T) -> String) {
        match value {
            Ok(value) => self.row(name, &text(value)),
            Err(why) => self.unavailable(name, why),
        }
    }

    fn unavailable(&mut self, name: &str, why: Unavailable) {
        self.row(name, &format!("not available: {why}"));
    }
}

fn with_unit(unit: &'static str) -> impl Fn(f64) -> String {
    move |value| if value.is_finite() { quantity(value, unit).to_string() } else { MISSING.into() }
}

fn hertz(hz: f64) -> String {
    quantity(hz, "Hz").to_string()
}

fn level(page: &mut Page, voice: &MeasuredVoice) {
    let l = &voice.profile.level;
    page.title("Level");
    page.measured("Integrated loudness", l.integrated_lufs, with_unit("LUFS"));
    page.measured("Loudness range", l.loudness_range_lu, with_unit("LU"));
    page.row("True peak", &with_unit("dBTP")(l.true_peak_dbtp));
    page.row("Sample peak", &with_unit("dBFS")(l.sample_peak_dbfs));
    page.measured("Active speech level", l.active_level_dbov, |level| {
        format!("{}, active {} of the time", with_unit("dBov")(level), quantity(l.activity_percent, "%"))
    });
    page.measured("Crest factor", l.crest_db, with_unit("dB"));
    page.measured("Level consistency", voice.profile.level_consistency, |level_consistency| {
        let phrases = count(level_consistency.phrase_count as usize, "phrase", "phrases");
        format!("standard deviation {} over {phrases}", quantity(level_consistency.standard_deviation_db, "dB"))
    });
    page.measured("Transients", voice.profile.transients, |transients| match transients.count {
        0 => "none".into(),
        n => format!(
            "{n}, {} per 10 s, the highest {} above the surrounding speech",
            number(transients.per_10_s, 1),
            quantity(transients.max_excess_db, "dB")
        ),
    });
    page.row(
        "Clipping",
        &match l.clipping.runs {
            0 => "none".into(),
            n => format!("{} ({})", count(n as usize, "place", "places"), {
                count(l.clipping.samples as usize, "sample", "samples")
            }),
        },
    );
}

fn background_noise(page: &mut Page, voice: &MeasuredVoice) {
    let g = &voice.profile.background_noise;
    page.title("Background noise");
    page.measured("Noise floor", g.noise_floor_dbfs, with_unit("dBFS"));
    page.measured("Signal-to-noise ratio", g.snr_db, with_unit("dB"));
    page.measured("Mains hum", voice.profile.hum, |hum| match hum {
        None => "none".into(),
        Some(hum) => {
            format!("{} Hz and its harmonics, {}", number(hum.frequency_hz, 1), with_unit("dBFS")(hum.level_dbfs))
        }
    });
    page.row("Rumble below 60 Hz", &with_unit("dBFS")(g.rumble_dbfs));
    page.row("DC offset", &format!("{} % of full scale", number(100.0 * g.dc_offset, 2)));
}

fn tonal_balance(page: &mut Page, voice: &MeasuredVoice) {
    let p = &voice.profile;
    page.title("Tonal balance");
    page.measured("Pitch", p.pitch, |pitch| {
        format!("{}, mostly {} to {}", hertz(pitch.median_hz), hertz(pitch.low_hz), hertz(pitch.high_hz))
    });
    page.measured("Bandwidth", p.bandwidth, |band| {
        let words = match (band.narrowband, band.limited) {
            (true, _) => ", narrowband",
            (false, true) => ", nothing above",
            (false, false) => ", full",
        };
        format!("{}{words}", hertz(band.high_hz))
    });
    let against = |value: f64| format!("{} against published speech", quantity(value, "dB").signed());
    match p.tonal_balance {
        Err(why) => page.unavailable("Against published speech", why),
        Ok(tonal_balance) => {
            page.measured("Low end, 100 to 250 Hz", tonal_balance.low_end_db, against);
            page.measured("Presence, 2 to 5 kHz", tonal_balance.presence_db, against);
            page.measured("Top end, 6.3 to 12.5 kHz", tonal_balance.top_end_db, against);
        }
    }
    page.measured("Resonances", p.resonances, |candidates| {
        let all: Vec<String> = candidates
            .iter()
            .flatten()
            .map(|found| {
                let confidence = number(100.0 * found.confidence, 0);
                let action =
                    if acted_on(&voice.proposal, found.frequency_hz) { "cut proposed" } else { "no cut proposed" };
                let (hz, db) = (hertz(found.frequency_hz), signed(found.prominence_db, 1));
                format!("{hz}, {db} dB (Q {}, confidence {confidence} %, {action})", number(found.q, 1))
            })
            .collect();
        if all.is_empty() { "none".into() } else { all.join("; ") }
    });
}

fn sibilance_and_reverberation(page: &mut Page, voice: &MeasuredVoice) {
    page.title("Sibilance and reverberation");
    page.measured("Sibilance", voice.profile.sibilance, |s| {
        format!(
            "{} dB relative to typical speech, strongest at {}; {} % of the fricatives too strong",
            signed(s.excess_db, 1),
            hertz(s.frequency_hz),
            number(s.share_percent, 0)
        )
    });
    page.measured("Reverberation time", voice.profile.reverberation, |reverberation| {
        format!("{}{}", quantity(reverberation.decay_time_s, "s"), if reverberation.dry { ", dry" } else { "" })
    });
}

fn proposal(page: &mut Page, voice: &MeasuredVoice) {
    page.title(&format!("Proposed for {}", words::context(voice.context)));
    let mut before = "";
    for reason in voice.proposal.reasons() {
        if reason.stage() != before {
            before = reason.stage();
            page.words("  ", stage(before));
        }
        page.words("    ", &reason.to_string());
    }
    if before.is_empty() {
        page.words("  ", "Nothing: only the limiter is on.");
    }
    let mut left_off = voice.proposal.left_off().peekable();
    if left_off.peek().is_some() {
        page.title("Left off");
    }
    for off in left_off {
        page.words("  ", &off.to_string());
    }
    let warnings = words::warnings_beside(&voice.file_warnings, &voice.proposal);
    if !warnings.is_empty() {
        page.title("Warnings");
        for warning in warnings {
            page.words("  ", &warning);
        }
    }
}

/// Whether the proposal cuts the resonance at this frequency.
pub(super) fn acted_on(proposal: &Proposal, frequency_hz: f64) -> bool {
    proposal.evidence().any(|e| {
        e.setting.starts_with("corrective_eq.")
            && e.cause.frequency_hz.is_some_and(|hz| (hz - frequency_hz).abs() < 1e-6)
    })
}
