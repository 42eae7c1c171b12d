//! Bit-exactness: the plugin's output in a host equals that of the strip.

use voicechain_core::frame::Frame;
use voicechain_core::settings;
use voicechain_core::strip::{MonitorMode, Monitoring};
use voicechain_core::{SampleRate, Strip, StripCoefs, StripSettings};
use voicechain_host_tests::{AutomationPoint, HostedPlugin};
use voicechain_tests::signals::{phrases, unequal};
use voicechain_tests::spectra::Noise;
use voicechain_tests::strips::{random_settings, random_value};

const RATES: [f64; 4] = [44_100.0, 48_000.0, 96_000.0, 192_000.0];

/// Settings rounded as parameters can represent them.
pub(crate) fn rounded(settings: &StripSettings) -> StripSettings {
    let mut rounded = *settings;
    for info in settings::rows() {
        let value = settings.get(info.id).unwrap();
        rounded.set(info.id, info.rounded(value)).unwrap();
    }
    // The order is not a parameter; only a state contains it.
    rounded.order = StripSettings::default().order;
    rounded
}

/// Voice signal in one channel, or in two different channels.
pub(crate) fn voice<const C: usize>(rate_hz: f64, seconds: f64, seed: u64) -> Vec<[f32; C]> {
    let pair = unequal(&phrases(-20.0, rate_hz, seconds, seed));
    pair.iter().map(|frame| std::array::from_fn(|c| frame[c])).collect()
}

fn planar<const C: usize>(frames: &[[f32; C]]) -> Vec<Vec<f32>> {
    (0..C).map(|c| frames.iter().map(|frame| frame[c]).collect()).collect()
}

/// Asserts that both signals are equal bit for bit; the message has the first difference.
pub(crate) fn assert_bit_exact<const C: usize>(host: &[Vec<f32>], core: &[[f32; C]], what: &str) {
    for (c, channel) in host.iter().enumerate() {
        let first_difference = channel.iter().zip(core).position(|(a, b)| a.to_bits() != b[c].to_bits());
        assert_eq!(first_difference, None, "{what}: first difference in channel {c}");
    }
}

/// Output of the strip, with the automation at its frames.
fn reference_output<const C: usize>(
    strip: &mut Strip<C>,
    start: &StripSettings,
    frames: &[[f32; C]],
    automation: &[AutomationPoint],
    rate: SampleRate,
) -> (Vec<[f32; C]>, StripSettings)
where
    [f32; C]: Frame,
{
    let mut out = frames.to_vec();
    let mut settings = *start;
    let (mut at, mut next) = (0, 0);
    while at < out.len() {
        let before = settings;
        while next < automation.len() && automation[next].at == at {
            settings.set(automation[next].info.id, automation[next].value).unwrap();
            next += 1;
        }
        if settings != before {
            strip.set(&StripCoefs::design(&settings, rate).unwrap());
        }
        let end = automation.get(next).map_or(out.len(), |m| m.at);
        strip.run(&mut out[at..end]);
        at = end;
    }
    (out, settings)
}

/// Automation of random parameters at random frames, sometimes several at the same frame.
fn random_automation(frames: usize, count: usize, random: &mut Noise) -> Vec<AutomationPoint> {
    let rows: Vec<_> = settings::rows().filter(|info| info.automatable).collect();
    let mut at: Vec<usize> = (0..count).map(|_| random.between(0.0, frames as f64 - 1.0) as usize).collect();
    at.sort_unstable();
    let mut automation = Vec::new();
    for at in at {
        for _ in 0..random.between(1.0, 3.99) as usize {
            let info = rows[random.between(0.0, rows.len() as f64 - 0.001) as usize];
            automation.push(AutomationPoint { at, info, value: info.rounded(random_value(info, random)) });
        }
    }
    automation
}

