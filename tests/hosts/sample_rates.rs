//! Sample rates: those that the strip processes, those at which the sound passes through, and those that are refused.

use crate::bit_exact::{assert_bit_exact, rounded, voice};
use crate::states::{settings_in, state_of};
use clack_extensions::tail::TailLength;
use voicechain_core::settings::row;
use voicechain_core::{SampleRate, Strip, StripCoefs, StripSettings};
use voicechain_host_tests::raw_calls::Buffers;
use voicechain_host_tests::test_bench::TestBench;
use voicechain_host_tests::vst3_host::{Change, Vst3Plugin};
use voicechain_host_tests::{AutomationPoint, HostedPlugin, number_of, vst3_position};
use voicechain_tests::signals::{phrases, unequal};
use voicechain_tests::spectra::Noise;
use voicechain_tests::strips::random_settings;

/// Rates outside the range of the strip, Hz.
const OUTSIDE: [f64; 9] = [1.0, 10.5, 999.5, 4_000.0, 7_999.5, 192_000.5, 352_800.0, 384_000.0, 768_000.0];
/// Rates that are no rates.
const REFUSED: [f64; 6] = [0.0, -0.0, -48_000.0, f64::NAN, f64::INFINITY, f64::NEG_INFINITY];

/// Unequal channels with loud samples and with samples that no host may receive.
fn wild_signal(channels: usize, seed: u64) -> Vec<Vec<f32>> {
    let invalid = [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 1e-40, -1e-45, 0.0, f32::MIN_POSITIVE, 100.0];
    let mut random = Noise::new(seed);
    let mut sample = |n: usize| match n % 7 {
        3 => invalid[random.between(0.0, invalid.len() as f64 - 0.001) as usize],
        _ => random.between(-1.5, 1.5) as f32,
    };
    (0..channels).map(|_| (0..3_000).map(&mut sample).collect()).collect()
}

/// What passes through: the signal, with silence in place of samples that are not finite or not normal.
fn passed(signal: &[Vec<f32>]) -> Vec<Vec<u32>> {
    let bits = |x: &f32| if x.is_finite() && !x.is_subnormal() { x.to_bits() } else { 0 };
    signal.iter().map(|channel| channel.iter().map(bits).collect()).collect()
}

fn bits(signal: &[Vec<f32>]) -> Vec<Vec<u32>> {
    signal.iter().map(|channel| channel.iter().map(|x| x.to_bits()).collect()).collect()
}

/// Settings with a latency.
fn settings_with(seed: u64) -> StripSettings {
    let mut settings = rounded(&random_settings(&mut Noise::new(seed)));
    settings.limiter.on = true;
    settings
}

/// Input and the library's output at 48 kHz.
fn processed(settings: &StripSettings) -> (Vec<Vec<f32>>, Vec<[f32; 2]>, u32, u32) {
    let frames = voice::<2>(48_000.0, 0.1, 61);
    let coefs = StripCoefs::design(settings, SampleRate::new(48_000.0).unwrap()).unwrap();
    let mut strip = Strip::new(&coefs);
    let mut out = frames.clone();
    strip.run(&mut out);
    let input = (0..2).map(|c| frames.iter().map(|frame| frame[c]).collect()).collect();
    (input, out, coefs.latency(), coefs.tail())
}

#[test]
fn clap_passes_the_sound_through_where_the_strip_cannot_run() {
    let gain = row("trim.gain_db").unwrap();
    for (k, rate_hz) in OUTSIDE.into_iter().enumerate() {
        for channels in [1, 2] {
            let mut plugin = HostedPlugin::new(channels);
            plugin.set_all(&settings_with(k as u64));
            assert!(plugin.activate(rate_hz, 1_024), "{rate_hz}");
            assert_eq!((plugin.latency(), plugin.tail()), (0, TailLength::Finite(0)), "{rate_hz}");
            let mut signal = wild_signal(channels, k as u64);
            let expected = passed(&signal);
            let automation: Vec<_> =
                (0..40).map(|n| AutomationPoint { at: 70 * n, info: gain, value: n as f64 - 20.0 }).collect();
            let mut blocks = Noise::new(k as u64);
            plugin.run(&mut signal, &automation, || blocks.octaves_between(1.0, 1_024.0) as usize);
            assert_eq!(bits(&signal), expected, "{channels} channels at {rate_hz} Hz");
            // Parameters and states work as ever.
            let id = plugin.parameter(gain).id;
            let value = plugin.value(id).unwrap();
            assert_eq!(plugin.text(id, value).unwrap(), "19 dB");
            let loaded = settings_with(100 + k as u64);
            assert!(plugin.load(&state_of(&loaded)));
            assert_eq!(settings_in(&plugin.save().unwrap()), loaded);
            assert_eq!(plugin.latency(), 0);
            plugin.reset();
            assert_eq!(*plugin.requests.complaints.lock().unwrap(), Vec::<String>::new());
        }
    }
}

#[test]
fn clap_processes_again_after_a_rate_that_passes_through() {
    for (k, rate_hz) in OUTSIDE.into_iter().enumerate() {
        let settings = settings_with(200 + k as u64);
        let (mut signal, expected, latency, _) = processed(&settings);
        let mut plugin = HostedPlugin::new(2);
        assert!(plugin.activate(rate_hz, 512));
        plugin.run(&mut wild_signal(2, 1), &[], || 100);
        plugin.deactivate();
        plugin.set_all(&settings);
        assert!(plugin.activate(48_000.0, 512));
        assert_eq!(plugin.latency(), latency);
        let mut blocks = Noise::new(k as u64);
        plugin.run(&mut signal, &[], || blocks.octaves_between(1.0, 512.0) as usize);
        assert_bit_exact(&signal, &expected, &format!("after {rate_hz} Hz"));
        assert_eq!(*plugin.requests.complaints.lock().unwrap(), Vec::<String>::new());
    }
}

