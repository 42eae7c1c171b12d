//! Signal classes: silence, tones, noise, music, invalid signals, too little speech and several voices must be
//! recognised; voices of all kinds must not be refused.

use crate::Row;
use crate::subset::{profile, share};
use std::f64::consts::TAU;
use voicechain_core::measure::profile::SignalClass;
use voicechain_tests::faults::{NoiseKind, in_room, with_noise};
use voicechain_tests::recordings::{RATE_HZ, Speaker, Subset, for_each_speaker, music, speakers};
use voicechain_tests::rooms::{Room, decay_time};
use voicechain_tests::signals::{gain, pinkish, white};
use voicechain_tests::tones::Random;

const RATE: f64 = RATE_HZ as f64;
const SUBSETS: [Subset; 2] = [Subset::Development, Subset::Evaluation];
/// Length of a voice under changed conditions, s.
const PART_S: f64 = 20.0;
/// Length of a synthetic signal, s.
const MADE_S: f64 = 12.0;
/// Number of synthetic signals of each kind per subset.
const EACH: usize = 6;
const NOISE_DB: f64 = 10.0;
const ROOM: Room =
    Room { size: [6.2, 4.7, 2.9], reflection: 0.865, voice: [2.1, 1.7, 1.5], microphone: [4.3, 2.9, 1.3] };

