//! Two speech-like voices in an invented interview, made from source-filter theory, with known faults.
//!
//! A host asks, a lighthouse keeper's apprentice answers. Nobody's voice was recorded: glottal pulses (Rosenberg, "Effect
//! of glottal pulse shape on the quality of natural vowels", JASA 49, 1971, the trigonometric shape) with jitter and
//! shimmer pass through formant resonators set to published vowel formants (Peterson and Barney 1952), shaped noise
//! makes fricatives and bursts, and a pitch contour with declination and accents carries the phrases. Each voice is then
//! equalised to the published average spectrum of speech (Byrne et al. 1994), so that what a measurement finds later is
//! what was put in: the [faults](DemoVoice::faults).

use std::f64::consts::{PI, TAU};
use std::fmt;

use dasp_signal::Signal;
use realfft::num_complex::Complex;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};

/// A fault that was put into a voice, with its true value.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Fault {
    /// The voice is quieter than the other: difference of the levels while speaking.
    Quieter {
        /// The difference in dB.
        db: f64,
    },
    /// Room reverberation.
    Room {
        /// Time of decay by 60 dB, in seconds, the same at all frequencies.
        t60_s: f64,
        /// Energy of the direct sound over that of the room, in dB.
        direct_to_room_db: f64,
    },
    /// A resonance: a bell of fixed gain.
    Resonance {
        /// Centre in Hz.
        hz: f64,
        /// Gain at the centre in dB.
        gain_db: f64,
        /// Quality.
        q: f64,
    },
    /// Mains hum with its harmonics.
    Hum {
        /// Mains frequency in Hz.
        hz: f64,
        /// Level of all harmonics together, in dBFS (RMS).
        level_dbfs: f64,
    },
    /// Noise at very low frequencies, as from footsteps and wind.
    Rumble {
        /// Where it ends, in Hz.
        below_hz: f64,
        /// Level in dBFS (RMS).
        level_dbfs: f64,
    },
    /// Treble is missing: a high shelf.
    Dull {
        /// Middle of the shelf's slope in Hz.
        above_hz: f64,
        /// Gain of the shelf in dB.
        gain_db: f64,
    },
    /// Sibilants (/s/ and /z/) are too loud.
    Sibilant {
        /// By how much, in dB.
        gain_db: f64,
    },
    /// Single syllables jump out.
    Spikes {
        /// By how much, in dB.
        gain_db: f64,
        /// Middles of the syllables, in seconds.
        at_s: Vec<f64>,
    },
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Quieter { db } => write!(f, "{db} dB quieter than the other voice"),
            Self::Room { t60_s, direct_to_room_db } => {
                write!(f, "a live room: decay time {t60_s} s, direct sound {direct_to_room_db} dB above the room")
            }
            Self::Resonance { hz, gain_db, q } => write!(f, "boxy: a resonance of {gain_db} dB at {hz} Hz, Q {q}"),
            Self::Hum { hz, level_dbfs } => write!(f, "mains hum of {hz} Hz and its harmonics at {level_dbfs} dBFS"),
            Self::Rumble { below_hz, level_dbfs } => write!(f, "rumble below {below_hz} Hz at {level_dbfs} dBFS"),
            Self::Dull { above_hz, gain_db } => write!(f, "dull: a shelf of {gain_db} dB above {above_hz} Hz"),
            Self::Sibilant { gain_db } => write!(f, "sibilant: /s/ and /z/ {gain_db} dB too loud"),
            Self::Spikes { gain_db, at_s } => write!(f, "{} syllables that jump out by {gain_db} dB", at_s.len()),
        }
    }
}

/// One voice of the demo, mono, as its microphone heard it.
#[derive(Debug, Clone)]
pub struct DemoVoice {
    /// "host" or "guest".
    pub name: &'static str,
    /// Sample rate in Hz; the two differ.
    pub rate_hz: u32,
    /// The recording, faults and room tone included.
    pub recording: Vec<f32>,
    /// The same voice without any fault, at the same instants: what a perfect repair would give.
    pub clean: Vec<f32>,
    /// What is wrong with the recording.
    pub faults: Vec<Fault>,
    /// When this voice speaks: beginnings and ends in seconds.
    pub turns: Vec<(f64, f64)>,
}

/// Level of the host while speaking, RMS in dBFS.
const HOST_LEVEL_DBFS: f64 = -27.0;
/// Noise of room and microphone between the words, RMS in dBFS.
const ROOM_TONE_DBFS: f64 = -68.0;
const QUIETER_DB: f64 = 9.0;
const ROOM_T60_S: f64 = 0.55;
const DIRECT_TO_ROOM_DB: f64 = 3.0;
const BOXY: (f64, f64, f64) = (420.0, 7.0, 2.0);
const HUM: (f64, f64) = (50.0, -55.0);
const RUMBLE: (f64, f64) = (40.0, -50.0);
const DULL: (f64, f64) = (4_500.0, -8.0);
const SIBILANT_DB: f64 = 7.0;
const SPIKE_DB: f64 = 12.0;

/// Makes both voices, the host first. They share one clock and one duration.
pub fn interview() -> [DemoVoice; 2] {
    let (plans, duration_s) = plan();
    let [host_plan, guest_plan] = plans;
    std::thread::scope(|scope| {
        let guest = scope.spawn(move || guest(&guest_plan, duration_s));
        let host = host(&host_plan, duration_s);
        match guest.join() {
            Ok(guest) => [host, guest],
            Err(panic) => std::panic::resume_unwind(panic),
        }
    })
}

fn host(plan: &Plan, duration_s: f64) -> DemoVoice {
    let rate = 48_000;
    let stems = speak(plan, &HOST, rate, duration_s);
    let tilt = to_published_spectrum(&stems, rate, &HOST);
    let rest = convolve(&stems.rest, &tilt);
    let hiss = convolve(&stems.sibilants, &tilt);
    let mut clean: Vec<f32> = rest.iter().zip(&hiss).map(|(r, s)| r + s).collect();
    let gain = db(HOST_LEVEL_DBFS - active_level(&clean, rate)) as f32;
    clean.iter_mut().for_each(|s| *s *= gain);
    let extra = gain * (db(SIBILANT_DB) - 1.0) as f32;
    let mut recording: Vec<f32> = clean.iter().zip(&hiss).map(|(c, s)| c + extra * s).collect();
    let at_s: Vec<f64> = [0.12, 0.38, 0.55, 0.74, 0.93]
        .iter()
        .map(|share| plan.stressed[(share * plan.stressed.len() as f64) as usize])
        .collect();
    for &middle in &at_s {
        let (from, count) = (((middle - 0.05) * f64::from(rate)) as usize, rate as usize / 10);
        for (n, sample) in recording.iter_mut().skip(from).take(count).enumerate() {
            let shape = 0.5 - 0.5 * (TAU * n as f64 / count as f64).cos();
            *sample *= db(SPIKE_DB * shape) as f32;
        }
    }
    add_room_tone(&mut recording, rate, 11);
    DemoVoice {
        name: "host",
        rate_hz: rate,
        recording,
        clean,
        faults: vec![Fault::Sibilant { gain_db: SIBILANT_DB }, Fault::Spikes { gain_db: SPIKE_DB, at_s }],
        turns: plan.turns.clone(),
    }
}

