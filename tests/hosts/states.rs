//! States: round trips, older states, and invalid states.

use crate::bit_exact::rounded;
use voicechain_core::StripSettings;
use voicechain_core::strip::StartingPoint;
use voicechain_host_tests::HostedPlugin;
use voicechain_tests::spectra::Noise;
use voicechain_tests::strips::random_settings;

/// State as the plugin writes it: length of the JSON, then the JSON.
pub(crate) fn envelope(json: &str) -> Vec<u8> {
    let mut bytes = (json.len() as u64).to_le_bytes().to_vec();
    bytes.extend_from_slice(json.as_bytes());
    bytes
}

fn quoted(text: &str) -> String {
    text.replace('\\', "\\\\").replace('"', "\\\"").replace('\n', "\\n")
}

pub(crate) fn state_with(text: &str) -> Vec<u8> {
    envelope(&format!("{{\"version\":\"0.1.0\",\"params\":{{}},\"fields\":{{\"settings\":\"{}\"}}}}", quoted(text)))
}

/// State with these settings.
pub(crate) fn state_of(settings: &StripSettings) -> Vec<u8> {
    state_with(&voicechain_text::write(settings).unwrap())
}

/// Settings within a state of the plugin.
pub(crate) fn settings_in(state: &[u8]) -> StripSettings {
    voicechain_text::read(&text_in(state)).expect("the settings are valid")
}

/// Settings text within a state.
fn text_in(state: &[u8]) -> String {
    let json = std::str::from_utf8(&state[8..]).expect("the state is text");
    let (_, rest) = json.split_once("\"settings\":\"").expect("the settings are inside");
    let mut text = String::new();
    let mut characters = rest.chars();
    while let Some(character) = characters.next() {
        match character {
            '"' => break,
            '\\' => text.push(match characters.next() {
                Some('n') => '\n',
                Some(other) => other,
                None => break,
            }),
            other => text.push(other),
        }
    }
    text
}

#[test]
fn a_state_holds_the_text_of_a_settings_file() {
    let mut random = Noise::new(3);
    for round in 0..50 {
        let mut settings = rounded(&random_settings(&mut random));
        if round % 3 == 0 {
            settings.compressor.ratio = f64::INFINITY;
        }
        let mut plugin = HostedPlugin::new(2);
        plugin.set_all(&settings);
        let saved = plugin.save().unwrap();
        assert_eq!(voicechain_text::read(&text_in(&saved)).unwrap(), settings);
        let mut other = HostedPlugin::new(1);
        assert!(other.load(&saved));
        assert_eq!(other.save().unwrap(), saved);
        assert_eq!(other.requests.complaints.lock().unwrap().len(), 0);
    }
}

#[test]
fn a_state_restores_the_exact_parameter_values_that_the_host_had_set() {
    let mut random = Noise::new(4);
    let mut plugin = HostedPlugin::new(2);
    let values: Vec<_> = plugin.parameters()[2..]
        .iter()
        .map(|parameter| {
            let value = random.between(0.0, parameter.range[1]);
            (parameter.id, if parameter.range[1] > 1.0 { value.round() } else { f64::from(value as f32) })
        })
        .collect();
    plugin.flush(&values);
    let before: Vec<_> = values.iter().map(|(id, _)| plugin.value(*id)).collect();
    let saved = plugin.save().unwrap();
    let mut other = HostedPlugin::new(2);
    assert!(other.load(&saved));
    assert_eq!(values.iter().map(|(id, _)| other.value(*id)).collect::<Vec<_>>(), before);
    assert_eq!(other.save().unwrap(), saved);
}

#[test]
fn bypass_and_order_are_in_the_state() {
    let mut settings = StartingPoint::SungAlone.settings();
    settings.order.reverse();
    let mut plugin = HostedPlugin::new(2);
    assert!(plugin.load(&state_of(&settings)));
    let ids = [plugin.parameters()[0].id, plugin.parameters()[1].id];
    plugin.flush(&[(ids[0], 1.0), (ids[1], 1.0)]);
    let saved = plugin.save().unwrap();
    assert_eq!(voicechain_text::read(&text_in(&saved)).unwrap(), settings);
    let mut other = HostedPlugin::new(2);
    assert!(other.load(&saved));
    assert_eq!(ids.map(|id| other.value(id)), [Some(1.0); 2]);
    // A state without them switches them off.
    assert!(other.load(&state_of(&settings)));
    assert_eq!(ids.map(|id| other.value(id)), [Some(0.0); 2]);
}

#[test]
fn an_older_state_is_completed_with_defaults() {
    let mut plugin = HostedPlugin::new(2);
    plugin.set_all(&StartingPoint::SungInMix.settings());
    assert!(plugin.load(&state_with("format = 1\n[high_pass]\nfrequency_hz = 90.0\n")));
    let mut expected = StripSettings::default();
    expected.high_pass.frequency_hz = 90.0;
    assert_eq!(voicechain_text::read(&text_in(&plugin.save().unwrap())).unwrap(), expected);
}