#[test]
fn clap_refuses_rates_that_are_no_rates() {
    let mut plugin = HostedPlugin::new(2);
    for rate_hz in REFUSED {
        assert!(!plugin.activate(rate_hz, 512), "{rate_hz}");
        // A host that goes on all the same gets an error.
        let status = plugin
            .raw()
            .on_audio_thread(|raw| raw.process(&mut [vec![0.1; 64], vec![0.1; 64]], 64, Buffers::Apart, None));
        assert_eq!(status, 0, "{rate_hz}");
    }
    for rate_hz in [8_000.0, 192_000.0, 11_024.75] {
        assert!(plugin.activate(rate_hz, 1), "{rate_hz}");
        plugin.deactivate();
    }
}

#[test]
fn vst3_passes_the_sound_through_where_the_strip_cannot_run() {
    let gain = row("trim.gain_db").unwrap();
    for (k, rate_hz) in OUTSIDE.into_iter().enumerate() {
        for channels in [1, 2] {
            let plugin = Vst3Plugin::new(channels);
            assert!(plugin.load(&state_of(&settings_with(k as u64))[8..]));
            plugin.start(rate_hz, 1_024);
            assert_eq!((plugin.latency(), plugin.tail()), (0, 0), "{rate_hz}");
            let signal = wild_signal(channels, k as u64);
            let (expected, mut blocks) = (passed(&signal), Noise::new(k as u64));
            let id = number_of(gain.id);
            let (mut at, mut out) = (0, vec![Vec::new(); channels]);
            while at < signal[0].len() {
                let n = (blocks.octaves_between(1.0, 1_024.0) as usize).min(signal[0].len() - at);
                let mut block: Vec<Vec<f32>> = signal.iter().map(|channel| channel[at..at + n].to_vec()).collect();
                let change = Change { at: n as i32 / 2, id, value: vst3_position(gain, 19.0) };
                assert!(plugin.process(&mut block, &[change]).is_some(), "{rate_hz}");
                for (out, block) in out.iter_mut().zip(&block) {
                    out.extend(block);
                }
                at += n;
            }
            assert_eq!(bits(&out), expected, "{channels} channels at {rate_hz} Hz");
            assert_eq!(plugin.value(id), f64::from(vst3_position(gain, 19.0) as f32));
            let loaded = settings_with(100 + k as u64);
            let state = &state_of(&loaded)[8..];
            assert!(plugin.load(state));
            assert_eq!(plugin.latency(), 0);
            plugin.stop();
            // Back at a rate of the strip, with the same settings.
            let (mut signal, expected, latency, tail) = processed(&loaded);
            if channels == 2 {
                plugin.start(48_000.0, 8_192);
                assert_eq!((plugin.latency(), plugin.tail()), (latency, tail));
                assert!(plugin.process(&mut signal, &[]).is_some());
                assert_bit_exact(&signal, &expected, &format!("after {rate_hz} Hz"));
                plugin.stop();
            }
        }
    }
}

#[test]
fn vst3_refuses_rates_that_are_no_rates() {
    let plugin = Vst3Plugin::new(2);
    let block = || vec![vec![0.1; 64]; 2];
    assert!(plugin.process(&mut block(), &[]).is_none(), "before any set-up");
    for rate_hz in REFUSED {
        assert!(!plugin.set_up(rate_hz, 512), "{rate_hz}");
        // A host that goes on all the same gets an error from every call.
        assert!(!plugin.set_active(true), "{rate_hz}");
        plugin.set_processing(true);
        assert!(plugin.process(&mut block(), &[]).is_none(), "{rate_hz}");
        plugin.set_processing(false);
    }
    plugin.start(48_000.0, 512);
    assert!(plugin.process(&mut block(), &[]).is_some());
    plugin.stop();
    assert!(plugin.process(&mut block(), &[]).is_none(), "inactive");
}

#[test]
fn measuring_is_refused_with_the_reason_while_the_sound_passes_through() {
    let mut bench = TestBench::new(2);
    assert!(bench.plugin.activate(48_000.0, 512));
    bench.instance.measure().unwrap();
    let frames = unequal(&phrases(-20.0, 48_000.0, 3.0, 62));
    let signal: Vec<Vec<f32>> = (0..2).map(|c| frames.iter().map(|frame| frame[c]).collect()).collect();
    bench.plugin.run(&mut signal.clone(), &[], || 512);
    bench.plugin.deactivate();
    assert_eq!(bench.instance.activation.pass_through_notice(), None);
    // The measurement ends; what it has measured remains.
    assert!(bench.plugin.activate(384_000.0, 512));
    assert!(!bench.instance.is_measuring());
    let measured = bench.instance.measured().unwrap();
    bench.plugin.run(&mut signal.clone(), &[], || 512);
    let notice = "voicechain processes 8 to 192 kHz; at 384 kHz it passes the sound through";
    assert_eq!(bench.instance.activation.pass_through_notice().as_deref(), Some(notice));
    assert_eq!(bench.instance.measure().unwrap_err().to_string(), notice);
    assert_eq!(bench.instance.measured(), Some(measured));
    bench.plugin.deactivate();
    assert!(bench.plugin.activate(48_000.0, 512));
    assert_eq!(bench.instance.activation.pass_through_notice(), None);
    bench.instance.measure().unwrap();
    bench.plugin.run(&mut signal.clone(), &[], || 512);
    bench.instance.stop_measuring();
    assert!(bench.instance.measured().is_some());
}
