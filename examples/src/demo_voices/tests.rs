//! The demo voices have the stated spectra, levels and faults.

use super::biquad::Biquad;
use super::faults::{DIRECT_TO_REVERBERANT_DB, REVERBERATION_T60_S, room_impulse_response};
use super::level::{active_level, from_db};
use super::timeline::timeline;
use super::{DemoVoice, Fault, interview};
use std::f64::consts::TAU;
use std::sync::OnceLock;
use voicechain_core::speech::BYRNE_1994_COMBINED;

fn voices() -> &'static [DemoVoice; 2] {
    static VOICES: OnceLock<[DemoVoice; 2]> = OnceLock::new();
    VOICES.get_or_init(interview)
}

fn rms_db(samples: &[f32]) -> f64 {
    let power = samples.iter().map(|&s| f64::from(s).powi(2)).sum::<f64>() / samples.len() as f64;
    10.0 * power.max(1e-30).log10()
}

fn part(voice: &DemoVoice, samples: &[f32], from_s: f64, to_s: f64) -> Vec<f32> {
    let at = |s: f64| (s * f64::from(voice.rate_hz)) as usize;
    samples[at(from_s)..at(to_s)].to_vec()
}

/// Interval in which only the other voice speaks, well after the reverberation has decayed.
fn pause(voice: &DemoVoice) -> (f64, f64) {
    let long = voice.turns.windows(2).max_by(|a, b| (a[1].0 - a[0].1).total_cmp(&(b[1].0 - b[0].1))).unwrap();
    (long[0].1 + 1.0, long[1].0 - 0.6)
}

#[test]
fn the_voices_take_turns_on_one_time_axis() {
    let [host, guest] = voices();
    assert_eq!((host.name, host.rate_hz, guest.name, guest.rate_hz), ("host", 48_000, "guest", 44_100));
    let duration = host.recording.len() as f64 / 48_000.0;
    assert!((45.0..=60.0).contains(&duration), "{duration}");
    assert_eq!(guest.recording.len() as f64 / 44_100.0, duration);
    let mut turns: Vec<_> = host.turns.iter().chain(&guest.turns).collect();
    turns.sort_by(|a, b| a.0.total_cmp(&b.0));
    assert_eq!(turns.len(), 10);
    assert!(turns.windows(2).all(|w| w[0].1 + 0.2 < w[1].0), "{turns:?}");
    assert!(turns[9].1 < duration);
    for voice in voices() {
        assert_eq!(voice.clean.len(), voice.recording.len());
        let peak = voice.recording.iter().fold(0.0f32, |a, b| a.max(b.abs()));
        assert!(peak < 0.95 && voice.recording.iter().all(|s| s.is_finite()), "{}: {peak}", voice.name);
        assert!(!voice.faults.is_empty());
    }
}

#[test]
fn synthesis_is_repeatable() {
    let again = interview();
    for (a, b) in voices().iter().zip(&again) {
        assert!(a.recording.iter().map(|s| s.to_bits()).eq(b.recording.iter().map(|s| s.to_bits())));
    }
}

/// Third-octave level by filters, so that the check shares no code with the equaliser that made the spectrum. Three
/// band-passes in series are 3 dB down at the edges of the third octave.
fn filtered_third_octave(samples: &[f32], rate: u32, hz: f64) -> f64 {
    let q = (2f64.powf(1.0 / 3.0) - 1.0).sqrt() / (2f64.powf(1.0 / 6.0) - 2f64.powf(-1.0 / 6.0));
    let mut bands = [Biquad::band_pass(hz, q, rate); 3];
    let power: f64 = samples.iter().map(|&s| bands.iter_mut().fold(f64::from(s), |x, band| band.next(x)).powi(2)).sum();
    10.0 * (power / samples.len() as f64).log10()
}

#[test]
fn without_faults_the_spectrum_is_that_of_published_speech() {
    // From 200 Hz, above which the table combines men and women, to 5 kHz.
    let published = &BYRNE_1994_COMBINED[5..=19];
    for voice in voices() {
        let differences: Vec<f64> = published
            .iter()
            .map(|&(hz, level)| filtered_third_octave(&voice.clean, voice.rate_hz, hz) - level)
            .collect();
        let mean = differences.iter().sum::<f64>() / differences.len() as f64;
        for (&(hz, _), difference) in published.iter().zip(&differences) {
            assert!((difference - mean).abs() < 4.0, "{} at {hz} Hz: {:.1} dB", voice.name, difference - mean);
        }
    }
}

#[test]
fn the_guest_is_quieter_by_the_stated_difference() {
    let [host, guest] = voices();
    let level = |v: &DemoVoice, s: &[f32]| active_level(s, v.rate_hz);
    assert!((level(host, &host.clean) - level(guest, &guest.clean) - 9.0).abs() < 0.01);
    // During the turns, including pauses between words: the host's transients increase the difference, the guest's hum
    // and rumble reduce it.
    let speaking = |v: &DemoVoice| {
        let all: Vec<f32> = v.turns.iter().flat_map(|&(from, to)| part(v, &v.recording, from, to)).collect();
        rms_db(&all)
    };
    let recorded = speaking(host) - speaking(guest);
    assert!((9.0 - 1.0..9.0 + 3.0).contains(&recorded), "{recorded}");
}

