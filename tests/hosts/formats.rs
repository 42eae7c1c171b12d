//! What both formats do alike: descriptions, events outside a block, refused states, sizes of the window.

use crate::bit_exact::{rounded, voice};
use crate::states::{envelope, settings_in, state_of, state_with};
use std::ffi::{CStr, c_char};
use voicechain_core::StripSettings;
use voicechain_core::settings::{StageId, row, rows};
use voicechain_core::strip::StartingPoint;
use voicechain_core::units::Unit;
use voicechain_editor::MIN_SIZE;
use voicechain_host_tests::raw_calls::{Buffers, Event};
use voicechain_host_tests::test_bench::TestBench;
use voicechain_host_tests::vst3_host::{Change, Vst3Factory, Vst3Plugin};
use voicechain_host_tests::{HostedPlugin, clap_value, entry, number_of, vst3_position};
use vst3::Steinberg::Vst::ParameterInfo_::ParameterFlags_::kIsList;

#[allow(unsafe_code)]
fn text(characters: &[c_char]) -> String {
    assert!(characters.contains(&0));
    // SAFETY: the text ends within the slice.
    unsafe { CStr::from_ptr(characters.as_ptr()) }.to_str().unwrap().to_string()
}

#[test]
fn the_descriptions_name_every_stage_and_the_kinds_of_processing() {
    let entry = entry();
    let factory = entry.get_plugin_factory().unwrap();
    let descriptor = factory.plugin_descriptor(0).unwrap();
    let description = descriptor.description().unwrap().to_str().unwrap().to_lowercase();
    for stage in StageId::ALL {
        assert!(description.contains(&stage.name().to_lowercase()), "{}: {description}", stage.name());
    }
    let features: Vec<&CStr> = descriptor.features().collect();
    for feature in [c"equalizer", c"compressor", c"expander", c"de-esser", c"limiter", c"restoration"] {
        assert!(features.contains(&feature), "{feature:?}");
    }
    let (_, class) = Vst3Factory::load().class();
    assert_eq!(text(&class.subCategories), "Fx|Dynamics|EQ|Restoration");
    assert_eq!(text(&class.version), descriptor.version().unwrap().to_str().unwrap());
}

#[test]
fn choices_are_lists_and_no_other_parameter_is() {
    let plugin = Vst3Plugin::new(2);
    let count = plugin.parameter_count();
    assert_eq!(count as usize, rows().count() + 2);
    for (index, info) in rows().enumerate() {
        let parameter = plugin.parameter(index as i32 + 2).unwrap();
        assert_eq!(parameter.id, number_of(info.id));
        assert_eq!(parameter.flags & kIsList != 0, info.unit == Unit::Choice, "{}", info.id);
        let steps = match info.unit {
            Unit::Choice => info.choices.len() as i32 - 1,
            Unit::Switch => 1,
            _ => 0,
        };
        assert_eq!(parameter.stepCount, steps, "{}", info.id);
    }
    assert!((0..2).all(|index| plugin.parameter(index).unwrap().flags & kIsList == 0));
}

#[test]
fn parameters_outside_the_list_are_refused() {
    let (vst3, clap) = (Vst3Plugin::new(2), HostedPlugin::new(2));
    let count = vst3.parameter_count();
    for index in [-1, count, count + 1, i32::MAX, i32::MIN] {
        assert!(vst3.parameter(index).is_none(), "{index}");
        assert!(!clap.raw().has_parameter(index as u32), "{index}");
    }
    assert!(vst3.parameter(count - 1).is_some() && clap.raw().has_parameter(count as u32 - 1));
}

/// Voice, and the times of an event in a block: its last frame, and times outside the block.
fn block() -> (Vec<Vec<f32>>, i32, Vec<i32>) {
    let frames = voice::<2>(48_000.0, 0.0105, 71);
    let last = frames.len() as i32 - 1;
    let signal = (0..2).map(|c| frames.iter().map(|frame| frame[c]).collect()).collect();
    (signal, last, vec![last + 1, last + 2, 10 * last, i32::MAX])
}

