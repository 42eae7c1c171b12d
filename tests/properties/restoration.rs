//! The restoration stages (hum, de-reverb, expander, leveller), each in a strip of its own.

use crate::rate;
use approx::assert_abs_diff_eq;
use voicechain_core::settings::{Mains, SpectralLatency, StageId};
use voicechain_core::stages::leveller::gain_curve::{self, SubBlockPowerMeter};
use voicechain_core::{Strip, StripSettings};
use voicechain_tests::channels::ChannelPattern;
use voicechain_tests::signals::{buzz, channel, gain, mono, phrases, pinkish, rms_db, sine, unequal, white};
use voicechain_tests::spectra::Noise;
use voicechain_tests::strips::{all_off, first_difference, run, run_file, strip};

const HZ: f64 = 48_000.0;

fn process(settings: &StripSettings, signal: &[f64]) -> (Vec<f64>, Box<Strip<1>>) {
    let mut strip = strip::<1>(settings, rate(HZ));
    let latency = strip.latency() as usize;
    let mut padded = signal.to_vec();
    padded.extend(vec![0.0; latency]);
    let out = run(&mut strip, &mono(&padded));
    (out[latency..].iter().map(|f| f64::from(f[0])).collect(), strip)
}

/// The same in stereo: the output of the first channel with sound. A silent channel stays silent.
fn process_stereo(settings: &StripSettings, signal: &[f64], pattern: ChannelPattern) -> (Vec<f64>, Box<Strip<2>>) {
    let mut strip = strip::<2>(settings, rate(HZ));
    let latency = strip.latency() as usize;
    let mut frames = pattern.frames(signal);
    frames.resize(signal.len() + latency, [0.0; 2]);
    let out = run(&mut strip, &frames);
    let sounding = [0, 1].map(|c| frames.iter().any(|frame| frame[c] != 0.0));
    for c in (0..2).filter(|&c| !sounding[c]) {
        assert!(out.iter().all(|frame| frame[c] == 0.0), "{pattern:?}: sound in the silent channel");
    }
    (channel(&out[latency..], usize::from(!sounding[0])), strip)
}

fn with(change: impl Fn(&mut StripSettings)) -> StripSettings {
    let mut settings = all_off();
    change(&mut settings);
    settings
}

fn sum(a: &[f64], b: &[f64]) -> Vec<f64> {
    a.iter().zip(b).map(|(a, b)| a + b).collect()
}

/// Indices of the samples in phrases (1.6 s) and in pauses (0.6 s) of `signals::phrases`, after `from_s`. The first 0.4
/// s of each pause are left out.
fn parts(samples: usize, from_s: f64) -> [Vec<usize>; 2] {
    let (mut voice, mut pause) = (Vec::new(), Vec::new());
    for n in (from_s * HZ) as usize..samples {
        let t = n as f64 / HZ % 2.2;
        if t < 1.6 {
            voice.push(n);
        } else if t > 1.6 + 0.4 {
            pause.push(n);
        }
    }
    [voice, pause]
}

fn level(signal: &[f64], at: &[usize]) -> f64 {
    rms_db(&at.iter().map(|&n| signal[n]).collect::<Vec<_>>())
}

/// Syllables with pauses at -26 dBFS, of twelve harmonics whose pitch sweeps across multiples of 50 Hz. The first
/// starts after one second.
fn wandering(seconds: f64) -> Vec<f64> {
    use std::f64::consts::{PI, TAU};
    let mut phase = 0.0;
    let mut voice: Vec<f64> = (0..(seconds * HZ) as usize)
        .map(|n| {
            let t = n as f64 / HZ;
            phase += 128.0 * (1.0 + 0.2 * (TAU * 0.7 * t).sin() + 0.08 * (TAU * 2.3 * t).sin()) / HZ;
            let syllable = if t >= 1.0 && (t - 1.0) % 2.2 < 1.2 { (PI * 4.1 * t).sin().powi(2) } else { 0.0 };
            syllable * (1..=12).map(|k| (TAU * f64::from(k) * phase).sin() / f64::from(k)).sum::<f64>()
        })
        .collect();
    let scale = gain(-26.0 - rms_db(&voice));
    voice.iter_mut().for_each(|x| *x *= scale);
    voice
}

