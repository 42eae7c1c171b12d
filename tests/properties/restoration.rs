//! The stages that mend a recording: hum, de-reverb, expander, leveller, each in a strip of its own.

use crate::rate;
use approx::assert_abs_diff_eq;
use voicechain_core::settings::{Mains, SpectralLatency, StageId};
use voicechain_core::stages::leveller::gain_curve::{self, SubBlockPowerMeter};
use voicechain_core::{Strip, StripSettings};
use voicechain_tests::signals::{channel, gain, mono, phrases, pinkish, rms_db, sine, unequal, white};
use voicechain_tests::spectra::Noise;
use voicechain_tests::strips::{all_off, first_difference, run, run_file, strip};

const HZ: f64 = 48_000.0;

fn through(settings: &StripSettings, signal: &[f64]) -> (Vec<f64>, Box<Strip<1>>) {
    let mut strip = strip::<1>(settings, rate(HZ));
    let latency = strip.latency() as usize;
    let mut padded = signal.to_vec();
    padded.extend(vec![0.0; latency]);
    let out = run(&mut strip, &mono(&padded));
    (out[latency..].iter().map(|f| f64::from(f[0])).collect(), strip)
}

fn with(change: impl Fn(&mut StripSettings)) -> StripSettings {
    let mut settings = all_off();
    change(&mut settings);
    settings
}

fn sum(a: &[f64], b: &[f64]) -> Vec<f64> {
    a.iter().zip(b).map(|(a, b)| a + b).collect()
}

/// Phrases last 1.6 s, pauses 0.6 s (`signals::phrases`): the samples of both, half a second of pause left for closing.
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

/// Syllables with twelve harmonics of a pitch that wanders over the lines of 50 Hz, with pauses, at -26 dB; the first
/// begins after a second.
fn wandering(seconds: f64) -> Vec<f64> {
    use std::f64::consts::{PI, TAU};
    let mut turns = 0.0;
    let mut voice: Vec<f64> = (0..(seconds * HZ) as usize)
        .map(|n| {
            let t = n as f64 / HZ;
            turns += 128.0 * (1.0 + 0.2 * (TAU * 0.7 * t).sin() + 0.08 * (TAU * 2.3 * t).sin()) / HZ;
            let syllable = if t >= 1.0 && (t - 1.0) % 2.2 < 1.2 { (PI * 4.1 * t).sin().powi(2) } else { 0.0 };
            syllable * (1..=12).map(|k| (TAU * f64::from(k) * turns).sin() / f64::from(k)).sum::<f64>()
        })
        .collect();
    let scale = gain(-26.0 - rms_db(&voice));
    voice.iter_mut().for_each(|x| *x *= scale);
    voice
}

/// In the form for files hum is known at the first sample, whatever speaks there; without hum nothing is taken; a strip whose
/// hum stage is off, or that was given nothing, plays as ever.
#[test]
fn hum_is_analysed_ahead_for_files() {
    // It begins in the middle of a word.
    let voice = wandering(12.0).split_off((0.3 * HZ) as usize);
    let mut hum = vec![0.0; voice.len()];
    for k in 1..=6 {
        hum = sum(&hum, &sine(49.87 * f64::from(k), -50.0, HZ, voice.len()));
    }
    let hummed = sum(&voice, &hum);
    let settings = with(|s| (s.hum.on, s.hum.mains, s.trim.gain_db) = (true, Mains::Hz50, 6.0));
    let left = |out: &[f64]| {
        let left: Vec<f64> = out.iter().zip(&voice).take(HZ as usize).map(|(o, v)| o / gain(6.0) - v).collect();
        rms_db(&left) - rms_db(&hum[..HZ as usize])
    };
    let for_file = |settings: &StripSettings, signal: &[f64]| {
        let mut strip = strip::<1>(settings, rate(HZ));
        let out = run_file(&mut strip, settings, &mono(signal));
        channel(&out, 0)
    };
    let file = left(&for_file(&settings, &hummed));
    assert!(file < -25.0, "{file:.1} dB in the first second");
    // Negative control: as it plays, nothing is known in the first tenths of a second.
    let (played, _) = through(&settings, &hummed);
    assert!(left(&played) > -10.0, "{:.1} dB in the first second", left(&played));
    for (settings, signal) in [(settings, &voice), (with(|s| s.trim.gain_db = 6.0), &hummed)] {
        assert!(for_file(&settings, signal) == through(&settings, signal).0, "other samples");
    }
    // Unequal channels, and a beginning that is no sound.
    let mut both = strip::<2>(&settings, rate(HZ));
    let out = run_file(&mut both, &settings, &unequal(&hummed));
    let (second, voices, hums) = (HZ as usize, unequal(&voice), unequal(&hum));
    for c in 0..2 {
        let [out, voice, hum] = [&out, &voices, &hums].map(|frames| channel(&frames[..second], c));
        let left: Vec<f64> = out.iter().zip(&voice).map(|(o, v)| o / gain(6.0) - v).collect();
        assert!(rms_db(&left) < rms_db(&hum) - 25.0, "channel {c}");
    }
    let mut abused = strip::<1>(&settings, rate(HZ));
    abused.analyse_ahead(&[[f32::NAN], [f32::INFINITY], [1e30]].repeat(9_000));
    assert!(run(&mut abused, &mono(&hummed)).iter().all(|frame| frame[0].is_finite()));
    let mut fresh = strip::<1>(&settings, rate(HZ));
    fresh.analyse_ahead(&[]);
    let frames = mono(&hummed);
    let expected = run(&mut strip::<1>(&settings, rate(HZ)), &frames);
    assert_eq!(first_difference(&run(&mut fresh, &frames), &expected), None);
}

