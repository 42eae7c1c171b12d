//! Drawing of a voice against published speech, with findings marked at their frequencies.

use super::page::acted_on;
use super::{MeasuredVoice, words};
use crate::report::plot::{Finding, FindingMark, VoiceDrawing, voice_drawing};
use crate::report::table::printable;
use voicechain_core::format::quantity;
use voicechain_core::settings::StripSettings;

/// Renders a standalone SVG file that follows the viewer's light or dark colour scheme.
#[must_use]
pub fn render(voice: &MeasuredVoice) -> String {
    let p = &voice.profile;
    let below = match p.tonal_balance {
        Ok(_) => words::signal_class(p.signal_class).to_owned(),
        Err(why) => {
            let signal_class = words::signal_class(p.signal_class);
            format!("{signal_class} The spectrum is not available: {why}.")
        }
    };
    let deviation_db =
        p.tonal_balance.map_or([None; 25], |tonal_balance| tonal_balance.deviation_db.map(|db| db.map(|db| db as f32)));
    voice_drawing(&VoiceDrawing {
        title: &printable(&voice.file),
        below: &below,
        deviation_db,
        findings: findings(voice),
    })
}

fn findings(voice: &MeasuredVoice) -> Vec<Finding> {
    let (p, s) = (&voice.profile, &voice.proposal.settings);
    let mut found = Vec::new();
    let mut push = |hz: f64, mark: FindingMark, words: String| found.push(Finding { hz: hz as f32, words, mark });
    if s.high_pass.on {
        let hz = s.high_pass.frequency_hz;
        push(hz, FindingMark::Cut, format!("high-pass {}", quantity(hz, "Hz")));
    }
    for (hz, gain) in bells(s) {
        push(hz, FindingMark::Cut, format!("resonance at {}: {}", quantity(hz, "Hz"), quantity(gain, "dB").signed()));
    }
    for left in p.resonances.iter().flatten().flatten().filter(|r| !acted_on(&voice.proposal, r.frequency_hz)) {
        push(
            left.frequency_hz,
            FindingMark::Unchanged,
            format!("possible resonance at {}", quantity(left.frequency_hz, "Hz")),
        );
    }
    let t = &s.tone_eq;
    if t.on && t.low_shelf_gain_db != 0.0 {
        let (mark, what) =
            if t.low_shelf_gain_db > 0.0 { (FindingMark::Boost, "thin") } else { (FindingMark::Cut, "boomy") };
        push(t.low_shelf_frequency_hz, mark, format!("{what}: {}", quantity(t.low_shelf_gain_db, "dB").signed()));
    }
    if t.on && t.bell_gain_db != 0.0 {
        let (mark, what) =
            if t.bell_gain_db > 0.0 { (FindingMark::Boost, "dull") } else { (FindingMark::Cut, "sharp") };
        push(t.bell_frequency_hz, mark, format!("{what}: {}", quantity(t.bell_gain_db, "dB").signed()));
    }
    if s.de_esser.on {
        let words = format!("sibilant: up to {}", quantity(-s.de_esser.range_db, "dB"));
        push(p.sibilance.map_or(s.de_esser.frequency_hz, |s| s.frequency_hz), FindingMark::Cut, words);
    }
    if let Some(band) = p.bandwidth.ok().filter(|band| band.limited) {
        push(band.high_hz, FindingMark::Unchanged, format!("the recording ends at {}", quantity(band.high_hz, "Hz")));
    }
    found
}

/// Frequency and gain of the active bells of the corrective EQ, Hz and dB.
fn bells(s: &StripSettings) -> impl Iterator<Item = (f64, f64)> + use<> {
    let eq = s.corrective_eq;
    let all = [
        (eq.bell_1_frequency_hz, eq.bell_1_gain_db),
        (eq.bell_2_frequency_hz, eq.bell_2_gain_db),
        (eq.bell_3_frequency_hz, eq.bell_3_gain_db),
        (eq.bell_4_frequency_hz, eq.bell_4_gain_db),
    ];
    all.into_iter().filter(move |&(_, gain)| eq.on && gain != 0.0)
}