/// With analysis ahead, hum is removed from the first sample on, even under speech. A clean voice passes unchanged, and
/// so does hum with the stage off; an empty analysis changes nothing.
#[test]
fn hum_is_analysed_ahead_for_files() {
    // The recording starts in the middle of a word.
    let voice = wandering(12.0).split_off((0.3 * HZ) as usize);
    let mut hum = vec![0.0; voice.len()];
    for k in 1..=6 {
        hum = sum(&hum, &sine(49.87 * f64::from(k), -50.0, HZ, voice.len()));
    }
    let hummed = sum(&voice, &hum);
    let settings = with(|s| (s.hum.on, s.hum.mains, s.trim.gain_db) = (true, Mains::Hz50, 6.0));
    let residual_db = |out: &[f64]| {
        let residual: Vec<f64> = out.iter().zip(&voice).take(HZ as usize).map(|(o, v)| o / gain(6.0) - v).collect();
        rms_db(&residual) - rms_db(&hum[..HZ as usize])
    };
    let for_file = |settings: &StripSettings, signal: &[f64]| {
        let mut strip = strip::<1>(settings, rate(HZ));
        let out = run_file(&mut strip, settings, &mono(signal));
        channel(&out, 0)
    };
    let file = residual_db(&for_file(&settings, &hummed));
    assert!(file < -25.0, "{file:.1} dB in the first second");
    // Negative control: in real time, the hum is not known in the first tenths of a second.
    let (real_time, _) = process(&settings, &hummed);
    assert!(residual_db(&real_time) > -10.0, "{:.1} dB in the first second", residual_db(&real_time));
    for (settings, signal) in [(settings, &voice), (with(|s| s.trim.gain_db = 6.0), &hummed)] {
        assert!(for_file(&settings, signal) == process(&settings, signal).0, "the output changes");
    }
    // Unequal channels, and invalid samples at the start.
    let mut both = strip::<2>(&settings, rate(HZ));
    let out = run_file(&mut both, &settings, &unequal(&hummed));
    let (second, voices, hums) = (HZ as usize, unequal(&voice), unequal(&hum));
    for c in 0..2 {
        let [out, voice, hum] = [&out, &voices, &hums].map(|frames| channel(&frames[..second], c));
        let residual: Vec<f64> = out.iter().zip(&voice).map(|(o, v)| o / gain(6.0) - v).collect();
        assert!(rms_db(&residual) < rms_db(&hum) - 25.0, "channel {c}");
    }
    let mut invalid = strip::<1>(&settings, rate(HZ));
    invalid.analyse_ahead(&[[f32::NAN], [f32::INFINITY], [1e30]].repeat(9_000));
    assert!(run(&mut invalid, &mono(&hummed)).iter().all(|frame| frame[0].is_finite()));
    let mut fresh = strip::<1>(&settings, rate(HZ));
    fresh.analyse_ahead(&[]);
    let frames = mono(&hummed);
    let expected = run(&mut strip::<1>(&settings, rate(HZ)), &frames);
    assert_eq!(first_difference(&run(&mut fresh, &frames), &expected), None);
}

/// Dry syllables of noise below 800 Hz with equally long pauses, one second of rest in four, and their late
/// reverberation (after the first 50 ms) for a decay time of `t60`, 3 dB below them.
fn syllables(seconds: f64, t60: f64) -> [Vec<f64>; 2] {
    let (mut random, second) = (Noise::new(17), HZ as usize);
    let mut dry = vec![0.0; (seconds * HZ) as usize];
    let mut at = 0;
    while at < dry.len() {
        let length = (random.between(0.06, 0.18) * HZ) as usize;
        let mut low = 0.0;
        for x in dry.iter_mut().skip(at).take(length) {
            low += 0.1 * (random.between(-0.5, 0.5) - low);
            *x = low;
        }
        at += 2 * length;
        if at % (4 * second) > 3 * second {
            at += second;
        }
    }
    // Every fortieth sample of the impulse response, with the energy of all.
    let response: Vec<(usize, f64)> = ((0.05 * HZ) as usize..(t60 * HZ) as usize)
        .step_by(40)
        .map(|n| (n, random.between(-1.0, 1.0) * gain(-60.0 * n as f64 / HZ / t60)))
        .collect();
    let share = (0.5 / response.iter().map(|(_, x)| x * x).sum::<f64>()).sqrt();
    let mut late = vec![0.0; dry.len()];
    for (delay, x) in response {
        late[delay..].iter_mut().zip(&dry).for_each(|(to, from)| *to += share * x * from);
    }
    [dry, late]
}