/// Syllables of noise under 800 Hz with pauses as long, a second's rest every four, and what of them a room with this decay
/// time leaves after its first 50 ms, 3 dB under them.
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
    // Every fortieth sample of the room, with the energy of all.
    let room: Vec<(usize, f64)> = ((0.05 * HZ) as usize..(t60 * HZ) as usize)
        .step_by(40)
        .map(|n| (n, random.between(-1.0, 1.0) * gain(-60.0 * n as f64 / HZ / t60)))
        .collect();
    let share = (0.5 / room.iter().map(|(_, x)| x * x).sum::<f64>()).sqrt();
    let mut late = vec![0.0; dry.len()];
    for (delay, x) in room {
        late[delay..].iter_mut().zip(&dry).for_each(|(to, from)| *to += share * x * from);
    }
    [dry, late]
}

/// In the form for files a room is known at the first sample: more of it goes in the first second, and with the short decay
/// time that a dry voice is read with, too, it acts there on a voice in a room and not on a dry one. No sound is left over
/// from what was learnt from, hum and high-pass hear the beginning as if for the first time, and what is no sound does no
/// harm.
#[test]
fn reverberation_is_analysed_ahead_for_files() {
    let second = HZ as usize;
    let for_file = |settings: &StripSettings, signal: &[f64]| {
        channel(&run_file(&mut strip::<1>(settings, rate(HZ)), settings, &mono(signal)), 0)
    };
    let apart_db = |a: &[f64], b: &[f64]| rms_db(&a.iter().zip(b).take(second).map(|(a, b)| a - b).collect::<Vec<_>>());
    for latency in [SpectralLatency::High, SpectralLatency::Low] {
        let in_room = |decay_ms: f64| {
            with(|s| (s.de_reverb.on, s.spectral.latency, s.de_reverb.decay_ms) = (true, latency, decay_ms))
        };
        let [dry, late] = syllables(20.0, 0.6);
        let roomy = sum(&dry, &late);
        let settings = in_room(600.0);
        let left = [for_file(&settings, &roomy), through(&settings, &roomy).0].map(|out| apart_db(&out, &dry));
        println!("{latency:?}: {left:.1?} dB of {:.1} are left", apart_db(&roomy, &dry));
        assert!(left[0] < left[1] - 1.0, "{latency:?}: {left:.1?} dB are left, known beforehand and as it plays");

        let [dry, late] = syllables(20.0, 0.3);
        let settings = in_room(230.0);
        let taken = [&dry, &sum(&dry, &late)].map(|x| apart_db(&for_file(&settings, x), x) - rms_db(&x[..second]));
        println!("{latency:?}: {taken:.1?} dB are taken from the dry and the roomy");
        assert!(
            taken[0] < -60.0 && taken[1] > -20.0,
            "{latency:?}: {taken:.1?} dB are taken from the dry and the roomy"
        );

        let mut silent = strip::<1>(&settings, rate(HZ));
        silent.analyse_ahead(&mono(&roomy));
        assert!(run(&mut silent, &vec![[0.0]; second]).iter().all(|frame| frame[0] == 0.0), "sound is left over");
        // Nothing proves nothing: it goes on as it plays, and leaves the dry voice alone in the end.
        for beginning in [vec![], vec![[0.0]; 4 * second]] {
            let mut unsure = strip::<1>(&settings, rate(HZ));
            unsure.analyse_ahead(&beginning);
            let (from, latency) = (dry.len() - 4 * second, unsure.latency() as usize);
            let out = channel(&run(&mut unsure, &mono(&dry)), 0);
            let left: Vec<f64> = (from..dry.len() - latency).map(|n| out[n + latency] - dry[n]).collect();
            assert!(rms_db(&left) < rms_db(&dry[from..]) - 60.0, "{:.1} dB are taken", rms_db(&left));
        }
        let mut abused = strip::<1>(&settings, rate(HZ));
        abused.analyse_ahead(&[[f32::NAN], [f32::INFINITY], [1e30]].repeat(9_000));
        assert!(run(&mut abused, &mono(&roomy)).iter().all(|frame| frame[0].is_finite()));

        // So dry a room is let through: what comes is what hum and high-pass make of the beginning.
        let hummed = sum(&roomy, &sine(100.0, -40.0, HZ, roomy.len()));
        let mended = |decay_ms: f64, latency: SpectralLatency| {
            let settings = with(|s| {
                (s.hum.on, s.high_pass.on) = (true, true);
                (s.de_reverb.on, s.spectral.latency, s.de_reverb.decay_ms) = (true, latency, decay_ms);
            });
            mono(&for_file(&settings, &hummed))
        };
        let (learnt, absent) = (mended(165.0, latency), mended(165.0, SpectralLatency::None));
        assert_eq!(first_difference(&learnt, &absent), None, "{latency:?}");
    }
}