/// Kind and subset of a signal, and its class.
type Judged = (&'static str, Subset, SignalClass);

fn samples_in(seconds: f64) -> usize {
    (seconds * RATE) as usize
}

fn single(signal: &[f64]) -> Vec<f32> {
    signal.iter().map(|&x| x as f32).collect()
}

fn signal_class(samples: &[f32]) -> SignalClass {
    profile(samples).signal_class
}

/// Scales a signal to a level, dBFS.
fn at_level(mut signal: Vec<f64>, db: f64) -> Vec<f64> {
    let power = signal.iter().map(|x| x * x).sum::<f64>() / signal.len() as f64;
    let scale = gain(db) / power.sqrt().max(1e-9);
    signal.iter_mut().for_each(|x| *x *= scale);
    signal
}

/// One speaker in all conditions, and half a second of speech.
fn voices(speaker: &Speaker, room: &[f64]) -> Vec<(&'static str, SignalClass)> {
    let all = &speaker.samples;
    let part = &all[..samples_in(PART_S).min(all.len())];
    let seed = speaker.name.bytes().map(u64::from).sum();
    let noise = |kind| with_noise(part, kind, NOISE_DB, &[], seed).0;
    // Random sign for every sample (Schroeder 1968: noise with the envelope of the voice), then a low-pass.
    let mut random = Random::new(seed);
    let mut state = 0.0;
    let whispered: Vec<f32> = part
        .iter()
        .map(|&x| {
            state += 0.12 * (if random.unit() < 0.5 { x } else { -x } - state);
            state
        })
        .collect();
    let half_second = samples_in(0.5);
    let power = |at: usize| all[at..at + half_second].iter().map(|s| s * s).sum::<f32>();
    let starts = (0..all.len() - half_second).step_by(samples_in(0.1));
    let loudest = starts.max_by(|&a, &b| power(a).total_cmp(&power(b))).unwrap_or(0);
    let word = &all[loudest..loudest + half_second];
    let mut alone = single(&at_level(pinkish(0.0, samples_in(10.0), seed), -75.0));
    alone[samples_in(4.0)..].iter_mut().zip(word).for_each(|(x, w)| *x += w);
    vec![
        ("voice", signal_class(all)),
        ("voice, its first 10 s", signal_class(&all[..samples_in(10.0).min(all.len())])),
        ("voice with pink noise 10 dB below", signal_class(&noise(NoiseKind::Pink))),
        ("voice with ventilation 10 dB below", signal_class(&noise(NoiseKind::Ventilation))),
        ("voice in a room", signal_class(&in_room(part, room))),
        ("voice, whispered (random signs)", signal_class(&whispered)),
        ("half a second of speech", signal_class(word)),
        ("half a second of speech", signal_class(&alone)),
    ]
}

/// Two speakers alternating every 2 to 7 s, at equal power.
fn alternating(a: &[f32], b: &[f32], seed: u64) -> Vec<f32> {
    let power = |s: &[f32]| (s.iter().map(|x| f64::from(x * x)).sum::<f64>() / s.len() as f64).sqrt();
    let (scales, mut random) = ([1.0, (power(a) / power(b)) as f32], Random::new(seed));
    let (mut at, mut turn, mut out) = ([0, 0], 0, Vec::new());
    loop {
        let from = [a, b][turn];
        let length = samples_in(2.0 + 5.0 * random.unit());
        if at[turn] + length > from.len() || out.len() > samples_in(60.0) {
            return out;
        }
        out.extend(from[at[turn]..at[turn] + length].iter().map(|s| s * scales[turn]));
        at[turn] += length;
        turn = 1 - turn;
    }
}

/// A tone with harmonics that fall by 6 dB per octave; `hz` and `amplitude` are functions of time.
fn tone(harmonics: u32, hz: impl Fn(f64) -> f64, amplitude: impl Fn(f64) -> f64) -> Vec<f64> {
    let mut phase = 0.0;
    let partials = |phase: f64, top: u32| -> f64 {
        (1..=harmonics.min(top)).map(|k| (TAU * f64::from(k) * phase).sin() / f64::from(k)).sum()
    };
    (0..samples_in(MADE_S))
        .map(|n| {
            let t = n as f64 / RATE;
            phase = (phase + hz(t) / RATE).fract();
            amplitude(t) * partials(phase, (0.4 * RATE / hz(t)) as u32)
        })
        .collect()
}

/// Notes of a major scale, semitones.
pub(crate) const SCALE: [f64; 8] = [0.0, 2.0, 4.0, 5.0, 7.0, 9.0, 11.0, 12.0];

/// A sung voice: vowels of three resonances on notes of these steps in semitones, with vibrato, jitter and consonant
/// gaps.
pub(crate) fn sung(random: &mut Random, steps: &[f64]) -> Vec<f32> {
    const VOWELS: [[f64; 3]; 4] =
        [[700.0, 1_200.0, 2_600.0], [300.0, 2_200.0, 2_900.0], [450.0, 800.0, 2_500.0], [500.0, 1_800.0, 2_500.0]];
    let base = 110.0 * 2f64.powf(1.5 * random.unit());
    let (mut out, mut phase, mut states, mut hz) = (Vec::new(), 0.0, [[0.0_f64; 2]; 3], base);
    while out.len() < samples_in(25.0) {
        let goal = base * 2f64.powf(steps[(steps.len() as f64 * random.unit()) as usize] / 12.0);
        let vowel = VOWELS[(4.0 * random.unit()) as usize];
        let length = samples_in(0.25 + 0.9 * random.unit() * random.unit());
        let rest = samples_in(if random.unit() < 0.12 { 0.5 } else { 0.05 });
        for n in 0..length + rest {
            let t = n as f64 / RATE;
            hz += (goal - hz) * (1.0 - (-1.0 / (0.03 * RATE)).exp());
            let vibrato = 1.0 + 0.025 * (TAU * 5.6 * t).sin() * (t / 0.4).min(1.0) + 0.004 * random.signed();
            phase = f64::fract(phase + hz * vibrato / RATE);
            let on = (t / 0.03).min(1.0) * ((length as f64 - n as f64) / (0.05 * RATE)).clamp(0.0, 1.0);
            let pulse = if phase < 0.4 { (TAU * phase / 0.8).sin().powi(2) - 0.3 } else { -0.1 };
            let mut x = on * (pulse + 0.03 * random.signed());
            for (state, (middle, width)) in states.iter_mut().zip(vowel.into_iter().zip([80.0, 100.0, 150.0])) {
                let r = (-0.5 * TAU * width / RATE).exp();
                let y = 8.0 * x * (1.0 - r) + 2.0 * r * (TAU * middle / RATE).cos() * state[0] - r * r * state[1];
                *state = [y, state[0]];
                x = y + 0.2 * x;
            }
            out.push(x);
        }
    }
    let hiss = at_level(pinkish(0.0, out.len(), 5), -70.0);
    single(&at_level(out, -22.0).iter().zip(hiss).map(|(a, b)| a + b).collect::<Vec<f64>>())
}

/// Everything that is made, for one subset.
fn made(subset: Subset) -> Vec<Judged> {
    let mut random = Random::new(subset as u64 + 1);
    let length = samples_in(MADE_S);
    let mut all = Vec::new();
    let mut judge = |kind, samples: &[f32]| all.push((kind, subset, signal_class(samples)));
    for n in 0..EACH {
        let seed = 100 * subset as u64 + n as u64;
        let hz = 80.0 * 2f64.powf(5.5 * random.unit());
        let db = -40.0 + 34.0 * random.unit();
        let partials = if n % 2 == 0 { 1 } else { 12 };
        let mut loud = |kind, signal: Vec<f64>| judge(kind, &single(&at_level(signal, db)));
        let hiss = at_level(white(0.0, length, seed), -40.0);
        let steady = at_level(tone(partials, |_| hz, |_| 1.0), 0.0);
        loud("tone: single, hiss 40 dB below", steady.iter().zip(hiss).map(|(a, b)| a + b).collect());
        let chord = [1.0, 1.26, 1.5, 2.0].map(|ratio| tone(partials, |_| ratio * hz.min(800.0), |_| 1.0));
        loud("tone: chord of four", (0..length).map(|n| chord.iter().map(|one| one[n]).sum()).collect());
        let once = 4.0 + 8.0 * random.unit();
        loud("tone: sweep", tone(1, |t| 60.0 * 150f64.powf((t / once).fract()), |_| 1.0));
        let every = 0.8 + 3.0 * random.unit();
        loud("tone: beeps of half their period", tone(partials, |_| hz, |t| f64::from((t / every).fract() < 0.5)));
        loud("noise: white", white(0.0, length, seed));
        loud("noise: pink", pinkish(0.0, length, seed));
        let air = voicechain_tests::faults::background_noise(NoiseKind::Ventilation, length, &[], seed);
        loud("noise: ventilation", air.into_iter().map(f64::from).collect());
        let (mut from, mut to, hold) = (0.0, 0.0, samples_in(1.5));
        let mut swell = |n: usize| {
            if n.is_multiple_of(hold) {
                (from, to) = (to, 6.0 * random.signed());
            }
            gain(from + (to - from) * (n % hold) as f64 / hold as f64)
        };
        loud("noise: pink, rising and falling by 6 dB", {
            pinkish(0.0, length, seed + 50).into_iter().enumerate().map(|(n, x)| x * swell(n)).collect()
        });
        judge("silence", &vec![0.0; length]);
        judge("silence: noise of 16 bits", &single(&at_level(white(0.0, length, seed), -98.0)));
        judge("silence: a DC offset of 1 step of 16 bits", &vec![1.0 / 32_768.0; length]);
        judge("invalid signal: random over the full scale", &single(&white(0.0, length, seed)));
        let bit = if random.unit() < 0.5 { 1.0 } else { 0.3 };
        let bits: Vec<f32> = (0..length).map(|_| if random.unit() < 0.5 { bit } else { -bit }).collect();
        judge("invalid signal: random bits", &bits);
        let anything: Vec<f32> =
            (0..length).map(|_| f32::from_bits((random.unit() * 4_294_967_296.0) as u32)).collect();
        judge("invalid signal: random bits as numbers", &anything);
        let holes: Vec<f32> =
            (0..length).map(|_| if random.unit() < 0.3 { f32::NAN } else { 0.1 * random.signed() as f32 }).collect();
        judge("invalid signal: three in ten samples not finite", &holes);
        judge("invalid signal: a constant", &vec![0.02 + 0.5 * random.unit() as f32; length]);
        judge("voice, sung (synthetic)", &sung(&mut random, &SCALE));
    }
    all
}

pub(crate) fn rows() -> Vec<Row> {
    let response = ROOM.impulse_response(RATE, 0.9);
    let decay_s = decay_time(&response, RATE).unwrap_or(f64::NAN);
    let read = for_each_speaker(|speaker| {
        let pitch = profile(&speaker.samples).pitch.ok().map(|pitch| pitch.median_hz);
        (pitch, voices(speaker, &response))
    });
    let mut judged: Vec<Judged> = Vec::new();
    for (_, subset, (_, found)) in &read {
        for &(kind, signal_class) in found {
            judged.push((kind, *subset, signal_class));
        }
    }
    judged.extend(SUBSETS.iter().flat_map(|&subset| made(subset)));
    for (piece, subset) in music().iter().zip(SUBSETS.into_iter().cycle()) {
        let whole = signal_class(&piece.samples);
        judged.push(("music: 30 s", subset, whole));
        let parts = piece.samples.chunks_exact(samples_in(10.0));
        judged.extend(parts.map(|part| ("music: 10 s", subset, signal_class(part))));
    }
    // Each speaker with three others of the same subset.
    let pairs = for_each_speaker(|speaker| {
        let all: Vec<_> = speakers().iter().zip(&read).filter(|(other, _)| other.subset == speaker.subset).collect();
        let at = all.iter().position(|(other, _)| other.name == speaker.name).unwrap_or(0);
        let with = |step: usize| {
            let ((_, (_, _, (own, _))), (other, (_, _, (theirs, _)))) = (all[at], all[(at + step) % all.len()]);
            let semitones = 12.0 * (own.as_ref()? / theirs.as_ref()?).log2().abs();
            let kind = match semitones {
                apart if apart >= 8.0 => "two voices in alternation, pitch 8 semitones and more apart",
                apart if apart >= 4.0 => "two voices in alternation, pitch 4 to 8 semitones apart",
                _ => "two voices in alternation, similar pitch (detection not expected)",
            };
            Some((kind, signal_class(&alternating(&speaker.samples, &other.samples, at as u64))))
        };
        [1, 5, 8].into_iter().filter_map(with).collect::<Vec<_>>()
    });
    for (_, subset, found) in &pairs {
        judged.extend(found.iter().map(|&(kind, signal_class)| (kind, *subset, signal_class)));
    }
    table(&judged, decay_s)
}

fn table(judged: &[Judged], decay_s: f64) -> Vec<Row> {
    let mut kinds: Vec<&str> = Vec::new();
    for (kind, ..) in judged {
        if !kinds.contains(kind) {
            kinds.push(kind);
        }
    }
    let mut rows = Vec::new();
    for kind in kinds {
        let cell = |is: &dyn Fn(SignalClass) -> bool| {
            SUBSETS.map(|subset| {
                let all: Vec<SignalClass> = judged
                    .iter()
                    .filter(|(k, h, _)| *k == kind && *h == subset)
                    .map(|(.., signal_class)| *signal_class)
                    .collect();
                share(all.iter().filter(|signal_class| is(**signal_class)).count(), all.len())
            })
        };
        let mut row = |what: &str, required, [development, evaluation]: [String; 2]| {
            let room = if kind.ends_with("room") { format!(" ({decay_s:.2} s)") } else { String::new() };
            rows.push(Row {
                quantity: format!("signal class, {kind}{room}: {what}"),
                required,
                development,
                evaluation,
            });
        };
        let voice = |signal_class| matches!(signal_class, SignalClass::Voice | SignalClass::SeveralVoices);
        if kind.starts_with("voice") {
            row("refused", "0", cell(&|signal_class| !voice(signal_class)));
            row(
                "classified as several voices",
                "5 %",
                cell(&|signal_class| signal_class == SignalClass::SeveralVoices),
            );
            continue;
        }
        if kind.starts_with("two") {
            row(
                "recognised as several voices",
                "none",
                cell(&|signal_class| signal_class == SignalClass::SeveralVoices),
            );
            continue;
        }
        row("refused", "none", cell(&|signal_class| !voice(signal_class)));
        let word = kind.split([':', ' ']).next().unwrap_or_default();
        let own = match word {
            "tone" => SignalClass::Tone,
            "noise" => SignalClass::Noise,
            "silence" => SignalClass::Silence,
            "invalid" => SignalClass::InvalidSignal,
            "music" => SignalClass::Music,
            _ => SignalClass::TooShort,
        };
        row(
            "classified right",
            "none",
            cell(&|signal_class| signal_class == own || (word == "half" && signal_class == SignalClass::Silence)),
        );
    }
    rows
}