#[test]
fn the_reverberation_has_the_stated_t60() {
    let rate = 44_100;
    let response = room_impulse_response(rate);
    let direct = f64::from(response[0]).powi(2);
    let tail: f64 = response[1..].iter().map(|&s| f64::from(s).powi(2)).sum();
    assert!((10.0 * (direct / tail).log10() - DIRECT_TO_REVERBERANT_DB).abs() < 0.3);
    // Schroeder backward integration, slope of the tail from −5 to −25 dB (ISO 3382, T20).
    let mut remaining = tail;
    let (mut at_5, mut at_25) = (None, None);
    for (n, s) in response.iter().enumerate().skip(1) {
        let db = 10.0 * (remaining / tail).log10();
        if db < -5.0 {
            at_5.get_or_insert(n);
        }
        if db < -25.0 {
            at_25.get_or_insert(n);
        }
        remaining -= f64::from(*s).powi(2);
    }
    let t60 = 3.0 * (at_25.unwrap() - at_5.unwrap()) as f64 / f64::from(rate);
    assert!((t60 / REVERBERATION_T60_S - 1.0).abs() < 0.06, "{t60}");
}

#[test]
fn hum_and_rumble_have_the_stated_levels() {
    let guest = &voices()[1];
    let (from, _) = pause(guest);
    // Whole periods of 50 Hz: 3 s.
    let quiet = part(guest, &guest.recording, from, from + 3.0);
    let mut power = 0.0;
    for k in 1..=6 {
        let (mut re, mut im) = (0.0, 0.0);
        for (n, &s) in quiet.iter().enumerate() {
            let angle = TAU * 50.0 * f64::from(k) * n as f64 / 44_100.0;
            re += f64::from(s) * angle.cos();
            im += f64::from(s) * angle.sin();
        }
        power += 2.0 * (re * re + im * im) / (quiet.len() as f64).powi(2);
    }
    let hum = 10.0 * power.log10();
    assert!((hum + 55.0).abs() < 0.5, "{hum}");
    // The remainder is rumble at −50 dBFS (a few hundred degrees of freedom) and room tone at −68 dBFS.
    let rest = 10.0 * (from_db(2.0 * rms_db(&quiet)) - power).log10();
    assert!((rest + 50.0).abs() < 1.5, "{rest}");
    let host = &voices()[0];
    let (from, to) = pause(host);
    let tone = rms_db(&part(host, &host.recording, from, to));
    assert!((tone + 68.0).abs() < 0.5, "{tone}");
}

#[test]
fn the_hosts_transients_and_sibilants_are_where_stated() {
    let host = &voices()[0];
    let Some(Fault::Transients { gain_db, at_s }) = host.faults.iter().find(|f| matches!(f, Fault::Transients { .. }))
    else {
        panic!("no transients")
    };
    assert_eq!(at_s.len(), 5);
    for &at in at_s {
        let (from, to) = (at - 0.003, at + 0.003);
        let raised = rms_db(&part(host, &host.recording, from, to)) - rms_db(&part(host, &host.clean, from, to));
        assert!((raised - gain_db).abs() < 0.3, "{raised} dB at {at} s");
    }
    // Sibilants are raised by 7 dB, vowels unchanged.
    let (timelines, _) = timeline();
    let mut sibilants = 0;
    for segment in &timelines[0].segments {
        let (from, to) = (segment.start_s + 0.02, segment.start_s + segment.length_s - 0.02);
        if at_s.iter().any(|at| (from - 0.1..to + 0.1).contains(at)) || to - from < 0.01 {
            continue;
        }
        let change = rms_db(&part(host, &host.recording, from, to)) - rms_db(&part(host, &host.clean, from, to));
        match segment.noise {
            Some((noise, offset_db)) if noise.sibilant && offset_db == 0.0 => {
                sibilants += 1;
                assert!((change - 7.0).abs() < 1.0, "{change} dB at {from} s");
            }
            None if segment.stressed => assert!(change.abs() < 0.5, "{change} dB at {from} s"),
            _ => {}
        }
    }
    assert!(sibilants >= 8, "{sibilants}");
}

#[test]
fn bell_and_shelf_have_the_cookbook_responses() {
    // Cookbook responses: full gain at the bell's centre, none far away; half the gain in dB at the shelf's mid-slope.
    let magnitude = |filter: Biquad, hz: f64| {
        let mut filter = filter;
        let mut tone = (0..88_200).map(|n| (TAU * hz * f64::from(n) / 44_100.0).sin());
        tone.by_ref().take(44_100).for_each(|x| {
            filter.next(x);
        });
        let power: f64 = tone.map(|x| filter.next(x).powi(2)).sum();
        10.0 * (power / 22_050.0).log10()
    };
    assert!((magnitude(Biquad::bell(420.0, 7.0, 2.0, 44_100), 420.0) - 7.0).abs() < 0.01);
    assert!(magnitude(Biquad::bell(420.0, 7.0, 2.0, 44_100), 4_000.0).abs() < 0.1);
    assert!((magnitude(Biquad::high_shelf(4_500.0, -8.0, 44_100), 4_500.0) + 4.0).abs() < 0.01);
    assert!((magnitude(Biquad::high_shelf(4_500.0, -8.0, 44_100), 18_000.0) + 8.0).abs() < 0.1);
}

#[test]
fn every_fault_has_a_one_line_description() {
    let lines: Vec<String> = voices().iter().flat_map(|v| v.faults.iter().map(Fault::to_string)).collect();
    assert_eq!(lines.len(), 8);
    assert_eq!(lines[0], "sibilant: /s/ and /z/ 7 dB too loud");
    assert_eq!(lines[1], "5 single syllables 12 dB too loud");
    assert!(lines.iter().all(|line| line.lines().count() == 1));
}
