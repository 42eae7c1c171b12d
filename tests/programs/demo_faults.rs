//! The faults that were put into the demo's voices are found by the profile, as far as it measures them.

use voicechain_core::SampleRate;
use voicechain_core::measure::profile::{Measured, Unavailable};
use voicechain_core::measure::{Profile, ProfileMeter};
use voicechain_core::propose::{Context, propose};
use voicechain_examples::demo_voices::{DemoVoice, Fault, interview};

fn profile(voice: &DemoVoice, samples: &[f32]) -> Profile {
    let mut meter = Box::new(ProfileMeter::<1>::new(SampleRate::new(f64::from(voice.rate_hz)).expect("a rate")));
    meter.push(samples.as_chunks::<1>().0);
    meter.profile()
}

/// What is measured; `None` where nothing measures it yet.
fn measured<T>(value: Measured<T>, what: &str) -> Option<T> {
    match value {
        Err(Unavailable::NotMeasured) => None,
        Err(unavailable) => panic!("{what} is not available: {unavailable:?}"),
        Ok(value) => Some(value),
    }
}

#[test]
fn the_profile_finds_what_was_put_in() {
    let voices = interview();
    let heard = voices.each_ref().map(|voice| profile(voice, &voice.recording));
    // Negative control: the same voices without faults.
    let clean = voices.each_ref().map(|voice| profile(voice, &voice.clean));
    let level = |of: &Profile| of.level.active_level_dbov.expect("a voice");
    let other = level(&clean[0]);
    for ((voice, heard), clean) in voices.iter().zip(&heard).zip(&clean) {
        for fault in &voice.faults {
            match fault {
                // Against the other voice's clean sound; the demo sets levels by another measure of what is active, which
                // room and hum move.
                Fault::Quieter { db } => {
                    let off = other - level(heard);
                    assert!((off - db).abs() < 2.5, "{off} and {db} dB");
                }
                // The tail is made noise, which reads longer than a room (the recorded voices: `accuracy -- reverberation`).
                Fault::Reverberation { t60_s, .. } => {
                    if let Some(reverberation) = measured(heard.reverberation, "the reverberation") {
                        assert!(
                            (reverberation.decay_time_s / t60_s - 1.0).abs() < 0.8 && !reverberation.dry,
                            "{reverberation:?}"
                        );
                    }
                }
                // Among the three within a third of an octave.
                Fault::Resonance { hz, .. } => {
                    if let Some(candidates) = measured(heard.resonances, "resonances") {
                        let near = |found: f64| (found / hz).log2().abs() < 1.0 / 3.0;
                        assert!(candidates.iter().flatten().any(|r| near(r.frequency_hz)), "{candidates:?}");
                    }
                }
                Fault::Hum { hz, level_dbfs } => {
                    if let Some(hum) = measured(heard.hum, "hum") {
                        let hum = hum.expect("it is heard");
                        assert!((hum.frequency_hz - hz).abs() < 0.1, "{hum:?}");
                        assert!((hum.level_dbfs - level_dbfs).abs() < 4.0, "{hum:?}");
                    }
                    if let Some(hum) = measured(clean.hum, "hum") {
                        assert_eq!(hum, None);
                    }
                }
                Fault::Rumble { level_dbfs, .. } => {
                    let rumble = heard.background_noise.rumble_dbfs;
                    assert!((rumble - level_dbfs).abs() < 4.0, "{rumble}");
                    assert!(
                        clean.background_noise.rumble_dbfs < level_dbfs - 15.0,
                        "{}",
                        clean.background_noise.rumble_dbfs
                    );
                }
                // A shelf of so many dB above 4.5 kHz: the top end loses it, and more where box and hum
                // raise what it is held against.
                Fault::Dull { gain_db, .. } => {
                    let top = |of: &Profile| of.tonal_balance.expect("a tonal balance").top_end_db.expect("a top end");
                    let lost = top(heard) - top(clean);
                    assert!((gain_db - 9.0..gain_db + 4.0).contains(&lost), "{lost}");
                }
                Fault::Sibilant { gain_db } => {
                    let of = |p: &Profile| p.sibilance.expect("fricatives").excess_db;
                    let more = of(heard) - of(clean);
                    assert!((more - gain_db).abs() < 3.5, "{more}");
                }
                Fault::Transients { at_s, .. } => {
                    let (found, none) = (heard.transients.expect("transients"), clean.transients.expect("transients"));
                    assert!(found.count as usize + 1 >= at_s.len(), "{found:?}");
                    assert!(none.count < found.count, "{none:?} without them");
                }
                other => panic!("nothing looks for {other:?}"),
            }
        }
        // Every voice gets a proposal that explains itself.
        let proposal = propose(heard, Context::default());
        assert!(proposal.settings.high_pass.on && proposal.reasons().count() >= 3);
    }
    let [host, guest] = heard.map(|p| p.pitch.expect("a pitch").median_hz);
    assert!((host / 188.0 - 1.0).abs() < 0.12 && (guest / 112.0 - 1.0).abs() < 0.12, "{host} and {guest} Hz");
}
