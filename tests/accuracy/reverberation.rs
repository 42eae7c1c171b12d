//! Decay time of dry voices in simulated rooms of known decay, and of unchanged voices.

use crate::Row;
use crate::subset::{of_subset, profile, share};
use std::sync::OnceLock;
use voicechain_core::measure::profile::{Reverberation as Found, SignalClass};
use voicechain_tests::faults::{NoiseKind, in_room, with_noise};
use voicechain_tests::recordings::{RATE_HZ, Speaker, Subset, for_each_speaker, speakers};
use voicechain_tests::rooms::{Room, decay_time};

/// Length of every voice that is put into rooms, s.
const LENGTH_S: usize = 20;
/// Number of rooms per voice.
const ROOMS_EACH: usize = 3;
/// Signal-to-noise ratios with pink noise, dB.
const SNRS_DB: [Option<f64>; 3] = [None, Some(30.0), Some(20.0)];
/// Allowed error: the larger of a time (s) and a share.
const ALLOWED: (f64, f64) = (0.15, 0.25);

/// An impulse response and its decay time (T20), s.
struct Known {
    response: Vec<f64>,
    decay_s: f64,
}

/// Twelve rooms: size in m, design decay time in s (Eyring), distance of voice and microphone in m. The measured decay
/// times are 1.05 to 1.3 times as long, 0.14 to 1.28 s.
const ROOMS: [([f64; 3], f64, f64); 12] = [
    ([3.1, 2.6, 2.4], 0.13, 0.5),
    ([3.9, 3.2, 2.5], 0.2, 1.2),
    ([4.4, 3.3, 2.6], 0.26, 0.6),
    ([5.1, 3.7, 2.5], 0.33, 1.5),
    ([4.7, 4.1, 2.7], 0.41, 0.8),
    ([6.2, 4.3, 2.8], 0.44, 2.0),
    ([5.6, 4.6, 2.6], 0.49, 1.0),
    ([7.3, 5.2, 3.0], 0.62, 0.7),
    ([6.6, 5.5, 2.9], 0.65, 2.2),
    ([8.1, 5.7, 3.2], 0.76, 1.3),
    ([9.4, 6.6, 3.5], 0.89, 1.0),
    ([8.7, 7.1, 3.4], 0.99, 2.5),
];

/// The impulse responses, computed once.
fn rooms() -> &'static [Known] {
    static MADE: OnceLock<Vec<Known>> = OnceLock::new();
    MADE.get_or_init(|| {
        let one = |&(size, wanted_s, distance): &([f64; 3], f64, f64)| {
            let [x, y, z] = size;
            let surface = 2.0 * (x * y + y * z + z * x);
            // Eyring: T = 0.161 V / (-S ln(1 - a)), 1 - a = reflection squared.
            let reflection = (-0.5 * 0.161 * x * y * z / (surface * wanted_s)).exp();
            let voice = [0.37 * x, 0.43 * y, 1.2];
            let microphone = [voice[0] + 0.8 * distance, voice[1] + 0.55 * distance, voice[2] + 0.24 * distance];
            let response =
                Room { size, reflection, voice, microphone }.impulse_response(f64::from(RATE_HZ), 1.7 * wanted_s);
            let decay_s = decay_time(&response, f64::from(RATE_HZ)).expect("a response that decays");
            Known { response, decay_s }
        };
        std::thread::scope(|scope| {
            let threads: Vec<_> =
                ROOMS.chunks(6).map(|some| scope.spawn(move || some.iter().map(one).collect())).collect();
            threads.into_iter().flat_map(|thread| -> Vec<Known> { thread.join().expect("a room") }).collect()
        })
    })
}

/// One case: index of its noise, the true decay time (`None`: unchanged voice), and the result.
#[derive(Clone, Copy)]
struct Case {
    noise: usize,
    reverberant: bool,
    decay_s: Option<f64>,
    found: Option<Found>,
    /// Classified as something other than a voice.
    refused: bool,
}

