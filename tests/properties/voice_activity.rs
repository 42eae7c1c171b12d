//! Voice activity follows phrases at any level.

use crate::rate;
use voicechain_core::detectors::VoiceActivity;
use voicechain_tests::signals::{phrases, white};

/// Voice-activity decision every 10 ms.
fn decisions(signal: &[f64], hz: f64) -> Vec<bool> {
    let tick = (0.01 * hz) as usize;
    let mut activity = VoiceActivity::new(rate(hz), tick as f64);
    signal
        .chunks_exact(tick)
        .map(|chunk| {
            activity.tick(chunk.iter().map(|x| x * x).sum::<f64>() / tick as f64);
            activity.is_active()
        })
        .collect()
}

#[test]
fn voice_activity_follows_phrases_at_any_level() {
    for hz in [8_000.0, 16_000.0, 48_000.0, 192_000.0] {
        for level in [-42.0, -35.0, -23.0, -10.0] {
            // Phrases of 1.6 s, pauses of 0.6 s, noise 50 dB below.
            let active = decisions(&phrases(level, hz, 11.0, 6), hz);
            for (k, &now) in active.iter().enumerate() {
                let within = (k as f64 * 0.01) % 2.2;
                // 150 ms for the envelope to rise above the margin; 200 ms of hang-over, and as long again for the
                // envelope to fall by the margin of 15.9 dB (ITU-T P.56 method B: two one-pole filters of 30 ms,
                // hang-over 200 ms).
                if (0.15..1.55).contains(&within) {
                    assert!(now, "{level} dB at {hz} Hz: silent {within} s into a phrase, at {k}");
                }
                if within > 1.6 + 0.2 + 0.22 {
                    assert!(!now, "{level} dB at {hz} Hz: active {} s into a pause, at {k}", within - 1.6);
                }
            }
        }
    }
}

#[test]
fn noise_below_the_activity_floor_is_not_a_voice() {
    assert!(!decisions(&white(-66.0, 96_000, 1), 48_000.0).iter().any(|&active| active));
    assert!(!decisions(&vec![0.0; 96_000], 48_000.0).iter().any(|&active| active));
}

#[test]
fn a_quiet_voice_is_detected_after_a_loud_one() {
    // From -10 to -40 dBFS, after six seconds of silence and the time that the level tracker needs at 3 dB per second.
    let hz = 16_000.0;
    let mut signal = phrases(-10.0, hz, 8.0, 1);
    signal.extend(white(-80.0, (6.0 * hz) as usize, 2));
    let begin = signal.len();
    signal.extend(phrases(-40.0, hz, 12.0, 3));
    let active = decisions(&signal, hz);
    let late = &active[(begin as f64 / hz * 100.0) as usize + 800..];
    assert!(late.iter().filter(|&&a| a).count() * 2 > late.len(), "the quieter voice is not detected");
}