fn guest(plan: &Plan, duration_s: f64) -> DemoVoice {
    let rate = 44_100;
    let stems = speak(plan, &GUEST, rate, duration_s);
    let tilt = to_published_spectrum(&stems, rate, &GUEST);
    let both: Vec<f32> = stems.rest.iter().zip(&stems.sibilants).map(|(r, s)| r + s).collect();
    let mut clean = convolve(&both, &tilt);
    let level = HOST_LEVEL_DBFS - QUIETER_DB;
    let gain = db(level - active_level(&clean, rate)) as f32;
    clean.iter_mut().for_each(|s| *s *= gain);

    let mut recording = convolve(&clean, &room(rate));
    Biquad::bell(BOXY.0, BOXY.1, BOXY.2, rate).run(&mut recording);
    Biquad::high_shelf(DULL.0, DULL.1, rate).run(&mut recording);
    let gain = db(level - active_level(&recording, rate)) as f32;
    recording.iter_mut().for_each(|s| *s *= gain);
    add_hum(&mut recording, rate);
    add_rumble(&mut recording, rate);
    add_room_tone(&mut recording, rate, 12);
    DemoVoice {
        name: "guest",
        rate_hz: rate,
        recording,
        clean,
        faults: vec![
            Fault::Quieter { db: QUIETER_DB },
            Fault::Room { t60_s: ROOM_T60_S, direct_to_room_db: DIRECT_TO_ROOM_DB },
            Fault::Resonance { hz: BOXY.0, gain_db: BOXY.1, q: BOXY.2 },
            Fault::Dull { above_hz: DULL.0, gain_db: DULL.1 },
            Fault::Hum { hz: HUM.0, level_dbfs: HUM.1 },
            Fault::Rumble { below_hz: RUMBLE.0, level_dbfs: RUMBLE.1 },
        ],
        turns: plan.turns.clone(),
    }
}

// ---- what is said ---------------------------------------------------------------------------------------------------

/// The interview in the phoneme letters of the ARPABET, 1 after a stressed vowel. The host asks first.
const TALK: [&str; 10] = [
    "S OW1 , T EH1 L M IY HH AW1 Y UW K EY1 M T UW DH AH L AY1 T HH AW S . W AA1 Z IH T Y AO1 R AY D IY1 AH ?",
    "N OW1 , IH T W AA Z M AY AE1 N T S . SH IY S AO1 DH AH N OW1 T IH S IH N DH AH W IH1 N D OW AH V DH AH B EY1 K \
     ER IY , AE N D SH IY S EH1 D , Y UW N EH1 V ER S L IY1 P EH1 N IY W EY .",
    "W AH1 T D IH D DH AH F ER1 S T N AY1 T S AW1 N D L AY K ?",
    "M OW1 S T L IY W IH1 N D . AE N D AH S L OW1 T IH1 K IH NG F R AH M DH AH K L AA1 K W ER K DH AE T T ER1 N Z DH AH \
     L EH1 N Z . AE1 F T ER AE N AW1 ER AY S T AA1 P T HH IH1 R IH NG IH T , AE N D DH EH1 N IH T S T AA1 P T , AE N D \
     DH AE1 T W AA Z DH AH L AW1 D AH S T TH IH1 NG AH V AO1 L .",
    "AE N D W AH1 T D AH Z W AH1 N D UW DH EH1 N , AH L OW1 N , AA N T AA1 P AH V S IH1 K S T IY S T EH1 P S ?",
    "Y UW K AW1 N T . Y UW K L AY1 M D AW1 N , Y UW OY1 L DH AH B R AE1 S , Y UW W AY1 N D IH T AH1 P AH G EH1 N , \
     AE N D Y UW HH OW1 P DH AE T N OW1 B AH D IY S AO1 .",
    "D IH D S AH1 M B AH D IY S IY1 ?",
    "DH AH HH OW1 L HH AA1 R B ER . DH EY S T IH1 L R IH1 NG DH AH B EH1 L F ER M IY IY1 CH Y IH1 R .",
    "TH AE1 NG K Y UW . L EH1 T AH S L IH1 S AH N T UW DH AH T EY1 P F R AH M DH AE T S EY1 M S IY1 Z AH N , DH EH R \
     IH Z AH S T AO1 R M IH N IH T , S OW P L IY1 Z S IH1 T D AW1 N F ER1 S T .",
    "AE N D HH OW1 L D AA1 N T UW Y AO R HH AE1 T .",
];

/// Who speaks: everything in which the two voices differ.
struct Speaker {
    seed: u64,
    pitch_hz: f64,
    /// Spread of the pitch contour around its base.
    liveliness: f64,
    /// Durations relative to the table.
    pace: f64,
    female: bool,
    breath: f64,
}

const HOST: Speaker = Speaker { seed: 1, pitch_hz: 188.0, liveliness: 1.15, pace: 0.98, female: true, breath: 0.5 };
const GUEST: Speaker = Speaker { seed: 2, pitch_hz: 112.0, liveliness: 0.9, pace: 1.06, female: false, breath: 0.35 };

/// Where a consonant is formed: the formants that its neighbours bend towards (Hz, a man's; common values of locus
/// theory, from memory).
const LIPS: [f64; 3] = [260.0, 850.0, 2_250.0];
const TEETH: [f64; 3] = [300.0, 1_750.0, 2_650.0];
const PALATE: [f64; 3] = [290.0, 1_950.0, 2_650.0];
const VELUM: [f64; 3] = [280.0, 1_900.0, 2_300.0];

/// Noise of a fricative or burst: centres and quality of two band-passes in series.
#[derive(Clone, Copy, PartialEq)]
struct Noise {
    centres: [f64; 2],
    q: f64,
    /// Level re vowels in dB.
    level_db: f64,
    burst: bool,
    sibilant: bool,
}

const fn noise(low: f64, high: f64, q: f64, level_db: f64) -> Noise {
    Noise { centres: [low, high], q, level_db, burst: false, sibilant: false }
}

const fn burst(low: f64, high: f64, q: f64, level_db: f64) -> Noise {
    Noise { centres: [low, high], q, level_db, burst: true, sibilant: false }
}

// Spectral peaks around 6.8 (s), 3.8 (sh), 7.7 (f), 7.5 kHz (th), amplitudes −10, −9, −17, −18 dB re the vowel: Jongman,
// Wayland and Wong, JASA 108(3), 2000 (rounded values from abstracts).
const S: Noise = Noise { sibilant: true, ..noise(6_100.0, 7_600.0, 2.0, -10.0) };
const SH: Noise = noise(3_300.0, 4_400.0, 1.8, -9.0);
const F: Noise = noise(5_000.0, 10_500.0, 0.5, -17.0);
const TH: Noise = noise(4_800.0, 10_000.0, 0.5, -18.0);
const BURST_LIPS: Noise = burst(700.0, 1_800.0, 0.6, -12.0);
const BURST_TEETH: Noise = burst(3_600.0, 5_200.0, 0.9, -9.0);
const BURST_VELUM: Noise = burst(1_700.0, 2_400.0, 1.4, -9.0);

/// A stretch of constant targets.
#[derive(Clone, Copy)]
struct Segment {
    start_s: f64,
    length_s: f64,
    formants: [f64; 3],
    /// Bandwidths relative to those of a vowel.
    width: f64,
    voice: f64,
    breath: f64,
    noise: Option<(Noise, f64)>,
    stressed: bool,
    vowel: bool,
    is_pause: bool,
}

/// All that one voice does, on the common clock.
#[derive(Default)]
struct Plan {
    segments: Vec<Segment>,
    /// Phrases: beginning, end, number of the phrase in its sentence, how it ends.
    phrases: Vec<(f64, f64, usize, char)>,
    turns: Vec<(f64, f64)>,
    /// Middles of the stressed vowels, in seconds.
    stressed: Vec<f64>,
}

fn plan() -> ([Plan; 2], f64) {
    let mut plans = [Plan::default(), Plan::default()];
    let mut dice = [Dice::new(HOST.seed), Dice::new(GUEST.seed)];
    let mut now = 0.7;
    for (turn, text) in TALK.iter().enumerate() {
        let who = turn % 2;
        let speaker = if who == 0 { &HOST } else { &GUEST };
        now = plans[who].turn(text, now, speaker, &mut dice[who]);
        now += if who == 0 { 0.42 } else { 0.55 } + 0.15 * dice[who].uniform();
    }
    (plans, (now + 0.6).ceil())
}

