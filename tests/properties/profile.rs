//! Properties of a profile for any recording: independent of block size and of level, and explicit about what cannot be
//! measured.

use approx::{assert_abs_diff_eq, assert_relative_eq};
use proptest::prelude::*;
use voicechain_core::SampleRate;
use voicechain_core::measure::profile::{SignalClass, Unavailable};
use voicechain_core::measure::{Profile, ProfileMeter};
use voicechain_core::propose::{Context, Proposal, propose};
use voicechain_core::speech::BYRNE_1994_COMBINED;
use voicechain_tests::channels::ChannelPattern;
use voicechain_tests::signals::{gain, shaped, white};
use voicechain_tests::tones::Random;

const RATE_HZ: f64 = 16_000.0;

/// Speech-shaped syllables with pauses over faint noise. Their lengths vary from 0.2 to 0.4 s, as a talker's do.
fn syllables(seconds: f64) -> Vec<f32> {
    let samples = (seconds * RATE_HZ) as usize;
    let speech = shaped(&BYRNE_1994_COMBINED, -14.0, RATE_HZ, samples, 7);
    let hiss = white(-63.0, samples, 8);
    let mut random = Random::new(9);
    let (mut phase, mut length) = (0.0, 0.3);
    let mut on = |n: usize| {
        phase += 1.0 / (length * RATE_HZ);
        if phase >= 1.0 {
            (phase, length) = (0.0, 0.2 + 0.2 * random.unit());
        }
        if n as f64 / RATE_HZ % 2.5 < 1.8 { 0.55 - 0.45 * (std::f64::consts::TAU * phase).cos() } else { 0.0 }
    };
    speech.iter().zip(hiss).enumerate().map(|(n, (s, h))| (on(n) * s + h) as f32).collect()
}

fn profile<const C: usize>(frames: &[[f32; C]], rate_hz: f64, mut pieces: impl FnMut() -> usize) -> Profile {
    let mut meter = Box::new(ProfileMeter::<C>::new(SampleRate::new(rate_hz).expect("an allowed rate")));
    let mut rest = frames;
    while !rest.is_empty() {
        let (now, later) = rest.split_at(pieces().clamp(1, rest.len()));
        meter.push(now);
        rest = later;
    }
    meter.profile()
}

fn mono(samples: &[f32]) -> Vec<[f32; 1]> {
    samples.iter().map(|&s| [s]).collect()
}

fn proposed(profile: &Profile) -> Proposal {
    propose(profile, Context::default())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 8, ..ProptestConfig::default() })]

    /// Bit-exact, at a rate that is halved twice, with any channels.
    #[test]
    fn profile_is_independent_of_block_size(
        lengths in prop::collection::vec(1_usize..3_000, 1..20),
        pattern in prop::sample::select(ChannelPattern::ALL.to_vec()),
    ) {
        let signal: Vec<f64> = syllables(14.0).into_iter().map(f64::from).collect();
        let frames = pattern.frames(&signal);
        let whole = profile(&frames, 192_000.0, || usize::MAX);
        let mut next = lengths.iter().cycle();
        let split = profile(&frames, 192_000.0, || *next.next().expect("a length"));
        prop_assert_eq!(format!("{whole:?}"), format!("{split:?}"));
    }

    /// Random bits, silence, square wave, impulses and non-finite samples: every proposed setting is in its range, and
    /// a signal that is not a voice gets the idle proposal.
    #[test]
    fn any_audio_gives_a_valid_proposal(
        kind in 0..5,
        seed in any::<u32>(),
        pattern in prop::sample::select(ChannelPattern::ALL.to_vec()),
        rate_hz in prop::sample::select(vec![8_000.0, 11_025.0, 22_050.0, 48_000.0, 96_000.0, 192_000.0]),
    ) {
        let mut state = seed | 1;
        let signal: Vec<f64> = (0..40_000)
            .map(|n| {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                match kind {
                    0 => f64::from(f32::from_bits(state)),
                    1 => 0.0,
                    2 => if n / 50 % 2 == 0 { 1.0 } else { -1.0 },
                    3 => if n % 9_000 == 0 { 1e30 } else { f64::NAN },
                    _ => f64::from(state >> 8) / 8_388_608.0 - 1.0,
                }
            })
            .collect();
        let profile = profile(&pattern.frames(&signal), rate_hz, || 1_024);
        let proposal = proposed(&profile);
        prop_assert!(proposal.settings.check().is_ok());
        if !matches!(profile.signal_class, SignalClass::Voice | SignalClass::SeveralVoices) {
            prop_assert_eq!(proposal.settings, Proposal::idle().settings);
            prop_assert_eq!((proposal.evidence().count(), proposal.warnings().count()), (0, 1));
        }
    }
}

#[test]
fn a_voice_20_db_quieter_gets_the_same_proposal_except_the_trim() {
    let samples = syllables(20.0);
    let quieter: Vec<f32> = samples.iter().map(|s| s * gain(-20.0) as f32).collect();
    let (loud, quiet) = (profile(&mono(&samples), RATE_HZ, || 512), profile(&mono(&quieter), RATE_HZ, || 512));
    let (mut a, b) = (proposed(&loud), proposed(&quiet));
    let difference = b.settings.trim.gain_db - a.settings.trim.gain_db;
    assert_abs_diff_eq!(difference, 20.0, epsilon = 0.11);
    a.settings.trim.gain_db = b.settings.trim.gain_db;
    assert_eq!(a.settings, b.settings);
    let snr = |profile: &Profile| profile.background_noise.snr_db.expect("a noise floor");
    assert_abs_diff_eq!(snr(&loud), snr(&quiet), epsilon = 0.3);
}

