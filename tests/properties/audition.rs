//! Audition: monitoring one band alone, or what a bell cut would remove.

use crate::rate;
use approx::assert_abs_diff_eq;
use voicechain_core::StripSettings;
use voicechain_core::measure::profile::Resonance;
use voicechain_core::propose::{TrialBell, trial_bell};
use voicechain_core::settings::CorrectiveEqSettings;
use voicechain_core::strip::{Audition, AuditionBand, MonitorMode, Monitoring};
use voicechain_tests::channels::ChannelPattern;
use voicechain_tests::signals::{db, mono, phrases, pinkish, sine};
use voicechain_tests::spectra::Noise;
use voicechain_tests::strips::{first_difference, peak, run, run_split, strip};

const BAND: AuditionBand = AuditionBand::BandPass { frequency_hz: 640.0, q: 2.0 };
const CUT: AuditionBand = AuditionBand::BellCut { frequency_hz: 640.0, gain_db: -6.0, q: 2.0 };

/// Steady-state gain of an audition band for a tone, dB.
fn gain_db(part: AuditionBand, hz: f64, rate_hz: f64) -> f64 {
    let tone = mono(&sine(hz, -12.0, rate_hz, rate_hz as usize));
    let mut out = tone.clone();
    Audition::new(part, rate(rate_hz)).run(&mut out);
    let half = tone.len() / 2;
    db(peak(&out[half..])) - db(peak(&tone[half..]))
}

#[test]
fn band_audition_is_3_db_down_at_its_band_edges() {
    for rate_hz in [16_000.0, 48_000.0, 192_000.0] {
        // Band edges of a band-pass with centre f and quality Q: their product is f^2, their distance f / Q.
        let (f, q) = (640.0_f64, 2.0_f64);
        let half = f / (2.0 * q);
        let edge = (f * f + half * half).sqrt();
        assert!(gain_db(BAND, f, rate_hz).abs() < 0.01);
        for at in [edge - half, edge + half] {
            // At 640 Hz the bilinear transform narrows the band by less than 1 %, even at 16 kHz.
            assert_abs_diff_eq!(gain_db(BAND, at, rate_hz), -3.01, epsilon = 0.1);
        }
        assert!(gain_db(BAND, 64.0, rate_hz) < -24.0 && gain_db(BAND, 6_400.0, rate_hz) < -24.0);
    }
}

#[test]
fn bell_cut_audition_and_the_cut_signal_sum_to_the_input() {
    // The reference is the strip's own corrective EQ, which shares no state with the audition.
    let mut settings = StripSettings::default();
    settings.high_pass.on = false;
    settings.compressor.on = false;
    settings.de_esser.on = false;
    settings.corrective_eq = CorrectiveEqSettings {
        bell_1_frequency_hz: 640.0,
        bell_1_gain_db: -6.0,
        bell_1_q: 2.0,
        level_compensation: false,
        ..settings.corrective_eq
    };
    let signal = ChannelPattern::RightPauses.frames(&pinkish(-20.0, 48_000, 3));
    let mut with_cut = strip::<2>(&settings, rate(48_000.0));
    let latency = with_cut.latency() as usize;
    let left = run(&mut with_cut, &signal);
    let mut taken = signal.clone();
    Audition::new(CUT, rate(48_000.0)).run(&mut taken);
    let mut worst = 0.0f64;
    for ((left, taken), whole) in left[latency..].iter().zip(&taken).zip(&signal) {
        for c in 0..2 {
            worst = worst.max((f64::from(left[c]) + f64::from(taken[c]) - f64::from(whole[c])).abs());
        }
    }
    assert!(worst < 1e-6, "{worst}");
    // A bell of -6 dB removes half at its centre. Negative control: far from it, it removes little.
    assert_abs_diff_eq!(gain_db(CUT, 640.0, 48_000.0), -6.04, epsilon = 0.05);
    assert!(gain_db(CUT, 6_400.0, 48_000.0) < -20.0);
}

#[test]
fn audition_filters_the_recording_and_leaves_the_strip_unchanged() {
    let rate = rate(48_000.0);
    let signal = mono(&phrases(-26.0, 48_000.0, 4.0, 8));
    let mut settings = StripSettings::default();
    settings.trim.gain_db = 6.0;
    let (mut a, mut b) = (strip::<1>(&settings, rate), strip::<1>(&settings, rate));
    let latency = a.latency() as usize;
    let plain = run(&mut a, &signal);
    a = strip::<1>(&settings, rate);
    a.set_audition(BAND);
    assert_eq!(a.audition(), BAND);
    let band = run(&mut a, &signal);
    // The audition filters the recording, whatever the strip does.
    let mut expected = signal.clone();
    Audition::new(BAND, rate).run(&mut expected);
    let after = latency + 4_800;
    let off = band[after..].iter().zip(&expected[after - latency..]).map(|(x, y)| (x[0] - y[0]).abs());
    assert!(off.fold(0.0, f32::max) < 1e-6);
    // The audition leaves the ledger, the meters and the later output unchanged.
    a.set_audition(AuditionBand::Full);
    let back = run(&mut a, &signal);
    run(&mut b, &signal);
    let other = run(&mut b, &signal);
    assert_eq!(first_difference(&back[480..], &other[480..]), None);
    assert_ne!(first_difference(&band[after..], &plain[after..]), None);
    assert_eq!(a.ledger(), b.ledger());
    assert_eq!(a.output_loudness().integrated(), b.output_loudness().integrated());
}

