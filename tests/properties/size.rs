//! Memory of the strip and of the profile meter.

use crate::rate;
use std::mem::size_of;
use voicechain_core::measure::ProfileMeter;
use voicechain_core::settings::SpectralLatency;
use voicechain_core::{Strip, StripSettings};
use voicechain_tests::strips::coefs;

/// In stereo the de-reverb holds 323 KiB without allocation: spectra, windows, the past of 1 025 bands, and the
/// prediction of 128 of them. Everything else fits in 180 KiB; 24 KiB of it is the delay line for its latency.
#[test]
fn a_strip_fits_in_400_kib_mono_and_512_kib_stereo() {
    println!("Strip<1>: {} bytes, Strip<2>: {} bytes", size_of::<Strip<1>>(), size_of::<Strip<2>>());
    assert!(size_of::<Strip<1>>() <= 400 * 1024, "mono: {} bytes", size_of::<Strip<1>>());
    assert!(size_of::<Strip<2>>() <= 512 * 1024, "stereo: {} bytes", size_of::<Strip<2>>());
}

#[test]
fn a_profile_meter_fits_in_300_kib() {
    println!("ProfileMeter<1>: {} bytes, <2>: {}", size_of::<ProfileMeter<1>>(), size_of::<ProfileMeter<2>>());
    assert!(size_of::<ProfileMeter<1>>() <= 300 * 1024, "mono: {} bytes", size_of::<ProfileMeter<1>>());
    assert!(size_of::<ProfileMeter<2>>() <= 300 * 1024, "stereo: {} bytes", size_of::<ProfileMeter<2>>());
}

/// Runs `job` on a thread with a stack of this size.
fn on_a_stack<R: Send + 'static>(kib: usize, job: impl FnOnce() -> R + Send + 'static) -> R {
    let thread = std::thread::Builder::new().stack_size(kib * 1024).spawn(job);
    thread.expect("a thread").join().expect("no overflow")
}

/// Stack of an audio thread, KiB: in an optimised build and in a debug build.
const AUDIO_THREAD_KIB: usize = if cfg!(debug_assertions) { 256 } else { 128 };

/// Everything that an audio thread may call: run, all settings including another sample rate, reset, analysis ahead
/// and readings. The strip is made on 2 MiB, the default of a thread.
#[test]
fn an_audio_thread_needs_128_kib_of_stack() {
    let mut strip = on_a_stack(2_048, || Box::new(Strip::<2>::new(&coefs(&StripSettings::default(), rate(48_000.0)))));
    // Coefficients are designed elsewhere.
    let mut settings = StripSettings::default();
    let mut all = Vec::new();
    for hz in [48_000.0, 192_000.0, 8_000.0] {
        for latency in [SpectralLatency::High, SpectralLatency::Low, SpectralLatency::None] {
            (settings.hum.on, settings.de_reverb.on, settings.spectral.latency) = (true, true, latency);
            (settings.expander.on, settings.leveller.on) = (true, true);
            settings.limiter.look_ahead_ms = if hz > 48_000.0 { 5.0 } else { 1.0 };
            settings.order.rotate_left(1);
            all.push(Box::new(coefs::<2>(&settings, rate(hz))));
        }
    }
    let beginning = vec![[0.1, -0.05]; 30_000];
    let read = on_a_stack(AUDIO_THREAD_KIB, move || {
        let mut frames = [[0.1, 0.02]; 1_000];
        for coefs in &all {
            strip.set(coefs);
            for _ in 0..10 {
                strip.run(&mut frames);
            }
            strip.reset();
            strip.analyse_ahead(&beginning);
            strip.run(&mut frames);
            strip.reset_meters();
        }
        (
            strip.ledger(),
            strip.output_loudness().integrated(),
            strip.output_loudness().range(),
            strip.loudness_match_db(),
        )
    });
    assert!(read.0.is_none(), "less than a gating block since the reset of the meters");
}
