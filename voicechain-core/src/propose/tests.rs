extern crate std;

use super::*;
use crate::measure::profile::*;
use crate::settings::{Mains, Slope, SpectralLatency, StageId, StripSettings, rows};
use std::string::ToString;

/// Profile of a clean, dry voice of consistent level.
fn clean() -> Profile {
    Profile {
        rate_hz: 48_000.0,
        duration_s: 60.0,
        channels: 1,
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
        level_consistency: Ok(LevelConsistency { phrase_count: 20, standard_deviation_db: 1.7, median_step_db: 1.6 }),
        transients: Ok(Transients { count: 0, per_10_s: 0.0, max_excess_db: 6.8 }),
        background_noise: BackgroundNoise {
            noise_floor_dbfs: Ok(-70.0),
            noise_bands_dbfs: [-85.0; THIRD_OCTAVES],
            snr_db: Ok(46.0),
            rumble_dbfs: -75.0,
            dc_offset: 0.0,
        },
        hum: Ok(None),
        pitch: Ok(Pitch { low_hz: 100.0, median_hz: 125.0, high_hz: 170.0, voiced_share: 0.6 }),
        tonal_balance: Ok(TonalBalance {
            bands_dbfs: [Some(-40.0); THIRD_OCTAVES],
            deviation_db: [Some(0.0); THIRD_OCTAVES],
            low_end_db: Ok(-1.0),
            presence_db: Ok(1.0),
            top_end_db: Ok(-1.7),
        }),
        bandwidth: Ok(Bandwidth { high_hz: 24_000.0, limited: false, narrowband: false }),
        resonances: Ok([None; MAX_RESONANCES]),
        sibilance: Ok(Sibilance { frequency_hz: 6_500.0, excess_db: 0.0, share_percent: 2.0, ratio_p90_db: 8.0 }),
        reverberation: Ok(Reverberation::with_decay_time(0.15)),
    }
}

fn proposal_for(profile: &Profile) -> Proposal {
    propose(profile, Context::default())
}

fn at(frequency_hz: f64, prominence_db: f64, confidence: f64) -> Option<Resonance> {
    Some(Resonance { frequency_hz, prominence_db, q: 1.4, confidence })
}

/// Every setting that differs from the idle strip has its evidence, and the settings are valid.
fn assert_explained(proposal: &Proposal) {
    proposal.settings.check().expect("valid");
    let idle = Proposal::idle().settings;
    for info in rows() {
        let why = proposal.evidence().find(|e| e.setting == info.id);
        assert!(proposal.settings.get(info.id) == idle.get(info.id) || why.is_some(), "{}", info.id);
    }
}

#[test]
fn a_clean_voice_gets_only_trim_and_compressor() {
    let p = proposal_for(&clean());
    assert_explained(&p);
    assert!((p.settings.trim.gain_db - 2.0).abs() < 1e-9);
    assert!(!p.settings.high_pass.on && p.settings.limiter == StripSettings::default().limiter);
    // Of even level: hardly compressed.
    assert!(!p.settings.de_esser.on && (p.settings.compressor.ratio / 1.4 - 1.0).abs() < 0.03);
    assert!((p.settings.compressor.threshold_db - (-10.0 + 2.0 - 4.5)).abs() < 0.26);
    assert_eq!(p.settings.tone_eq, StripSettings::default().tone_eq);
    assert_eq!(p.settings.corrective_eq, StripSettings::default().corrective_eq);
    assert_eq!(p.warnings().count(), 0);
}

#[test]
fn only_confident_resonances_are_cut() {
    let mut voice = clean();
    voice.resonances = Ok([at(640.0, 9.0, 0.7), at(210.0, 9.0, 0.3), None]);
    let eq = proposal_for(&voice).settings.corrective_eq;
    assert!((eq.bell_2_gain_db + 3.5).abs() < 1e-9 && (eq.bell_2_frequency_hz / 640.0 - 1.0).abs() < 0.008);
    assert_eq!((eq.bell_1_gain_db, eq.bell_3_gain_db, eq.bell_4_gain_db), (0.0, 0.0, 0.0));
    voice.resonances = Ok([at(640.0, 40.0, 1.0), at(660.0, 40.0, 1.0), None]);
    let eq = proposal_for(&voice).settings.corrective_eq;
    assert_eq!((eq.bell_1_gain_db, eq.bell_2_gain_db, eq.bell_3_gain_db), (0.0, -6.0, 0.0));
}