#[test]
fn events_behind_a_clap_block_act_at_its_last_frame() {
    let gain = row("trim.gain_db").unwrap();
    let (signal, last, outside) = block();
    let run = |times: &[i32]| {
        let mut plugin = HostedPlugin::new(2);
        assert!(plugin.activate(48_000.0, 512));
        let id = plugin.parameter(gain).id;
        let events: Vec<_> = times
            .iter()
            .zip([-12.0, 6.0, 12.0])
            .map(|(&at, db)| Event::new(at as u32, id.get(), clap_value(gain, db)))
            .collect();
        let mut blocks = vec![signal.clone(), signal.clone()];
        plugin.raw().on_audio_thread(|raw| {
            assert!(raw.start());
            assert_ne!(raw.process(&mut blocks[0], signal[0].len(), Buffers::Apart, Some(&events)), 0);
            assert_ne!(raw.process(&mut blocks[1], signal[0].len(), Buffers::Apart, Some(&[])), 0);
            raw.stop();
        });
        (blocks, plugin.value(id))
    };
    let expected = run(&[last]);
    assert_eq!(expected.1, Some(clap_value(gain, -12.0)));
    assert_ne!(expected, run(&[0]));
    for &at in outside.iter().chain(&[-1]) {
        assert_eq!(run(&[at]), expected, "{at}");
    }
    // The order of events is kept.
    assert_eq!(run(&[10, last + 1, last + 9]), run(&[10, last, last]));
    assert_eq!(run(&[last + 1, 10, last + 9]).1, Some(clap_value(gain, 12.0)));
}

#[test]
fn changes_outside_a_vst3_block_act_at_its_last_frame() {
    let gain = row("trim.gain_db").unwrap();
    let id = number_of(gain.id);
    let (signal, last, outside) = block();
    let run = |at: i32| {
        let plugin = Vst3Plugin::new(2);
        plugin.start(48_000.0, 512);
        let mut blocks = vec![signal.clone(), signal.clone()];
        let change = Change { at, id, value: vst3_position(gain, -12.0) };
        assert!(plugin.process(&mut blocks[0], &[change]).is_some());
        assert!(plugin.process(&mut blocks[1], &[]).is_some());
        plugin.stop();
        (blocks, plugin.value(id))
    };
    let expected = run(last);
    assert_ne!(expected, run(0));
    for &at in &outside {
        assert_eq!(run(at), expected, "{at}");
    }
}

#[test]
fn a_vst3_host_reads_back_what_it_sets_while_the_plugin_processes() {
    let gain = row("trim.gain_db").unwrap();
    let [id, bypass] = [gain.id, "bypass"].map(number_of);
    let (signal, ..) = block();
    let plugin = Vst3Plugin::new(2);
    let process = |changes: &[Change]| {
        let mut block = signal.clone();
        assert!(plugin.process(&mut block, changes).is_some());
        block
    };
    plugin.start(48_000.0, 512);
    let unchanged = process(&[]);
    plugin.stop();
    plugin.start(48_000.0, 512);
    let usual = plugin.value(id);
    plugin.set_value(id, 0.25);
    assert_eq!(plugin.value(id), 0.25);
    // The sound follows the block that brings the value.
    assert_eq!(process(&[]), unchanged);
    assert_eq!(plugin.value(id), 0.25);
    process(&[Change { at: 0, id, value: 0.25 }]);
    assert_eq!(plugin.value(id), 0.25);
    process(&[Change { at: 0, id, value: 0.75 }]);
    assert_eq!(plugin.value(id), 0.75);
    for (set, read) in [(0.2, 0.0), (1.0, 1.0), (7.0, 1.0), (-1.0, 0.0)] {
        plugin.set_value(bypass, set);
        assert_eq!(plugin.value(bypass), read, "{set}");
    }
    let unknown = plugin.value(1);
    plugin.set_value(1, 0.1);
    assert_eq!(plugin.value(1), unknown);
    // A state, and the end of processing, leave nothing behind.
    plugin.set_value(id, 0.1);
    assert!(plugin.load(&state_of(&StripSettings::default())[8..]));
    assert_eq!(plugin.value(id), usual);
    plugin.set_value(id, 0.1);
    plugin.stop();
    assert_eq!(plugin.value(id), usual);
    plugin.set_value(id, 0.5);
    assert_eq!(plugin.value(id), 0.5);
}

/// JSON of states that are refused.
fn refused_states() -> Vec<String> {
    let json = |state: Vec<u8>| String::from_utf8(state[8..].to_vec()).unwrap();
    let whole = json(state_of(&StartingPoint::ALL[0].settings()));
    let mut states = vec![
        json(state_with("nonsense")),
        json(state_with("")),
        json(state_with("format = 1\n[compressor]\nratio = 0.5\n")),
        json(state_with("format = 1\n[compressor]\nrotia = 2.0\n")),
        "{\"version\":\"0.1.0\",\"params\":{},\"fields\":{}}".into(),
        "{\"version\":\"0.1.0\",\"params\":{\"trim.gain_db\":{\"f32\":0.0}},\"fields\":{\"other\":\"x\"}}".into(),
        "{}".into(),
        "null".into(),
        String::new(),
        "nonsense".into(),
    ];
    states.extend((1..whole.len()).step_by(whole.len() / 9).map(|end| whole[..end].to_string()));
    states.push(whole.replacen("format = 1", "format = x", 1));
    states
}

