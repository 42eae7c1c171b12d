//! Any profile gives a valid, explained proposal; two exact laws hold for carrying over a user's changes.

use proptest::prelude::*;
use voicechain_core::StripSettings;
use voicechain_core::measure::profile::*;
use voicechain_core::propose::{Context, Proposal, Role, VocalStyle, carry_over, propose};
use voicechain_core::settings;
use voicechain_tests::spectra::Noise;
use voicechain_tests::strips::random_settings;

/// Any floating-point number.
fn any() -> BoxedStrategy<f64> {
    prop_oneof![
        4 => -100.0..100.0_f64,
        2 => 0.0..20_000.0_f64,
        1 => prop::num::f64::ANY,
        1 => prop::sample::select(vec![f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 0.0, -0.0, f64::MIN_POSITIVE, 1e300]),
    ]
    .boxed()
}

const SIGNAL_CLASSES: [SignalClass; 8] = [
    SignalClass::Voice,
    SignalClass::SeveralVoices,
    SignalClass::Silence,
    SignalClass::TooShort,
    SignalClass::Tone,
    SignalClass::Noise,
    SignalClass::Music,
    SignalClass::InvalidSignal,
];

/// A profile filled with these numbers in turn; the bits of `holes` mark unavailable values.
fn profile(numbers: &[f64], holes: u32, signal_class: SignalClass, channels: usize) -> Profile {
    let mut next = numbers.iter().copied().cycle();
    let mut n = move || next.next().expect("endless");
    let mut hole = 0;
    let mut unavailable = move || {
        hole += 1;
        holes >> (hole % 32) & 1 == 1
    };
    macro_rules! maybe {
        ($value:expr) => {{
            let value = $value;
            if unavailable() { Err(Unavailable::TooShort) } else { Ok(value) }
        }};
    }
    Profile {
        rate_hz: n(),
        duration_s: n(),
        channels,
        signal_class,
        level: Level {
            integrated_lufs: maybe!(n()),
            loudness_range_lu: maybe!(n()),
            true_peak_dbtp: n(),
            sample_peak_dbfs: n(),
            clipping: Clipping { runs: holes % 3, samples: 9 },
            active_level_dbov: maybe!(n()),
            activity_percent: n(),
            active_s: n(),
            crest_db: maybe!(n()),
            speech_peak_dbfs: maybe!(n()),
        },
        level_consistency: maybe!(LevelConsistency {
            phrase_count: 9,
            standard_deviation_db: n(),
            median_step_db: n()
        }),
        transients: maybe!(Transients { count: 9, per_10_s: n(), max_excess_db: n() }),
        background_noise: BackgroundNoise {
            noise_floor_dbfs: maybe!(n()),
            noise_bands_dbfs: [n(); THIRD_OCTAVES],
            snr_db: maybe!(n()),
            rumble_dbfs: n(),
            dc_offset: n(),
        },
        hum: maybe!(Some(Hum { frequency_hz: n(), level_dbfs: n(), harmonics_dbfs: [None; HUM_HARMONICS] })),
        pitch: maybe!(Pitch { low_hz: n(), median_hz: n(), high_hz: n(), voiced_share: n() }),
        tonal_balance: maybe!(TonalBalance {
            bands_dbfs: [Some(n()); THIRD_OCTAVES],
            deviation_db: [None; THIRD_OCTAVES],
            low_end_db: Ok(n()),
            presence_db: Ok(n()),
            top_end_db: Ok(n()),
        }),
        bandwidth: maybe!(Bandwidth { high_hz: n(), limited: true, narrowband: holes & 1 == 1 }),
        resonances: maybe!(core::array::from_fn(|_| Some(Resonance {
            frequency_hz: n(),
            prominence_db: n(),
            q: n(),
            confidence: n()
        }))),
        sibilance: maybe!(Sibilance { frequency_hz: n(), excess_db: n(), share_percent: n(), ratio_p90_db: n() }),
        reverberation: maybe!(Reverberation { decay_time_s: n(), dry: false }),
    }
}

/// Gives the profile three certain resonances, an octave and more apart.
fn cut(voice: &mut Profile, prominence_db: [f64; 3]) {
    let resonance = |k: usize| {
        let frequency_hz = [250.0, 520.0, 1_060.0][k];
        Some(Resonance { frequency_hz, prominence_db: prominence_db[k], q: 1.4, confidence: 1.0 })
    };
    voice.resonances = Ok(core::array::from_fn(resonance));
}

fn unbalance(voice: &mut Profile, low_end_db: f64, presence_db: f64) {
    voice.bandwidth = Ok(Bandwidth { high_hz: 24_000.0, limited: false, narrowband: false });
    voice.sibilance = Ok(Sibilance { frequency_hz: 6_500.0, excess_db: 0.0, share_percent: 0.0, ratio_p90_db: 8.0 });
    voice.tonal_balance = Ok(TonalBalance {
        bands_dbfs: [None; THIRD_OCTAVES],
        deviation_db: [None; THIRD_OCTAVES],
        low_end_db: Ok(low_end_db),
        presence_db: Ok(presence_db),
        top_end_db: Ok(0.0),
    });
}

