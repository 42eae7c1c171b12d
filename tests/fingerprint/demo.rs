//! Hashes of the demo interview's audio.

use crate::figures::{Case, Figure, Hash};
use voicechain_examples::interview::{Job, SettingsSource, run};
use voicechain_examples::progress::NoProgress;

/// Mixed with the settings that are proposed now, and with those that commit b1805f7 proposes for each of its voices.
pub(crate) fn figures(cases: &[Case]) -> Result<Vec<Figure>, String> {
    let mut found = vec![mixed("proposed", None)?];
    for case in cases.iter().filter(|case| case.name.starts_with("demo-")) {
        let given = SettingsSource::Given { settings: case.settings, from: String::from("the fingerprint") };
        found.push(mixed(&case.name, Some(given))?);
    }
    Ok(found)
}

fn mixed(name: &str, choice: Option<SettingsSource>) -> Result<Figure, String> {
    let folder = tempfile::tempdir().map_err(|e| e.to_string())?;
    let mut job = Job::new(Vec::new(), folder.path().join("out"));
    if let Some(choice) = choice {
        job.settings_source = choice;
    }
    run(&job, &mut NoProgress).map_err(|e| e.to_string())?;
    let mut values = Vec::new();
    for file in ["mix.wav", "voice-host.wav", "voice-guest.wav"] {
        let path = job.out.join(file);
        let mut reader = hound::WavReader::open(&path).map_err(|e| format!("{}: {e}", path.display()))?;
        let mut hash = Hash::new();
        for sample in reader.samples::<i32>() {
            hash.bytes(&sample.map_err(|e| e.to_string())?.to_le_bytes());
        }
        values.push(hash.value());
    }
    Ok(Figure { name: format!("demo {name}"), values })
}
