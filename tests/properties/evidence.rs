//! Every sentence of a proposal names what decided, and nothing else did.
//!
//! Profiles are random mixtures of harmless, harmful and unavailable measurements. For each of them
//! - what a sentence names is taken away, and the decision goes;
//! - anything else is changed, and a decision changes only if its sentence before or after names what was changed.

use voicechain_core::measure::profile::*;
use voicechain_core::propose::{Context, Proposal, Role, VocalStyle, propose};
use voicechain_core::settings::{self, StageId, row};
use voicechain_tests::spectra::Noise;

/// One thing that a rule may look at, with the words by which a sentence names it or what follows from it.
struct Quantity {
    words: &'static [&'static str],
    /// Draws another value.
    draw: fn(&mut Voice, &mut Noise),
    /// Takes it away: a harmless value, or none.
    remove: fn(&mut Voice),
}

#[derive(Clone, Copy)]
struct Voice {
    profile: Profile,
    context: Context,
}

impl Voice {
    fn proposal(&self) -> Proposal {
        propose(&self.profile, self.context)
    }
}

/// A number in this range in seven cases of eight; otherwise unavailable.
fn measured(noise: &mut Noise, low: f64, high: f64) -> Measured<f64> {
    if noise.between(0.0, 8.0) < 1.0 { Err(Unavailable::NoSuitableSegment) } else { Ok(noise.between(low, high)) }
}

fn hum_of(noise: &mut Noise) -> Measured<Option<Hum>> {
    let frequency_hz = if noise.sample() > 0.0 { 50.0 } else { 60.0 };
    let level = |noise: &mut Noise| Some(noise.between(-80.0, -50.0)).filter(|db| *db > -65.0);
    let harmonics_dbfs = core::array::from_fn(|_| level(noise));
    let found = Hum { frequency_hz, level_dbfs: noise.between(-75.0, -40.0), harmonics_dbfs };
    measured(noise, -1.0, 1.0).map(|which| (which > 0.0).then_some(found))
}

fn resonances_of(noise: &mut Noise) -> Measured<Resonances> {
    let candidates = core::array::from_fn(|k| {
        let frequency_hz = [240.0, 520.0, 990.0][k] * noise.octaves_between(0.8, 1.25);
        let q = noise.octaves_between(0.5, 6.0);
        let found =
            Resonance { frequency_hz, prominence_db: noise.between(3.0, 15.0), q, confidence: noise.between(0.2, 1.0) };
        Some(found).filter(|_| noise.sample() > 0.0)
    });
    measured(noise, 0.0, 1.0).map(|_| candidates)
}

fn balance(voice: &mut Voice) -> Option<&mut TonalBalance> {
    voice.profile.tonal_balance.as_mut().ok()
}