impl Plan {
    /// Appends one turn and gives its end.
    fn turn(&mut self, text: &str, start_s: f64, speaker: &Speaker, dice: &mut Dice) -> f64 {
        let mut now = start_s;
        let quiet = |now: f64, length_s: f64, breath: f64| Segment {
            start_s: now,
            length_s,
            formants: [550.0, 1_500.0, 2_600.0],
            width: 2.0,
            voice: 0.0,
            breath,
            noise: None,
            stressed: false,
            vowel: false,
            is_pause: true,
        };
        // A breath, then a moment of rest.
        self.segments.push(quiet(now, 0.32, speaker.breath * 0.09));
        self.segments.push(quiet(now + 0.32, 0.1, 0.0));
        now += 0.42;
        let speech_from = now;
        let (mut phrase_from, mut phrase_first, mut phrase_number) = (now, self.segments.len(), 0);
        let phones: Vec<&str> = text.split_whitespace().collect();
        for (index, &symbol) in phones.iter().enumerate() {
            if let "," | "." | "?" = symbol {
                // The last syllable of a phrase is longer.
                let last_vowel =
                    self.segments[phrase_first..].iter().rposition(|s| s.vowel).unwrap_or(0) + phrase_first;
                let mut at = self.segments[last_vowel].start_s;
                for segment in &mut self.segments[last_vowel..] {
                    segment.start_s = at;
                    segment.length_s *= if segment.vowel { 1.45 } else { 1.2 };
                    at += segment.length_s;
                }
                now = at;
                let end = symbol.chars().next().unwrap_or('.');
                self.phrases.push((phrase_from, now, phrase_number, end));
                phrase_number = if end == ',' { phrase_number + 1 } else { 0 };
                let last = index + 1 == phones.len();
                let pause = if last { 0.06 } else { 0.2 + 0.12 * dice.uniform() + if end == ',' { 0.0 } else { 0.25 } };
                let rest = if pause > 0.4 { 0.25 } else { pause };
                self.segments.push(quiet(now, rest, 0.0));
                if pause > 0.4 {
                    self.segments.push(quiet(now + rest, pause - rest - 0.04, speaker.breath * 0.06));
                    self.segments.push(quiet(now + pause - 0.04, 0.04, 0.0));
                }
                now += pause;
                (phrase_from, phrase_first) = (now, self.segments.len());
                continue;
            }
            let next_vowel = phones[index + 1..].iter().find_map(|s| vowel(s, speaker.female));
            for mut segment in phone(symbol, next_vowel, speaker) {
                segment.start_s = now;
                segment.length_s *= speaker.pace * (0.92 + 0.16 * dice.uniform());
                segment.voice *= db(1.6 * (dice.uniform() - 0.5));
                now += segment.length_s;
                self.segments.push(segment);
            }
        }
        for segment in &self.segments {
            if segment.stressed && segment.start_s >= speech_from {
                self.stressed.push(segment.start_s + segment.length_s / 2.0);
            }
        }
        self.turns.push((speech_from, now));
        now
    }
}

/// Formants of a vowel at its beginning and its end: Peterson and Barney, "Control methods used in a study of the
/// vowels", JASA 24, 1952, averages of men and women (from memory); diphthongs run between two of them.
fn vowel(symbol: &str, female: bool) -> Option<([f64; 3], [f64; 3])> {
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
            // The neutral tract of 17.5 cm (and a shorter one): 500, 1500, 2500 Hz.
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
        // Unstressed, it is the neutral vowel.
        "AH" if !stressed => ("", ""),
        "IY" | "IH" | "EH" | "AE" | "AA" | "AO" | "UH" | "UW" | "AH" | "ER" => (name, name),
        _ => return None,
    };
    Some((pick(from), pick(to)))
}

/// The segments of one phone.
fn phone(symbol: &str, next_vowel: Option<([f64; 3], [f64; 3])>, speaker: &Speaker) -> Vec<Segment> {
    let scale = if speaker.female { 1.16 } else { 1.0 };
    let plain = Segment {
        start_s: 0.0,
        length_s: 0.06,
        formants: [0.0; 3],
        width: 1.0,
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
        width: 1.4,
        ..plain
    };
    let hiss = |segment: Segment, noise: Noise, offset_db: f64| Segment { noise: Some((noise, offset_db)), ..segment };
    let stop = |place: [f64; 3], release: Noise, voiced: bool| {
        let closure = at(place, if voiced { 0.048 } else { 0.058 }, if voiced { 0.16 } else { 0.0 });
        let crack = hiss(at(place, 0.012, 0.0), release, if voiced { -4.0 } else { 0.0 });
        let mut segments = vec![Segment { width: 1.6, ..closure }, crack];
        if !voiced {
            let open = next_vowel.map_or(place.map(|f| f * scale), |v| v.0);
            segments.push(Segment { formants: open, length_s: 0.03, breath: 0.2, width: 1.5, ..plain });
        }
        segments
    };
    match symbol {
        "M" => vec![Segment { width: 2.4, ..at([270.0, 950.0, 2_200.0], 0.068, 0.5) }],
        "N" => vec![Segment { width: 2.4, ..at([270.0, 1_600.0, 2_600.0], 0.06, 0.5) }],
        "NG" => vec![Segment { width: 2.4, ..at([270.0, 2_000.0, 2_600.0], 0.07, 0.46) }],
        "L" => vec![at([350.0, 1_050.0, 2_750.0], 0.06, 0.6)],
        "R" => vec![at([370.0, 1_180.0, 1_600.0], 0.065, 0.62)],
        "W" => vec![at([300.0, 660.0, 2_250.0], 0.065, 0.58)],
        "Y" => vec![at([270.0, 2_150.0, 2_950.0], 0.055, 0.58)],
        "HH" => {
            let open = next_vowel.map_or([500.0, 1_500.0, 2_500.0], |v| v.0);
            vec![Segment { formants: open, length_s: 0.058, breath: 0.3, width: 1.5, voice: 0.05, ..plain }]
        }
        "S" => vec![hiss(at(TEETH, 0.1, 0.0), S, 0.0)],
        "Z" => vec![hiss(at(TEETH, 0.075, 0.26), S, -5.0)],
        "SH" => vec![hiss(at(PALATE, 0.105, 0.0), SH, 0.0)],
        "F" => vec![hiss(at(LIPS, 0.09, 0.0), F, 0.0)],
        "V" => vec![hiss(at(LIPS, 0.055, 0.42), F, -5.0)],
        "TH" => vec![hiss(at(TEETH, 0.085, 0.0), TH, 0.0)],
        "DH" => vec![hiss(at(TEETH, 0.042, 0.45), TH, -5.0)],
        "P" => stop(LIPS, BURST_LIPS, false),
        "B" => stop(LIPS, BURST_LIPS, true),
        "T" => stop(TEETH, BURST_TEETH, false),
        "D" => stop(TEETH, BURST_TEETH, true),
        "K" => stop(VELUM, BURST_VELUM, false),
        "G" => stop(VELUM, BURST_VELUM, true),
        "CH" => {
            let mut segments = stop(PALATE, BURST_TEETH, false);
            segments.pop();
            segments.push(hiss(at(PALATE, 0.07, 0.0), SH, 0.0));
            segments
        }
        other => {
            debug_assert!(false, "no phone {other}");
            Vec::new()
        }
    }
}

// ---- how it sounds --------------------------------------------------------------------------------------------------

/// The spoken voice in two parts, so that a fault can be put into one.
struct Stems {
    rest: Vec<f32>,
    sibilants: Vec<f32>,
}