fn read(speaker: &Speaker) -> Vec<Case> {
    let number = speakers().iter().position(|other| other.name == speaker.name).unwrap_or(0);
    let part = &speaker.samples[..speaker.samples.len().min(LENGTH_S * RATE_HZ as usize)];
    let mut cases = Vec::new();
    let mut case = |samples: &[f32], decay_s: Option<f64>| {
        for (noise, snr_db) in SNRS_DB.iter().enumerate() {
            let seed = (number * 100 + noise) as u64;
            let mixed = snr_db.map(|snr_db| with_noise(samples, NoiseKind::Pink, snr_db, &[], seed).0);
            let measured = profile(mixed.as_deref().unwrap_or(samples));
            let (found, refused) = (
                measured.reverberation.ok(),
                !matches!(measured.signal_class, SignalClass::Voice | SignalClass::SeveralVoices),
            );
            cases.push(Case { noise, reverberant: speaker.reverberant, decay_s, found, refused });
        }
    };
    case(part, None);
    if !speaker.reverberant {
        for n in 0..ROOMS_EACH {
            let room = &rooms()[(number + 4 * n) % ROOMS.len()];
            case(&in_room(part, &room.response), Some(room.decay_s));
        }
    }
    cases
}

pub(crate) fn rows() -> Vec<Row> {
    rooms();
    let all: Vec<(Subset, Case)> = for_each_speaker(read)
        .into_iter()
        .flat_map(|(_, subset, cases)| cases.into_iter().map(move |c| (subset, c)))
        .collect();
    let mut rows = Vec::new();
    let mut row = |quantity: String, required, cell: &dyn Fn(&[Case]) -> String| {
        let [development, evaluation] =
            [Subset::Development, Subset::Evaluation].map(|subset| cell(&of_subset(&all, subset)));
        rows.push(Row { quantity, required, development, evaluation });
    };
    let words = ["clean", "30 dB of pink noise", "20 dB of pink noise"];
    for (noise, words) in words.iter().enumerate() {
        let required = ["97 %, 99 %", "95 %, 97 %", "90 %, 95 %"][noise];
        row(format!("decay time within max(0.15 s, 25 %), {words}"), required, &|of| {
            let known: Vec<_> =
                of.iter().filter(|c| c.noise == noise).filter_map(|c| Some((c.decay_s?, c.found))).collect();
            let close = |(t, found): &&(f64, Option<Found>)| {
                found.is_some_and(|found| (found.decay_time_s - t).abs() <= ALLOWED.0.max(ALLOWED.1 * t))
            };
            share(known.iter().filter(close).count(), known.len())
        });
        row(format!("decay time, {words}, of those measured: within the same"), "none", &|of| {
            let known: Vec<_> =
                of.iter().filter(|c| c.noise == noise).filter_map(|c| Some((c.decay_s?, c.found?))).collect();
            let close = |(t, found): &&(f64, Found)| (found.decay_time_s - t).abs() <= ALLOWED.0.max(ALLOWED.1 * t);
            share(known.iter().filter(close).count(), known.len())
        });
        row(format!("voices in rooms not classified as a voice, {words}"), "none", &|of| {
            let known: Vec<_> = of.iter().filter(|c| c.noise == noise && c.decay_s.is_some()).collect();
            share(known.iter().filter(|c| c.refused).count(), known.len())
        });
        row(format!("decay time, {words}: error, mean and standard deviation"), "none", &|of| {
            let errors: Vec<f64> = (of.iter().filter(|c| c.noise == noise))
                .filter_map(|c| Some(c.found?.decay_time_s - c.decay_s?))
                .collect();
            let [mean, sd] = crate::subset::mean_and_sd(&errors);
            format!("{mean:+.3}, {sd:.3} s of {}", errors.len())
        });
        row(format!("dry voices measured as dry, {words}"), "95 %", &|of| {
            let dry: Vec<_> = of.iter().filter(|c| c.noise == noise && c.decay_s.is_none() && !c.reverberant).collect();
            share(dry.iter().filter(|c| c.found.is_some_and(|found| found.dry)).count(), dry.len())
        });
        row(format!("voices in rooms of 0.4 s and more measured as dry, {words}"), "none", &|of| {
            let wet: Vec<_> = (of.iter().filter(|c| c.noise == noise))
                .filter(|c| c.decay_s.map_or(c.reverberant, |decay_s| decay_s >= 0.4))
                .collect();
            share(wet.iter().filter(|c| c.found.is_some_and(|found| found.dry)).count(), wet.len())
        });
    }
    rows
}