/// With analysis ahead, the de-reverb removes more in the first second than in real time. At the short decay time
/// measured for dry voices too, it acts there on a reverberant voice and not on a dry one. No sound of the analysed
/// part remains, hum and high-pass start as new, and invalid samples do no harm.
#[test]
fn reverberation_is_analysed_ahead_for_files() {
    let second = HZ as usize;
    let for_file = |settings: &StripSettings, signal: &[f64]| {
        channel(&run_file(&mut strip::<1>(settings, rate(HZ)), settings, &mono(signal)), 0)
    };
    let difference_db =
        |a: &[f64], b: &[f64]| rms_db(&a.iter().zip(b).take(second).map(|(a, b)| a - b).collect::<Vec<_>>());
    for latency in [SpectralLatency::High, SpectralLatency::Low] {
        let settings_for = |decay_ms: f64| {
            with(|s| (s.de_reverb.on, s.spectral.latency, s.de_reverb.decay_ms) = (true, latency, decay_ms))
        };
        let [dry, late] = syllables(20.0, 0.6);
        let reverberant = sum(&dry, &late);
        let settings = settings_for(600.0);
        let late_db = [for_file(&settings, &reverberant), process(&settings, &reverberant).0]
            .map(|out| difference_db(&out, &dry));
        println!("{latency:?}: late reverberation {late_db:.1?} dB of {:.1}", difference_db(&reverberant, &dry));
        assert!(
            late_db[0] < late_db[1] - 1.0,
            "{latency:?}: {late_db:.1?} dB remain with analysis ahead and in real time"
        );

        let [dry, late] = syllables(20.0, 0.3);
        let settings = settings_for(230.0);
        let removed =
            [&dry, &sum(&dry, &late)].map(|x| difference_db(&for_file(&settings, x), x) - rms_db(&x[..second]));
        println!("{latency:?}: {removed:.1?} dB removed from the dry and the reverberant voice");
        assert!(
            removed[0] < -60.0 && removed[1] > -20.0,
            "{latency:?}: {removed:.1?} dB removed from the dry and the reverberant voice"
        );

        let mut silent = strip::<1>(&settings, rate(HZ));
        silent.analyse_ahead(&mono(&reverberant));
        assert!(
            run(&mut silent, &vec![[0.0]; second]).iter().all(|frame| frame[0] == 0.0),
            "sound of the analysed part remains"
        );
        // Silence is no evidence: the de-reverb continues in real time, and in the end leaves the dry voice unchanged.
        for beginning in [vec![], vec![[0.0]; 4 * second]] {
            let mut undecided = strip::<1>(&settings, rate(HZ));
            undecided.analyse_ahead(&beginning);
            let (from, latency) = (dry.len() - 4 * second, undecided.latency() as usize);
            let out = channel(&run(&mut undecided, &mono(&dry)), 0);
            let residual: Vec<f64> = (from..dry.len() - latency).map(|n| out[n + latency] - dry[n]).collect();
            assert!(rms_db(&residual) < rms_db(&dry[from..]) - 60.0, "{:.1} dB removed", rms_db(&residual));
        }
        let mut invalid = strip::<1>(&settings, rate(HZ));
        invalid.analyse_ahead(&[[f32::NAN], [f32::INFINITY], [1e30]].repeat(9_000));
        assert!(run(&mut invalid, &mono(&reverberant)).iter().all(|frame| frame[0].is_finite()));

        // At a decay time this short the de-reverb is idle: the output is that of hum and high-pass alone.
        let hummed = sum(&reverberant, &sine(100.0, -40.0, HZ, reverberant.len()));
        let processed = |decay_ms: f64, latency: SpectralLatency| {
            let settings = with(|s| {
                (s.hum.on, s.high_pass.on) = (true, true);
                (s.de_reverb.on, s.spectral.latency, s.de_reverb.decay_ms) = (true, latency, decay_ms);
            });
            mono(&for_file(&settings, &hummed))
        };
        let (with_de_reverb, without) = (processed(165.0, latency), processed(165.0, SpectralLatency::None));
        assert_eq!(first_difference(&with_de_reverb, &without), None, "{latency:?}");
    }
}

