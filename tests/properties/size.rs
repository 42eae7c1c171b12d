//! The strip is small enough for where it has to live.

use crate::rate;
use std::mem::size_of;
use voicechain_core::voice::ProfileMeter;
use voicechain_core::{Strip, StripSettings};
use voicechain_tests::strips::coefs;

#[test]
fn a_strip_fits_in_128_kib() {
    println!("Strip<1>: {} bytes, Strip<2>: {} bytes", size_of::<Strip<1>>(), size_of::<Strip<2>>());
    assert!(size_of::<Strip<1>>() <= 128 * 1024, "mono: {} bytes", size_of::<Strip<1>>());
    assert!(size_of::<Strip<2>>() <= 128 * 1024, "stereo: {} bytes", size_of::<Strip<2>>());
}

#[test]
fn a_profile_meter_fits_in_300_kib() {
    println!("ProfileMeter<1>: {} bytes, <2>: {}", size_of::<ProfileMeter<1>>(), size_of::<ProfileMeter<2>>());
    assert!(size_of::<ProfileMeter<1>>() <= 300 * 1024, "mono: {} bytes", size_of::<ProfileMeter<1>>());
    assert!(size_of::<ProfileMeter<2>>() <= 300 * 1024, "stereo: {} bytes", size_of::<ProfileMeter<2>>());
}

#[test]
fn a_strip_is_made_and_run_on_a_stack_of_512_kib() {
    let thread = std::thread::Builder::new().stack_size(512 * 1024).spawn(|| {
        let coefs = coefs::<2>(&StripSettings::default(), rate(48_000.0));
        let mut strip = Box::new(Strip::fresh(&coefs));
        strip.run(&mut [[0.1; 2]; 1_000]);
        strip.reset();
        strip.ledger().is_some()
    });
    assert!(!thread.expect("a thread").join().expect("no overflow"));
}
