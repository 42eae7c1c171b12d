//! The speakers and the music.

use crate::Row;
use voicechain_tests::recordings::{RATE_HZ, Subset, music, speakers};

/// Number, length and native sample rates of the speakers, and the number of pieces of music.
pub(crate) fn rows() -> Vec<Row> {
    let of = |subset: Subset| {
        let all: Vec<_> = speakers().iter().filter(|speaker| speaker.subset == subset).collect();
        let minutes = all.iter().map(|s| s.samples.len() as f64).sum::<f64>() / f64::from(RATE_HZ) / 60.0;
        let below = |hz: u32| all.iter().filter(|speaker| speaker.native_rate_hz < hz).count();
        let (narrow, half_rate) = (below(16_000), below(44_100));
        let rooms = all.iter().filter(|speaker| speaker.reverberant).count();
        format!(
            "{} speakers, {minutes:.0} min; {half_rate} below 44.1 kHz, {narrow} below 16 kHz; {rooms} reverberant",
            all.len()
        )
    };
    let (development, evaluation) = (of(Subset::Development), of(Subset::Evaluation));
    let music = format!("{} pieces", music().len());
    vec![
        Row { quantity: "speakers".into(), required: "40", development, evaluation },
        Row { quantity: "music".into(), required: "10", development: music.clone(), evaluation: music },
    ]
}
