//! Conformance to the CLAP standard: requirements on a plugin, and calls that hosts are allowed to make.
//!
//! The rules are from the comments in the CLAP headers, because no validator is available from a package registry.

use crate::bit_exact::{assert_bit_exact, rounded, voice};
use clack_extensions::params::ParamInfoFlags;
use clap_sys::process::{CLAP_PROCESS_CONTINUE, CLAP_PROCESS_ERROR};
use std::ffi::CStr;
use std::io::Read;
use voicechain_core::settings::{row, rows};
use voicechain_core::strip::StartingPoint;
use voicechain_core::{SampleRate, Strip, StripCoefs, StripSettings};
use voicechain_host_tests::raw_calls::{Buffers, Event, RawPlugin};
use voicechain_host_tests::{HostedPlugin, ParameterInfo, clap_value, entry};
use voicechain_tests::spectra::Noise;
use voicechain_tests::strips::random_settings;

fn planar(frames: &[[f32; 2]]) -> Vec<Vec<f32>> {
    (0..2).map(|c| frames.iter().map(|frame| frame[c]).collect()).collect()
}

fn settings_with(seed: u64) -> StripSettings {
    rounded(&random_settings(&mut Noise::new(seed)))
}

/// Output of the strip.
fn reference_output(settings: &StripSettings, frames: &[[f32; 2]]) -> Vec<[f32; 2]> {
    let coefs = StripCoefs::design(settings, SampleRate::new(48_000.0).unwrap()).unwrap();
    let mut out = frames.to_vec();
    Strip::new(&coefs).run(&mut out);
    out
}

/// Instance with these settings, active at 48 kHz.
fn active(settings: &StripSettings, max_frames: u32) -> HostedPlugin {
    let mut plugin = HostedPlugin::new(2);
    plugin.set_all(settings);
    assert!(plugin.activate(48_000.0, max_frames));
    plugin
}

/// Processes a whole signal by raw calls, with the block sizes repeated cyclically.
fn run_blocks(raw: RawPlugin, signal: &mut [Vec<f32>], sizes: &[usize], buffers: Buffers, events: Option<&[Event]>) {
    let length = signal[0].len();
    let (mut at, mut sizes) = (0, sizes.iter().cycle());
    while at < length {
        let n = (*sizes.next().unwrap()).min(length - at);
        let mut block: Vec<Vec<f32>> = signal.iter().map(|channel| channel[at..at + n].to_vec()).collect();
        assert_ne!(raw.process(&mut block, n, buffers, events), CLAP_PROCESS_ERROR);
        for (to, from) in signal.iter_mut().zip(&block) {
            to[at..at + n].copy_from_slice(from);
        }
        at += n;
    }
}

#[test]
fn the_factory_describes_exactly_one_plugin() {
    let entry = entry();
    let factory = entry.get_plugin_factory().unwrap();
    assert_eq!(factory.plugin_count(), 1);
    assert!(factory.plugin_descriptor(1).is_none());
    let descriptor = factory.plugin_descriptor(0).unwrap();
    for (what, text) in [
        ("id", descriptor.id()),
        ("name", descriptor.name()),
        ("vendor", descriptor.vendor()),
        ("version", descriptor.version()),
        ("description", descriptor.description()),
    ] {
        let text = text.unwrap_or_else(|| panic!("no {what}")).to_str().unwrap();
        assert!(!text.trim().is_empty(), "{what}");
    }
    assert!(descriptor.id().unwrap().to_bytes().iter().all(|byte| byte.is_ascii_alphanumeric() || *byte == b'.'));
    let features: Vec<&CStr> = descriptor.features().collect();
    // One of the main categories is required.
    assert!(features.contains(&c"audio-effect") && features.contains(&c"mono") && features.contains(&c"stereo"));
    // The entry may be loaded repeatedly.
    for _ in 0..20 {
        drop(voicechain_host_tests::entry());
    }
}