#[test]
fn a_refused_state_is_reported_as_refused_and_changes_nothing() {
    let mut settings = rounded(&StartingPoint::SungInMix.settings());
    settings.limiter.ceiling_dbtp = -3.0;
    let other = rounded(&StartingPoint::SungAlone.settings());
    for active in [false, true] {
        let (mut clap, vst3) = (HostedPlugin::new(2), Vst3Plugin::new(2));
        assert!(clap.load(&state_of(&settings)) && vst3.load(&state_of(&settings)[8..]));
        if active {
            assert!(clap.activate(48_000.0, 512));
            vst3.start(48_000.0, 512);
        }
        let saved = [clap.save().unwrap(), vst3.save()];
        for json in refused_states() {
            assert!(!clap.load(&envelope(&json)), "{json}");
            assert!(!vst3.load(json.as_bytes()), "{json}");
            assert_eq!([clap.save().unwrap(), vst3.save()], saved, "{json}");
        }
        // A valid state is accepted all the same.
        assert!(clap.load(&state_of(&other)) && vst3.load(&state_of(&other)[8..]));
        assert_eq!(settings_in(&clap.save().unwrap()), other);
        assert_eq!(settings_in(&envelope(std::str::from_utf8(&vst3.save()).unwrap())), other);
        assert!(clap.load(&saved[0]) && vst3.load(&saved[1]));
        assert_eq!([clap.save().unwrap(), vst3.save()], saved);
    }
}

#[test]
fn the_window_says_why_a_state_was_refused() {
    let mut bench = TestBench::new(2);
    let settings = StripSettings::default();
    let reason = |bench: &TestBench| bench.instance.parameters.refused();
    let _ = bench.plugin.load(&state_with("format = 1\n[compressor]\nratio = 0.5\n"));
    assert!(reason(&bench).is_some_and(|reason| reason.contains("ratio")), "{:?}", reason(&bench));
    let _ = bench.plugin.load(&envelope("{\"version\":\"0.1.0\",\"params\":{},\"fields\":{}}"));
    assert!(reason(&bench).is_some_and(|reason| reason.contains("not a state of this plugin")));
    assert!(bench.plugin.load(&state_of(&settings)));
    assert_eq!(reason(&bench), None);
}

#[test]
fn a_size_below_the_minimum_becomes_the_minimum() {
    let minimum = MIN_SIZE.map(|points| points as u32);
    let mut plugin = HostedPlugin::new(2);
    assert!(plugin.open_editor());
    for (asked, size) in [
        ([1_000, 700], [1_000, 700]),
        ([1, 1], minimum),
        ([minimum[0] - 1, 900], [minimum[0], 900]),
        ([1_500, 100], [1_500, minimum[1]]),
    ] {
        assert!(plugin.resize_editor(asked[0], asked[1]));
        assert_eq!(plugin.editor_size(), Some(size), "asked for {asked:?}");
    }
    plugin.close_editor();
}

#[test]
fn the_description_in_the_bundle_is_that_of_the_factory() {
    let text = voicechain_bundle::module_info(&voicechain_host_tests::plugin_file()).unwrap();
    let module: serde_json::Value = serde_json::from_str(&text).unwrap();
    let (first, second) = Vst3Factory::load().class();
    let class = &module["Classes"][0];
    assert_eq!(module["Classes"].as_array().unwrap().len(), 1);
    // 16 bytes, which are the name of the plugin's class.
    let id: String = b"voicechain.strip".iter().map(|byte| format!("{byte:02X}")).collect();
    assert_eq!(class["CID"], id);
    assert_eq!(class["Category"], "Audio Module Class");
    assert_eq!(class["Name"], self::text(&first.name));
    assert_eq!(class["Version"], self::text(&second.version));
    assert_eq!(module["Version"], class["Version"]);
    assert_eq!(class["Sub Categories"].as_array().unwrap().len(), 4);
    assert_eq!(class["Cardinality"], first.cardinality);
    assert_eq!(module["Factory Info"]["Flags"]["Unicode"], true);
    assert!(voicechain_bundle::module_info(std::path::Path::new("Cargo.toml")).is_err());
}