/// The pitch of the clean voice reaches 200 Hz, so its first four harmonics reach 800 Hz.
#[test]
fn a_sung_voice_is_not_cut_among_its_low_harmonics() {
    let flat = |voice: &Profile, context| {
        let proposal = propose(voice, context);
        let eq = proposal.settings.corrective_eq;
        let bells = [(eq.bell_1_gain_db, "bell 1"), (eq.bell_2_gain_db, "bell 2"), (eq.bell_3_gain_db, "bell 3")];
        let cut = bells.iter().any(|(gain_db, _)| *gain_db < 0.0);
        let why = proposal.left_off().find(|off| off.stage == StageId::CorrectiveEq).map(ToString::to_string);
        assert_eq!(cut, why.is_none());
        why
    };
    let mut voice = clean();
    voice.pitch.as_mut().expect("known").high_hz = 200.0;
    for hz in [200.0, 400.0, 600.0, 800.0] {
        voice.resonances = Ok([at(hz, 15.0, 1.0), None, None]);
        assert_eq!(
            flat(&voice, SUNG).as_deref(),
            Some(
                "The 90th percentile of the pitch is 200 Hz, and the voice is sung; no resonance is cut among its low \
                 harmonics, which reach up to 900 Hz: corrective EQ flat (common practice, no source)."
            )
        );
        assert_eq!(flat(&voice, Context::default()), None, "{hz}");
    }
    // Above them, a resonance of a sung voice is cut like any other.
    voice.resonances = Ok([at(950.0, 15.0, 1.0), None, None]);
    assert_eq!(flat(&voice, SUNG), None);
    // Without a resonance that would be cut, the singing decides nothing.
    voice.resonances = Ok([at(400.0, 15.0, 0.3), None, None]);
    assert_eq!(flat(&voice, SUNG), flat(&voice, Context::default()));
    // An unknown pitch may lie anywhere.
    voice.resonances = Ok([at(950.0, 15.0, 1.0), None, None]);
    voice.pitch = Err(Unavailable::NoSuitableSegment);
    let why = flat(&voice, SUNG).expect("flat");
    let wanted = "and the voice is sung; no resonance is cut among its low harmonics: corrective EQ flat";
    assert!(why.contains(wanted), "{why}");
}

#[test]
fn tone_eq_is_proposed_for_unusual_balance_only() {
    let mut voice = clean();
    let with = |voice: &mut Profile, low, presence| {
        let tonal_balance = voice.tonal_balance.as_mut().expect("known");
        (tonal_balance.low_end_db, tonal_balance.presence_db) = (Ok(low), Ok(presence));
        proposal_for(voice).settings.tone_eq
    };
    let dull = with(&mut voice, -12.0, -8.0);
    assert!((dull.low_shelf_gain_db - 2.0).abs() < 0.01 && (dull.bell_gain_db - 2.0).abs() < 0.01);
    let inside = with(&mut voice, -5.0, -1.5);
    assert_eq!((inside.low_shelf_gain_db, inside.bell_gain_db), (0.0, 0.0));
    voice.bandwidth = Ok(Bandwidth { high_hz: 3_400.0, limited: true, narrowband: true });
    assert_eq!(with(&mut voice, 0.0, -8.0).bell_gain_db, 0.0);
    voice.bandwidth = clean().bandwidth;
    voice.sibilance.as_mut().expect("known").excess_db = 6.0;
    assert_eq!(with(&mut voice, 0.0, -8.0).bell_gain_db, 0.0);
}

#[test]
fn the_de_esser_is_proposed_for_sibilance_only() {
    let mut voice = clean();
    voice.sibilance = Ok(Sibilance { frequency_hz: 6_500.0, excess_db: 8.0, share_percent: 60.0, ratio_p90_db: 12.0 });
    let p = proposal_for(&voice);
    assert_explained(&p);
    assert!(p.settings.de_esser.on && p.settings.de_esser.range_db == 8.0 && p.settings.de_esser.threshold_db == -3.0);
}

#[test]
fn level_changes_the_trim_only() {
    let loud = proposal_for(&clean());
    let mut voice = clean();
    voice.level.integrated_lufs = Ok(-45.0);
    voice.level.speech_peak_dbfs = Ok(-30.0);
    voice.level.active_level_dbov = Ok(-44.0);
    voice.background_noise.rumble_dbfs -= 20.0;
    let mut quiet = proposal_for(&voice);
    assert!((quiet.settings.trim.gain_db - loud.settings.trim.gain_db - 20.0).abs() < 1e-9);
    quiet.settings.trim = loud.settings.trim;
    assert_eq!(quiet.settings, loud.settings);
}