/// A channel that falls silent is silent once the stated tail is over, while the other still sounds: no stage passes on
/// what it has learnt from it or from the other.
#[test]
fn a_channel_that_falls_silent_stays_silent_after_the_tail() {
    let [dry, late] = syllables(6.0, 0.6);
    let reverberant = sum(&sum(&dry, &late), &buzz(50.1, -45.0, HZ, dry.len()));
    let end = (4.6 * HZ) as usize;
    for latency in [SpectralLatency::Low, SpectralLatency::High] {
        for silent in 0..2 {
            let mut frames = ChannelPattern::Unequal.frames(&reverberant);
            frames[end..].iter_mut().for_each(|frame| frame[silent] = 0.0);
            let settings = with(|s| {
                (s.hum.on, s.de_reverb.on, s.expander.on, s.leveller.on) = (true, true, true, true);
                (s.de_esser.on, s.compressor.on, s.limiter.on) = (true, true, true);
                (s.spectral.latency, s.de_reverb.decay_ms) = (latency, 600.0);
            });
            let mut strip = strip::<2>(&settings, rate(HZ));
            let out = run(&mut strip, &frames);
            assert!(strip.removed_hum_dbfs().is_some(), "the hum stage acts");
            let reduction = strip.reduction(StageId::DeReverb).expect("a meter").largest_db();
            assert!(reduction > 3.0, "the de-reverb acts: {reduction} dB");
            let after = end + strip.tail() as usize;
            let place = out[after..].iter().rposition(|frame| frame[silent].abs() > 1e-6);
            assert_eq!(
                place,
                None,
                "{latency:?}, channel {silent}: last sound, samples after a tail of {}",
                strip.tail()
            );
        }
    }
}

/// Within one second, hum harmonics are attenuated by at least 25 dB and the rest of the voice changes by less than 0.3
/// dB: the residual against the clean voice covers both and is at least 25 dB below the hum. Nobody speaks in that
/// second; under a voice that starts with the recording, the hum is found in the first pause.
#[test]
fn hum_is_removed_within_one_second_and_the_voice_is_unchanged() {
    let voice = wandering(8.0);
    let mains_hz = 50.13;
    let mut hum = vec![0.0; voice.len()];
    for k in 1..=6 {
        hum = sum(&hum, &sine(mains_hz * f64::from(k), -50.0, HZ, voice.len()));
    }
    let hummed = sum(&voice, &hum);
    let settings = with(|s| (s.hum.on, s.hum.mains) = (true, Mains::Hz50));
    let (out, strip) = process(&settings, &hummed);
    assert_abs_diff_eq!(strip.mains_hz().expect("hum"), mains_hz, epsilon = 0.02);
    assert_abs_diff_eq!(strip.removed_hum_dbfs().expect("hum"), rms_db(&hum), epsilon = 0.5);
    let residual: Vec<f64> = out.iter().zip(&voice).map(|(o, v)| o - v).collect();
    let (before, after) = (rms_db(&hum[48_000..]), rms_db(&residual[48_000..]));
    assert!(after < before - 25.0, "hum from {before:.1} to {after:.1} dB");
    // Negative control: without hum the stage changes nothing.
    let (clean, strip) = process(&settings, &voice);
    assert_eq!((strip.mains_hz(), strip.removed_hum_dbfs()), (None, None));
    // Values below the strip's input threshold become zero.
    assert!(clean.iter().zip(&voice).all(|(out, &v)| (out - f64::from(v as f32)).abs() < 1e-29));
}

