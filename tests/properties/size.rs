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

/// Made on a stack of 2 MiB, the default of a thread; run, set and reset on 256 KiB, as an audio thread may have.
#[test]
fn a_strip_is_made_on_a_2_mib_stack_and_runs_on_256_kib() {
    let made = std::thread::Builder::new().stack_size(2 * 1024 * 1024).spawn(|| {
        let coefs = coefs::<2>(&StripSettings::default(), rate(48_000.0));
        Box::new(Strip::new(&coefs))
    });
    let mut strip = made.expect("a thread").join().expect("no overflow");
    let run = std::thread::Builder::new().stack_size(256 * 1024).spawn(move || {
        let mut settings = StripSettings::default();
        settings.de_reverb.on = true;
        for latency in [SpectralLatency::High, SpectralLatency::Low] {
            settings.spectral.latency = latency;
            strip.set(&coefs::<2>(&settings, rate(48_000.0)));
            strip.run(&mut [[0.1; 2]; 5_000]);
        }
        strip.reset();
        strip.ledger().is_some()
    });
    assert!(!run.expect("a thread").join().expect("no overflow"));
}