#[test]
fn compressor_and_leveller_follow_the_voice() {
    let mut voice = clean();
    voice.transients = Ok(Transients { count: 30, per_10_s: 5.0, max_excess_db: 16.0 });
    assert!((proposal_for(&voice).settings.compressor.ratio - 4.0).abs() < 0.12);
    let mut voice = clean();
    voice.level_consistency =
        Ok(LevelConsistency { phrase_count: 20, standard_deviation_db: 5.1, median_step_db: 8.0 });
    let uneven = proposal_for(&voice);
    assert_explained(&uneven);
    // The leveller evens out the phrases, so the compressor need not.
    assert!(uneven.settings.leveller.on && !proposal_for(&clean()).settings.leveller.on);
    assert_eq!(uneven.settings.leveller.maximum_boost_db, StripSettings::default().leveller.maximum_boost_db);
    assert!((uneven.settings.compressor.threshold_db - (-23.0 + 15.0 - 4.5)).abs() < 0.26);
    voice.background_noise.snr_db = Ok(18.0);
    assert!((proposal_for(&voice).settings.leveller.maximum_boost_db - 6.0).abs() < 1e-9);
    let mut voice = clean();
    voice.background_noise.snr_db = Ok(7.0);
    assert!(!proposal_for(&voice).settings.compressor.on);
    assert_eq!(proposal_for(&voice).warnings().next(), Some(&Warning::ExcessiveNoise(7.0)));
    // Compression that is not proposed is not called gentle.
    voice.background_noise.snr_db = Ok(15.0);
    assert_eq!(proposal_for(&voice).warnings().next(), Some(&Warning::NoiseLimitsCompression(15.0)));
    voice.level_consistency.as_mut().expect("known").standard_deviation_db = 3.5;
    assert!((proposal_for(&voice).settings.compressor.ratio / 1.4 - 1.0).abs() < 0.03);
    voice.level.crest_db = Ok(7.0);
    let p = proposal_for(&voice);
    assert!(!p.settings.compressor.on && p.warnings().eq(&[Warning::AlreadyCompressed(7.0)]));
}

#[test]
fn an_even_voice_is_compressed_less_than_an_uneven_one() {
    let with = |deviation_db| {
        let mut voice = clean();
        voice.level_consistency.as_mut().expect("known").standard_deviation_db = deviation_db;
        let p = proposal_for(&voice);
        assert_explained(&p);
        let sentence = p.evidence().find(|e| e.setting == "compressor.ratio").expect("evidence").to_string();
        (p.settings.compressor, sentence)
    };
    let ((even, why), (uneven, _)) = (with(2.1), with(3.6));
    assert!(even.ratio < uneven.ratio && even.attack_ms == uneven.attack_ms);
    assert!(!even.auto_release && !uneven.auto_release);
    let transients = Ok(Transients { count: 30, per_10_s: 5.0, max_excess_db: 16.0 });
    let spiky = proposal_for(&Profile { transients, ..clean() }).settings.compressor;
    assert!(spiky.release_ms < even.release_ms && spiky.auto_release && spiky.attack_ms < even.attack_ms);
    assert!(
        why.starts_with("The standard deviation of the speech level is 2.1 dB; compression is gentle up to 3.0 dB: "),
        "{why}"
    );
}

#[test]
fn a_limited_voice_gets_neither_compressor_nor_high_pass() {
    let mut voice = clean();
    // The highest peak is 0.5 dB above the 95th percentile of peaks, -10 dBFS.
    voice.level.crest_db = Ok(14.5);
    let p = proposal_for(&voice);
    assert_explained(&p);
    assert!(!p.settings.compressor.on && !p.settings.high_pass.on);
    let off: std::vec::Vec<_> = p.left_off().map(ToString::to_string).collect();
    assert!(off.iter().any(|why| why.starts_with(
        "The highest peak relative to the 95th percentile of speech peaks is 0.5 dB; a voice is already limited below \
         1.5 dB: compressor off"
    )));
    assert!(
        off.iter().any(|why| why.contains("a limited voice needs no high-pass up to \u{2212}15.0 dB: high-pass off"))
    );
    // Rumble 18 dB below the voice is hardly audible. Strong rumble, 12 dB below it, is removed all the same.
    voice.background_noise.rumble_dbfs = -42.0;
    assert!(!proposal_for(&voice).settings.high_pass.on);
    voice.background_noise.rumble_dbfs = -36.0;
    assert!(proposal_for(&voice).settings.high_pass.on && !proposal_for(&voice).settings.compressor.on);
    // Of a voice whose loudest words alone are limited, the highest peak is 2 dB above the 95th percentile.
    voice.level.crest_db = Ok(16.0);
    voice.background_noise.rumble_dbfs = -42.0;
    let p = proposal_for(&voice);
    assert!(p.settings.compressor.on && !p.settings.high_pass.on);
    voice.level.crest_db = Ok(18.0);
    assert!(proposal_for(&voice).settings.high_pass.on);
}