/// Harmonic syllables whose pitch moves between about 95 and 165 Hz.
fn vowels(seconds: f64) -> Vec<f32> {
    let mut phase = 0.0_f64;
    let sample = |n: usize| {
        let t = n as f64 / RATE_HZ;
        phase += 127.0 * (0.37 * (std::f64::consts::TAU * 0.4 * t).sin()).exp2() / RATE_HZ;
        let on = if t % 2.5 < 1.8 { 0.55 - 0.45 * (std::f64::consts::TAU * t / 0.3).cos() } else { 0.0 };
        let sum: f64 = (1..=40).map(|k| (std::f64::consts::TAU * phase * k as f64).sin() / (k as f64).powf(1.5)).sum();
        (0.1 * on * sum) as f32
    };
    (0..(seconds * RATE_HZ) as usize).map(sample).collect()
}

/// Resonances at the pitch depend on two clocks, that of the spectra and that of the pitch.
#[test]
fn resonances_are_independent_of_block_size_and_level() {
    let frames = mono(&vowels(10.0));
    let whole = profile(&frames, RATE_HZ, || usize::MAX).resonances.expect("a voice");
    let first = whole[0].expect("the most prominent");
    for lengths in [&[1, 2, 3][..], &[37, 2_000, 513], &[1_024]] {
        let mut next = lengths.iter().cycle();
        let split = profile(&frames, RATE_HZ, || *next.next().expect("a length")).resonances;
        assert_eq!(split, Ok(whole));
    }
    let quieter: Vec<[f32; 1]> = frames.iter().map(|[s]| [s * gain(-20.0) as f32]).collect();
    let quiet = profile(&quieter, RATE_HZ, || 512).resonances.expect("a voice")[0].expect("the most prominent");
    assert_relative_eq!(quiet.frequency_hz, first.frequency_hz, max_relative = 0.01);
    assert_abs_diff_eq!(quiet.prominence_db, first.prominence_db, epsilon = 0.1);
}

#[test]
fn silence_and_short_recordings_give_the_idle_proposal() {
    let idle = Proposal::idle();
    let silence = profile(&mono(&[0.0; 160_000]), RATE_HZ, || 4_096);
    assert_eq!((silence.signal_class, silence.pitch), (SignalClass::Silence, Err(Unavailable::Silence)));
    assert_eq!(proposed(&silence).settings, idle.settings);
    let short = profile(&mono(&syllables(0.5)), RATE_HZ, || 4_096);
    assert_eq!((short.signal_class, short.bandwidth), (SignalClass::TooShort, Err(Unavailable::TooShort)));
    assert_eq!(proposed(&short).settings, idle.settings);
    // Negative control: enough of the same signal is measured.
    let voice = profile(&mono(&syllables(20.0)), RATE_HZ, || 4_096);
    assert_eq!(voice.signal_class, SignalClass::Voice);
    assert!(voice.bandwidth.is_ok() && voice.tonal_balance.is_ok());
}

/// Tones, noise and invalid signals at any rate are classified, and no voice measurement is made of them.
#[test]
fn tones_noise_and_invalid_signals_give_the_idle_proposal() {
    for rate_hz in [8_000.0, 16_000.0, 44_100.0, 96_000.0] {
        let samples = (6.0 * rate_hz) as usize;
        let noise = white(-20.0, samples, 3);
        let turn = |n: usize| std::f64::consts::TAU * n as f64 / rate_hz;
        let beeps = |n: usize| if n as f64 % (0.8 * rate_hz) < 0.4 * rate_hz { 0.1 } else { 0.0 };
        let kinds: [(SignalClass, Vec<f64>); 6] = [
            (SignalClass::Tone, (0..samples).map(|n| 0.1 * (440.0 * turn(n)).sin()).collect()),
            (SignalClass::Tone, (0..samples).map(|n| beeps(n) * (1_000.0 * turn(n)).sin()).collect()),
            (SignalClass::Noise, noise.clone()),
            (SignalClass::InvalidSignal, noise.iter().map(|x| x.signum()).collect()),
            (SignalClass::InvalidSignal, (0..samples).map(|_| 0.3).collect()),
            (SignalClass::InvalidSignal, (0..samples).map(|n| if n % 2 == 0 { f64::NAN } else { 0.1 }).collect()),
        ];
        for (signal_class, signal) in kinds {
            let frames: Vec<[f32; 1]> = signal.iter().map(|&x| [x as f32]).collect();
            let refused = profile(&frames, rate_hz, || 997);
            assert_eq!(refused.signal_class, signal_class, "{rate_hz}");
            assert_eq!(refused.pitch, Err(Unavailable::NotAVoice), "{rate_hz} {signal_class:?}");
            assert!(refused.tonal_balance.is_err() && refused.sibilance.is_err() && refused.level_consistency.is_err());
            let proposal = proposed(&refused);
            assert_eq!(proposal.settings, Proposal::idle().settings);
            assert_eq!((proposal.evidence().count(), proposal.warnings().count()), (0, 1));
        }
    }
}

/// A doubled channel is 3.01 LU louder; everything else stays equal.
#[test]
fn two_equal_channels_measure_like_one() {
    let samples = syllables(12.0);
    let one = profile(&mono(&samples), RATE_HZ, || 700);
    let two = profile(&samples.iter().map(|&s| [s, s]).collect::<Vec<_>>(), RATE_HZ, || 700);
    let louder = two.level.integrated_lufs.expect("loudness") - one.level.integrated_lufs.expect("loudness");
    assert_abs_diff_eq!(louder, 3.01, epsilon = 0.01);
    assert_eq!(one.background_noise, two.background_noise);
    assert_eq!(one.tonal_balance, two.tonal_balance);
    assert_eq!(proposed(&one).settings, proposed(&two).settings);
}