/// Targets per millisecond.
struct Tracks {
    formants: [Vec<f64>; 3],
    width: Vec<f64>,
    voice: Vec<f64>,
    breath: Vec<f64>,
    pitch: Vec<f64>,
}

fn tracks(plan: &Plan, speaker: &Speaker, duration_s: f64) -> Tracks {
    let count = (duration_s * 1_000.0) as usize + 1;
    let mut formants = [vec![550.0; count], vec![1_500.0; count], vec![2_600.0; count]];
    let (mut width, mut voice, mut breath) = (vec![2.0; count], vec![0.0; count], vec![0.0; count]);
    for segment in &plan.segments {
        let from = (segment.start_s * 1_000.0).round() as usize;
        let to = (((segment.start_s + segment.length_s) * 1_000.0).round() as usize).min(count);
        for ms in from..to {
            (0..3).for_each(|k| formants[k][ms] = segment.formants[k]);
            width[ms] = segment.width;
            voice[ms] = segment.voice;
            // A breath between phrases swells and fades.
            let share = (ms - from) as f64 / (to - from) as f64;
            let shape = if segment.is_pause { (PI * share).sin().powi(2) } else { 1.0 };
            breath[ms] = segment.breath * shape;
        }
    }
    // Phrases begin louder than they end.
    let mut pitch = vec![speaker.pitch_hz; count];
    for &(from, to, number, end) in &plan.phrases {
        let (first, last) = ((from * 1_000.0) as usize, ((to * 1_000.0) as usize).min(count - 1));
        for ms in first..=last {
            let share = (ms - first) as f64 / (last - first).max(1) as f64;
            voice[ms] *= db(0.8 - 3.0 * share);
            let declination = 1.1 - 0.05 * number.min(3) as f64 - 0.14 * share;
            let before_end_s = (last - ms) as f64 / 1_000.0;
            let tail = (1.0 - before_end_s / 0.28).clamp(0.0, 1.0);
            let turn = match end {
                '?' => 1.0 + 0.42 * tail,
                ',' => 1.0 + 0.07 * tail,
                _ => 1.0 - 0.2 * tail,
            };
            pitch[ms] *= 1.0 + speaker.liveliness * (declination * turn - 1.0);
        }
    }
    for &middle in &plan.stressed {
        let (from, to) = ((middle * 1_000.0) as usize - 140, ((middle * 1_000.0) as usize + 140).min(count - 1));
        for (n, hz) in pitch[from..to].iter_mut().enumerate() {
            *hz *= 1.0 + 0.16 * speaker.liveliness * (0.5 - 0.5 * (TAU * n as f64 / 280.0).cos());
        }
    }
    // Tongue and lips take their time; so do the muscles of the larynx.
    formants.iter_mut().for_each(|track| smooth(track, 13.0));
    smooth(&mut width, 10.0);
    smooth(&mut voice, 6.0);
    smooth(&mut breath, 7.0);
    smooth(&mut pitch, 28.0);
    Tracks { formants, width, voice, breath, pitch }
}

/// Two one-pole filters in series, forward and then backward, so that nothing is late.
fn smooth(track: &mut [f64], time_ms: f64) {
    let share = 1.0 - (-1.0 / time_ms).exp();
    let forward = |values: &mut dyn Iterator<Item = &mut f64>| {
        let mut state = None;
        for value in values {
            let next = state.map_or(*value, |s: f64| s + share * (*value - s));
            state = Some(next);
            *value = next;
        }
    };
    forward(&mut track.iter_mut());
    forward(&mut track.iter_mut().rev());
}

fn speak(plan: &Plan, speaker: &Speaker, rate: u32, duration_s: f64) -> Stems {
    let count = (duration_s * f64::from(rate)).round() as usize;
    let mut rest = vec![0.0; count];
    let mut sibilants = vec![0.0; count];
    let tracks = tracks(plan, speaker, duration_s);
    for &(from, to) in &plan.turns {
        // From the breath before the first word to the end of the last resonance.
        voiced(&mut rest, &tracks, speaker, rate, from - 0.45, to + 0.1);
    }
    let vowels = active_level(&rest, rate);
    let mut dice = Dice::new(speaker.seed ^ 0x00F0_0F00);
    for segment in &plan.segments {
        let Some((noise, offset_db)) = segment.noise else { continue };
        let target = if noise.sibilant { &mut sibilants } else { &mut rest };
        let level = db(vowels + noise.level_db + offset_db);
        hiss(target, segment, noise, level, speaker, rate, &mut dice);
    }
    Stems { rest, sibilants }
}

/// Glottal pulses and breath through the vocal tract.
fn voiced(out: &mut [f32], tracks: &Tracks, speaker: &Speaker, rate: u32, from_s: f64, to_s: f64) {
    let fs = f64::from(rate);
    let first = (from_s.max(0.0) * fs) as usize;
    let last = ((to_s * fs) as usize).min(out.len());
    let mut dice = Dice::new(speaker.seed.wrapping_mul(0x1234_5677) ^ first as u64);
    let scale = if speaker.female { 1.15 } else { 1.0 };
    // Above the three formants of the vowels the tract keeps its mean spacing of 1 kHz.
    let upper = [(3_500.0, 200.0), (4_500.0, 280.0), (5_500.0, 400.0), (6_500.0, 550.0)];
    let mut tract = [Resonator::default(); 7];
    for (resonator, (hz, width)) in tract[3..].iter_mut().zip(upper) {
        resonator.set(hz * scale, width * scale, fs);
    }
    let (mut phase, mut period, mut strength, mut flow) = (0.0, 1.0 / fs, 1.0, 0.0);
    let mut opening = 0.0;
    let mut next_control = first;
    let (mut voice, mut voice_step, mut breath) = (0.0, 0.0, 0.0);
    for (n, sample) in out.iter_mut().enumerate().take(last).skip(first) {
        if n >= next_control {
            let ms = ((n as f64 / fs * 1_000.0) as usize).min(tracks.voice.len() - 1);
            let width = tracks.width[ms];
            // Bandwidths of vowels, in Hz: usual values, from memory.
            for (k, base) in [60.0, 90.0, 150.0].into_iter().enumerate() {
                tract[k].set(tracks.formants[k][ms], base * scale * if k == 0 { width.sqrt() } else { width }, fs);
            }
            let target = tracks.voice[ms];
            next_control = n + rate as usize / 1_000;
            voice_step = (target - voice) / (rate / 1_000) as f64;
            breath = tracks.breath[ms];
        }
        voice += voice_step;
        phase += 1.0 / (period * fs);
        if phase >= 1.0 {
            phase -= 1.0;
            let ms = ((n as f64 / fs * 1_000.0) as usize).min(tracks.pitch.len() - 1);
            // Jitter and shimmer of healthy voices lie below about 1 % and 4 % (from memory).
            period = (1.0 + 0.006 * dice.normal()) / tracks.pitch[ms];
            strength = 1.0 + 0.03 * dice.normal();
            // A soft voice opens and closes less sharply.
            opening = 0.36 + 0.08 * (1.0 - voice.clamp(0.0, 1.0));
        }
        let closing = 0.16;
        let next_flow = if phase < opening {
            0.5 - 0.5 * (PI * phase / opening).cos()
        } else if phase < opening + closing {
            (0.5 * PI * (phase - opening) / closing).cos()
        } else {
            0.0
        };
        // Lips radiate the change of the flow; per period, so that the pitch does not set the loudness.
        let pulse = (next_flow - flow) * fs * period * strength;
        flow = next_flow;
        let air = dice.white() * breath * (0.5 + 0.5 * if voice > 0.3 { next_flow } else { 1.0 });
        let mut x = 0.1 * voice * pulse + air;
        for resonator in &mut tract {
            x = resonator.next(x);
        }
        *sample += x as f32;
    }
}