#[test]
fn invalid_states_change_nothing() {
    let mut plugin = HostedPlugin::new(2);
    let mut settings = rounded(&StartingPoint::SungInMix.settings());
    settings.limiter.ceiling_dbtp = -3.0;
    plugin.set_all(&settings);
    let saved = plugin.save().unwrap();
    let whole = String::from_utf8(saved[8..].to_vec()).unwrap();
    let mut invalid: Vec<Vec<u8>> = vec![
        vec![],
        vec![0; 3],
        vec![255; 64],
        u64::MAX.to_le_bytes().to_vec(),
        envelope(""),
        envelope("null"),
        envelope("{}"),
        envelope("{\"params\":{},\"fields\":{}}"),
        envelope("{\"version\":\"0.1.0\",\"params\":{\"trim.gain_db\":{\"f32\":0.0}},\"fields\":{}}"),
        envelope(&"[".repeat(100_000)),
        envelope(&whole.replace("\"settings\":\"", "\"settings\":\"\u{7f}")),
        state_with("format = 2"),
        state_with("format = 1\n[compressor]\nratio = 0.5"),
        state_with("format = 1\n[compressor]\nratio = nan"),
        state_with("format = 1\n[trim]\ngain_db = 24.0\n[high_pass]\nfrequency_hz = 1e300"),
        state_with("format = 1\n[trim]\ngain_db = 24.0\ncolour = 1"),
        state_with("format = 1\norder = []\n[trim]\ngain_db = 24.0"),
        state_with("format = \"1\"\n[trim]\ngain_db = 24.0"),
    ];
    // Truncated states.
    invalid.extend((0..saved.len() - 1).step_by(97).map(|end| saved[..end].to_vec()));
    // Half a state with the length of a whole one.
    invalid.push([&saved[..8], &saved[8..saved.len() / 2]].concat());
    let mut random = Noise::new(5);
    for _ in 0..200 {
        let mut corrupted = saved.clone();
        let (from, length) = (random.between(0.0, 7.9) as usize, random.between(1.0, 40.0) as usize);
        for byte in corrupted.iter_mut().skip(from).take(length) {
            *byte = random.between(128.0, 255.9) as u8;
        }
        invalid.push(corrupted);
    }
    for state in invalid {
        plugin.load(&state);
        assert_eq!(plugin.save().unwrap(), saved, "{:?}", String::from_utf8_lossy(&state));
    }
}

#[test]
fn states_are_saved_and_loaded_while_another_thread_processes() {
    let mut plugin = HostedPlugin::new(2);
    let all: Vec<_> = StartingPoint::ALL.iter().map(|point| rounded(&point.settings())).collect();
    let states: Vec<_> = all.iter().map(state_of).collect();
    assert!(plugin.activate(48_000.0, 256));
    let mut signal = vec![vec![0.1; 480_000]; 2];
    plugin.run_beside(
        &mut signal,
        &[],
        || 64,
        |plugin| {
            for (k, state) in states.iter().enumerate().cycle().take(100) {
                assert!(plugin.load(state));
                let saved = plugin.save().unwrap();
                // A save after a load returns the complete loaded state, independent of the audio thread.
                assert_eq!(voicechain_text::read(&text_in(&saved)).unwrap(), all[k]);
                plugin.load(&state[..state.len() / 2]);
                assert_eq!(plugin.save().unwrap(), saved);
            }
        },
    );
    assert!(signal.iter().flatten().all(|x| x.is_finite()));
    assert_eq!(*plugin.requests.complaints.lock().unwrap(), Vec::<String>::new());
}

#[test]
fn loading_a_broken_envelope_reports_failure() {
    let mut plugin = HostedPlugin::new(2);
    let saved = plugin.save().unwrap();
    for broken in [&[][..], &[0; 3], &[255; 64], &saved[..saved.len() - 1], &envelope("{}"), &envelope("nonsense")] {
        assert!(!plugin.load(broken), "{:?}", String::from_utf8_lossy(broken));
    }
    assert_eq!(plugin.save().unwrap(), saved);
}

#[test]
fn states_are_loaded_while_active_and_while_inactive() {
    let mut plugin = HostedPlugin::new(2);
    let states: Vec<_> = StartingPoint::ALL.iter().map(|point| state_of(&point.settings())).collect();
    assert!(plugin.load(&states[0]));
    assert!(plugin.activate(48_000.0, 256));
    assert!(plugin.load(&states[1]));
    for state in states.iter().cycle().take(20) {
        let mut signal = vec![vec![0.1; 333]; 2];
        plugin.run(&mut signal, &[], || 77);
        assert!(plugin.load(state));
        plugin.reset();
        assert!(plugin.save().is_some());
    }
    plugin.deactivate();
    assert!(plugin.load(&states[2]));
    let expected = rounded(&StartingPoint::ALL[2].settings());
    assert_eq!(voicechain_text::read(&text_in(&plugin.save().unwrap())).unwrap(), expected);
}