#[test]
fn audition_is_independent_of_block_size_and_full_band_is_bit_exact() {
    let rate = rate(44_100.0);
    let signal = phrases(-26.0, 44_100.0, 2.0, 2);
    let acts = [
        (0, BAND),
        (1_000, CUT),
        (1_201, AuditionBand::Full),
        (1_300, BAND),
        (9_000, AuditionBand::Full),
        (9_442, AuditionBand::BandPass { frequency_hz: 300.0, q: 1.0 }),
        (30_000, AuditionBand::Full),
    ];
    let play = |signal: &[[f32; 2]], most: usize, monitoring: Monitoring| {
        let mut random = Noise::new(most as u64);
        let mut strip = strip::<2>(&StripSettings::default(), rate);
        strip.set_monitoring(monitoring);
        let mut out = Vec::new();
        for (k, &(at, part)) in acts.iter().enumerate() {
            strip.set_audition(part);
            let end = acts.get(k + 1).map_or(signal.len(), |next| next.0);
            out.extend(run_split(&mut strip, &signal[at..end], most, &mut random));
        }
        (out, strip.latency() as usize)
    };
    let mut patterns = ChannelPattern::ALL.into_iter();
    for mode in [MonitorMode::Processed, MonitorMode::Unprocessed, MonitorMode::Removed] {
        for loudness_matched in [false, true] {
            let signal = patterns.next().expect("another").frames(&signal);
            let (first, latency) = play(&signal, 100_000, Monitoring { mode, loudness_matched });
            for most in [1, 37, 500] {
                let (other, _) = play(&signal, most, Monitoring { mode, loudness_matched });
                assert_eq!(first_difference(&first, &other), None, "{mode:?}, blocks of up to {most}");
            }
            if mode == MonitorMode::Unprocessed && !loudness_matched {
                let end = signal.len() - latency;
                assert_eq!(first_difference(&first[31_000 + latency..], &signal[31_000..end]), None);
            }
        }
    }
}

#[test]
fn changing_the_audition_band_does_not_click() {
    // The second difference of a 997 Hz tone is small; that of a click is large.
    let bend = |out: &[[f32; 1]]| {
        out.windows(3).map(|w| f64::from(w[0][0] - 2.0 * w[1][0] + w[2][0]).abs()).fold(0.0, f64::max)
    };
    let tone = mono(&sine(997.0, -20.0, 48_000.0, 48_000));
    let steady = bend(&tone);
    let parts = [
        AuditionBand::Full,
        BAND,
        CUT,
        AuditionBand::BandPass { frequency_hz: 4_000.0, q: 12.0 },
        AuditionBand::BandPass { frequency_hz: 60.0, q: 0.7 },
    ];
    let (mut worst, mut hard) = (0.0f64, 0.0f64);
    for from in parts {
        for to in parts.into_iter().filter(|to| *to != from) {
            let mut audition = Audition::<1>::new(from, rate(48_000.0));
            let mut out = tone.clone();
            audition.run(&mut out[..24_000]);
            audition.set(to);
            // Another choice during the first cross-fade.
            audition.run(&mut out[24_000..24_200]);
            audition.set(from);
            audition.run(&mut out[24_200..24_300]);
            audition.set(to);
            audition.run(&mut out[24_300..]);
            worst = worst.max(bend(&out[23_900..28_000]) / steady);
            let mut swapped = tone.clone();
            Audition::<1>::new(from, rate(48_000.0)).run(&mut swapped[..24_012]);
            Audition::<1>::new(to, rate(48_000.0)).run(&mut swapped[24_012..]);
            hard = hard.max(bend(&swapped[23_900..28_000]) / steady);
        }
    }
    println!("worst {worst:.2}, hard swap {hard:.1}");
    assert!(worst < 1.6, "{worst}");
    assert!(hard > 20.0, "negative control: {hard}");
}

#[test]
fn trial_bells_follow_the_resonance_and_invalid_bands_give_finite_output() {
    let candidate = |prominence_db, confidence| Resonance { frequency_hz: 500.0, prominence_db, q: 1.5, confidence };
    // Confident: the proposed cut, 0.7 of the prominence above 4 dB. Not confident: at least 3 dB, to be audible.
    let TrialBell { frequency_hz, gain_db, q } = trial_bell(&candidate(9.0, 0.9));
    assert!(frequency_hz == 500.0 && q == 1.5 && (gain_db + 3.5).abs() < 1e-9, "{gain_db}");
    assert_eq!(trial_bell(&candidate(4.2, 0.1)).gain_db, -3.0);
    assert_eq!(trial_bell(&candidate(30.0, 0.1)).gain_db, -6.0);
    let signal = mono(&pinkish(-20.0, 4_800, 5));
    for bad in [0.0, -1.0, 1e300, f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        for part in [
            AuditionBand::BandPass { frequency_hz: bad, q: 1.0 },
            AuditionBand::BandPass { frequency_hz: 7_900.0, q: bad },
            AuditionBand::BellCut { frequency_hz: 500.0, gain_db: bad, q: bad },
        ] {
            for hz in [8_000.0, 192_000.0] {
                let mut out = signal.clone();
                Audition::new(part, rate(hz)).run(&mut out);
                assert!(out.iter().all(|[s]| s.is_finite() && s.abs() < 4.0), "{part:?} at {hz} Hz");
            }
        }
    }
}