/// One fricative or burst.
fn hiss(out: &mut [f32], segment: &Segment, noise: Noise, level: f64, speaker: &Speaker, rate: u32, dice: &mut Dice) {
    let fs = f64::from(rate);
    // A smaller mouth hisses higher, though not by the whole ratio of the vowels.
    let scale = if speaker.female { 1.04 } else { 0.97 };
    let wander = 1.0 + 0.04 * (dice.uniform() - 0.5);
    let mut bands = noise.centres.map(|hz| Biquad::band_pass((hz * scale * wander).min(0.42 * fs), noise.q, rate));
    let first = (segment.start_s * fs) as usize;
    let overlap = if noise.burst { 0.0 } else { 0.012 };
    let start = first.saturating_sub((overlap * fs) as usize);
    let count = ((segment.length_s + 2.0 * overlap + if noise.burst { 0.02 } else { 0.0 }) * fs) as usize;
    let lead = 400;
    let mut samples: Vec<f64> = Vec::with_capacity(count + lead);
    for _ in 0..count + lead {
        let white = dice.white();
        samples.push(bands.iter_mut().fold(white, |x, band| band.next(x)));
    }
    let samples = &samples[lead..];
    let power = samples.iter().map(|s| s * s).sum::<f64>() / samples.len() as f64;
    let gain = level / power.sqrt().max(1e-9);
    let edge = (0.3 * count as f64).min(0.03 * fs);
    for (n, sample) in samples.iter().enumerate() {
        let shape = if noise.burst {
            (n as f64 / (0.001 * fs)).min(1.0) * (-(n as f64) / (0.006 * fs)).exp()
        } else {
            let rise = (n.min(count - 1 - n) as f64 / edge).min(1.0);
            0.5 - 0.5 * (PI * rise).cos()
        };
        if let Some(target) = out.get_mut(start + n) {
            *target += (gain * shape * sample) as f32;
        }
    }
}

/// Digital resonator with unity gain at 0 Hz.
#[derive(Clone, Copy, Default)]
struct Resonator {
    a: f64,
    b: f64,
    c: f64,
    y: [f64; 2],
}

impl Resonator {
    fn set(&mut self, hz: f64, width_hz: f64, fs: f64) {
        let radius = (-PI * width_hz / fs).exp();
        self.c = -radius * radius;
        self.b = 2.0 * radius * (TAU * hz / fs).cos();
        self.a = 1.0 - self.b - self.c;
    }

    fn next(&mut self, x: f64) -> f64 {
        let y = self.a * x + self.b * self.y[0] + self.c * self.y[1] + 1e-30;
        self.y = [y, self.y[0]];
        y
    }
}

/// Second-order filter for colours and noises (formulas of the Audio EQ Cookbook, W3C Group Note 2021).
#[derive(Clone, Copy)]
struct Biquad {
    b: [f64; 3],
    a: [f64; 2],
    s: [f64; 2],
}

impl Biquad {
    fn new(b: [f64; 3], a: [f64; 3]) -> Self {
        Self { b: b.map(|b| b / a[0]), a: [a[1] / a[0], a[2] / a[0]], s: [0.0; 2] }
    }

    fn angle(hz: f64, q: f64, rate: u32) -> (f64, f64) {
        let w = TAU * hz / f64::from(rate);
        (w.cos(), w.sin() / (2.0 * q))
    }

    fn band_pass(hz: f64, q: f64, rate: u32) -> Self {
        let (cos, alpha) = Self::angle(hz, q, rate);
        Self::new([alpha, 0.0, -alpha], [1.0 + alpha, -2.0 * cos, 1.0 - alpha])
    }

    fn low_pass(hz: f64, q: f64, rate: u32) -> Self {
        let (cos, alpha) = Self::angle(hz, q, rate);
        Self::new([0.5 - 0.5 * cos, 1.0 - cos, 0.5 - 0.5 * cos], [1.0 + alpha, -2.0 * cos, 1.0 - alpha])
    }

    fn bell(hz: f64, gain_db: f64, q: f64, rate: u32) -> Self {
        let (cos, alpha) = Self::angle(hz, q, rate);
        let a = db(gain_db / 2.0);
        Self::new([1.0 + alpha * a, -2.0 * cos, 1.0 - alpha * a], [1.0 + alpha / a, -2.0 * cos, 1.0 - alpha / a])
    }

    fn high_shelf(hz: f64, gain_db: f64, rate: u32) -> Self {
        let (cos, alpha) = Self::angle(hz, std::f64::consts::FRAC_1_SQRT_2, rate);
        let a = db(gain_db / 2.0);
        let root = 2.0 * a.sqrt() * alpha;
        let (up, down) = (a + 1.0, a - 1.0);
        Self::new(
            [a * (up + down * cos + root), -2.0 * a * (down + up * cos), a * (up + down * cos - root)],
            [up - down * cos + root, 2.0 * (down - up * cos), up - down * cos - root],
        )
    }

    fn next(&mut self, x: f64) -> f64 {
        let y = self.b[0] * x + self.s[0];
        self.s[0] = self.b[1] * x - self.a[0] * y + self.s[1] + 1e-30;
        self.s[1] = self.b[2] * x - self.a[1] * y;
        y
    }

    fn run(mut self, samples: &mut [f32]) {
        samples.iter_mut().for_each(|s| *s = self.next(f64::from(*s)) as f32);
    }
}

// ---- faults ---------------------------------------------------------------------------------------------------------

/// The guest's room: direct sound, then sparse noise of random signs that decays at one rate at all frequencies (velvet
/// noise: Karjalainen and Järveläinen, AES 30th Conf. 2007, from memory).
fn room(rate: u32) -> Vec<f32> {
    let fs = f64::from(rate);
    let mut dice = Dice::new(77);
    let count = (1.1 * ROOM_T60_S * fs) as usize;
    let mut response = vec![0.0f32; count];
    let spacing = fs / 2_500.0;
    let mut cell = 0.006 * fs;
    while cell < count as f64 {
        let at = (cell + dice.uniform() * spacing) as usize;
        let sign = if dice.uniform() < 0.5 { -1.0 } else { 1.0 };
        if let Some(tap) = response.get_mut(at) {
            *tap = (sign * (-3.0 * std::f64::consts::LN_10 * at as f64 / (ROOM_T60_S * fs)).exp()) as f32;
        }
        cell += spacing;
    }
    // Walls and air take treble and a microphone's distance takes bass: a colour of the whole tail, not of its decay.
    Biquad::low_pass(5_500.0, 0.6, rate).run(&mut response);
    let energy: f64 = response.iter().map(|&s| f64::from(s).powi(2)).sum();
    let gain = (db(-DIRECT_TO_ROOM_DB) / energy.sqrt()) as f32;
    response.iter_mut().for_each(|s| *s *= gain);
    response[0] += 1.0;
    response
}

fn add_hum(samples: &mut [f32], rate: u32) {
    // Odd harmonics of a transformer's field stand out; relative amplitudes are invented.
    let shares = [1.0f64, 0.5, 0.7, 0.25, 0.4, 0.15];
    let power: f64 = shares.iter().map(|s| s * s / 2.0).sum();
    let gain = db(HUM.1) / power.sqrt();
    let clock = dasp_signal::rate(f64::from(rate));
    for (k, share) in shares.into_iter().enumerate() {
        let tone = clock.const_hz(HUM.0 * (k + 1) as f64).sine().scale_amp(share * gain);
        samples.iter_mut().zip(tone.until_exhausted()).for_each(|(s, hum)| *s += hum as f32);
    }
}

