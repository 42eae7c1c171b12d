//! An invented report and its page.

use voicechain_examples::report::data::{
    ChangeReason, Demo, FORMAT, Fault, GainReduction, GainReductions, LedgerEntry, Levels, LoudnessChange, Mix, Reason,
    Report, StageDescription, Target, Timing, Voice, WrittenFile,
};
use voicechain_examples::report::excerpt::{ClipBudget, encode_pair};
use voicechain_examples::report::{Excerpt, LoudnessWindow, MixSeries, ReportPage, TimeSeries, VoiceSeries};

fn reduction(median_db: f64, p95_db: f64, max_db: f64) -> GainReduction {
    GainReduction { median_db, p95_db, max_db }
}

fn levels(integrated: f64, range: f64, true_peak: f64, sample_peak: f64) -> Levels {
    Levels {
        integrated_lufs: Some(integrated),
        loudness_range_lu: Some(range),
        true_peak_dbtp: Some(true_peak),
        sample_peak_dbfs: Some(sample_peak),
    }
}

fn settings(rows: &[(&str, bool, &str, Option<&str>)]) -> Vec<StageDescription> {
    rows.iter()
        .map(|&(stage, on, words, why)| StageDescription {
            stage: stage.into(),
            on,
            description: words.into(),
            rationale: why.map(Into::into),
        })
        .collect()
}

fn ledger(rows: &[(&str, f64)]) -> Vec<LedgerEntry> {
    rows.iter().map(|&(stage, lu)| LedgerEntry { stage: stage.into(), lu: Some(lu) }).collect()
}

fn changes(rows: &[(ChangeReason, f64)]) -> Vec<LoudnessChange> {
    rows.iter().map(|&(reason, lu)| LoudnessChange { reason, lu: Some(lu) }).collect()
}

fn evidence(rows: &[(&str, &[&str], &str)]) -> Vec<Reason> {
    rows.iter()
        .map(|&(stage, settings, sentence)| Reason {
            stage: stage.into(),
            settings: settings.iter().map(|id| format!("{stage}.{id}")).collect(),
            sentence: sentence.into(),
            confidence: 0.8,
        })
        .collect()
}