/// Issue E: lines of hum at least 25 dB lower within one second, a voice unchanged within 0.3 dB elsewhere: what is left over
/// the voice holds both, and is less than hum 25 dB lower. The second is one in which nobody speaks: under a voice that begins
/// with the recording the lines are learnt in its first pause.
#[test]
fn hum_goes_within_a_second_and_the_voice_stays() {
    let voice = wandering(8.0);
    let mains_hz = 50.13;
    let mut hum = vec![0.0; voice.len()];
    for k in 1..=6 {
        hum = sum(&hum, &sine(mains_hz * f64::from(k), -50.0, HZ, voice.len()));
    }
    let hummed = sum(&voice, &hum);
    let settings = with(|s| (s.hum.on, s.hum.mains) = (true, Mains::Hz50));
    let (out, strip) = through(&settings, &hummed);
    assert_abs_diff_eq!(strip.mains_hz().expect("hum"), mains_hz, epsilon = 0.02);
    assert_abs_diff_eq!(strip.removed_hum_dbfs().expect("hum"), rms_db(&hum), epsilon = 0.5);
    let left: Vec<f64> = out.iter().zip(&voice).map(|(o, v)| o - v).collect();
    let (before, after) = (rms_db(&hum[48_000..]), rms_db(&left[48_000..]));
    assert!(after < before - 25.0, "lines from {before:.1} to {after:.1} dB");
    // Negative control: without hum nothing is taken.
    let (clean, strip) = through(&settings, &voice);
    assert_eq!((strip.mains_hz(), strip.removed_hum_dbfs()), (None, None));
    // What is smaller than the strip lets in is silence.
    assert!(clean.iter().zip(&voice).all(|(out, &v)| (out - f64::from(v as f32)).abs() < 1e-29));
}

