//! Source-filter synthesis of two speech-like voices with known faults, in an invented interview.
//!
//! A host asks, a lighthouse keeper's apprentice answers. No voice was recorded:
//!
//! - The source is glottal pulses with jitter and shimmer (Rosenberg, "Effect of glottal pulse shape on the quality of
//!   natural vowels", JASA 49, 1971, the trigonometric shape).
//! - Formant resonators are set to published vowel formants (Peterson and Barney 1952).
//! - Shaped noise forms fricatives and bursts.
//! - The pitch contour has declination and accents.
//!
//! Each voice is equalised to the published average spectrum of speech (Byrne et al. 1994) before its
//! [faults](DemoVoice::faults) are added, so that a measurement should find these faults and no others.

mod biquad;
mod faults;
mod fft;
mod fricatives;
mod glottis;
mod level;
mod phones;
mod random;
mod segment;
mod speaker;
mod spectrum;
mod synthesise;
#[cfg(test)]
mod tests;
mod timeline;
mod tracks;

pub use faults::Fault;

use biquad::Biquad;
use dasp::slice::{add_in_place, add_in_place_with_amp_per_channel};
use faults::{
    BOXY, DIRECT_TO_REVERBERANT_DB, DULL, HUM, QUIETER_DB, REVERBERATION_T60_S, RUMBLE, SIBILANT_DB, TRANSIENT_DB,
    add_hum, add_room_tone, add_rumble, room_impulse_response,
};
use fft::convolve;
use level::{active_level, from_db};
use speaker::{GUEST, HOST};
use spectrum::published_spectrum_filter;
use std::f64::consts::TAU;
use synthesise::synthesise;
use timeline::{SpeechTimeline, timeline};

/// Voice of the demo, mono.
#[derive(Debug, Clone)]
pub struct DemoVoice {
    /// "host" or "guest".
    pub name: &'static str,
    /// Sample rate, Hz; the two voices differ.
    pub rate_hz: u32,
    /// Recording with faults and room tone.
    pub recording: Vec<f32>,
    /// Time-aligned voice without faults: the result of an ideal restoration.
    pub clean: Vec<f32>,
    /// Faults of the recording.
    pub faults: Vec<Fault>,
    /// Start and end of every turn of this voice, s.
    pub turns: Vec<(f64, f64)>,
}

/// Active level of the host, dBFS (RMS).
const HOST_LEVEL_DBFS: f64 = -27.0;

/// Synthesises both voices, the host first. They share one time axis and one duration.
pub fn interview() -> [DemoVoice; 2] {
    let (timelines, duration_s) = timeline();
    let [host_timeline, guest_timeline] = timelines;
    std::thread::scope(|scope| {
        let guest = scope.spawn(move || guest(&guest_timeline, duration_s));
        let host = host(&host_timeline, duration_s);
        match guest.join() {
            Ok(guest) => [host, guest],
            Err(panic) => std::panic::resume_unwind(panic),
        }
    })
}

fn host(timeline: &SpeechTimeline, duration_s: f64) -> DemoVoice {
    let rate = 48_000;
    let stems = synthesise(timeline, &HOST, rate, duration_s);
    let tilt = published_spectrum_filter(&stems, rate, &HOST);
    let sibilants = convolve(&stems.sibilants, &tilt);
    let mut clean = convolve(&stems.rest, &tilt);
    add_in_place(&mut clean, &sibilants);
    let gain = from_db(HOST_LEVEL_DBFS - active_level(&clean, rate)) as f32;
    clean.iter_mut().for_each(|s| *s *= gain);
    let extra = gain * (from_db(SIBILANT_DB) - 1.0) as f32;
    let mut recording = clean.clone();
    add_in_place_with_amp_per_channel(&mut recording, &sibilants, extra);
    let at_s: Vec<f64> = [0.12, 0.38, 0.55, 0.74, 0.93]
        .iter()
        .map(|share| timeline.stressed[(share * timeline.stressed.len() as f64) as usize])
        .collect();
    for &middle in &at_s {
        let (from, count) = (((middle - 0.05) * f64::from(rate)) as usize, rate as usize / 10);
        for (n, sample) in recording.iter_mut().skip(from).take(count).enumerate() {
            let shape = 0.5 - 0.5 * (TAU * n as f64 / count as f64).cos();
            *sample *= from_db(TRANSIENT_DB * shape) as f32;
        }
    }
    add_room_tone(&mut recording, rate, 11);
    DemoVoice {
        name: "host",
        rate_hz: rate,
        recording,
        clean,
        faults: vec![Fault::Sibilant { gain_db: SIBILANT_DB }, Fault::Transients { gain_db: TRANSIENT_DB, at_s }],
        turns: timeline.turns.clone(),
    }
}

fn guest(timeline: &SpeechTimeline, duration_s: f64) -> DemoVoice {
    let rate = 44_100;
    let stems = synthesise(timeline, &GUEST, rate, duration_s);
    let tilt = published_spectrum_filter(&stems, rate, &GUEST);
    let mut both = stems.rest;
    add_in_place(&mut both, &stems.sibilants);
    let mut clean = convolve(&both, &tilt);
    let level = HOST_LEVEL_DBFS - QUIETER_DB;
    let gain = from_db(level - active_level(&clean, rate)) as f32;
    clean.iter_mut().for_each(|s| *s *= gain);

    let mut recording = convolve(&clean, &room_impulse_response(rate));
    Biquad::bell(BOXY.0, BOXY.1, BOXY.2, rate).run(&mut recording);
    Biquad::high_shelf(DULL.0, DULL.1, rate).run(&mut recording);
    let gain = from_db(level - active_level(&recording, rate)) as f32;
    recording.iter_mut().for_each(|s| *s *= gain);
    add_hum(&mut recording, rate);
    add_rumble(&mut recording, rate);
    add_room_tone(&mut recording, rate, 12);
    DemoVoice {
        name: "guest",
        rate_hz: rate,
        recording,
        clean,
        faults: vec![
            Fault::Quieter { db: QUIETER_DB },
            Fault::Reverberation { t60_s: REVERBERATION_T60_S, direct_to_reverberant_db: DIRECT_TO_REVERBERANT_DB },
            Fault::Resonance { hz: BOXY.0, gain_db: BOXY.1, q: BOXY.2 },
            Fault::Dull { above_hz: DULL.0, gain_db: DULL.1 },
            Fault::Hum { hz: HUM.0, level_dbfs: HUM.1 },
            Fault::Rumble { below_hz: RUMBLE.0, level_dbfs: RUMBLE.1 },
        ],
        turns: timeline.turns.clone(),
    }
}