fn add_rumble(samples: &mut [f32], rate: u32) {
    let mut dice = Dice::new(5);
    let mut filters = [Biquad::low_pass(0.8 * RUMBLE.0, 0.54, rate), Biquad::low_pass(0.8 * RUMBLE.0, 1.31, rate)];
    let mut rumble: Vec<f32> =
        (0..samples.len()).map(|_| filters.iter_mut().fold(dice.white(), |x, f| f.next(x)) as f32).collect();
    add_at_level(samples, &mut rumble, RUMBLE.1);
}

fn add_room_tone(samples: &mut [f32], rate: u32, seed: u64) {
    let mut dice = Dice::new(seed);
    let mut filter = Biquad::low_pass(900.0, 0.5, rate);
    let mut tone: Vec<f32> = (0..samples.len())
        .map(|_| {
            let white = dice.white();
            (filter.next(white) + 0.03 * white) as f32
        })
        .collect();
    add_at_level(samples, &mut tone, ROOM_TONE_DBFS);
}

fn add_at_level(samples: &mut [f32], noise: &mut [f32], level_dbfs: f64) {
    let power = noise.iter().map(|&s| f64::from(s).powi(2)).sum::<f64>() / noise.len() as f64;
    let gain = (db(level_dbfs) / power.sqrt()) as f32;
    samples.iter_mut().zip(noise).for_each(|(s, n)| *s += gain * *n);
}

// ---- measures and tools ---------------------------------------------------------------------------------------------

fn db(value: f64) -> f64 {
    10f64.powf(value / 20.0)
}

/// Level while speaking: RMS in dB of those 20 ms that lie less than 15 dB below the mean of all that is not silent.
fn active_level(samples: &[f32], rate: u32) -> f64 {
    let powers: Vec<f64> = samples
        .chunks_exact(rate as usize / 50)
        .map(|c| c.iter().map(|&s| f64::from(s).powi(2)).sum::<f64>() / c.len() as f64)
        .collect();
    let mean_above = |gate: f64| {
        let (sum, count) = powers.iter().filter(|&&p| p > gate).fold((0.0, 0u32), |(sum, n), p| (sum + p, n + 1));
        sum / f64::from(count.max(1))
    };
    let loudest = powers.iter().copied().fold(0.0, f64::max);
    let sounding = mean_above(loudest * db(-80.0));
    10.0 * mean_above(sounding * db(-30.0)).max(1e-30).log10()
}

/// Byrne et al., "An international comparison of long-term average speech spectra", JASA 96(4), 1994, Table 2, levels of
/// third octaves in dB, women and men; both from 200 Hz up as one column (via an independent implementation).
const PUBLISHED: [(f64, f64, f64); 25] = [
    (63.0, 37.0, 38.6),
    (80.0, 36.0, 43.5),
    (100.0, 37.5, 54.4),
    (125.0, 40.1, 57.7),
    (160.0, 53.4, 56.8),
    (200.0, 60.2, 60.2),
    (250.0, 60.3, 60.3),
    (315.0, 59.0, 59.0),
    (400.0, 62.1, 62.1),
    (500.0, 62.1, 62.1),
    (630.0, 60.5, 60.5),
    (800.0, 56.8, 56.8),
    (1_000.0, 53.7, 53.7),
    (1_250.0, 53.0, 53.0),
    (1_600.0, 52.0, 52.0),
    (2_000.0, 48.7, 48.7),
    (2_500.0, 48.1, 48.1),
    (3_150.0, 46.8, 46.8),
    (4_000.0, 45.6, 45.6),
    (5_000.0, 44.5, 44.5),
    (6_300.0, 44.3, 44.3),
    (8_000.0, 43.7, 43.7),
    (10_000.0, 43.4, 43.4),
    (12_500.0, 41.3, 41.3),
    (16_000.0, 40.7, 40.7),
];

const SPECTRUM_SIZE: usize = 8_192;

/// Power per bin of the sounding parts.
fn spectrum(samples: &[f32]) -> Vec<f64> {
    let fft = RealFftPlanner::<f32>::new().plan_fft_forward(SPECTRUM_SIZE);
    let window: Vec<f32> =
        (0..SPECTRUM_SIZE).map(|n| (0.5 - 0.5 * (TAU * n as f64 / SPECTRUM_SIZE as f64).cos()) as f32).collect();
    let (mut block, mut bins) = (fft.make_input_vec(), fft.make_output_vec());
    let mut scratch = fft.make_scratch_vec();
    let mut power = vec![0.0; bins.len()];
    for start in (0..samples.len().saturating_sub(SPECTRUM_SIZE)).step_by(SPECTRUM_SIZE / 2) {
        let part = &samples[start..start + SPECTRUM_SIZE];
        if part.iter().all(|s| s.abs() < 1e-9) {
            continue;
        }
        block.iter_mut().zip(part).zip(&window).for_each(|((b, s), w)| *b = s * w);
        transform(&*fft, &mut block, &mut bins, &mut scratch);
        power.iter_mut().zip(&bins).for_each(|(p, b)| *p += f64::from(b.norm_sqr()));
    }
    power
}

fn transform(fft: &dyn RealToComplex<f32>, block: &mut [f32], bins: &mut [Complex<f32>], scratch: &mut [Complex<f32>]) {
    let done = fft.process_with_scratch(block, bins, scratch);
    debug_assert!(done.is_ok(), "{done:?}");
}

fn back(fft: &dyn ComplexToReal<f32>, bins: &mut [Complex<f32>], block: &mut [f32], scratch: &mut [Complex<f32>]) {
    // The bins at 0 and at half the rate are real but for rounding.
    let last = bins.len() - 1;
    bins[0].im = 0.0;
    bins[last].im = 0.0;
    let done = fft.process_with_scratch(bins, block, scratch);
    debug_assert!(done.is_ok(), "{done:?}");
}

/// Levels of the third octaves of [`PUBLISHED`] in dB, out of the power per bin.
fn third_octaves(power: &[f64], rate: u32) -> Vec<f64> {
    let bin_hz = f64::from(rate) / SPECTRUM_SIZE as f64;
    let edge = 2f64.powf(1.0 / 6.0);
    PUBLISHED
        .iter()
        .map(|&(hz, _, _)| {
            let (low, high) = (hz / edge / bin_hz, hz * edge / bin_hz);
            // Bins at the edges count by the part of them that lies inside.
            let mut sum = 0.0;
            for (k, p) in power.iter().enumerate().take(high as usize + 2).skip((low as usize).saturating_sub(1)) {
                let inside = (high.min(k as f64 + 0.5) - low.max(k as f64 - 0.5)).clamp(0.0, 1.0);
                sum += p * inside;
            }
            10.0 * sum.max(1e-30).log10()
        })
        .collect()
}

/// The filter that gives a voice the published spectrum: minimum phase, so that nothing sounds ahead of itself.
fn to_published_spectrum(stems: &Stems, rate: u32, speaker: &Speaker) -> Vec<f32> {
    let both: Vec<f32> = stems.rest.iter().zip(&stems.sibilants).map(|(r, s)| r + s).collect();
    let power = spectrum(&both);
    let target: Vec<f64> = PUBLISHED.iter().map(|&(_, women, men)| if speaker.female { women } else { men }).collect();
    let mut curve_db = vec![0.0; PUBLISHED.len()];
    let bin_hz = f64::from(rate) / SPECTRUM_SIZE as f64;
    let gain_at = |curve_db: &[f64], bin: usize| -> f64 {
        let hz = (bin as f64 * bin_hz).clamp(PUBLISHED[0].0, PUBLISHED[PUBLISHED.len() - 1].0);
        let above = PUBLISHED.iter().position(|p| p.0 >= hz).unwrap_or(PUBLISHED.len() - 1).max(1);
        let (low, high) = (PUBLISHED[above - 1].0, PUBLISHED[above].0);
        let share = (hz / low).ln() / (high / low).ln();
        curve_db[above - 1] + share * (curve_db[above] - curve_db[above - 1])
    };
    for _ in 0..6 {
        let shaped: Vec<f64> = power.iter().enumerate().map(|(k, p)| p * db(2.0 * gain_at(&curve_db, k))).collect();
        let found = third_octaves(&shaped, rate);
        let mean = |levels: &[f64]| levels[5..20].iter().sum::<f64>() / 15.0;
        let offset = mean(&target) - mean(&found);
        for (k, gain) in curve_db.iter_mut().enumerate() {
            // Below the voice there is nothing to raise.
            let most = if PUBLISHED[k].0 < 0.8 * speaker.pitch_hz { 0.0 } else { 18.0 };
            *gain = (*gain + 0.8 * (target[k] - found[k] - offset)).clamp(-18.0, most);
        }
    }
    let gains: Vec<f64> = (0..=SPECTRUM_SIZE / 2).map(|k| gain_at(&curve_db, k)).collect();
    minimum_phase(&gains)
}