/// Issue E: with noise 10 dB under the voice, pauses at least 10 dB lower and active speech within 0.5 dB.
#[test]
fn the_expander_lowers_pauses_and_lets_speech_pass() {
    let voice = phrases(-23.0, HZ, 16.0, 5);
    for noise in [white(-33.0 + 4.8, voice.len(), 1), pinkish(-33.0, voice.len(), 2)] {
        let scale = gain(-33.0 - rms_db(&noise));
        let noise: Vec<f64> = noise.iter().map(|x| x * scale).collect();
        let noisy = sum(&voice, &noise);
        let settings = with(|s| s.expander.on = true);
        let (out, strip) = through(&settings, &noisy);
        let [speech, pause] = parts(voice.len(), 5.0);
        let change = |at: &[usize]| level(&out, at) - level(&noisy, at);
        assert!(change(&pause) < -10.0, "pauses {:.2} dB", change(&pause));
        assert!(change(&speech).abs() < 0.5, "speech {:.2} dB", change(&speech));
        let meter = strip.reduction(StageId::Expander).expect("a meter");
        assert!(meter.percentile_db(50.0).expect("speech") < 0.5);
    }
    // Negative control: noise alone from the beginning is nobody's pause.
    let alone = white(-30.0, 480_000, 7);
    let (out, _) = through(&with(|s| s.expander.on = true), &alone);
    assert_eq!(first_difference(&mono(&out), &mono(&alone)), None);
}

/// A breath 30 dB under the voice, in the pause of a recording whose noise lies 55 dB under it, passes.
#[test]
fn breaths_survive() {
    let mut voice = phrases(-23.0, HZ, 12.0, 8);
    let breath = white(-48.0, voice.len(), 4);
    let at = |n: usize| (1.85..2.05).contains(&(n as f64 / HZ % 2.2));
    for n in 0..voice.len() {
        voice[n] += if at(n) { breath[n] } else { 0.0 };
    }
    let (out, _) = through(&with(|s| s.expander.on = true), &voice);
    let breaths: Vec<usize> = (240_000..voice.len()).filter(|&n| at(n)).collect();
    let change = level(&out, &breaths) - level(&voice, &breaths);
    assert!(change > -1.0, "{change:.2} dB");
}

const PER_PHRASE: usize = (2.2 * HZ) as usize;

/// 40 s of phrases, and the same with jumps of 12 dB every second phrase.
fn even_and_jumping() -> [Vec<f64>; 2] {
    let voice = phrases(-23.0, HZ, 44.0, 11);
    let jump = |n: usize| gain(if (n / PER_PHRASE / 2).is_multiple_of(2) { 6.0 } else { -6.0 });
    let jumping = voice.iter().enumerate().map(|(n, x)| x * jump(n)).collect();
    [voice, jumping]
}

/// From the 10th to the 90th percentile of the levels of phrases, dB.
fn spread(signal: &[f64]) -> f64 {
    let voice = (1.6 * HZ) as usize;
    let mut levels: Vec<f64> = (2..20).map(|p| rms_db(&signal[p * PER_PHRASE..p * PER_PHRASE + voice])).collect();
    levels.sort_by(f64::total_cmp);
    levels[16] - levels[1]
}

/// By how much a voice was moved on average while it speaks, dB, beyond a gain that stays.
fn moved(from: &[f64], to: &[f64]) -> f64 {
    let mut moves: Vec<f64> = (from.iter().zip(to).skip(240_000).step_by(1_000))
        .filter(|(from, _)| from.abs() > 1e-4)
        .map(|(from, to)| 20.0 * (to / from).abs().log10())
        .collect();
    moves.sort_by(f64::total_cmp);
    let usual = moves[moves.len() / 2];
    moves.iter().map(|m| (m - usual).abs()).sum::<f64>() / moves.len() as f64
}

/// Issue E: jumps of 12 dB leave at most 0.62 of the spread of phrases; a steady voice is moved by less than 1 dB on average;
/// noise and pauses are not raised.
#[test]
fn the_leveller_evens_out_level_steps_and_leaves_steady_speech() {
    let [voice, jumping] = even_and_jumping();
    let settings = with(|s| s.leveller.on = true);
    let (out, _) = through(&settings, &jumping);
    let ratio = spread(&out) / spread(&jumping);
    assert!(ratio <= 0.62, "spread {ratio:.2} of the input's");
    let (steady, _) = through(&settings, &voice);
    assert!(moved(&voice, &steady) < 1.0, "steady speech moved by {:.2} dB", moved(&voice, &steady));
    let [speech, pause] = parts(voice.len(), 5.0);
    let raised = [&speech, &pause].map(|at| level(&steady, at) - level(&voice, at));
    assert!(raised[1] - raised[0] < 1.0, "speech {:.1} dB, pauses {:.1} dB", raised[0], raised[1]);
    // Negative control: without a range it is not there.
    let (none, _) = through(
        &with(|s| (s.leveller.on, s.leveller.maximum_boost_db, s.leveller.maximum_cut_db) = (true, 0.0, 0.0)),
        &jumping,
    );
    assert_eq!(first_difference(&mono(&none), &mono(&jumping)), None);
}