/// The ceiling is the highest true peak at the working level; 1 dB lower behind a de-reverb. Without
/// limited peaks it is that of the defaults.
#[test]
fn limited_peaks_stay_limited() {
    let usual = StripSettings::default().limiter.ceiling_dbtp;
    for (crest_db, decay_s, deviation_db, ceiling) in [
        (14.5, 0.15, 1.7, -9.5 + 2.0),
        (16.0, 0.15, 1.7, -9.5 + 2.0),
        (14.5, 0.5, 1.7, -9.5 + 2.0 - 1.0),
        (14.5, 0.15, 6.5, -9.5 + 2.0),
        (18.0, 0.15, 1.7, usual),
        (18.0, 0.5, 6.5, usual),
    ] {
        let mut voice = clean();
        voice.level.crest_db = Ok(crest_db);
        voice.level.true_peak_dbtp = -9.5;
        voice.reverberation = Ok(Reverberation::with_decay_time(decay_s));
        voice.level_consistency.as_mut().expect("known").standard_deviation_db = deviation_db;
        let p = proposal_for(&voice);
        assert_explained(&p);
        let found = p.settings.limiter.ceiling_dbtp;
        assert!(
            (found - ceiling).abs() < 0.051,
            "{crest_db} dB, {decay_s} s, {deviation_db} dB: {found}, not {ceiling}"
        );
    }
}

/// What a limiter makes of an even voice is not levelled; level steps of more than 12 dB are, limited or not.
#[test]
fn a_limited_voice_is_levelled_only_for_large_steps() {
    for (crest_db, deviation_db, on) in
        [(14.5, 5.5, false), (14.5, 6.5, true), (18.8, 5.5, true), (18.8, 6.5, true), (14.5, 4.0, false)]
    {
        let mut voice = clean();
        voice.level.crest_db = Ok(crest_db);
        voice.level_consistency.as_mut().expect("known").standard_deviation_db = deviation_db;
        let p = proposal_for(&voice);
        assert_explained(&p);
        assert_eq!(p.settings.leveller.on, on, "{crest_db} {deviation_db}");
        let why = p.left_off().find(|off| off.stage == StageId::Leveller).map(ToString::to_string);
        assert_eq!(why.is_none(), on);
        if deviation_db == 5.5 && !on {
            assert_eq!(
                why.as_deref(),
                Some(
                    "The standard deviation of the speech level is 5.5 dB; a limited voice needs no leveller up to 6.0 \
                     dB: leveller off (common practice, no source)."
                )
            );
        }
    }
}