/// Impulse response of minimum phase for gains in dB per bin, by folding the cepstrum (Oppenheim and Schafer).
fn minimum_phase(gains_db: &[f64]) -> Vec<f32> {
    let size = 2 * (gains_db.len() - 1);
    let mut planner = RealFftPlanner::<f32>::new();
    let (forward, inverse) = (planner.plan_fft_forward(size), planner.plan_fft_inverse(size));
    let mut bins: Vec<Complex<f32>> =
        gains_db.iter().map(|g| Complex::new((g / 20.0 * std::f64::consts::LN_10) as f32, 0.0)).collect();
    let mut block = inverse.make_output_vec();
    let (mut scratch_f, mut scratch_i) = (forward.make_scratch_vec(), inverse.make_scratch_vec());
    back(&*inverse, &mut bins, &mut block, &mut scratch_i);
    let scale = 1.0 / size as f32;
    for (n, value) in block.iter_mut().enumerate() {
        *value *= scale
            * match n {
                0 => 1.0,
                n if n < size / 2 => 2.0,
                n if n == size / 2 => 1.0,
                _ => 0.0,
            };
    }
    transform(&*forward, &mut block, &mut bins, &mut scratch_f);
    bins.iter_mut().for_each(|b| *b = Complex::from_polar(b.re.exp(), b.im));
    back(&*inverse, &mut bins, &mut block, &mut scratch_i);
    // The response has long died out in its second half.
    block[..size / 2].iter().map(|s| s * scale).collect()
}

/// Convolution by overlap and add, as long as the input.
fn convolve(samples: &[f32], response: &[f32]) -> Vec<f32> {
    let size = (4 * response.len()).next_power_of_two();
    let hop = size - response.len();
    let mut planner = RealFftPlanner::<f32>::new();
    let (forward, inverse) = (planner.plan_fft_forward(size), planner.plan_fft_inverse(size));
    let (mut block, mut bins) = (forward.make_input_vec(), forward.make_output_vec());
    let (mut scratch_f, mut scratch_i) = (forward.make_scratch_vec(), inverse.make_scratch_vec());
    let mut filter = forward.make_output_vec();
    block[..response.len()].copy_from_slice(response);
    transform(&*forward, &mut block, &mut filter, &mut scratch_f);
    filter.iter_mut().for_each(|f| *f /= size as f32);
    let mut out = vec![0.0; samples.len()];
    for (index, part) in samples.chunks(hop).enumerate() {
        if part.iter().all(|s| *s == 0.0) {
            continue;
        }
        block.fill(0.0);
        block[..part.len()].copy_from_slice(part);
        transform(&*forward, &mut block, &mut bins, &mut scratch_f);
        bins.iter_mut().zip(&filter).for_each(|(b, f)| *b *= f);
        back(&*inverse, &mut bins, &mut block, &mut scratch_i);
        out[index * hop..].iter_mut().zip(&block).for_each(|(o, b)| *o += b);
    }
    out
}

/// Repeatable chance (SplitMix64: Steele, Lea and Flood 2014).
struct Dice {
    state: u64,
}

impl Dice {
    fn new(seed: u64) -> Self {
        Self { state: seed.wrapping_mul(0xD134_2543_DE82_EF95) }
    }

