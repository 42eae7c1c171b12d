//! Bells added to recorded voices at random frequencies, and the effect of the proposal on clean voices.

use crate::Row;
use crate::signal_class::{SCALE, sung};
use crate::subset::{exceeded_by, of_subset, profile, share};
use voicechain_core::measure::profile::{Profile, Resonance, Resonances};
use voicechain_core::propose::{Context, VocalStyle, propose};
use voicechain_core::settings::StageId;
use voicechain_core::{SampleRate, StripCoefs};
use voicechain_tests::faults;
use voicechain_tests::recordings::{RATE_HZ, Subset, for_each_speaker};
use voicechain_tests::spectra::Noise;
use voicechain_tests::tones::Random;

/// Gains of the added bells, dB, and their number per gain and speaker.
const GAINS_DB: [f64; 3] = [8.0, 6.0, 4.0];
const BELLS: usize = 3;
/// A candidate within this distance of the bell is right, octaves.
const RIGHT_OCTAVES: f64 = 1.0 / 3.0;
/// Least confidence at which the proposal cuts.
const ACTS: f64 = 0.5;
/// Share of clean voices in which a cut is allowed.
const FALSE: f64 = 0.1;

/// Frequency of the added bell, Hz, and the candidates found.
type Case = (f64, Resonances);

/// Candidates of one speaker without a bell, and with bells of each gain. Reverberant speakers are left out: room modes
/// are resonances of their own.
#[derive(Clone, Copy)]
struct Found {
    clean: Resonances,
    with: [[Case; BELLS]; 3],
}

fn candidates(samples: &[f32]) -> Resonances {
    profile(samples).resonances.unwrap_or_default()
}

/// Whether a candidate lies at the bell.
fn right(hz: f64, found: Option<Resonance>) -> bool {
    found.is_some_and(|found| (found.frequency_hz / hz).log2().abs() <= RIGHT_OCTAVES)
}

/// Seed from the name, so that a speaker's bells do not depend on the other speakers.
fn seed(name: &str) -> u64 {
    name.bytes().fold(11, |seed, byte| seed.wrapping_mul(31).wrapping_add(u64::from(byte)))
}

pub(crate) fn rows() -> Vec<Row> {
    let read = for_each_speaker(|speaker| {
        let mut random = Noise::new(seed(speaker.name));
        (!speaker.reverberant).then(|| Found {
            clean: candidates(&speaker.samples),
            with: GAINS_DB.map(|gain_db| {
                core::array::from_fn(|_| {
                    let (hz, q) = (random.octaves_between(200.0, 900.0), random.between(1.2, 1.8));
                    (hz, candidates(&faults::bell(&speaker.samples, hz, gain_db, q)))
                })
            }),
        })
    });
    let known: Vec<(Subset, Found)> =
        read.iter().filter_map(|&(_, subset, found)| found.map(|found| (subset, found))).collect();
    let cases = |subset, gain: usize| -> Vec<Case> {
        of_subset(&known, subset).iter().flat_map(|found| found.with[gain]).collect()
    };
    let first = |subset| -> Vec<f64> {
        of_subset(&known, subset).iter().map(|found| found.clean[0].map_or(0.0, |first| first.prominence_db)).collect()
    };
    let mut rows = Vec::new();
    let mut row = |quantity: String, required, cell: &dyn Fn(Subset) -> String| {
        let [development, evaluation] = [Subset::Development, Subset::Evaluation].map(cell);
        rows.push(Row { quantity: format!("resonance, {quantity}"), required, development, evaluation });
    };
    let allowed = exceeded_by(&first(Subset::Development), FALSE);
    row(format!("most prominent resonance of a clean voice above {allowed:.2} dB"), "none", &|subset| {
        share(first(subset).iter().filter(|db| **db > allowed).count(), first(subset).len())
    });
    row("clean voices with a cut".to_owned(), "at most 10 %", &|subset| {
        let clean = of_subset(&known, subset);
        let acted = clean.iter().filter(|found| found.clean.iter().flatten().any(|r| r.confidence >= ACTS));
        share(acted.count(), clean.len())
    });
    for (gain, gain_db) in GAINS_DB.iter().enumerate() {
        let required = ["48, 65 %", "none", "none"][gain];
        row(format!("{gain_db:+.0} dB bell: cut within a third of an octave"), required, &|subset| {
            let all = cases(subset, gain);
            let hit = |(hz, found): &&Case| {
                found.iter().any(|found| right(*hz, *found) && found.is_some_and(|r| r.confidence >= ACTS))
            };
            share(all.iter().filter(hit).count(), all.len())
        });
        for among in 1..=3 {
            let required = if (gain, among) == (0, 3) { "90, 95 %" } else { "none" };
            row(format!("{gain_db:+.0} dB bell: found among the first {among}"), required, &|subset| {
                let all = cases(subset, gain);
                let hit = |(hz, found): &&Case| found.iter().take(among).any(|found| right(*hz, *found));
                share(all.iter().filter(hit).count(), all.len())
            });
        }
    }
    rows
}