/// Issue E: with all levels known beforehand, at most half of the spread is left; a steady voice is moved by less than what its
/// phrases differ by of themselves, and what is guided stays inside the maximum boost and cut.
#[test]
fn leveller_gain_curve_halves_level_steps() {
    let guided = |signal: &[f64], rise_db: f64| {
        let settings = with(|s| {
            (s.leveller.on, s.leveller.maximum_boost_db) = (true, rise_db);
            (s.spectral.latency, s.de_reverb.decay_ms) = (SpectralLatency::High, 180.0);
        });
        let mut strip = strip::<1>(&settings, rate(HZ));
        let out = run_file(&mut strip, &settings, &mono(signal));
        out.iter().map(|frame| f64::from(frame[0])).collect::<Vec<_>>()
    };
    let [voice, jumping] = even_and_jumping();
    let ratio = spread(&guided(&jumping, 12.0)) / spread(&jumping);
    assert!(ratio <= 0.5, "spread {ratio:.2} of the input's");
    let steady = guided(&voice, 12.0);
    assert!(moved(&voice, &steady) < 2.0, "steady speech moved by {:.2} dB", moved(&voice, &steady));
    // Negative control: phrases that may not be raised stay as low as they were.
    let low = guided(&jumping, 0.0);
    let at = 3 * PER_PHRASE..3 * PER_PHRASE + (1.6 * HZ) as usize;
    assert_abs_diff_eq!(rms_db(&low[at.clone()]), rms_db(&jumping[at]), epsilon = 0.1);
}

/// What the form for files hears is the same for any partition, at a rate whose 10 ms are no whole samples and at the highest.
#[test]
fn leveller_gain_curve_is_the_same_in_any_split() {
    for hz in [11_025.0, 192_000.0] {
        let frames = unequal(&phrases(-23.0, hz, 1.0, 6));
        let heard = |most: f64, seed: u64| {
            let (mut ear, mut random, mut powers) =
                (SubBlockPowerMeter::<2>::new(rate(hz)), Noise::new(seed), Vec::new());
            let mut rest = &frames[..];
            while !rest.is_empty() {
                let (now, later) = rest.split_at(rest.len().min(random.between(1.0, most) as usize));
                ear.push(now, |power| powers.push(power.to_bits()));
                rest = later;
            }
            powers
        };
        let whole = heard(1e9, 0);
        assert_eq!(whole.len(), 100, "one for every 10 ms");
        for (seed, most) in [(1, 2.0), (2, 65.0), (3, 5_000.0)] {
            assert_eq!(heard(most, seed), whole, "pieces of up to {most} at {hz} Hz");
        }
    }
}

/// Whatever the powers are, the gains found beforehand are numbers within the maximum boost and cut.
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
        assert!(gains.iter().any(|&gain| gain != 0.0), "{seed}: it does something");
    }
}

/// `spectral.latency` delays by its frames, on or off, and idle it returns the delayed input.
#[test]
fn spectral_latency_delays_by_its_frames() {
    let voice = phrases(-23.0, HZ, 3.0, 2);
    for (latency, delay) in [(SpectralLatency::None, 0), (SpectralLatency::Low, 512), (SpectralLatency::High, 1_024)] {
        for on in [false, true] {
            let settings = with(|s| {
                (s.de_reverb.on, s.spectral.latency, s.de_reverb.decay_ms) = (on, latency, 165.0);
            });
            let (out, strip) = through(&settings, &voice);
            assert_eq!(strip.latency(), strip_latency() + delay);
            assert_eq!(first_difference(&mono(&out), &mono(&voice)), None, "{latency:?}, {on}");
        }
    }
}

fn strip_latency() -> u32 {
    strip::<1>(&all_off(), rate(HZ)).latency()
}

/// Sound that a new latency finds on its way is neither lost nor torn: no step larger than the tone's own slope allows.
#[test]
fn a_new_spectral_latency_does_not_click() {
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
