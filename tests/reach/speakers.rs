//! Who is measured.

use crate::Row;
use voicechain_tests::recordings::{Half, RATE_HZ, music, speakers};

/// How many speakers, how long, and of what native rates; and the music that is held against them.
pub(crate) fn rows() -> Vec<Row> {
    let of = |half: Half| {
        let all: Vec<_> = speakers().iter().filter(|speaker| speaker.half == half).collect();
        let minutes = all.iter().map(|s| s.samples.len() as f64).sum::<f64>() / f64::from(RATE_HZ) / 60.0;
        let below = |hz: u32| all.iter().filter(|speaker| speaker.native_rate_hz < hz).count();
        let (narrow, half_rate) = (below(16_000), below(44_100));
        let rooms = all.iter().filter(|speaker| speaker.roomy).count();
        format!(
            "{} speakers, {minutes:.0} min; {half_rate} below 44.1 kHz, {narrow} below 16 kHz; {rooms} in a room",
            all.len()
        )
    };
    let (chosen, scored) = (of(Half::Chooses), of(Half::Scores));
    let music = format!("{} pieces", music().len());
    vec![
        Row { quantity: "speakers".into(), reach: "40", chosen, scored },
        Row { quantity: "music".into(), reach: "10", chosen: music.clone(), scored: music },
    ]
}