#[test]
fn hum_reverberation_and_noise_turn_on_their_stages() {
    let default = StripSettings::default();
    let untouched = proposal_for(&clean()).settings;
    assert_eq!(
        (untouched.hum, untouched.de_reverb, untouched.expander),
        (default.hum, default.de_reverb, default.expander)
    );

    let mut voice = clean();
    let mut harmonics_dbfs = [None; HUM_HARMONICS];
    (harmonics_dbfs[0], harmonics_dbfs[9]) = (Some(-52.0), Some(-60.0));
    voice.hum = Ok(Some(Hum { frequency_hz: 59.97, level_dbfs: -50.0, harmonics_dbfs }));
    voice.reverberation = Ok(Reverberation::with_decay_time(0.6));
    voice.background_noise.snr_db = Ok(18.0);
    let p = proposal_for(&voice);
    assert_explained(&p);
    let s = &p.settings;
    assert!(s.hum.on && s.hum.mains == Mains::Hz60 && s.hum.harmonics == 20.0);
    assert!(s.de_reverb.on && s.spectral.latency == SpectralLatency::High);
    assert!((s.de_reverb.decay_ms / 600.0 - 1.0).abs() < 0.03);
    assert!(s.expander.on && s.expander.range_db == 12.0);
    let sentence = |setting| p.evidence().find(|e| e.setting == setting).expect("evidence").to_string();
    assert_eq!(
        sentence("hum.on"),
        "The mains hum relative to the voice at 60 Hz is \u{2212}26.0 dB; the voice masks hum below \u{2212}42.0 dB: hum on \
         (common practice, no source)."
    );
    assert!(
        sentence("de_reverb.decay_ms").starts_with("The decay time is 600 ms; the de-reverb is proposed from 170 ms")
    );
    // A long decay time increases the range by up to 3 dB, a short one lowers it by up to 2 dB, on its step.
    for (decay_time_s, range_db) in
        [(0.2, 13.0), (0.28, 13.0), (0.34, 14.0), (0.4, 15.0), (0.8, 15.0), (0.9, 16.5), (1.0, 18.0), (1.5, 18.0)]
    {
        voice.reverberation = Ok(Reverberation::with_decay_time(decay_time_s));
        let p = proposal_for(&voice);
        assert_explained(&p);
        assert!((p.settings.de_reverb.range_db - range_db).abs() < 1e-9, "{decay_time_s}");
    }

    // A treated room is treated; a decay time below that of dry voices is not.
    for (decay_time_s, acts) in [(0.18, true), (0.16, false)] {
        voice.reverberation = Ok(Reverberation::with_decay_time(decay_time_s));
        assert_eq!(proposal_for(&voice).settings.de_reverb != default.de_reverb, acts, "{decay_time_s}");
    }
    // Unavailable measurements leave a stage idle, and so does noise in which words cannot be detected.
    voice.hum = Err(Unavailable::TooShort);
    voice.reverberation = Err(Unavailable::NoSuitableSegment);
    for snr in [Err(Unavailable::TooNoisy), Ok(3.0), Ok(40.0)] {
        voice.background_noise.snr_db = snr;
        let s = proposal_for(&voice).settings;
        assert_eq!((s.hum, s.de_reverb, s.expander), (default.hum, default.de_reverb, default.expander));
    }
}

#[test]
fn signals_other_than_voice_get_the_idle_proposal() {
    for signal_class in [
        SignalClass::Silence,
        SignalClass::TooShort,
        SignalClass::Tone,
        SignalClass::Noise,
        SignalClass::Music,
        SignalClass::InvalidSignal,
    ] {
        let p = proposal_for(&Profile { signal_class, ..clean() });
        assert_eq!(p.settings, Proposal::idle().settings);
        assert_eq!(p.warnings().next(), Some(&Warning::NotAVoice));
    }
}

/// The voice has -24 dBov: rumble 40 dB below it needs nothing, 36 dB below it a high-pass, 16 dB below it a steeper one.
#[test]
fn the_high_pass_follows_rumble_and_pitch() {
    let with = |rumble_dbfs| {
        let mut voice = clean();
        voice.background_noise.rumble_dbfs = rumble_dbfs;
        let p = proposal_for(&voice);
        assert_explained(&p);
        p.settings.high_pass
    };
    assert!(!with(-65.0).on && !with(f64::NEG_INFINITY).on && !with(f64::NAN).on);
    let [quiet, strong] = [with(-60.0), with(-40.0)];
    assert!(quiet.on && strong.on);
    assert_eq!([quiet.slope, strong.slope], [Slope::Db18, Slope::Db24]);
    assert!((quiet.frequency_hz / 70.0 - 1.0).abs() < 0.008, "{}", quiet.frequency_hz);
}

#[test]
fn evidence_is_one_plain_sentence() {
    let mut voice = clean();
    voice.resonances = Ok([at(640.0, 9.0, 0.7), None, None]);
    let p = proposal_for(&voice);
    for e in p.evidence() {
        let text = e.to_string();
        assert!(text.ends_with(").") && !text.contains(" -"), "{text}");
        assert!(!text.contains("NaN") && !text.contains("\u{2212}0.0"), "{text}");
    }
    let cut = p.evidence().find(|e| e.setting == "corrective_eq.bell_2_gain_db").expect("a cut");
    assert_eq!(
        cut.to_string(),
        "The prominence of the resonance at 640 Hz is 9.0 dB; the typical value is 4.0 dB: corrective EQ bell 2 gain \
         \u{2212}3.5 dB (measured on 22 clean voices)."
    );
}