fn host_matches_core<const C: usize>(rate_hz: f64, seed: u64)
where
    [f32; C]: Frame,
{
    let rate = SampleRate::new(rate_hz).unwrap();
    let mut random = Noise::new(seed);
    let frames = voice::<C>(rate_hz, 0.4, seed);
    let start = rounded(&random_settings(&mut random));
    let mut strip = Strip::<C>::new(&StripCoefs::design(&start, rate).unwrap());
    let mut plugin = HostedPlugin::new(C);
    plugin.set_all(&start);
    assert!(plugin.activate(rate_hz, 1_024));
    assert_eq!(plugin.latency(), strip.latency());

    let automation = random_automation(frames.len(), 60, &mut random);
    let (expected, settings) = reference_output(&mut strip, &start, &frames, &automation, rate);
    let mut host = planar(&frames);
    let mut blocks = Noise::new(seed + 1);
    plugin.run(&mut host, &automation, || blocks.octaves_between(1.0, 1_024.0) as usize);
    assert_bit_exact(&host, &expected, &format!("{C} channels at {rate_hz} Hz"));

    // After a reset, with the settings after the automation.
    plugin.reset();
    strip.reset();
    let (expected, settings) = reference_output(&mut strip, &settings, &frames, &[], rate);
    let mut host = planar(&frames);
    plugin.run(&mut host, &[], || 511);
    assert_bit_exact(&host, &expected, &format!("{C} channels at {rate_hz} Hz after a reset"));

    // A state with another order, loaded while active: applied at the beginning of the next block.
    let mut loaded = rounded(&random_settings(&mut random));
    loaded.limiter = settings.limiter;
    loaded.order.reverse();
    assert!(plugin.load(&crate::states::state_of(&loaded)));
    strip.set(&StripCoefs::design(&loaded, rate).unwrap());
    let (expected, settings) = reference_output(&mut strip, &loaded, &frames, &[], rate);
    let mut host = planar(&frames);
    plugin.run(&mut host, &[], || 64);
    assert_bit_exact(&host, &expected, &format!("{C} channels at {rate_hz} Hz after a state"));

    // At another sample rate.
    plugin.deactivate();
    let rate = SampleRate::new(rate_hz / 2.0).unwrap();
    assert!(plugin.activate(rate.hz(), 4_096));
    let mut strip = Strip::<C>::new(&StripCoefs::design(&settings, rate).unwrap());
    assert_eq!(plugin.latency(), strip.latency());
    let (expected, _) = reference_output(&mut strip, &settings, &frames, &[], rate);
    let mut host = planar(&frames);
    plugin.run(&mut host, &[], || 4_096);
    assert_bit_exact(&host, &expected, &format!("{C} channels at {} Hz after {rate_hz} Hz", rate.hz()));
    assert_eq!(*plugin.requests.complaints.lock().unwrap(), Vec::<String>::new());
}

#[test]
fn mono_output_equals_the_strip_bit_for_bit() {
    RATES.iter().zip(100..).for_each(|(&rate, seed)| host_matches_core::<1>(rate, seed));
}

#[test]
fn stereo_output_equals_the_strip_bit_for_bit() {
    RATES.iter().zip(200..).for_each(|(&rate, seed)| host_matches_core::<2>(rate, seed));
}

/// Offline rendering equals real-time processing; the mode is switched while the plugin is inactive and while it is
/// active.
#[test]
fn offline_and_real_time_output_are_bit_exact() {
    let rate = SampleRate::new(48_000.0).unwrap();
    let mut random = Noise::new(31);
    let frames = voice::<2>(48_000.0, 0.4, 31);
    let start = rounded(&random_settings(&mut random));
    let automation = random_automation(frames.len(), 40, &mut random);
    let mut strip = Strip::<2>::new(&StripCoefs::design(&start, rate).unwrap());
    let (expected, _) = reference_output(&mut strip, &start, &frames, &automation, rate);
    for switched in [[false, false], [true, true], [false, true], [true, false]] {
        let mut plugin = HostedPlugin::new(2);
        plugin.set_all(&start);
        plugin.render_offline(switched[0]);
        assert!(plugin.activate(48_000.0, 1_024));
        plugin.render_offline(switched[1]);
        let mut host = planar(&frames);
        plugin.run(&mut host, &automation, || if switched[1] { 1_024 } else { 128 });
        assert_bit_exact(&host, &expected, &format!("offline {switched:?}"));
        assert_eq!(*plugin.requests.complaints.lock().unwrap(), Vec::<String>::new());
    }
}