/// Hum in one channel only is removed from it, and the other channel passes bit for bit. Switched off, the stage
/// reports no hum.
#[test]
fn hum_in_one_channel_leaves_the_other_unchanged() {
    let voice = wandering(6.0);
    let hum =
        (1..=6).fold(vec![0.0; voice.len()], |hum, k| sum(&hum, &sine(49.8 * f64::from(k), -50.0, HZ, voice.len())));
    for hummed in 0..2 {
        let frames: Vec<[f32; 2]> = (voice.iter().zip(&hum))
            .map(|(v, h)| std::array::from_fn(|c| (v + if c == hummed { *h } else { 0.0 }) as f32))
            .collect();
        let mut settings = with(|s| (s.hum.on, s.hum.mains) = (true, Mains::Hz50));
        let mut strip = strip::<2>(&settings, rate(HZ));
        let out = run(&mut strip, &frames);
        let latency = strip.latency() as usize;
        let channels = [0, 1].map(|c| channel(&out[latency..], c));
        let residual: Vec<f64> = channels[hummed].iter().zip(&voice).map(|(o, v)| o - v).collect();
        let (before, after) = (rms_db(&hum[96_000..]), rms_db(&residual[96_000..]));
        assert!(after < before - 20.0, "channel {hummed}: hum from {before:.1} to {after:.1} dB");
        let clean = 1 - hummed;
        let changed = channels[clean].iter().zip(&frames).position(|(o, x)| (o - f64::from(x[clean])).abs() > 1e-29);
        assert_eq!(changed, None, "channel {clean}");
        assert_abs_diff_eq!(strip.mains_hz().expect("hum"), 49.8, epsilon = 0.02);
        assert!(strip.removed_hum_dbfs().is_some());
        settings.hum.on = false;
        strip.set(&voicechain_tests::strips::coefs(&settings, rate(HZ)));
        assert_eq!((strip.mains_hz(), strip.removed_hum_dbfs()), (None, None));
    }
}

/// With noise 10 dB below the voice, pauses are at least 10 dB quieter and active speech changes by less than 0.5 dB.
#[test]
fn expander_attenuates_pauses_and_passes_speech() {
    let voice = phrases(-23.0, HZ, 16.0, 5);
    for (noise, pattern) in [
        (white(-33.0 + 4.8, voice.len(), 1), ChannelPattern::OnlyRight),
        (pinkish(-33.0, voice.len(), 2), ChannelPattern::Opposite),
    ] {
        let scale = gain(-33.0 - rms_db(&noise));
        let noise: Vec<f64> = noise.iter().map(|x| x * scale).collect();
        let noisy = sum(&voice, &noise);
        let settings = with(|s| s.expander.on = true);
        let (out, strip) = process_stereo(&settings, &noisy, pattern);
        let [speech, pause] = parts(voice.len(), 5.0);
        let change = |at: &[usize]| level(&out, at) - level(&noisy, at);
        assert!(change(&pause) < -10.0, "pauses {:.2} dB", change(&pause));
        assert!(change(&speech).abs() < 0.5, "speech {:.2} dB", change(&speech));
        let meter = strip.reduction(StageId::Expander).expect("a meter");
        assert!(meter.percentile_db(50.0).expect("speech") < 0.5);
    }
    // Negative control: noise from the start, without a voice, is not a pause.
    let alone = white(-30.0, 480_000, 7);
    let (out, _) = process(&with(|s| s.expander.on = true), &alone);
    assert_eq!(first_difference(&mono(&out), &mono(&alone)), None);
}

/// A breath 30 dB below the voice passes where the background noise lies 55 dB below the voice.
#[test]
fn expander_passes_breaths() {
    let mut voice = phrases(-23.0, HZ, 12.0, 8);
    let breath = white(-48.0, voice.len(), 4);
    let at = |n: usize| (1.85..2.05).contains(&(n as f64 / HZ % 2.2));
    for n in 0..voice.len() {
        voice[n] += if at(n) { breath[n] } else { 0.0 };
    }
    let (out, _) = process_stereo(&with(|s| s.expander.on = true), &voice, ChannelPattern::OnlyLeft);
    let breaths: Vec<usize> = (240_000..voice.len()).filter(|&n| at(n)).collect();
    let change = level(&out, &breaths) - level(&voice, &breaths);
    assert!(change > -1.0, "{change:.2} dB");
}

const PER_PHRASE: usize = (2.2 * HZ) as usize;