const SUNG: Context = Context { role: Role::SoloVoice, vocal_style: VocalStyle::Sung };
const OVER_MUSIC: Context = Context { role: Role::OverMusic, vocal_style: VocalStyle::Spoken };

/// The sentence of one setting for the clean voice with rumble 36 dB below it and one change.
fn sentence(change: impl Fn(&mut Profile), context: Context, setting: &str) -> std::string::String {
    let mut voice = clean();
    voice.background_noise.rumble_dbfs = -60.0;
    change(&mut voice);
    let proposal = propose(&voice, context);
    let found: std::vec::Vec<_> = proposal.evidence().filter(|e| e.setting == setting).collect();
    assert_eq!(found.len(), 1, "{setting}");
    found[0].to_string()
}

#[test]
fn what_decided_is_named_context_or_measurement() {
    let unchanged = |_: &mut Profile| {};
    let transients = |voice: &mut Profile| {
        voice.transients = Ok(Transients { count: 30, per_10_s: 5.0, max_excess_db: 16.0 });
    };
    let rumble = |voice: &mut Profile| voice.background_noise.rumble_dbfs = -40.0;
    assert_eq!(
        sentence(unchanged, SUNG, "high_pass.slope"),
        "The voice is sung: high-pass slope 12 dB/oct (common practice, no source)."
    );
    assert!(sentence(rumble, SUNG, "high_pass.slope").starts_with("The rumble level relative to the voice is"));
    assert_eq!(
        sentence(unchanged, OVER_MUSIC, "compressor.ratio"),
        "The voice is over music: compressor ratio 4:1 (common practice, no source)."
    );
    assert!(
        sentence(transients, OVER_MUSIC, "compressor.ratio").starts_with(
            "The number of transients per 10 s is 5, and the voice is over music; a typical voice has fewer"
        )
    );
    assert!(sentence(transients, OVER_MUSIC, "compressor.attack_ms").contains("per 10 s is 5; a typical voice"));
    // Noise decides the ratio, transients the attack.
    let both = |voice: &mut Profile| {
        transients(voice);
        voice.background_noise.snr_db = Ok(15.0);
    };
    let of = |setting| sentence(both, OVER_MUSIC, setting);
    assert!(of("compressor.ratio").starts_with("The signal-to-noise ratio is 15.0 dB; compression is gentle below"));
    assert!(of("compressor.attack_ms").starts_with("The number of transients per 10 s is 5; a typical voice"));
    // The music raises the cutoff and lowers the threshold together with what is measured.
    // 0.7 times 1.15 times 100 Hz is 80.5 Hz, on the grid of 1/48 octave 80.9 Hz.
    let cutoff = sentence(unchanged, OVER_MUSIC, "high_pass.frequency_hz");
    assert!(
        cutoff.contains("is 100 Hz, and the voice is over music; the high-pass cutoff is set to 81 Hz: "),
        "{cutoff}"
    );
    assert!(
        sentence(unchanged, OVER_MUSIC, "compressor.threshold_db")
            .contains("is \u{2212}8.0 dBFS, and the voice is over music")
    );
    assert!(!sentence(unchanged, Context::default(), "compressor.threshold_db").contains("music"));
}