#[test]
fn extensions_are_those_of_an_effect() {
    let plugin = HostedPlugin::new(2);
    let raw = plugin.raw();
    for there in [c"clap.audio-ports", c"clap.latency", c"clap.params", c"clap.state", c"clap.tail", c"clap.render"] {
        assert!(raw.has(there), "{there:?}");
    }
    for missing in [c"clap.note-ports", c"clap.voice-info", c"", c"clap.nonsense/1", c"\xff"] {
        assert!(!raw.has(missing), "{missing:?}");
    }
}

/// Parameter descriptions, which must not change unless the plugin requests a rescan.
fn descriptions(parameters: &[ParameterInfo]) -> Vec<String> {
    parameters.iter().map(|parameter| format!("{parameter:?}")).collect()
}

#[test]
fn parameter_descriptions_never_change() {
    let mut plugin = HostedPlugin::new(2);
    let first = descriptions(plugin.parameters());
    for parameter in plugin.parameters().to_vec() {
        let [min, max, default] = parameter.range;
        assert!(min < max && (min..=max).contains(&default), "{parameter:?}");
        assert!(!parameter.name.trim().is_empty() && parameter.name.len() < 256 && parameter.module.len() < 1_024);
        assert_eq!(plugin.value(parameter.id), Some(default), "{}: a new instance is at its defaults", parameter.name);
        let stepped = parameter.flags.contains(ParamInfoFlags::IS_STEPPED);
        assert!(!stepped || [min, max, default].iter().all(|x| x.fract() == 0.0), "{}", parameter.name);
        if parameter.flags.contains(ParamInfoFlags::IS_BYPASS) {
            assert!(stepped && (min, max) == (0.0, 1.0));
        }
    }
    assert_eq!(descriptions(HostedPlugin::new(1).parameters()), first, "another instance, another layout");
    plugin.set_all(&settings_with(1));
    assert!(plugin.activate(96_000.0, 64));
    assert_eq!(descriptions(&plugin.scan()), first, "active, with other values");
    assert!(plugin.load(&crate::states::state_of(&settings_with(2))));
    assert_eq!(descriptions(&plugin.scan()), first, "after a state");
    let unknown = clack_host::prelude::ClapId::from_raw(0x7FFF_FFFE).unwrap();
    assert_eq!(plugin.value(unknown), None);
    assert_eq!(plugin.text(unknown, 0.0), None);
    assert_eq!(plugin.parse(unknown, "1"), None);
}

#[test]
fn every_parameter_value_survives_the_round_trip_through_text() {
    let mut plugin = HostedPlugin::new(2);
    let mut random = Noise::new(31);
    for parameter in plugin.parameters().to_vec() {
        let [min, max, default] = parameter.range;
        let mut values = vec![min, max, default];
        values.extend((0..30).map(|_| random.between(min, max)));
        for mut value in values {
            if parameter.flags.contains(ParamInfoFlags::IS_STEPPED) {
                value = value.round();
            }
            let text = plugin.text(parameter.id, value).unwrap();
            assert!(!text.is_empty() && text.len() < 64, "{}", parameter.name);
            let back = plugin.parse(parameter.id, &text).unwrap_or_else(|| panic!("{}: {text:?}", parameter.name));
            assert!((min..=max).contains(&back), "{}: {text:?}", parameter.name);
            // Further round trips change nothing.
            assert_eq!(plugin.text(parameter.id, back).as_ref(), Some(&text), "{}", parameter.name);
            assert_eq!(plugin.parse(parameter.id, &text), Some(back), "{}", parameter.name);
        }
        // Out of range: any text is allowed, but no panic.
        for value in [-1e30, 1e30, f64::NAN, f64::INFINITY, max + 1.0, min - 1.0] {
            let _ = plugin.text(parameter.id, value);
        }
    }
}