pub(crate) fn sample_report() -> Report {
    let guest = Voice {
        name: "Guest".into(),
        file: "guest-kitchen.wav".into(),
        duration_s: 95.2,
        sample_rate_hz: 44_100,
        channels: 1,
        input: levels(-27.94, 9.1, -3.12, -3.4),
        output: levels(-18.21, 6.02, -1.02, -1.31),
        ledger: ledger(&[
            ("trim", 7.0),
            ("hum", -0.03),
            ("high_pass", -0.12),
            ("de_reverb", -0.42),
            ("expander", -0.1),
            ("leveller", 0.55),
            ("corrective_eq", 0.08),
            ("de_esser", -0.14),
            ("compressor", -2.94),
            ("tone_eq", -0.11),
            ("limiter", -0.02),
            ("output", 2.6),
        ]),
        beside_ledger: changes(&[
            (ChangeReason::Gating, 0.0),
            (ChangeReason::TwoChannels, 3.01),
            (ChangeReason::Balance, 0.37),
        ]),
        gain_reduction: GainReductions {
            de_reverb: reduction(0.92, 8.31, 11.7),
            expander: reduction(0.0, 6.27, 13.07),
            leveller: reduction(0.0, 3.17, 4.02),
            compressor: reduction(1.31, 4.12, 6.84),
            de_esser: reduction(0.0, 3.44, 5.9),
            limiter: reduction(0.0, 0.0, 0.42),
        },
        settings: settings(&[
            ("trim", true, "+7.0 dB", None),
            ("hum", true, "50 Hz · 8 lines", None),
            ("high_pass", true, "72 Hz · 24 dB/oct", None),
            ("de_reverb", true, "long · 0.62 s · range 12 dB", None),
            ("expander", true, "8 dB over the noise · 4:1 · range 9 dB", None),
            ("leveller", true, "−23 LUFS · at most +8 dB and −12 dB", None),
            ("corrective_eq", true, "−5.8 dB at 455 Hz, Q 1.5 · −2.0 dB at 210 Hz, Q 1.4 · compensated", None),
            ("de_esser", true, "6.4 kHz · threshold 0.0 dB · range 6 dB · split-band", None),
            ("compressor", true, "−24 dB · 3:1 · knee 6 dB · 4 ms · 120 ms · auto release", None),
            ("tone_eq", true, "+2.0 dB at 140 Hz · +2.2 dB at 3.7 kHz · compensated", None),
            ("limiter", true, "ceiling −1.0 dBTP · 1.5 ms · 80 ms", None),
            ("output", true, "+2.6 dB", None),
        ]),
        settings_source: "proposed from the measurement, with the host’s changes".into(),
        evidence: evidence(&[
            (
                "trim",
                &["gain_db"],
                "The integrated loudness is −27.9 LUFS; the working level is −21.0 LUFS: trim gain 7.0 dB (an invented \
                 document).",
            ),
            (
                "high_pass",
                &["on", "frequency_hz"],
                "The 10th percentile of the pitch is 103 Hz; the high-pass cutoff is set to 72 Hz: high-pass on, \
                 frequency 72 Hz (common practice, no source).",
            ),
            (
                "high_pass",
                &["slope"],
                "The rumble level relative to the voice is −18.4 dB; the typical maximum is −30.0 dB: high-pass slope \
                 24 dB/oct (common practice, no source).",
            ),
        ]),
        left_off: vec![],
        balance_gain_db: 0.37,
        warnings: vec!["14 samples in 3 places are clipped; what was cut off there is not restored.".into()],
    };
    let host = Voice {
        name: "Host".into(),
        file: "host-studio.flac".into(),
        duration_s: 92.75,
        sample_rate_hz: 48_000,
        channels: 2,
        input: levels(-19.6, 5.4, -2.0, -2.2),
        output: levels(-18.34, 4.81, -1.4, -1.62),
        ledger: ledger(&[
            ("trim", -1.4),
            ("high_pass", -0.04),
            ("corrective_eq", 0.0),
            ("de_esser", -0.02),
            ("compressor", -1.62),
            ("tone_eq", 0.06),
            ("limiter", 0.0),
            ("output", 4.6),
        ]),
        beside_ledger: changes(&[(ChangeReason::Gating, 0.0), (ChangeReason::Balance, -0.32)]),
        gain_reduction: GainReductions {
            compressor: reduction(0.72, 2.66, 4.4),
            de_esser: reduction(0.0, 0.52, 1.8),
            limiter: reduction(0.0, 0.0, 0.0),
            ..GainReductions::default()
        },
        settings: settings(&[
            ("trim", true, "−1.4 dB", None),
            ("high_pass", true, "80 Hz · 18 dB/oct", None),
            ("corrective_eq", false, "off", None),
            ("de_esser", true, "5.0 kHz · threshold 3.0 dB · range 6 dB · split-band", None),
            (
                "compressor",
                true,
                "−22 dB · 2.5:1 · knee 6 dB · 5 ms · 100 ms",
                Some("from the voice before, threshold 2 dB higher"),
            ),
            ("tone_eq", true, "+1.0 dB at 9 kHz · compensated", None),
            ("limiter", true, "ceiling −1.0 dBTP · 1.5 ms · 80 ms", None),
            ("output", true, "+4.6 dB", None),
        ]),
        settings_source: "from host.toml".into(),
        evidence: vec![],
        left_off: vec![],
        balance_gain_db: -0.32,
        warnings: vec![],
    };
    Report {
        format: FORMAT,
        title: "An interview of two voices".into(),
        demo: Some(Demo {
            scenario: "A guest speaks in a kitchen, the host in a studio; nobody can be asked to record again.".into(),
            faults: vec![
                Fault {
                    voice: "Guest".into(),
                    description: "8 dB too quiet, boxy at 455 Hz by 6 dB, rumble under 60 Hz".into(),
                },
                Fault { voice: "Host".into(), description: "sibilants 4 dB too strong".into() },
            ],
        }),
        voices: vec![guest, host],
        mix: Mix {
            integrated_lufs: Some(-16.02),
            loudness_range_lu: Some(5.31),
            true_peak_dbtp: Some(-1.04),
            sample_peak_dbfs: Some(-1.2),
            sample_rate_hz: 48_000,
            bits: 24,
            channels: 2,
            duration_s: 95.2,
            programme_gain_db: -0.76,
            limiter: reduction(0.0, 0.31, 2.14),
            shortfall: None,
        },
        target: Target { integrated_lufs: -16.0, ceiling_dbtp: -1.0, tolerance_lu: 0.5, document: None },
        timing: Timing { programme_s: 95.2, processing_s: 2.134 },
        warnings: vec!["The recordings differ in length by 2.5 s; the shorter one ends in silence.".into()],
        files: [
            ("mix.wav", "the delivered mix"),
            ("voice-guest.wav", "Guest, processed and balanced, aligned with the recording"),
            ("voice-host.wav", "Host, processed and balanced, aligned with the recording"),
            ("settings-guest.toml", "settings of Guest’s strip"),
            ("settings-host.toml", "settings of Host’s strip"),
            ("report.json", "the numbers of this page"),
        ]
        .map(|(name, what)| WrittenFile { name: name.into(), description: what.into() })
        .into(),
    }
}