/// Number of sung voices per kind and subset.
const SUNG: usize = 12;

/// Whether the proposal for a voice of this style cuts within a semitone of one of the first four harmonics of the
/// median pitch.
fn cuts_harmonic(profile: &Profile, vocal_style: VocalStyle) -> bool {
    let Ok(pitch) = profile.pitch else { return false };
    let near = |hz: f64| (1..=4).any(|k| (hz / (f64::from(k) * pitch.median_hz)).log2().abs() <= 1.0 / 12.0);
    let eq = propose(profile, Context { vocal_style, ..Context::default() }).settings.corrective_eq;
    let bells = [
        (eq.bell_1_frequency_hz, eq.bell_1_gain_db),
        (eq.bell_2_frequency_hz, eq.bell_2_gain_db),
        (eq.bell_3_frequency_hz, eq.bell_3_gain_db),
    ];
    bells.into_iter().any(|(hz, gain_db)| gain_db < 0.0 && near(hz))
}

pub(crate) fn sung_rows() -> Vec<Row> {
    let kinds: [(&str, &[f64]); 4] =
        [("one note", &[0.0]), ("two notes", &[0.0, 2.0]), ("five notes", &SCALE[..5]), ("a scale", &SCALE)];
    let styles = [(VocalStyle::Sung, "proposed as sung"), (VocalStyle::Spoken, "proposed as spoken")];
    let row = |(words, steps): (&str, &[f64])| {
        let voices = [Subset::Development, Subset::Evaluation].map(|subset| {
            let mut random = Random::new(subset as u64 + 21);
            (0..SUNG).map(|_| profile(&sung(&mut random, steps))).collect::<Vec<_>>()
        });
        styles.map(|(style, as_words)| {
            let [development, evaluation] = voices.each_ref().map(|voices| {
                let cut = voices.iter().filter(|profile| cuts_harmonic(profile, style)).count();
                share(cut, voices.len())
            });
            let quantity =
                format!("sung voice (synthetic), {words}, {as_words}: cut at one of the first four harmonics");
            Row { quantity, required: "0", development, evaluation }
        })
    };
    kinds.into_iter().flat_map(row).collect()
}

/// Largest change of the response from 100 Hz to 8 kHz by a proposal, dB, without the high-pass and the level
/// compensation of the EQ stages.
fn change_db(profile: &Profile) -> f64 {
    let settings = propose(profile, Context::default()).settings;
    let rate = SampleRate::new(f64::from(RATE_HZ)).expect("an allowed rate");
    let coefs = StripCoefs::<1>::design(&settings, rate).expect("a proposal");
    let eqs = [StageId::CorrectiveEq, StageId::ToneEq];
    let at = |step: i32| -> f64 {
        let hz = 100.0 * 2.0_f64.powf(f64::from(step) / 24.0);
        eqs.iter().map(|&eq| coefs.stage_response(eq, hz).db() - coefs.compensation_db(eq)).sum()
    };
    (0..=151).map(|step| at(step).abs()).fold(0.0, f64::max)
}

pub(crate) fn no_harm() -> Vec<Row> {
    let read = for_each_speaker(|speaker| (!speaker.reverberant).then(|| change_db(&profile(&speaker.samples))));
    let known: Vec<(Subset, f64)> = read.iter().filter_map(|&(_, subset, db)| db.map(|db| (subset, db))).collect();
    let cell = |subset| {
        let mut all = of_subset(&known, subset);
        all.sort_by(f64::total_cmp);
        let at = |share: f64| all[((share * all.len() as f64).ceil() as usize).clamp(1, all.len()) - 1];
        let unchanged = share(all.iter().filter(|db| **db < 0.05).count(), all.len());
        format!("{:.1} / {:.1} / {:.1} dB; unchanged {unchanged}", at(0.5), at(0.9), at(1.0))
    };
    vec![Row {
        quantity: "clean voices, largest change of response from 100 Hz to 8 kHz: median / 90 % / worst".to_owned(),
        required: "1 / 3, 0.5 / 2.5 dB",
        development: cell(Subset::Development),
        evaluation: cell(Subset::Evaluation),
    }]
}