#[test]
fn automation_one_frame_late_is_detected() {
    // Negative control of the tests above.
    let rate = SampleRate::new(48_000.0).unwrap();
    let frames = voice::<1>(48_000.0, 0.2, 7);
    let info = settings::row("trim.gain_db").unwrap();
    let start = StripSettings::default();
    let mut strip = Strip::<1>::new(&StripCoefs::design(&start, rate).unwrap());
    let (expected, _) =
        reference_output(&mut strip, &start, &frames, &[AutomationPoint { at: 1_001, info, value: 6.0 }], rate);
    let mut plugin = HostedPlugin::new(1);
    assert!(plugin.activate(48_000.0, 512));
    let mut host = planar(&frames);
    plugin.run(&mut host, &[AutomationPoint { at: 1_000, info, value: 6.0 }], || 512);
    assert!(host[0].iter().zip(&expected).any(|(a, b)| *a != b[0]));
}

#[test]
fn bypass_outputs_the_input_with_the_latency() {
    let frames = voice::<2>(48_000.0, 0.5, 9);
    for loudness_match in [false, true] {
        let mut plugin = HostedPlugin::new(2);
        let mut settings = StripSettings::default();
        settings.trim.gain_db = 6.0;
        plugin.set_all(&settings);
        let ids = [plugin.parameters()[0].id, plugin.parameters()[1].id];
        plugin.flush(&[(ids[0], 1.0), (ids[1], f64::from(u8::from(loudness_match)))]);
        assert!(plugin.activate(48_000.0, 512));
        let latency = plugin.latency() as usize;
        let mut host = planar(&frames);
        plugin.run(&mut host, &[], || 300);
        if loudness_match {
            let rate = SampleRate::new(48_000.0).unwrap();
            let mut strip = Strip::<2>::new(&StripCoefs::design(&settings, rate).unwrap());
            strip.set_monitoring(Monitoring { mode: MonitorMode::Unprocessed, loudness_matched: true });
            strip.reset();
            let mut expected = frames.clone();
            strip.run(&mut expected);
            assert_bit_exact(&host, &expected, "matched bypass");
            continue;
        }
        for (c, channel) in host.iter().enumerate() {
            assert!(channel[..latency].iter().all(|&x| x == 0.0));
            let same = channel[latency..].iter().zip(&frames).all(|(x, frame)| x.to_bits() == frame[c].to_bits());
            assert!(same, "channel {c}");
        }
    }
}

#[test]
fn the_latency_changes_only_with_a_new_activation() {
    let mut plugin = HostedPlugin::new(2);
    assert!(plugin.activate(48_000.0, 512));
    let before = plugin.latency();
    let info = settings::row("limiter.look_ahead_ms").unwrap();
    let restarts = |plugin: &HostedPlugin| plugin.requests.restarts.load(std::sync::atomic::Ordering::Relaxed);
    let restarts_before = restarts(&plugin);
    // An impulse has exactly the reported latency, also before the host has restarted the plugin.
    let measured_latency = |plugin: &mut HostedPlugin, automation: &[AutomationPoint]| {
        plugin.reset();
        let mut host = vec![vec![0.0; 4_096]; 2];
        host.iter_mut().for_each(|channel| channel[0] = 0.1);
        plugin.run(&mut host, automation, || 100);
        let peak = host[0].iter().enumerate().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs())).unwrap().0;
        peak as u32
    };
    assert_eq!(measured_latency(&mut plugin, &[]), before);
    assert_eq!(measured_latency(&mut plugin, &[AutomationPoint { at: 0, info, value: 4.0 }]), before);
    assert_eq!(measured_latency(&mut plugin, &[]), before);
    assert_eq!(plugin.latency(), before);
    assert_eq!(restarts(&plugin), restarts_before + 1, "requested once");
    plugin.deactivate();
    assert!(plugin.activate(48_000.0, 512));
    let after = plugin.latency();
    assert!(after > before);
    assert_eq!(measured_latency(&mut plugin, &[]), after);
    // No other parameter changes it.
    let others =
        settings::rows().filter(|info| info.automatable).map(|info| AutomationPoint { at: 0, info, value: info.max });
    measured_latency(&mut plugin, &others.collect::<Vec<_>>());
    assert_eq!(plugin.latency(), after);
}