const QUANTITIES: &[Quantity] =
    &[
        Quantity {
            words: &["integrated loudness", "after the trim"],
            draw: |voice, noise| voice.profile.level.integrated_lufs = measured(noise, -55.0, -10.0),
            remove: |voice| voice.profile.level.integrated_lufs = Err(Unavailable::Silence),
        },
        Quantity {
            words: &["speech peaks", "peak level of speech", "limited voice"],
            draw: |voice, noise| voice.profile.level.speech_peak_dbfs = measured(noise, -50.0, 0.0),
            remove: |voice| voice.profile.level.speech_peak_dbfs = Err(Unavailable::Silence),
        },
        Quantity {
            words: &["crest factor", "highest peak", "limited voice", "louder channel"],
            draw: |voice, noise| voice.profile.level.crest_db = measured(noise, 7.0, 22.0),
            remove: |voice| voice.profile.level.crest_db = Ok(18.0),
        },
        Quantity {
            words: &["louder channel"],
            draw: |voice, noise| voice.profile.level.sample_peak_dbfs = noise.between(-20.0, 0.0),
            remove: |voice| voice.profile.level.sample_peak_dbfs = -60.0,
        },
        Quantity {
            words: &["true peak"],
            draw: |voice, noise| voice.profile.level.true_peak_dbtp = noise.between(-30.0, 1.0),
            remove: |voice| voice.profile.level.true_peak_dbtp = f64::NAN,
        },
        Quantity {
            words: &["relative to the voice", "highest peak", "limited voice", "louder channel"],
            draw: |voice, noise| voice.profile.level.active_level_dbov = measured(noise, -50.0, -15.0),
            remove: |voice| voice.profile.level.active_level_dbov = Err(Unavailable::Silence),
        },
        Quantity {
            words: &["signal-to-noise ratio"],
            draw: |voice, noise| voice.profile.background_noise.snr_db = measured(noise, 2.0, 45.0),
            remove: |voice| voice.profile.background_noise.snr_db = Ok(60.0),
        },
        Quantity {
            words: &["transients"],
            draw: |voice, noise| {
                voice.profile.transients =
                    measured(noise, 0.0, 5.0).map(|per_10_s| Transients { count: 9, per_10_s, max_excess_db: 9.0 });
            },
            remove: |voice| voice.profile.transients = Ok(Transients { count: 0, per_10_s: 0.0, max_excess_db: 0.0 }),
        },
        Quantity {
            words: &["rumble"],
            draw: |voice, noise| voice.profile.background_noise.rumble_dbfs = noise.between(-90.0, -30.0),
            remove: |voice| voice.profile.background_noise.rumble_dbfs = -150.0,
        },
        Quantity {
            words: &["mains hum"],
            draw: |voice, noise| voice.profile.hum = hum_of(noise),
            remove: |voice| voice.profile.hum = Ok(None),
        },
        Quantity {
            words: &["of the pitch", "both EQs"],
            draw: |voice, noise| {
                voice.profile.pitch = measured(noise, 45.0, 260.0).map(|low_hz| Pitch {
                    low_hz,
                    median_hz: 1.3 * low_hz,
                    high_hz: 2.0 * low_hz,
                    voiced_share: 0.6,
                });
            },
            remove: |voice| voice.profile.pitch = Err(Unavailable::NoSuitableSegment),
        },
        Quantity {
            words: &["low end", "both EQs"],
            draw: |voice, noise| {
                if let Some(balance) = balance(voice) {
                    balance.low_end_db = measured(noise, -14.0, 11.0);
                }
            },
            remove: |voice| {
                if let Some(balance) = balance(voice) {
                    balance.low_end_db = Ok(-1.4);
                }
            },
        },
        Quantity {
            words: &["presence"],
            draw: |voice, noise| {
                if let Some(balance) = balance(voice) {
                    balance.presence_db = measured(noise, -12.0, 14.0);
                }
            },
            remove: |voice| {
                if let Some(balance) = balance(voice) {
                    balance.presence_db = Ok(1.9);
                }
            },
        },
        Quantity {
            words: &["bandwidth"],
            draw: |voice, noise| {
                voice.profile.bandwidth = measured(noise, 3_000.0, 24_000.0).map(|high_hz| Bandwidth {
                    high_hz,
                    limited: high_hz < 20_000.0,
                    narrowband: high_hz <= 4_000.0,
                });
            },
            remove: |voice| voice.profile.bandwidth = Err(Unavailable::NoSuitableSegment),
        },
        Quantity {
            words: &["resonance", "both EQs"],
            draw: |voice, noise| voice.profile.resonances = resonances_of(noise),
            remove: |voice| voice.profile.resonances = Ok([None; MAX_RESONANCES]),
        },
        Quantity {
            words: &["sibilan"],
            draw: |voice, noise| {
                voice.profile.sibilance = measured(noise, -2.0, 11.0).map(|excess_db| Sibilance {
                    frequency_hz: 6_500.0,
                    excess_db,
                    share_percent: 40.0,
                    ratio_p90_db: noise.between(0.0, 30.0),
                });
            },
            remove: |voice| {
                voice.profile.sibilance =
                    Ok(Sibilance { frequency_hz: 6_500.0, excess_db: 0.0, share_percent: 2.0, ratio_p90_db: 8.0 });
            },
        },
        Quantity {
            words: &["decay time", "after the de-reverb"],
            draw: |voice, noise| {
                voice.profile.reverberation =
                    measured(noise, 0.1, 1.5).map(|decay_time_s| Reverberation { decay_time_s, dry: false });
            },
            remove: |voice| voice.profile.reverberation = Ok(Reverberation { decay_time_s: 0.1, dry: true }),
        },
        Quantity {
            words: &["standard deviation of the speech level", "after the leveller"],
            draw: |voice, noise| {
                voice.profile.level_consistency = measured(noise, 1.0, 8.0).map(|standard_deviation_db| {
                    LevelConsistency { phrase_count: 20, standard_deviation_db, median_step_db: 1.0 }
                });
            },
            remove: |voice| {
                voice.profile.level_consistency =
                    Ok(LevelConsistency { phrase_count: 20, standard_deviation_db: 1.0, median_step_db: 1.0 });
            },
        },
        Quantity {
            words: &["over music", "both EQs"],
            draw: |voice, noise| {
                voice.context.role = if noise.sample() > 0.0 { Role::OverMusic } else { Role::SoloVoice };
            },
            remove: |voice| voice.context.role = Role::SoloVoice,
        },
        Quantity {
            words: &["voice is sung", "both EQs"],
            draw: |voice, noise| {
                voice.context.vocal_style = if noise.sample() > 0.0 { VocalStyle::Sung } else { VocalStyle::Spoken };
            },
            remove: |voice| voice.context.vocal_style = VocalStyle::Spoken,
        },
        // Nothing that a rule looks at.
        Quantity {
            words: &[],
            draw: |voice, noise| {
                let profile = &mut voice.profile;
                profile.duration_s = noise.between(10.0, 900.0);
                profile.level.active_s = noise.between(10.0, 400.0);
                profile.level.activity_percent = noise.between(10.0, 90.0);
                profile.level.loudness_range_lu = measured(noise, 1.0, 20.0);
                profile.level.clipping.runs = noise.between(0.0, 9.0) as u32;
                profile.background_noise.noise_floor_dbfs = measured(noise, -90.0, -30.0);
                profile.background_noise.dc_offset = 0.01 * noise.sample();
                if let Some(balance) = balance(voice) {
                    balance.top_end_db = measured(noise, -20.0, 10.0);
                }
            },
            remove: |_| {},
        },
    ];