#[test]
fn a_limit_that_decided_is_named() {
    let pitch = |low_hz| {
        move |voice: &mut Profile| {
            voice.pitch = Ok(Pitch { low_hz, median_hz: 2.0 * low_hz, high_hz: 3.0 * low_hz, voiced_share: 0.6 })
        }
    };
    let cutoff = |low_hz, context| sentence(pitch(low_hz), context, "high_pass.frequency_hz");
    // 0.7 times 220 Hz is 154 Hz, 0.7 times 50 Hz is 35 Hz.
    assert!(cutoff(220.0, Context::default()).contains("pitch is 220 Hz; the high-pass cutoff is at most 120 Hz: "));
    assert!(cutoff(50.0, Context::default()).contains("pitch is 50 Hz; the high-pass cutoff is at least 40 Hz: "));
    // Music changes nothing where the limit is reached without it.
    assert!(
        !cutoff(220.0, OVER_MUSIC).contains("music")
            && cutoff(160.0, OVER_MUSIC).contains("music; the high-pass cutoff is at most")
    );
    let unknown = sentence(|voice| voice.pitch = Err(Unavailable::TooShort), OVER_MUSIC, "high_pass.frequency_hz");
    assert!(unknown.starts_with(
        "The 10th percentile of the pitch is not known (not enough speech); the high-pass cutoff then lies below every \
         voice, at 50 Hz: "
    ));

    let trim = |lufs| sentence(move |voice: &mut Profile| voice.level.integrated_lufs = Ok(lufs), SUNG, "trim.gain_db");
    assert!(
        trim(-60.0).contains("\u{2212}60.0 LUFS; the largest boost reaches the working level from \u{2212}47.0 LUFS: ")
    );
    assert!(trim(-40.0).contains("\u{2212}40.0 LUFS; the working level is \u{2212}23.0 LUFS: "));

    let excess = |excess_db| {
        let hiss = Sibilance { frequency_hz: 6_500.0, excess_db, share_percent: 60.0, ratio_p90_db: 12.0 };
        sentence(move |voice: &mut Profile| voice.sibilance = Ok(hiss), SUNG, "de_esser.range_db")
    };
    assert!(
        excess(9.0).contains("is 9.0 dB; the range is at most 8.0 dB: ") && excess(7.0).contains("is set to 7.0 dB: ")
    );

    let noise = |snr_db, setting| {
        let noisy = move |voice: &mut Profile| {
            voice.background_noise.snr_db = Ok(snr_db);
            voice.level_consistency.as_mut().expect("known").standard_deviation_db = 6.0;
        };
        sentence(noisy, SUNG, setting)
    };
    assert!(noise(10.0, "expander.range_db").contains("is 10.0 dB; the range is at most 15.0 dB: "));
    assert!(noise(20.0, "expander.range_db").contains("is 20.0 dB; the range raises it in pauses to 30.0 dB: "));
    assert!(noise(13.0, "leveller.maximum_boost_db").contains("is 13.0 dB; the maximum boost is at least 3.0 dB: "));
    assert!(noise(18.0, "leveller.maximum_boost_db").contains("is 18.0 dB; the maximum boost leaves 12.0 dB: "));

    let cut = |prominence_db| {
        sentence(
            move |voice: &mut Profile| voice.resonances = Ok([at(640.0, prominence_db, 0.7), None, None]),
            OVER_MUSIC,
            "corrective_eq.bell_2_gain_db",
        )
    };
    assert!(
        cut(20.0).contains("is 20.0 dB; a cut is at most 6.0 dB: ")
            && cut(9.0).contains("the typical value is 4.0 dB: ")
    );
    // Two cuts of 6 and 2.8 dB leave 0.2 dB for a shelf of 2 dB.
    let nearly_used_up = |voice: &mut Profile| {
        voice.resonances = Ok([at(640.0, 20.0, 0.7), at(250.0, 8.0, 0.7), None]);
        voice.tonal_balance.as_mut().expect("known").low_end_db = Ok(-12.0);
    };
    assert!(sentence(nearly_used_up, Context::default(), "tone_eq.low_shelf_gain_db").ends_with(
        "the gains of both EQs add up to at most 9.0 dB: tone EQ low shelf gain +0.2 dB (common practice, no source)."
    ));
    let sibilant = |voice: &mut Profile| {
        voice.sibilance.as_mut().expect("known").excess_db = 2.5;
        voice.tonal_balance.as_mut().expect("known").presence_db = Ok(-12.0);
    };
    assert!(sentence(sibilant, SUNG, "tone_eq.bell_gain_db").contains(
        "is \u{2212}12.0 dB; the boost is smaller because the excess sibilance is 2.5 dB: tone EQ bell gain +1.0 dB"
    ));
    // Hum that the voice masks is no reason.
    let mut voice = clean();
    let hum = Hum { frequency_hz: 50.0, level_dbfs: -24.0 - 43.0, harmonics_dbfs: [Some(-80.0); HUM_HARMONICS] };
    voice.hum = Ok(Some(hum));
    assert!(!proposal_for(&voice).settings.hum.on);
    voice.hum = Ok(Some(Hum { level_dbfs: -24.0 - 41.0, ..hum }));
    assert!(proposal_for(&voice).settings.hum.on);
}

