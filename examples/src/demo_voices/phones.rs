//! Phone table: formants, durations and noise of vowels and consonants.

use super::segment::{Noise, Segment};
use super::speaker::Speaker;

/// Formant loci of the places of articulation, Hz, for men: neighbouring formants move towards them (common values of
/// locus theory, from memory).
const LABIAL: [f64; 3] = [260.0, 850.0, 2_250.0];
const ALVEOLAR: [f64; 3] = [300.0, 1_750.0, 2_650.0];
const PALATAL: [f64; 3] = [290.0, 1_950.0, 2_650.0];
const VELAR: [f64; 3] = [280.0, 1_900.0, 2_300.0];

const fn noise(low: f64, high: f64, q: f64, level_db: f64) -> Noise {
    Noise { centres: [low, high], q, level_db, burst: false, sibilant: false }
}

const fn burst(low: f64, high: f64, q: f64, level_db: f64) -> Noise {
    Noise { centres: [low, high], q, level_db, burst: true, sibilant: false }
}

// Spectral peaks around 6.8 (s), 3.8 (sh), 7.7 (f), 7.5 kHz (th), amplitudes −10, −9, −17, −18 dB re the vowel:
// Jongman, Wayland and Wong, JASA 108(3), 2000 (rounded values from abstracts).
const S: Noise = Noise { sibilant: true, ..noise(6_100.0, 7_600.0, 2.0, -10.0) };
const SH: Noise = noise(3_300.0, 4_400.0, 1.8, -9.0);
const F: Noise = noise(5_000.0, 10_500.0, 0.5, -17.0);
const TH: Noise = noise(4_800.0, 10_000.0, 0.5, -18.0);
const BURST_LABIAL: Noise = burst(700.0, 1_800.0, 0.6, -12.0);
const BURST_ALVEOLAR: Noise = burst(3_600.0, 5_200.0, 0.9, -9.0);
const BURST_VELAR: Noise = burst(1_700.0, 2_400.0, 1.4, -9.0);

/// Formants at start and end of a vowel, Hz: averages of men and of women from Peterson and Barney, "Control methods
/// used in a study of the vowels", JASA 24, 1952 (from memory). Diphthongs glide between two vowels.
pub(super) fn vowel(symbol: &str, female: bool) -> Option<([f64; 3], [f64; 3])> {
    let pick = |name: &str| -> [f64; 3] {
        let (men, women) = match name {
            "IY" => ([270.0, 2_290.0, 3_010.0], [310.0, 2_790.0, 3_310.0]),
            "IH" => ([390.0, 1_990.0, 2_550.0], [430.0, 2_480.0, 3_070.0]),
            "EH" => ([530.0, 1_840.0, 2_480.0], [610.0, 2_330.0, 2_990.0]),
            "AE" => ([660.0, 1_720.0, 2_410.0], [860.0, 2_050.0, 2_850.0]),
            "AA" => ([730.0, 1_090.0, 2_440.0], [850.0, 1_220.0, 2_810.0]),
            "AO" => ([570.0, 840.0, 2_410.0], [590.0, 920.0, 2_710.0]),
            "UH" => ([440.0, 1_020.0, 2_240.0], [470.0, 1_160.0, 2_680.0]),
            "UW" => ([300.0, 870.0, 2_240.0], [370.0, 950.0, 2_670.0]),
            "AH" => ([640.0, 1_190.0, 2_390.0], [760.0, 1_400.0, 2_780.0]),
            "ER" => ([490.0, 1_350.0, 1_690.0], [500.0, 1_640.0, 1_960.0]),
            // Neutral vocal tract of 17.5 cm (women: shorter): 500, 1500, 2500 Hz.
            _ => ([500.0, 1_500.0, 2_500.0], [570.0, 1_700.0, 2_850.0]),
        };
        if female { women } else { men }
    };
    let (name, stressed) = match symbol.strip_suffix('1') {
        Some(name) => (name, true),
        None => (symbol, false),
    };
    let (from, to) = match name {
        "AY" => ("AA", "IH"),
        "AW" => ("AA", "UH"),
        "OY" => ("AO", "IH"),
        "EY" => ("EH", "IY"),
        "OW" => ("AO", "UW"),
        // The unstressed form is the neutral vowel.
        "AH" if !stressed => ("", ""),
        "IY" | "IH" | "EH" | "AE" | "AA" | "AO" | "UH" | "UW" | "AH" | "ER" => (name, name),
        _ => return None,
    };
    Some((pick(from), pick(to)))
}