fn voice(noise: &mut Noise) -> Voice {
    let profile = Profile {
        rate_hz: 48_000.0,
        duration_s: 60.0,
        channels: if noise.sample() > 0.0 { 1 } else { 2 },
        signal_class: SignalClass::Voice,
        level: Level {
            integrated_lufs: Ok(-25.0),
            loudness_range_lu: Ok(5.0),
            true_peak_dbtp: -5.0,
            sample_peak_dbfs: -5.2,
            clipping: Clipping::default(),
            active_level_dbov: Ok(-24.0),
            activity_percent: 70.0,
            active_s: 42.0,
            crest_db: Ok(18.8),
            speech_peak_dbfs: Ok(-10.0),
        },
        level_consistency: Err(Unavailable::NotMeasured),
        transients: Err(Unavailable::NotMeasured),
        background_noise: BackgroundNoise {
            noise_floor_dbfs: Ok(-70.0),
            noise_bands_dbfs: [-85.0; THIRD_OCTAVES],
            snr_db: Ok(46.0),
            rumble_dbfs: -75.0,
            dc_offset: 0.0,
        },
        hum: Ok(None),
        pitch: Err(Unavailable::NotMeasured),
        tonal_balance: Ok(TonalBalance {
            bands_dbfs: [Some(-40.0); THIRD_OCTAVES],
            deviation_db: [Some(0.0); THIRD_OCTAVES],
            low_end_db: Ok(-1.0),
            presence_db: Ok(1.0),
            top_end_db: Ok(-1.7),
        }),
        bandwidth: Err(Unavailable::NotMeasured),
        resonances: Err(Unavailable::NotMeasured),
        sibilance: Err(Unavailable::NotMeasured),
        reverberation: Err(Unavailable::NotMeasured),
    };
    let mut voice = Voice { profile, context: Context::default() };
    for quantity in QUANTITIES {
        (quantity.draw)(&mut voice, noise);
    }
    voice
}

fn stage_of(setting: &str) -> &str {
    let section = row(setting).expect("a row").section;
    // The spectral latency is proposed with the de-reverb.
    if section == "spectral" { StageId::DeReverb.id() } else { section }
}

/// What the proposal says about one setting: its evidence, and why its stage stays off.
fn sentences(proposal: &Proposal, setting: &str) -> Vec<String> {
    let evidence = proposal.evidence().filter(|e| e.setting == setting).map(ToString::to_string);
    let off = proposal.left_off().filter(|off| off.stage.id() == stage_of(setting)).map(ToString::to_string);
    evidence.chain(off).collect()
}

fn names(sentence: &str, quantity: &Quantity) -> bool {
    quantity.words.iter().any(|words| sentence.contains(words))
}

