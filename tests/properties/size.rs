//! Memory of the strip and of the profile meter.

use crate::rate;
use std::mem::size_of;
use voicechain_core::measure::ProfileMeter;
use voicechain_core::settings::SpectralLatency;
use voicechain_core::strip::{AuditionBand, MonitorMode, Monitoring};
use voicechain_core::{SampleRate, Strip, StripCoefs, StripSettings};
use voicechain_tests::spectra::Noise;
use voicechain_tests::strips::{coefs, first_difference, random_settings, run, strip};

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
/// and readings.
#[test]
fn an_audio_thread_needs_128_kib_of_stack() {
    let mut strip = strip::<2>(&StripSettings::default(), rate(48_000.0));
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

/// Stack for making an object of this size on the heap, KiB. A debug build copies it over the stack once.
fn making_kib<T>() -> usize {
    if cfg!(debug_assertions) { size_of::<T>().div_ceil(1024) + 96 } else { 128 }
}

fn make_strip(coefs: StripCoefs<1>, stereo: StripCoefs<2>) {
    let mono = on_a_stack(making_kib::<Strip<1>>(), move || {
        let mut strip = Box::new(Strip::<1>::NEW);
        strip.set(&coefs);
        strip
    });
    let stereo = on_a_stack(making_kib::<Strip<2>>(), move || {
        let mut strip = Box::new(Strip::<2>::NEW);
        strip.set(&stereo);
        strip
    });
    assert_eq!(mono.latency(), stereo.latency());
}

fn make_meter<const C: usize>(rate: SampleRate) {
    let meter = on_a_stack(making_kib::<ProfileMeter<C>>(), move || {
        let mut meter = Box::new(ProfileMeter::<C>::NEW);
        meter.restart(rate);
        meter
    });
    assert_eq!(meter.profile().rate_hz, rate.hz());
}

#[test]
fn making_a_strip_or_a_profile_meter_needs_128_kib_of_stack() {
    let mut settings = StripSettings::default();
    (settings.hum.on, settings.de_reverb.on, settings.spectral.latency) = (true, true, SpectralLatency::High);
    for hz in [8_000.0, 48_000.0, 192_000.0] {
        make_strip(coefs(&settings, rate(hz)), coefs(&settings, rate(hz)));
        make_meter::<1>(rate(hz));
        make_meter::<2>(rate(hz));
    }
}

/// The coefficients apply at once and all states are clear, also after another sample rate.
#[test]
fn a_strip_made_in_place_equals_a_new_one() {
    let mut random = Noise::new(17);
    for hz in [8_000.0, 44_100.0, 48_000.0, 192_000.0] {
        let coefs = coefs::<2>(&random_settings(&mut random), rate(hz));
        let frames: Vec<[f32; 2]> =
            (0..20_000).map(|_| [0.3 * random.sample() as f32, 0.1 * random.sample() as f32]).collect();
        let mut new = Box::new(Strip::<2>::new(&coefs));
        let mut in_place = Box::new(Strip::<2>::NEW);
        in_place.set(&coefs);
        let expected = run(&mut new, &frames);
        assert_eq!(first_difference(&expected, &run(&mut in_place, &frames)), None, "{hz} Hz");
        assert_eq!(in_place.ledger(), new.ledger(), "{hz} Hz");
        assert_eq!(in_place.output_true_peak().hold(), new.output_true_peak().hold(), "{hz} Hz");
    }
}

/// Any call is allowed before the first `set`.
#[test]
fn a_blank_strip_passes_its_input_and_measures_nothing() {
    let frames: Vec<[f32; 2]> = (0..1_000).map(|n| [n as f32 * 1e-3, f32::NAN]).collect();
    let mut strip = Box::new(Strip::<2>::NEW);
    strip.set_monitoring(Monitoring { mode: MonitorMode::Unprocessed, loudness_matched: true });
    let band = AuditionBand::BandPass { frequency_hz: 1_000.0, q: 2.0 };
    strip.set_audition(band);
    strip.override_leveller_gain(Some(3.0));
    strip.reset_meters();
    strip.reset();
    strip.analyse_ahead(&frames);
    assert_eq!(first_difference(&run(&mut strip, &frames), &frames), None);
    assert_eq!((strip.latency(), strip.tail(), strip.leveller_delay()), (0, 0, 0));
    assert!(strip.ledger().is_none() && strip.output_loudness().integrated().is_none());
    assert!(strip.output_loudness().range().is_none() && strip.mains_hz().is_none() && !strip.voice_is_active());
    strip.set(&coefs(&StripSettings::default(), rate(48_000.0)));
    assert_eq!((strip.monitoring().mode, strip.audition()), (MonitorMode::Unprocessed, band), "they stay");
}

/// A restarted meter has forgotten everything, also from another sample rate.
#[test]
fn a_restarted_profile_meter_equals_a_new_one() {
    let mut random = Noise::new(5);
    let frames: Vec<[f32; 2]> = (0..60_000)
        .map(|n| {
            let gate = if n / 9_000 % 2 == 0 { 0.5 } else { 0.001 };
            [gate * random.sample() as f32, 0.3 * gate * random.sample() as f32]
        })
        .collect();
    let mut restarted = Box::new(ProfileMeter::<2>::NEW);
    restarted.push(&frames);
    assert_eq!(restarted.duration_s(), 0.0, "a blank meter ignores frames");
    for hz in [48_000.0, 8_000.0, 192_000.0] {
        restarted.restart(rate(hz));
        let mut new = Box::new(ProfileMeter::<2>::new(rate(hz)));
        restarted.push(&frames);
        new.push(&frames);
        assert_eq!(format!("{:?}", restarted.profile()), format!("{:?}", new.profile()), "{hz} Hz");
    }
}
