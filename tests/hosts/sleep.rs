//! Tail and sleep: what a host is told of a plugin without input.

use crate::bit_exact::rounded;
use clack_extensions::tail::TailLength;
use clap_sys::process::{CLAP_PROCESS_CONTINUE, CLAP_PROCESS_SLEEP};
use std::sync::atomic::Ordering;
use voicechain_core::settings::row;
use voicechain_core::strip::StartingPoint;
use voicechain_core::{SampleRate, StripCoefs, StripSettings};
use voicechain_host_tests::raw_calls::Buffers;
use voicechain_host_tests::vst3_host::Vst3Plugin;
use voicechain_host_tests::{AutomationPoint, HostedPlugin};
use voicechain_plugin::formats::clap::SETTLING_S;
use voicechain_tests::spectra::Noise;

const RATE_HZ: f64 = 48_000.0;
const BLOCK: usize = 4_800;

fn tail_of(settings: &StripSettings) -> u32 {
    StripCoefs::<2>::design(settings, SampleRate::new(RATE_HZ).unwrap()).unwrap().tail()
}

fn settings() -> Vec<StripSettings> {
    StartingPoint::ALL.iter().map(|point| rounded(&point.settings())).collect()
}

#[test]
fn the_tail_is_known_from_the_activation_on() {
    for settings in settings() {
        let tail = tail_of(&settings);
        assert!(tail > 0);
        let mut plugin = HostedPlugin::new(2);
        plugin.set_all(&settings);
        assert!(plugin.activate(RATE_HZ, 512));
        assert_eq!(plugin.tail(), TailLength::Finite(tail));
        let plugin = Vst3Plugin::new(2);
        assert!(plugin.load(&crate::states::state_of(&settings)[8..]));
        assert!(plugin.set_up(RATE_HZ, 512) && plugin.set_active(true));
        assert_eq!(plugin.tail(), tail);
        plugin.set_processing(true);
        assert_eq!(plugin.tail(), tail);
    }
}

#[test]
fn a_clap_host_is_told_when_the_tail_changes() {
    let frequency = row("high_pass.frequency_hz").unwrap();
    let mut settings = StripSettings::default();
    settings.high_pass.on = true;
    settings.high_pass.frequency_hz = 120.0;
    let mut plugin = HostedPlugin::new(2);
    plugin.set_all(&settings);
    assert!(plugin.activate(RATE_HZ, 512));
    let before = plugin.tail();
    plugin.run(&mut vec![vec![0.1; BLOCK]; 2], &[], || 512);
    let told = |plugin: &HostedPlugin| plugin.requests.tail_changes.load(Ordering::Relaxed);
    assert_eq!(told(&plugin), 0, "nothing has changed");
    let automation = [AutomationPoint { at: 100, info: frequency, value: 20.0 }];
    plugin.run(&mut vec![vec![0.1; BLOCK]; 2], &automation, || 512);
    assert_eq!(told(&plugin), 1);
    settings.high_pass.frequency_hz = 20.0;
    assert_eq!(plugin.tail(), TailLength::Finite(tail_of(&settings)));
    assert_ne!(plugin.tail(), before);
    assert_eq!(*plugin.requests.complaints.lock().unwrap(), Vec::<String>::new());
}

#[test]
fn a_silent_clap_plugin_sleeps_after_its_tail_and_wakes_up() {
    let settings = rounded(&StartingPoint::ALL[0].settings());
    let mut plugin = HostedPlugin::new(2);
    plugin.set_all(&settings);
    assert!(plugin.activate(RATE_HZ, BLOCK as u32));
    let quiet_s = f64::from(tail_of(&settings)) / RATE_HZ + SETTLING_S;
    let mut random = Noise::new(9);
    plugin.raw().on_audio_thread(|raw| {
        assert!(raw.start());
        for buffers in [Buffers::Apart, Buffers::InPlace] {
            // One channel alone keeps it awake.
            for _ in 0..5 {
                let one_sided = [(0..BLOCK).map(|_| random.between(-0.3, 0.3) as f32).collect(), vec![0.0; BLOCK]];
                let (status, mask) = raw.process_with_mask(&mut one_sided.clone(), buffers);
                assert_eq!(status, CLAP_PROCESS_CONTINUE);
                assert_eq!(mask & 1, 0, "the left channel sounds");
            }
            let (mut blocks, mut last) = (0, [0; 2]);
            loop {
                let mut silence = vec![vec![0.0; BLOCK]; 2];
                let (status, mask) = raw.process_with_mask(&mut silence, buffers);
                let silent = |c: usize| silence[c].iter().all(|&x| x == 0.0);
                assert_eq!([mask & 1 != 0, mask & 2 != 0], [silent(0), silent(1)]);
                blocks += 1;
                if !(silent(0) && silent(1)) {
                    last = [blocks; 2];
                }
                if status == CLAP_PROCESS_SLEEP {
                    break;
                }
                assert_eq!(status, CLAP_PROCESS_CONTINUE);
                assert!(blocks < 10_000, "it never sleeps");
            }
            let slept_after_s = (blocks - last[0]) as f64 * BLOCK as f64 / RATE_HZ;
            assert!((slept_after_s - quiet_s).abs() <= 2.0 * BLOCK as f64 / RATE_HZ, "{slept_after_s} {quiet_s}");
        }
        // A sound wakes it up.
        let (status, _) = raw.process_with_mask(&mut vec![vec![0.1; BLOCK]; 2], Buffers::Apart);
        assert_eq!(status, CLAP_PROCESS_CONTINUE);
        raw.stop();
    });
}

#[test]
fn silent_vst3_output_is_marked_as_silent() {
    let plugin = Vst3Plugin::new(2);
    plugin.start(RATE_HZ, BLOCK as i32);
    let process = |mut signal: Vec<Vec<f32>>| plugin.process(&mut signal, &[]).unwrap();
    assert_eq!(process(vec![vec![0.0; BLOCK]; 2]), 0b11);
    assert_eq!(process(vec![vec![0.3; BLOCK]; 2]), 0b00);
    // The flags follow each channel.
    plugin.stop();
    plugin.start(384_000.0, BLOCK as i32);
    assert_eq!(process(vec![vec![0.0; BLOCK], vec![0.3; BLOCK]]), 0b01);
    assert_eq!(process(vec![vec![0.3; BLOCK], vec![0.0; BLOCK]]), 0b10);
    assert_eq!(process(vec![vec![]; 2]), 0b00);
    plugin.stop();
}