fn total_gain_db(s: &StripSettings) -> f64 {
    let cuts = [s.corrective_eq.bell_1_gain_db, s.corrective_eq.bell_2_gain_db, s.corrective_eq.bell_3_gain_db];
    let tone = [s.tone_eq.low_shelf_gain_db, s.tone_eq.bell_gain_db, s.tone_eq.high_shelf_gain_db];
    cuts.iter().chain(&tone).map(|gain| gain.abs()).sum()
}

/// Rounded cuts such as 5.4, 2.7 and 0.9 dB add up to slightly more or less than 9 dB. All cuts of 0.5 to 6 dB in steps
/// of 0.1 dB that add up to it leave nothing for the tone EQ, and give no reason for it.
#[test]
fn cuts_that_use_up_the_limit_leave_no_tone_change() {
    let mut voice = profile(&[1.0], 0, SignalClass::Voice, 1);
    unbalance(&mut voice, -20.0, -20.0);
    let mut tried = 0;
    for first in 5..=60_u32 {
        for second in 5..=60_u32 {
            let Some(third) = 90_u32.checked_sub(first + second).filter(|third| (5..=60).contains(third)) else {
                continue;
            };
            tried += 1;
            // A cut is 0.7 times the prominence above 4 dB.
            let tenths = [first, second, third];
            cut(&mut voice, tenths.map(|tenths| 4.0 + f64::from(tenths) / 7.0));
            let proposal = propose(&voice, Context::default());
            let s = &proposal.settings;
            let eq = [s.corrective_eq.bell_1_gain_db, s.corrective_eq.bell_2_gain_db, s.corrective_eq.bell_3_gain_db];
            for (gain, tenths) in eq.iter().zip(tenths) {
                assert!((gain + 0.1 * f64::from(tenths)).abs() < 1e-9, "{eq:?}, {tenths}");
            }
            assert_eq!(s.tone_eq, StripSettings::default().tone_eq, "{eq:?}");
            assert!(!proposal.evidence().any(|e| e.setting.starts_with("tone_eq.")), "{eq:?}");
        }
    }
    assert_eq!(tried, 2_296);
}

proptest! {
    #[test]
    fn any_profile_gives_a_valid_proposal(
        numbers in prop::collection::vec(any(), 61), holes: u32, signal_class in prop::sample::select(SIGNAL_CLASSES.to_vec()),
        channels in 0..4_usize, over_music: bool, sung: bool,
    ) {
        let role = if over_music { Role::OverMusic } else { Role::SoloVoice };
        let vocal_style = if sung { VocalStyle::Sung } else { VocalStyle::Spoken };
        let proposal = propose(&profile(&numbers, holes, signal_class, channels), Context { role, vocal_style });
        let s = &proposal.settings;
        s.check().expect("valid");
        prop_assert!((40.0 * 0.99..=120.0 * 1.01).contains(&s.high_pass.frequency_hz));
        for cut in [s.corrective_eq.bell_1_gain_db, s.corrective_eq.bell_2_gain_db, s.corrective_eq.bell_3_gain_db] {
            prop_assert!((-6.0..=0.0).contains(&cut));
        }
        prop_assert!(total_gain_db(s) <= 9.0 + 1e-9);
        prop_assert!(s.tone_eq.low_shelf_gain_db.abs() <= 2.0 && s.tone_eq.bell_gain_db.abs() <= 2.0);
        prop_assert!(s.de_esser.range_db <= 8.0 && s.compressor.ratio <= 4.1);
        let idle = Proposal::idle().settings;
        for info in settings::rows() {
            prop_assert!(s.get(info.id) == idle.get(info.id) || proposal.evidence().any(|e| e.setting == info.id));
            prop_assert_eq!(s.get(info.id).map(|v| info.on_step(v)), s.get(info.id));
        }
        for text in proposal.evidence().map(ToString::to_string).chain(proposal.warnings().map(ToString::to_string)) {
            prop_assert!(text.ends_with('.') && !text.contains('\n'), "{}", text);
        }
    }

    /// Arbitrary profiles hardly ever have three resonances that are cut. These have, with any tonal balance.
    #[test]
    fn any_resonances_and_tonal_balance_keep_the_limit_on_the_total_gain(
        numbers in prop::collection::vec(any(), 61), prominence_db in prop::array::uniform3(4.0..14.0_f64),
        low_end_db in any(), presence_db in any(), over_music: bool,
    ) {
        let mut voice = profile(&numbers, 0, SignalClass::Voice, 1);
        cut(&mut voice, prominence_db);
        unbalance(&mut voice, low_end_db, presence_db);
        let role = if over_music { Role::OverMusic } else { Role::SoloVoice };
        let settings = propose(&voice, Context { role, ..Context::default() }).settings;
        settings.check().expect("valid");
        prop_assert!(total_gain_db(&settings) <= 9.0 + 1e-9, "{:?}", settings);
    }

    #[test]
    fn carry_over_is_the_identity_without_changes_or_for_equal_proposals(seeds: [u64; 3]) {
        let [set, a, b]: [StripSettings; 3] = seeds.map(|seed| random_settings(&mut Noise::new(seed)));
        prop_assert_eq!(carry_over(&a, &a, &b), b);
        prop_assert_eq!(carry_over(&set, &a, &a), set);
        carry_over(&set, &a, &b).check().expect("valid");
    }
}