const VOICES: u64 = 3_000;

#[test]
fn a_decision_goes_with_its_cause() {
    let mut seen = std::collections::BTreeMap::<String, u32>::new();
    for seed in 0..VOICES {
        let voice = voice(&mut Noise::new(seed));
        let proposal = voice.proposal();
        for evidence in proposal.evidence() {
            let (cause, sentence) = (&evidence.cause, evidence.to_string());
            let info = row(evidence.setting).expect("a row");
            // The high-pass is on for every voice; the usual ratio needs no finding.
            if sentence.contains("for every voice") || sentence.contains("usual ratio") {
                continue;
            }
            *seen.entry(evidence.setting.to_owned()).or_default() += 1;
            let mut without = voice;
            let subject = if cause.quantity.is_empty() { sentence.clone() } else { cause.quantity.to_owned() };
            let context = cause.context.map_or("", |context| context.words());
            let mut removed = 0;
            for quantity in QUANTITIES.iter().filter(|q| names(&subject, q) || names(context, q)) {
                (quantity.remove)(&mut without);
                removed += 1;
            }
            // An unknown pitch is already away.
            if removed == 0 || cause.measured.is_err() {
                assert!(cause.measured.is_err(), "{sentence}");
                continue;
            }
            let after = without.proposal();
            let same_cause = |e: &voicechain_core::propose::Evidence| {
                e.setting == evidence.setting
                    && (e.cause.quantity, e.cause.context) == (cause.quantity, cause.context)
                    && e.cause.measured == cause.measured
            };
            assert!(!after.evidence().any(same_cause), "{sentence}");
            // The setting is as without a rule, or for another reason.
            let idle = Proposal::idle().settings.get(info.id);
            let other = after.evidence().any(|e| e.setting == info.id);
            assert!(other || after.settings.get(info.id) == idle, "{sentence}");
        }
    }
    println!("{seen:?}");
    // All settings that rules set were seen, and often enough.
    assert!(seen.len() >= 25 && seen.values().all(|&count| count > 20), "{seen:?}");
}

#[test]
fn a_decision_changes_only_with_what_its_sentence_names() {
    let mut changes = 0;
    for seed in 0..VOICES {
        let mut noise = Noise::new(seed);
        let voice = voice(&mut noise);
        let proposal = voice.proposal();
        for quantity in QUANTITIES {
            let mut changed = voice;
            (quantity.draw)(&mut changed, &mut noise);
            let after = changed.proposal();
            for info in settings::rows() {
                if proposal.settings.get(info.id) == after.settings.get(info.id) {
                    continue;
                }
                changes += 1;
                let told = [sentences(&proposal, info.id), sentences(&after, info.id)].concat();
                assert!(
                    told.iter().any(|sentence| names(sentence, quantity)),
                    "{}: {:?} changed it, but it is explained by {told:#?}",
                    info.id,
                    quantity.words
                );
            }
        }
    }
    assert!(changes > 10_000, "{changes}");
}

#[test]
fn every_stage_has_a_reason_and_every_setting_at_most_one() {
    let proposed = [
        StageId::Hum,
        StageId::HighPass,
        StageId::DeReverb,
        StageId::Expander,
        StageId::Leveller,
        StageId::CorrectiveEq,
        StageId::DeEsser,
        StageId::Compressor,
        StageId::ToneEq,
    ];
    for seed in 0..VOICES {
        let proposal = voice(&mut Noise::new(seed)).proposal();
        let mut settings: Vec<_> = proposal.evidence().map(|e| e.setting).collect();
        settings.sort_unstable();
        assert!(settings.windows(2).all(|pair| pair[0] != pair[1]), "{settings:?}");
        for stage in proposed {
            let acts = proposal.evidence().filter(|e| stage_of(e.setting) == stage.id()).count();
            let off = proposal.left_off().filter(|off| off.stage == stage).count();
            // Both filters of the tone EQ have their own reason.
            let reasons = if stage == StageId::ToneEq { 2 - acts } else { usize::from(acts == 0) };
            assert_eq!(off, reasons, "{stage:?}");
        }
        for sentence in proposal.evidence().map(ToString::to_string).chain(proposal.left_off().map(ToString::to_string))
        {
            assert!(
                sentence.ends_with('.') && !sentence.contains('\u{2013}') && !sentence.contains("NaN"),
                "{sentence}"
            );
        }
    }
}