#[test]
fn stages_that_stay_off_say_why() {
    let sentences = |change: &dyn Fn(&mut Profile), stage: StageId| -> std::vec::Vec<std::string::String> {
        let mut voice = clean();
        change(&mut voice);
        let proposal = proposal_for(&voice);
        proposal.left_off().filter(|off| off.stage == stage).map(ToString::to_string).collect()
    };
    let clean_voice = |_: &mut Profile| {};
    let noisy = |voice: &mut Profile| voice.background_noise.snr_db = Ok(4.0);
    let compressed = |voice: &mut Profile| voice.level.crest_db = Ok(7.0);
    let doubtful = |voice: &mut Profile| voice.resonances = Ok([at(640.0, 9.0, 0.3), None, None]);
    let unknown = |voice: &mut Profile| {
        voice.reverberation = Err(Unavailable::TooNoisy);
        voice.hum = Err(Unavailable::TooShort);
    };
    let narrowband = |voice: &mut Profile| {
        voice.bandwidth = Ok(Bandwidth { high_hz: 3_400.0, limited: true, narrowband: true });
        voice.tonal_balance.as_mut().expect("known").presence_db = Ok(-9.0);
    };
    let practice = " (common practice, no source).";
    for (change, stage, wanted, source) in [
        (
            &clean_voice as &dyn Fn(&mut Profile),
            StageId::Expander,
            "The signal-to-noise ratio is 46.0 dB; noise is audible between words below 25.0 dB: expander off",
            practice,
        ),
        (
            &noisy,
            StageId::Expander,
            "The signal-to-noise ratio is 4.0 dB; the expander misses words below 6.0 dB: expander off",
            practice,
        ),
        (
            &noisy,
            StageId::Compressor,
            "The signal-to-noise ratio is 4.0 dB; compression would raise the noise below 10.0 dB: compressor off",
            practice,
        ),
        (
            &compressed,
            StageId::Compressor,
            "The crest factor is 7.0 dB; a voice is already compressed below 9.0 dB: compressor off",
            practice,
        ),
        (
            &clean_voice,
            StageId::Hum,
            "Mains hum is not found; the voice masks hum below \u{2212}42.0 dB: hum off",
            practice,
        ),
        (&unknown, StageId::Hum, "The mains hum relative to the voice is not known (not enough speech): hum off", "."),
        (
            &unknown,
            StageId::DeReverb,
            "The decay time is not known (the background noise is too close to the voice): de-reverb off",
            ".",
        ),
        (
            &clean_voice,
            StageId::CorrectiveEq,
            "A resonance is not found: corrective EQ flat",
            " (measured on 22 clean voices).",
        ),
        (
            &doubtful,
            StageId::CorrectiveEq,
            "The confidence in the resonance at 640 Hz is 30 %; a cut is proposed from 50 %: corrective EQ flat",
            practice,
        ),
    ] {
        assert_eq!(sentences(change, stage), [std::format!("{wanted}{source}")]);
    }
    // Low end and presence each have a reason.
    let flat = sentences(&narrowband, StageId::ToneEq);
    assert!(
        flat[0].starts_with(
            "The low end relative to published speech is \u{2212}1.0 dB; a cut is proposed above 3.1 dB: "
        )
    );
    assert_eq!(
        flat[1],
        "The bandwidth is 3.4 kHz; a presence boost is proposed from 6 kHz: tone EQ bell flat (common practice, no source)."
    );
    // A stage that acts is not left off, and no rule is asked about a signal that is not a voice.
    assert_eq!(sentences(&|voice| voice.background_noise.snr_db = Ok(18.0), StageId::Expander).len(), 0);
    assert_eq!(proposal_for(&Profile { signal_class: SignalClass::Music, ..clean() }).left_off().count(), 0);
}

/// Measuring and proposing have one limit, in quiet and in noise; the stage removes nothing below it.
#[test]
fn a_dry_voice_is_never_given_a_de_reverb() {
    let mut voice = clean();
    for snr_db in [12.0, 24.0, 40.0] {
        voice.background_noise.snr_db = Ok(snr_db);
        for ms in 100..=1_500 {
            let found = Reverberation::with_decay_time(1e-3 * f64::from(ms));
            voice.reverberation = Ok(found);
            let proposal = proposal_for(&voice);
            assert_eq!(proposal.settings.de_reverb.on, !found.dry, "{ms} ms");
            let says_dry = proposal.left_off().any(|off| off.stage == StageId::DeReverb);
            assert_eq!(says_dry, found.dry, "{ms} ms");
        }
    }
    let dry = |ms: f64| Reverberation::with_decay_time(1e-3 * ms).dry;
    assert!(dry(169.9) && !dry(170.1));
}