/// 44 s of phrases, and the same with level steps of 12 dB every two phrases.
fn even_and_jumping() -> [Vec<f64>; 2] {
    let voice = phrases(-23.0, HZ, 44.0, 11);
    let jump = |n: usize| gain(if (n / PER_PHRASE / 2).is_multiple_of(2) { 6.0 } else { -6.0 });
    let jumping = voice.iter().enumerate().map(|(n, x)| x * jump(n)).collect();
    [voice, jumping]
}

/// Spread of the levels of the phrases from the 10th to the 90th percentile, dB.
fn spread(signal: &[f64]) -> f64 {
    let voice = (1.6 * HZ) as usize;
    let mut levels: Vec<f64> = (2..20).map(|p| rms_db(&signal[p * PER_PHRASE..p * PER_PHRASE + voice])).collect();
    levels.sort_by(f64::total_cmp);
    levels[16] - levels[1]
}

/// Mean gain change during speech, dB, beyond the median gain.
fn moved(from: &[f64], to: &[f64]) -> f64 {
    let mut gains: Vec<f64> = (from.iter().zip(to).skip(240_000).step_by(1_000))
        .filter(|(from, _)| from.abs() > 1e-4)
        .map(|(from, to)| 20.0 * (to / from).abs().log10())
        .collect();
    gains.sort_by(f64::total_cmp);
    let usual = gains[gains.len() / 2];
    gains.iter().map(|gain| (gain - usual).abs()).sum::<f64>() / gains.len() as f64
}

/// Level steps of 12 dB leave at most 0.62 of the spread of the phrases. The gain for steady speech changes by less
/// than 1 dB on average. Noise and pauses are not boosted.
#[test]
fn leveller_reduces_level_steps_and_leaves_steady_speech() {
    let [voice, jumping] = even_and_jumping();
    let settings = with(|s| s.leveller.on = true);
    let (out, _) = process(&settings, &jumping);
    let ratio = spread(&out) / spread(&jumping);
    assert!(ratio <= 0.62, "spread {ratio:.2} of the input's");
    let (steady, _) = process(&settings, &voice);
    assert!(moved(&voice, &steady) < 1.0, "steady speech moved by {:.2} dB", moved(&voice, &steady));
    let [speech, pause] = parts(voice.len(), 5.0);
    let raised = [&speech, &pause].map(|at| level(&steady, at) - level(&voice, at));
    assert!(raised[1] - raised[0] < 1.0, "speech {:.1} dB, pauses {:.1} dB", raised[0], raised[1]);
    // Negative control: without boost and cut the leveller does nothing.
    let (none, _) = process(
        &with(|s| (s.leveller.on, s.leveller.maximum_boost_db, s.leveller.maximum_cut_db) = (true, 0.0, 0.0)),
        &jumping,
    );
    assert_eq!(first_difference(&mono(&none), &mono(&jumping)), None);
}

/// With a gain curve computed in advance, at most half of the spread remains. The gain for steady speech changes by
/// less than the phrases differ, and stays within maximum boost and cut.
#[test]
fn leveller_gain_curve_halves_level_steps() {
    let with_curve = |signal: &[f64], maximum_boost_db: f64| {
        let settings = with(|s| {
            (s.leveller.on, s.leveller.maximum_boost_db) = (true, maximum_boost_db);
            (s.spectral.latency, s.de_reverb.decay_ms) = (SpectralLatency::High, 180.0);
        });
        let mut strip = strip::<1>(&settings, rate(HZ));
        let out = run_file(&mut strip, &settings, &mono(signal));
        out.iter().map(|frame| f64::from(frame[0])).collect::<Vec<_>>()
    };
    let [voice, jumping] = even_and_jumping();
    let ratio = spread(&with_curve(&jumping, 12.0)) / spread(&jumping);
    assert!(ratio <= 0.5, "spread {ratio:.2} of the input's");
    let steady = with_curve(&voice, 12.0);
    assert!(moved(&voice, &steady) < 2.0, "steady speech moved by {:.2} dB", moved(&voice, &steady));
    // Negative control: without boost, quiet phrases keep their level.
    let low = with_curve(&jumping, 0.0);
    let at = 3 * PER_PHRASE..3 * PER_PHRASE + (1.6 * HZ) as usize;
    assert_abs_diff_eq!(rms_db(&low[at.clone()]), rms_db(&jumping[at]), epsilon = 0.1);
}