#[test]
fn invalid_values_and_unknown_events_are_ignored() {
    let settings = settings_with(3);
    let mut plugin = active(&settings, 512);
    let ids: Vec<u32> = plugin.parameters().iter().map(|parameter| parameter.id.get()).collect();
    let saved = plugin.save().unwrap();
    let frames = voice::<2>(48_000.0, 0.2, 31);
    let expected = reference_output(&settings, &frames);
    let mut ignored = Vec::new();
    // Events of a host are in the order of frames.
    for &id in &ids {
        ignored.extend([f64::NAN, f64::INFINITY, f64::NEG_INFINITY].map(|value| Event::new(0, id, value)));
    }
    for &id in &ids {
        ignored.extend([Event::new(1, id, 0.3).in_space(1_234), Event::new(1, !id, 0.5)]);
    }
    let mut signal = planar(&frames);
    plugin.raw().on_audio_thread(|raw| {
        assert!(raw.start());
        run_blocks(raw, &mut signal, &[512], Buffers::Apart, Some(&ignored));
        raw.stop();
    });
    assert_bit_exact(&signal, &expected, "ignored events");
    assert_eq!(plugin.save().unwrap(), saved);
    // A parameter value out of range is clamped, and so is the time of an event outside the block.
    let gain = row("trim.gain_db").unwrap();
    let id = plugin.parameter(gain).id;
    plugin.raw().on_audio_thread(|raw| {
        assert!(raw.start());
        let mut signal = vec![vec![0.1; 64]; 2];
        for (time, value) in [(0, 5.0), (63, -7.0), (64, 0.2), (65, 0.3), (u32::MAX, 0.4), (3, 1e300)] {
            assert_ne!(raw.process(&mut signal, 64, Buffers::Apart, Some(&[Event::new(time, id.get(), value)])), 0);
        }
        raw.stop();
    });
    assert!((0.0..=1.0).contains(&plugin.value(id).unwrap()));
    assert_eq!(*plugin.requests.complaints.lock().unwrap(), Vec::<String>::new());
}

#[test]
fn the_last_of_several_values_at_one_frame_wins() {
    let settings = StripSettings::default();
    let frames = voice::<2>(48_000.0, 0.1, 32);
    let gain = row("trim.gain_db").unwrap();
    let position = |db: f64| clap_value(gain, db);
    let run = |values: &[f64]| {
        let plugin = active(&settings, 4_800);
        let id = plugin.parameter(gain).id.get();
        let events: Vec<Event> = values.iter().map(|&db| Event::new(777, id, position(db))).collect();
        let mut signal = planar(&frames);
        plugin.raw().on_audio_thread(|raw| {
            assert!(raw.start());
            assert_ne!(raw.process(&mut signal, frames.len(), Buffers::Apart, Some(&events)), CLAP_PROCESS_ERROR);
            raw.stop();
        });
        signal
    };
    assert_eq!(run(&[3.0, -20.0, 24.0, 6.0]), run(&[6.0]));
    assert_ne!(run(&[6.0]), run(&[3.0]));
}

#[test]
fn buffers_may_be_shared_or_separate() {
    let settings = settings_with(4);
    let frames = voice::<2>(48_000.0, 0.08, 33);
    let expected = reference_output(&settings, &frames);
    for buffers in [Buffers::Apart, Buffers::InPlace, Buffers::MarkedConstant] {
        // Including empty blocks, and the maximum block size of the activation.
        for sizes in [&[1_024][..], &[1], &[0, 3, 0, 0, 1_023, 1, 17]] {
            for events in [Some(&[][..]), None] {
                let plugin = active(&settings, 1_024);
                let mut signal = planar(&frames);
                plugin.raw().on_audio_thread(|raw| {
                    assert!(raw.start());
                    run_blocks(raw, &mut signal, sizes, buffers, events);
                    raw.stop();
                });
                assert_bit_exact(&signal, &expected, &format!("{buffers:?} {sizes:?}"));
                assert_eq!(*plugin.requests.complaints.lock().unwrap(), Vec::<String>::new());
            }
        }
    }
}

#[test]
fn a_block_longer_than_the_maximum_is_still_processed() {
    // The format forbids this, but some hosts do it while they change their block size.
    let settings = settings_with(5);
    let frames = voice::<2>(48_000.0, 0.2, 34);
    let plugin = active(&settings, 64);
    let mut signal = planar(&frames);
    plugin.raw().on_audio_thread(|raw| {
        assert!(raw.start());
        run_blocks(raw, &mut signal, &[64, 5_000], Buffers::Apart, Some(&[]));
        raw.stop();
    });
    assert_bit_exact(&signal, &reference_output(&settings, &frames), "long blocks");
}