    fn bits(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Between 0 and 1.
    fn uniform(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// White noise of variance 1, of four levels' sums: short tails, cheap.
    fn white(&mut self) -> f64 {
        let bits = self.bits();
        let sum: i64 = (0..4).map(|k| i64::from((bits >> (16 * k)) as u16 as i16)).sum();
        // A uniform 16-bit number has a standard deviation of 65536/√12; four of them twice that.
        sum as f64 / 37_837.23
    }

    fn normal(&mut self) -> f64 {
        self.white()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::OnceLock;

    fn voices() -> &'static [DemoVoice; 2] {
        static VOICES: OnceLock<[DemoVoice; 2]> = OnceLock::new();
        VOICES.get_or_init(interview)
    }

    fn rms_db(samples: &[f32]) -> f64 {
        let power = samples.iter().map(|&s| f64::from(s).powi(2)).sum::<f64>() / samples.len() as f64;
        10.0 * power.max(1e-30).log10()
    }

    fn part(voice: &DemoVoice, samples: &[f32], from_s: f64, to_s: f64) -> Vec<f32> {
        let at = |s: f64| (s * f64::from(voice.rate_hz)) as usize;
        samples[at(from_s)..at(to_s)].to_vec()
    }

    /// When only the other voice speaks, well after the room has died out.
    fn pause(voice: &DemoVoice) -> (f64, f64) {
        let long = voice.turns.windows(2).max_by(|a, b| (a[1].0 - a[0].1).total_cmp(&(b[1].0 - b[0].1))).unwrap();
        (long[0].1 + 1.0, long[1].0 - 0.6)
    }

    #[test]
    fn the_voices_take_turns_on_one_clock() {
        let [host, guest] = voices();
        assert_eq!((host.name, host.rate_hz, guest.name, guest.rate_hz), ("host", 48_000, "guest", 44_100));
        let duration = host.recording.len() as f64 / 48_000.0;
        assert!((45.0..=60.0).contains(&duration), "{duration}");
        assert_eq!(guest.recording.len() as f64 / 44_100.0, duration);
        let mut turns: Vec<_> = host.turns.iter().chain(&guest.turns).collect();
        turns.sort_by(|a, b| a.0.total_cmp(&b.0));
        assert_eq!(turns.len(), 10);
        assert!(turns.windows(2).all(|w| w[0].1 + 0.2 < w[1].0), "{turns:?}");
        assert!(turns[9].1 < duration);
        for voice in voices() {
            assert_eq!(voice.clean.len(), voice.recording.len());
            let peak = voice.recording.iter().fold(0.0f32, |a, b| a.max(b.abs()));
            assert!(peak < 0.95 && voice.recording.iter().all(|s| s.is_finite()), "{}: {peak}", voice.name);
            assert!(!voice.faults.is_empty());
        }
    }

    #[test]
    fn the_same_voices_every_time() {
        let again = interview();
        for (a, b) in voices().iter().zip(&again) {
            assert!(a.recording.iter().map(|s| s.to_bits()).eq(b.recording.iter().map(|s| s.to_bits())));
        }
    }

    /// Third octaves by filters, so that the check shares no code with the equaliser that made the spectrum: three
    /// band-passes in series have together 3 dB at the edges of the third octave.
    fn filtered_third_octave(samples: &[f32], rate: u32, hz: f64) -> f64 {
        let q = (2f64.powf(1.0 / 3.0) - 1.0).sqrt() / (2f64.powf(1.0 / 6.0) - 2f64.powf(-1.0 / 6.0));
        let mut bands = [Biquad::band_pass(hz, q, rate); 3];
        let power: f64 =
            samples.iter().map(|&s| bands.iter_mut().fold(f64::from(s), |x, band| band.next(x)).powi(2)).sum();
        10.0 * (power / samples.len() as f64).log10()
    }

    #[test]
    fn without_faults_the_spectrum_is_that_of_published_speech() {
        // Byrne et al. 1994, Table 2, men and women together, via an independent implementation.
        let published = [
            (200.0, 60.2),
            (250.0, 60.3),
            (315.0, 59.0),
            (400.0, 62.1),
            (500.0, 62.1),
            (630.0, 60.5),
            (800.0, 56.8),
            (1_000.0, 53.7),
            (1_250.0, 53.0),
            (1_600.0, 52.0),
            (2_000.0, 48.7),
            (2_500.0, 48.1),
            (3_150.0, 46.8),
            (4_000.0, 45.6),
            (5_000.0, 44.5),
        ];
        for voice in voices() {
            let differences: Vec<f64> = published
                .iter()
                .map(|&(hz, level)| filtered_third_octave(&voice.clean, voice.rate_hz, hz) - level)
                .collect();
            let mean = differences.iter().sum::<f64>() / differences.len() as f64;
            for (&(hz, _), difference) in published.iter().zip(&differences) {
                assert!((difference - mean).abs() < 4.0, "{} at {hz} Hz: {:.1} dB", voice.name, difference - mean);
            }
        }
    }

    #[test]
    fn the_guest_is_quieter_by_what_is_stated() {
        let [host, guest] = voices();
        let level = |v: &DemoVoice, s: &[f32]| active_level(s, v.rate_hz);
        assert!((level(host, &host.clean) - level(guest, &guest.clean) - 9.0).abs() < 0.01);
        // While they speak, pauses between words included: the host's spikes add to the difference, the guest's hum and
        // rumble take from it.
        let speaking = |v: &DemoVoice| {
            let all: Vec<f32> = v.turns.iter().flat_map(|&(from, to)| part(v, &v.recording, from, to)).collect();
            rms_db(&all)
        };
        let recorded = speaking(host) - speaking(guest);
        assert!((9.0 - 1.0..9.0 + 3.0).contains(&recorded), "{recorded}");
    }

    #[test]
    fn the_room_decays_as_stated() {
        let rate = 44_100;
        let response = room(rate);
        let direct = f64::from(response[0]).powi(2);
        let tail: f64 = response[1..].iter().map(|&s| f64::from(s).powi(2)).sum();
        assert!((10.0 * (direct / tail).log10() - DIRECT_TO_ROOM_DB).abs() < 0.3);
        // Schroeder's backward integration, slope from −5 to −25 dB of the tail (ISO 3382, T20).
        let mut left = tail;
        let (mut at_5, mut at_25) = (None, None);
        for (n, s) in response.iter().enumerate().skip(1) {
            let db = 10.0 * (left / tail).log10();
            if db < -5.0 {
                at_5.get_or_insert(n);
            }
            if db < -25.0 {
                at_25.get_or_insert(n);
            }
            left -= f64::from(*s).powi(2);
        }
        let t60 = 3.0 * (at_25.unwrap() - at_5.unwrap()) as f64 / f64::from(rate);
        assert!((t60 / ROOM_T60_S - 1.0).abs() < 0.06, "{t60}");
    }

    #[test]
    fn hum_and_rumble_have_the_stated_levels() {
        let guest = &voices()[1];
        let (from, _) = pause(guest);
        // Whole periods of 50 Hz: 3 s.
        let quiet = part(guest, &guest.recording, from, from + 3.0);
        let mut power = 0.0;
        for k in 1..=6 {
            let (mut re, mut im) = (0.0, 0.0);
            for (n, &s) in quiet.iter().enumerate() {
                let angle = TAU * 50.0 * f64::from(k) * n as f64 / 44_100.0;
                re += f64::from(s) * angle.cos();
                im += f64::from(s) * angle.sin();
            }
            power += 2.0 * (re * re + im * im) / (quiet.len() as f64).powi(2);
        }
        let hum = 10.0 * power.log10();
        assert!((hum + 55.0).abs() < 0.5, "{hum}");
        // What remains are rumble at −50 dBFS (a few hundred degrees of freedom) and room tone at −68 dBFS.
        let rest = 10.0 * (db(2.0 * rms_db(&quiet)) - power).log10();
        assert!((rest + 50.0).abs() < 1.5, "{rest}");
        let host = &voices()[0];
        let (from, to) = pause(host);
        let tone = rms_db(&part(host, &host.recording, from, to));
        assert!((tone + 68.0).abs() < 0.5, "{tone}");
    }

    #[test]
    fn the_hosts_spikes_and_sibilants_are_where_they_are_stated() {
        let host = &voices()[0];
        let Some(Fault::Spikes { gain_db, at_s }) = host.faults.iter().find(|f| matches!(f, Fault::Spikes { .. }))
        else {
            panic!("no spikes")
        };
        assert_eq!(at_s.len(), 5);
        for &at in at_s {
            let (from, to) = (at - 0.003, at + 0.003);
            let raised = rms_db(&part(host, &host.recording, from, to)) - rms_db(&part(host, &host.clean, from, to));
            assert!((raised - gain_db).abs() < 0.3, "{raised} dB at {at} s");
        }
        // Treble frames of sibilants are 7 dB up, vowels untouched.
        let (plans, _) = plan();
        let mut sibilants = 0;
        for segment in &plans[0].segments {
            let (from, to) = (segment.start_s + 0.02, segment.start_s + segment.length_s - 0.02);
            if at_s.iter().any(|at| (from - 0.1..to + 0.1).contains(at)) || to - from < 0.01 {
                continue;
            }
            let change = rms_db(&part(host, &host.recording, from, to)) - rms_db(&part(host, &host.clean, from, to));
            match segment.noise {
                Some((noise, offset_db)) if noise.sibilant && offset_db == 0.0 => {
                    sibilants += 1;
                    assert!((change - 7.0).abs() < 1.0, "{change} dB at {from} s");
                }
                None if segment.stressed => assert!(change.abs() < 0.5, "{change} dB at {from} s"),
                _ => {}
            }
        }
        assert!(sibilants >= 8, "{sibilants}");
    }

    #[test]
    fn the_guests_colour_is_that_of_box_and_shelf() {
        // Cookbook responses at the marked frequencies: full gain at the bell's centre, none far away; half at the
        // shelf's middle.
        let magnitude = |filter: Biquad, hz: f64| {
            let mut filter = filter;
            let mut tone = (0..88_200).map(|n| (TAU * hz * f64::from(n) / 44_100.0).sin());
            tone.by_ref().take(44_100).for_each(|x| {
                filter.next(x);
            });
            let power: f64 = tone.map(|x| filter.next(x).powi(2)).sum();
            10.0 * (power / 22_050.0).log10()
        };
        assert!((magnitude(Biquad::bell(420.0, 7.0, 2.0, 44_100), 420.0) - 7.0).abs() < 0.01);
        assert!(magnitude(Biquad::bell(420.0, 7.0, 2.0, 44_100), 4_000.0).abs() < 0.1);
        assert!((magnitude(Biquad::high_shelf(4_500.0, -8.0, 44_100), 4_500.0) + 4.0).abs() < 0.01);
        assert!((magnitude(Biquad::high_shelf(4_500.0, -8.0, 44_100), 18_000.0) + 8.0).abs() < 0.1);
    }

    #[test]
    fn every_fault_is_told_in_words() {
        let lines: Vec<String> = voices().iter().flat_map(|v| v.faults.iter().map(Fault::to_string)).collect();
        assert_eq!(lines.len(), 8);
        assert_eq!(lines[0], "sibilant: /s/ and /z/ 7 dB too loud");
        assert_eq!(lines[1], "5 syllables that jump out by 12 dB");
        assert!(lines.iter().all(|line| line.lines().count() == 1));
    }
}