/// Segments of one phone.
pub(super) fn phone(symbol: &str, next_vowel: Option<([f64; 3], [f64; 3])>, speaker: &Speaker) -> Vec<Segment> {
    let scale = if speaker.female { 1.16 } else { 1.0 };
    let plain = Segment {
        start_s: 0.0,
        length_s: 0.06,
        formants: [0.0; 3],
        bandwidth: 1.0,
        voice: 0.0,
        breath: 0.0,
        noise: None,
        stressed: false,
        vowel: false,
        is_pause: false,
    };
    if let Some((from, to)) = vowel(symbol, speaker.female) {
        let stressed = symbol.ends_with('1');
        let (length, voice) = if stressed { (0.115, 1.0) } else { (0.065, 0.68) };
        let base = Segment { formants: from, voice, breath: 0.05 * speaker.breath, vowel: true, ..plain };
        if from == to {
            return vec![Segment { length_s: length, stressed, ..base }];
        }
        return vec![
            Segment { length_s: 0.72 * length, stressed, ..base },
            Segment { length_s: 0.68 * length, formants: to, voice: 0.8 * voice, ..base },
        ];
    }
    let at = |place: [f64; 3], length_s: f64, voice: f64| Segment {
        formants: place.map(|f| f * scale),
        length_s,
        voice,
        bandwidth: 1.4,
        ..plain
    };
    let with_noise =
        |segment: Segment, noise: Noise, offset_db: f64| Segment { noise: Some((noise, offset_db)), ..segment };
    let stop = |place: [f64; 3], release: Noise, voiced: bool| {
        let closure = at(place, if voiced { 0.048 } else { 0.058 }, if voiced { 0.16 } else { 0.0 });
        let crack = with_noise(at(place, 0.012, 0.0), release, if voiced { -4.0 } else { 0.0 });
        let mut segments = vec![Segment { bandwidth: 1.6, ..closure }, crack];
        if !voiced {
            let open = next_vowel.map_or(place.map(|f| f * scale), |v| v.0);
            segments.push(Segment { formants: open, length_s: 0.03, breath: 0.2, bandwidth: 1.5, ..plain });
        }
        segments
    };
    match symbol {
        "M" => vec![Segment { bandwidth: 2.4, ..at([270.0, 950.0, 2_200.0], 0.068, 0.5) }],
        "N" => vec![Segment { bandwidth: 2.4, ..at([270.0, 1_600.0, 2_600.0], 0.06, 0.5) }],
        "NG" => vec![Segment { bandwidth: 2.4, ..at([270.0, 2_000.0, 2_600.0], 0.07, 0.46) }],
        "L" => vec![at([350.0, 1_050.0, 2_750.0], 0.06, 0.6)],
        "R" => vec![at([370.0, 1_180.0, 1_600.0], 0.065, 0.62)],
        "W" => vec![at([300.0, 660.0, 2_250.0], 0.065, 0.58)],
        "Y" => vec![at([270.0, 2_150.0, 2_950.0], 0.055, 0.58)],
        "HH" => {
            let open = next_vowel.map_or([500.0, 1_500.0, 2_500.0], |v| v.0);
            vec![Segment { formants: open, length_s: 0.058, breath: 0.3, bandwidth: 1.5, voice: 0.05, ..plain }]
        }
        "S" => vec![with_noise(at(ALVEOLAR, 0.1, 0.0), S, 0.0)],
        "Z" => vec![with_noise(at(ALVEOLAR, 0.075, 0.26), S, -5.0)],
        "SH" => vec![with_noise(at(PALATAL, 0.105, 0.0), SH, 0.0)],
        "F" => vec![with_noise(at(LABIAL, 0.09, 0.0), F, 0.0)],
        "V" => vec![with_noise(at(LABIAL, 0.055, 0.42), F, -5.0)],
        "TH" => vec![with_noise(at(ALVEOLAR, 0.085, 0.0), TH, 0.0)],
        "DH" => vec![with_noise(at(ALVEOLAR, 0.042, 0.45), TH, -5.0)],
        "P" => stop(LABIAL, BURST_LABIAL, false),
        "B" => stop(LABIAL, BURST_LABIAL, true),
        "T" => stop(ALVEOLAR, BURST_ALVEOLAR, false),
        "D" => stop(ALVEOLAR, BURST_ALVEOLAR, true),
        "K" => stop(VELAR, BURST_VELAR, false),
        "G" => stop(VELAR, BURST_VELAR, true),
        "CH" => {
            let mut segments = stop(PALATAL, BURST_ALVEOLAR, false);
            segments.pop();
            segments.push(with_noise(at(PALATAL, 0.07, 0.0), SH, 0.0));
            segments
        }
        other => {
            debug_assert!(false, "no phone {other}");
            Vec::new()
        }
    }
}