#[test]
fn processing_starts_stops_and_resets_in_any_order() {
    let settings = settings_with(6);
    let frames = voice::<2>(48_000.0, 0.1, 35);
    let expected = reference_output(&settings, &frames);
    let mut plugin = active(&settings, 256);
    for round in 0..6 {
        let mut signal = planar(&frames);
        plugin.raw().on_audio_thread(|raw| {
            if round % 2 == 0 {
                raw.reset();
            }
            assert!(raw.start());
            if round == 3 {
                // Another signal first; the reset clears it.
                let mut other = vec![vec![0.7; 256]; 2];
                assert_ne!(raw.process(&mut other, 256, Buffers::Apart, None), CLAP_PROCESS_ERROR);
                raw.reset();
            }
            if round == 4 {
                raw.stop();
                raw.reset();
                assert!(raw.start());
            }
            run_blocks(raw, &mut signal, &[256], Buffers::InPlace, None);
            raw.stop();
        });
        assert_bit_exact(&signal, &expected, &format!("round {round}"));
        if round == 2 {
            plugin.deactivate();
            assert!(plugin.activate(48_000.0, 256));
        }
    }
}

#[test]
fn processing_continues_during_the_tail() {
    let plugin = active(&StripSettings::default(), 64);
    let status = plugin.raw().on_audio_thread(|raw| {
        assert!(raw.start());
        let status = raw.process(&mut [vec![0.5; 64], vec![0.5; 64]], 64, Buffers::Apart, None);
        raw.stop();
        status
    });
    // The plugin reports its tail and lets the host decide when to stop calling it.
    assert_eq!(status, CLAP_PROCESS_CONTINUE);
}

/// Reader that returns one byte at a time.
struct OneByteReader<'a>(&'a [u8]);

impl Read for OneByteReader<'_> {
    fn read(&mut self, to: &mut [u8]) -> std::io::Result<usize> {
        let (Some((&first, rest)), Some(place)) = (self.0.split_first(), to.first_mut()) else { return Ok(0) };
        (*place, self.0) = (first, rest);
        Ok(1)
    }
}

#[test]
fn states_are_reproducible_and_may_be_read_in_pieces() {
    for point in StartingPoint::ALL {
        let mut plugin = HostedPlugin::new(2);
        plugin.set_all(&point.settings());
        let saved = plugin.save().unwrap();
        assert_eq!(plugin.save().unwrap(), saved, "saved twice");
        let mut other = HostedPlugin::new(2);
        assert!(other.load_from(&mut OneByteReader(&saved)));
        assert_eq!(other.save().unwrap(), saved);
        for info in rows() {
            let id = plugin.parameter(info).id;
            assert_eq!(other.value(id), plugin.value(id), "{}", info.id);
        }
        // The same values set as parameters give the same state.
        let values: Vec<_> = other
            .parameters()
            .to_vec()
            .iter()
            .map(|parameter| (parameter.id, other.value(parameter.id).unwrap()))
            .collect();
        let mut third = HostedPlugin::new(1);
        third.flush(&values);
        assert_eq!(third.save().unwrap(), saved);
    }
}

#[test]
fn an_event_in_a_process_call_gives_the_same_state_as_a_flush() {
    let gain = row("trim.gain_db").unwrap();
    let mut plugin = HostedPlugin::new(2);
    let id = plugin.parameter(gain).id;
    plugin.flush(&[(id, clap_value(gain, 6.0))]);
    let flushed = plugin.save().unwrap();
    let mut other = active(&StripSettings::default(), 64);
    other.raw().on_audio_thread(|raw| {
        assert!(raw.start());
        let event = Event::new(0, id.get(), clap_value(gain, 6.0));
        // Even without any frames.
        assert_ne!(raw.process(&mut [vec![], vec![]], 0, Buffers::Apart, Some(&[event])), CLAP_PROCESS_ERROR);
        raw.stop();
    });
    assert_eq!(other.save().unwrap(), flushed);
}