/// The sub-block powers do not depend on the block size, at a rate without a whole number of samples in 10 ms and at
/// the highest rate.
#[test]
fn leveller_gain_curve_is_independent_of_block_size() {
    for hz in [11_025.0, 192_000.0] {
        let frames = unequal(&phrases(-23.0, hz, 1.0, 6));
        let measured = |most: f64, seed: u64| {
            let (mut meter, mut random, mut powers) =
                (SubBlockPowerMeter::<2>::new(rate(hz)), Noise::new(seed), Vec::new());
            let mut rest = &frames[..];
            while !rest.is_empty() {
                let (now, later) = rest.split_at(rest.len().min(random.between(1.0, most) as usize));
                meter.push(now, |power| powers.push(power.to_bits()));
                rest = later;
            }
            powers
        };
        let whole = measured(1e9, 0);
        assert_eq!(whole.len(), 100, "one for every 10 ms");
        for (seed, most) in [(1, 2.0), (2, 65.0), (3, 5_000.0)] {
            assert_eq!(measured(most, seed), whole, "pieces of up to {most} at {hz} Hz");
        }
    }
}

/// For any powers, the gains are finite and within maximum boost and cut.
#[test]
fn leveller_gain_curve_stays_within_its_range() {
    let settings = with(|s| (s.leveller.maximum_boost_db, s.leveller.maximum_cut_db) = (5.0, 4.0)).leveller;
    for seed in 0..20 {
        let mut random = Noise::new(seed);
        let mut powers: Vec<f32> = (0..3_000).map(|_| gain(2.0 * random.between(-110.0, 20.0)) as f32).collect();
        powers[100] = f32::NAN;
        powers[200] = f32::INFINITY;
        powers[300..300 + 20 * seed as usize].fill(0.0);
        let mut gains = vec![f32::NAN; powers.len()];
        gain_curve::compute(&powers, random.between(-20.0, 20.0), &settings, &mut gains);
        assert!(gains.iter().all(|gain| (-4.0..=5.0).contains(gain)), "{seed}");
        assert!(gains.iter().any(|&gain| gain != 0.0), "{seed}: all gains are 0");
    }
}

/// `spectral.latency` adds its delay, on or off; idle, the strip returns the delayed input.
#[test]
fn spectral_latency_adds_its_stated_delay() {
    let voice = phrases(-23.0, HZ, 3.0, 2);
    for (latency, delay) in [(SpectralLatency::None, 0), (SpectralLatency::Low, 512), (SpectralLatency::High, 1_024)] {
        for on in [false, true] {
            let settings = with(|s| {
                (s.de_reverb.on, s.spectral.latency, s.de_reverb.decay_ms) = (on, latency, 165.0);
            });
            let (out, strip) = process(&settings, &voice);
            assert_eq!(strip.latency(), strip_latency() + delay);
            assert_eq!(first_difference(&mono(&out), &mono(&voice)), None, "{latency:?}, {on}");
        }
    }
}

fn strip_latency() -> u32 {
    strip::<1>(&all_off(), rate(HZ)).latency()
}

/// A change of latency during sound leaves no gap and no step larger than the slope of the tone allows.
#[test]
fn changing_the_spectral_latency_does_not_click() {
    let tone = sine(440.0, -20.0, HZ, 48_000);
    let mut settings = all_off();
    settings.de_reverb.decay_ms = 600.0;
    let mut strip = strip::<1>(&settings, rate(HZ));
    let mut out = Vec::new();
    for (piece, latency) in mono(&tone).chunks(9_600).zip(
        [SpectralLatency::None, SpectralLatency::High, SpectralLatency::Low, SpectralLatency::None].into_iter().cycle(),
    ) {
        settings.spectral.latency = latency;
        strip.set(&voicechain_tests::strips::coefs(&settings, rate(HZ)));
        out.extend(run(&mut strip, piece));
    }
    let slope = gain(-20.0) * std::f64::consts::TAU * 440.0 / HZ;
    for (n, w) in out.windows(2).enumerate() {
        let step = f64::from(w[1][0] - w[0][0]).abs();
        assert!(step < 1.3 * slope, "a step of {step:.4} at {n}; the tone's own is {slope:.4}");
    }
}