/// Pseudo-random numbers from -1 to 1.
struct Chance(u32);

impl Chance {
    fn next(&mut self) -> f32 {
        self.0 = self.0.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (self.0 >> 8) as f32 / 8_388_608.0 - 1.0
    }
}

/// Phrases with pauses: loudness before and after, and the gain of three stages.
pub(crate) fn invented_course(
    seconds: f32,
    level: f32,
    lift: f32,
    seed: u32,
) -> (TimeSeries, TimeSeries, Vec<(String, TimeSeries)>) {
    let mut chance = Chance(seed);
    let count = (seconds * 10.0) as usize;
    let times: Vec<f32> = (0..count).map(|n| n as f32 / 10.0).collect();
    let (mut before, mut after) = (Vec::new(), Vec::new());
    let (mut compressor, mut de_esser, mut limiter) = (Vec::new(), Vec::new(), Vec::new());
    let (mut speaks, mut left, mut shape) = (true, 40usize, 0.0f32);
    for n in 0..count {
        if left == 0 {
            speaks = !speaks;
            left = if speaks { 50.0 + 40.0 * chance.next() } else { 22.0 + 14.0 * chance.next() } as usize;
        }
        left -= 1;
        shape = 0.85 * shape + 1.4 * chance.next();
        let t = n as f32 / 10.0;
        let swing = 2.5 * (t * 0.31 + seed as f32).sin() + shape;
        if speaks {
            before.push(level + swing);
            let reduction = (2.0 + 0.9 * swing).max(0.0);
            after.push(level + lift + 0.5 * swing);
            compressor.push(-reduction);
            de_esser.push(if chance.next() > 0.8 { -3.0 - 2.0 * chance.next() } else { 0.0 });
            limiter.push(if chance.next() > 0.985 { -0.6 * (1.0 + chance.next()) } else { 0.0 });
        } else {
            before.push(if n % 3 == 0 { f32::NEG_INFINITY } else { level - 46.0 });
            after.push(level + lift - 38.0 + chance.next());
            compressor.push(0.0);
            de_esser.push(0.0);
            limiter.push(0.0);
        }
    }
    // Mean over three seconds, as for short-term loudness.
    let slide = |levels: Vec<f32>| -> Vec<f32> {
        let mut window = std::collections::VecDeque::from([0.0f64; 30]);
        let mut sum = 0.0;
        let mut mean = |level: f32| {
            let power = 10f64.powf(f64::from(level) / 10.0);
            window.push_back(power);
            sum += power - window.pop_front().unwrap_or(0.0);
            (10.0 * (sum.max(0.0) / 30.0).log10()) as f32
        };
        levels.into_iter().map(&mut mean).collect()
    };
    let (before, after) = (slide(before), slide(after));
    let series = |values| TimeSeries { seconds: times.clone(), values };
    let gain = vec![
        ("de_esser".into(), series(de_esser)),
        ("compressor".into(), series(compressor)),
        ("limiter".into(), series(limiter)),
    ];
    (series(before), series(after), gain)
}

const THIRD_OCTAVES: [f32; 25] = [
    63.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 315.0, 400.0, 500.0, 630.0, 800.0, 1000.0, 1250.0, 1600.0, 2000.0,
    2500.0, 3150.0, 4000.0, 5000.0, 6300.0, 8000.0, 10000.0, 12500.0, 16000.0,
];

/// A spectrum that differs from the long-term average of speech (Byrne et al. 1994, combined) by these values, dB.
fn spectrum(differences: [f32; 25]) -> Vec<(f32, f32)> {
    const SPEECH: [f32; 25] = [
        38.6, 43.5, 54.4, 57.7, 56.8, 60.2, 60.3, 59.0, 62.1, 62.1, 60.5, 56.8, 53.7, 53.0, 52.0, 48.7, 48.1, 46.8,
        45.6, 44.5, 44.3, 43.7, 43.4, 41.3, 40.7,
    ];
    (0..25).map(|band| (THIRD_OCTAVES[band], SPEECH[band] + differences[band] - 96.0)).collect()
}

