//! Endurance: many instances at once, invalid signals and settings, invalid rates, small stacks.

use voicechain_core::settings::rows;
use voicechain_host_tests::{AutomationPoint, HostedPlugin};
use voicechain_tests::spectra::Noise;
use voicechain_tests::strips::random_value;

#[test]
fn two_hundred_instances_do_not_disturb_each_other() {
    let gain = voicechain_core::settings::row("trim.gain_db").unwrap();
    let mut plugins: Vec<HostedPlugin> = (0..200).map(|k| HostedPlugin::new(1 + k % 2)).collect();
    for (k, plugin) in plugins.iter_mut().enumerate() {
        let id = plugin.parameter(gain).id;
        plugin.flush(&[(id, voicechain_host_tests::clap_value(gain, -0.1 * k as f64))]);
        assert!(plugin.activate(48_000.0, 128));
    }
    for _ in 0..3 {
        for (k, plugin) in plugins.iter_mut().enumerate() {
            let mut signal = vec![vec![0.01; 480]; 1 + k % 2];
            plugin.run(&mut signal, &[], || 128);
            assert!(signal.iter().flatten().all(|x| x.is_finite()));
        }
    }
    for (k, plugin) in plugins.iter_mut().enumerate() {
        let id = plugin.parameter(gain).id;
        let value = plugin.value(id).unwrap();
        assert_eq!(plugin.text(id, value).unwrap(), gain.text(-0.1 * k as f64).to_string());
        assert_eq!(*plugin.requests.complaints.lock().unwrap(), Vec::<String>::new());
    }
}

#[test]
fn invalid_signals_and_random_automation_give_finite_normal_output() {
    // In debug builds the framework aborts on any allocation within `process`.
    let mut random = Noise::new(11);
    let invalid =
        [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, f32::MAX, f32::MIN_POSITIVE / 3.0, -1e-42, 0.0, -0.0, 1.0];
    let all: Vec<_> = rows().collect();
    for channels in [1, 2] {
        let mut plugin = HostedPlugin::new(channels);
        assert!(plugin.activate(48_000.0, 2_048));
        for _ in 0..20 {
            let mut sample = || invalid[random.between(0.0, invalid.len() as f64 - 0.001) as usize];
            let mut signal: Vec<Vec<f32>> = (0..channels).map(|_| (0..5_000).map(|_| sample()).collect()).collect();
            let automation: Vec<AutomationPoint> = (0..200)
                .map(|k| {
                    let info = all[random.between(0.0, all.len() as f64 - 0.001) as usize];
                    AutomationPoint { at: 25 * k, info, value: random_value(info, &mut random) }
                })
                .collect();
            let mut blocks = Noise::new(12);
            plugin.run(&mut signal, &automation, || blocks.octaves_between(1.0, 2_048.0) as usize);
            for sample in signal.iter().flatten() {
                assert!(sample.is_finite() && !sample.is_subnormal(), "{sample}");
            }
        }
        assert_eq!(*plugin.requests.complaints.lock().unwrap(), Vec::<String>::new());
    }
}

#[test]
fn a_small_stack_suffices() {
    // Secondary threads on macOS have half a megabyte; hosts activate and reset on such threads.
    let use_plugin = || {
        let mut plugin = HostedPlugin::new(2);
        assert!(plugin.activate(192_000.0, 512));
        plugin.reset();
        let saved = plugin.save().unwrap();
        assert!(plugin.load(&saved));
        plugin.reset();
    };
    std::thread::Builder::new().stack_size(512 << 10).spawn(use_plugin).unwrap().join().unwrap();
}
