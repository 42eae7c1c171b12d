//! Pitch of the voices against a reference library.

use crate::Row;
use crate::subset::{profile, share};
use std::collections::BTreeMap;
use voicechain_core::measure::profile::Pitch;
use voicechain_tests::faults::{NoiseKind, bell, in_room, telephone_band, with_noise};
use voicechain_tests::recordings::{RATE_HZ, Subset, for_each_speaker};
use voicechain_tests::rooms::{Room, decay_time};

/// Low, median and high pitch of every unchanged recording, Hz, by `tests/standards/pitch_reference.py`.
const REFERENCE: &str = include_str!("../fixtures/pitch_reference.csv");

/// Conditions of the recordings. The reference is always that of the unchanged recording.
const CONDITIONS: [&str; 6] = [
    "as recorded",
    "pink noise, 20 dB",
    "pink noise, 10 dB",
    "room of 0.6 s",
    "bell of +8 dB at 350 Hz",
    "telephone band",
];

/// Relative errors against the reference; `None` without a measured pitch.
type Errors = [Option<[f64; 3]>; CONDITIONS.len()];

pub(crate) fn rows() -> Vec<Row> {
    let reference: BTreeMap<&str, [f64; 3]> = REFERENCE.lines().skip(1).filter_map(parsed).collect();
    let response = room().impulse_response(f64::from(RATE_HZ), 0.9);
    let all: Vec<(&str, Subset, Errors)> = for_each_speaker(|speaker| {
        let voice = &speaker.samples;
        let wanted = reference.get(speaker.name).expect("every speaker is in the reference: run pitch_reference.py");
        let errors = |samples: &[f32]| {
            let Pitch { low_hz, median_hz, high_hz, .. } = profile(samples).pitch.ok()?;
            let found = [low_hz, median_hz, high_hz];
            Some(std::array::from_fn(|n| (found[n] / wanted[n] - 1.0).abs()))
        };
        [
            errors(voice),
            errors(&with_noise(voice, NoiseKind::Pink, 20.0, &[], 1).0),
            errors(&with_noise(voice, NoiseKind::Pink, 10.0, &[], 2).0),
            errors(&in_room(voice, &response)),
            errors(&bell(voice, 350.0, 8.0, 1.5)),
            errors(&telephone_band(voice)),
        ]
    });
    let mut rows = Vec::new();
    for (condition, name) in CONDITIONS.iter().enumerate() {
        let mut row = |what: &str, required: &'static str, value: usize, limits: &[f64]| {
            let cell = |subset: Subset| {
                let of: Vec<_> = all.iter().filter(|(_, h, _)| *h == subset).map(|(_, _, e)| e[condition]).collect();
                let within = |limit: f64| of.iter().flatten().filter(|errors| errors[value] <= limit).count();
                limits.iter().map(|&limit| share(within(limit), of.len())).collect::<Vec<_>>().join(", ")
            };
            rows.push(Row {
                quantity: format!("pitch, {name}: {what} of a reference library"),
                required,
                development: cell(Subset::Development),
                evaluation: cell(Subset::Evaluation),
            });
        };
        let required = if condition == 0 { "91 / 98 %, 95 / 99 %" } else { "none" };
        row("median within 5 / 10 %", required, 1, &[0.05, 0.1]);
        row("low within 10 %", "none", 0, &[0.1]);
        row("high within 10 %", "none", 2, &[0.1]);
    }
    rows
}

/// A room of 83 cubic metres, 1.5 m from the voice, with the least reflection that gives a decay time of 0.6 s.
fn room() -> Room {
    let of =
        |reflection| Room { size: [6.1, 4.7, 2.9], reflection, voice: [2.0, 1.5, 1.5], microphone: [3.1, 2.4, 1.3] };
    let long = |room: &Room| decay_time(&room.impulse_response(8_000.0, 0.9), 8_000.0).is_some_and(|time| time >= 0.6);
    (80..96).map(|percent| of(f64::from(percent) / 100.0)).find(long).expect("a room that reverberates")
}

/// Parses one line of the reference.
fn parsed(line: &str) -> Option<(&str, [f64; 3])> {
    let mut fields = line.split(',');
    let name = fields.next()?;
    let mut value = || fields.next()?.parse().ok();
    Some((name, [value()?, value()?, value()?]))
}