fn bell(hz: f32, centre: f32, gain: f32, octaves: f32) -> f32 {
    gain * (-((hz / centre).log2() / octaves).powi(2)).exp()
}

pub(crate) fn sample_page() -> ReportPage {
    let report = sample_report();
    let response: Vec<(f32, f32)> = (0..240)
        .map(|n| {
            let hz = 20.0 * 1000f32.powf(n as f32 / 239.0);
            let high_pass = -10.0 * (1.0 + (72.0 / hz).powi(8)).log10();
            let bells = bell(hz, 455.0, -5.8, 0.6) + bell(hz, 210.0, -2.0, 0.6) + bell(hz, 3_700.0, 2.2, 0.9);
            (hz, high_pass + bells + 2.0 / (1.0 + (hz / 140.0).powi(2)) + 1.1)
        })
        .collect();
    let rumble = [
        26.0, 17.0, 4.0, -2.5, -2.8, -1.0, 0.5, 3.0, 6.4, 7.5, 4.0, 2.0, 0.5, 0.0, -1.0, -1.4, -2.0, -3.0, -3.4, 0.8,
        5.4, 4.6, 1.0, -4.0, -15.0,
    ];
    let after = [
        3.0, 9.5, 4.2, 0.8, -0.5, 0.1, 0.2, 1.0, 1.8, 2.0, 1.5, 1.2, 0.4, 0.0, -0.3, -0.5, -0.4, -0.7, -0.9, 0.8, 3.2,
        2.4, 1.0, -2.0, -13.0,
    ];
    let mut chance = Chance(7);
    let mut clip = |seconds: usize, level: f32| {
        let mut low = 0.0f32;
        (0..seconds * 24_000)
            .map(|n| {
                low = 0.95 * low + 0.05 * chance.next();
                let syllable = (n as f32 / 24_000.0 * 19.0).sin().max(0.0);
                low * level * syllable
            })
            .collect::<Vec<f32>>()
    };
    let budget = ClipBudget::for_clips(4).expect("room");
    let (before, after_clip) = encode_pair(&clip(2, 0.9), &clip(2, 0.9), 1, 24_000, &budget).expect("clips");
    let excerpt = |start_s, loudness_match_db, peak_attenuation_db| {
        Some(Excerpt {
            start_s,
            before: before.clone(),
            after: after_clip.clone(),
            loudness_match_db,
            peak_attenuation_db,
        })
    };
    let (guest_before, guest_after, guest_gain) = invented_course(95.2, -27.0, 9.0, 3);
    let (host_before, host_after, host_gain) = invented_course(92.7, -19.0, 1.2, 11);
    let (_, mix, limiter) = invented_course(95.2, -17.0, 1.0, 5);
    let flat: Vec<(f32, f32)> =
        THIRD_OCTAVES.iter().map(|hz| (*hz, -10.0 * (1.0 + (80.0 / hz).powi(6)).log10())).collect();
    let voices = vec![
        VoiceSeries {
            spectrum_before: spectrum(rumble),
            spectrum_after: spectrum(after),
            bands: vec![(455.0, response_at(&response, 455.0)), (3_700.0, response_at(&response, 3_700.0))],
            response,
            pitch_hz: Some(120.0),
            window: LoudnessWindow::ShortTerm,
            loudness_before: guest_before,
            loudness_after: guest_after,
            gain: guest_gain,
            excerpt: excerpt(31.0, 9.73, 0.0),
        },
        VoiceSeries {
            spectrum_before: spectrum(rumble.map(|db| db * 0.4)),
            spectrum_after: spectrum(after.map(|db| db * 0.4 - 0.5)),
            response: flat,
            bands: vec![],
            pitch_hz: None,
            window: LoudnessWindow::ShortTerm,
            loudness_before: host_before,
            loudness_after: host_after,
            gain: host_gain,
            excerpt: excerpt(74.0, 1.26, 0.8),
        },
    ];
    let mix = MixSeries {
        window: LoudnessWindow::ShortTerm,
        loudness: mix,
        limiter_gain: limiter.into_iter().nth(2).expect("three").1,
        excerpt: Some((31.0, before)),
    };
    ReportPage { report, voices, mix }
}

fn response_at(response: &[(f32, f32)], hz: f32) -> f32 {
    response.iter().find(|point| point.0 >= hz).expect("in range").1
}
