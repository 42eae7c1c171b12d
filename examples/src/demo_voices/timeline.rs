//! Timeline of the dialogue: turns, phrases and the segments of every phone on one time axis.

use super::level::from_db;
use super::phones::{phone, vowel};
use super::random::Random;
use super::segment::Segment;
use super::speaker::{GUEST, HOST, Speaker};

/// The interview in ARPABET phonemes; 1 marks a stressed vowel. The host asks first.
const DIALOGUE: [&str; 10] = [
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

/// Timeline of one voice, s.
#[derive(Default)]
pub(super) struct SpeechTimeline {
    pub(super) segments: Vec<Segment>,
    /// Phrases: start, end, index in the sentence, closing punctuation.
    pub(super) phrases: Vec<(f64, f64, usize, char)>,
    pub(super) turns: Vec<(f64, f64)>,
    /// Centres of the stressed vowels, s.
    pub(super) stressed: Vec<f64>,
}

pub(super) fn timeline() -> ([SpeechTimeline; 2], f64) {
    let mut timelines = [SpeechTimeline::default(), SpeechTimeline::default()];
    let mut random = [Random::new(HOST.seed), Random::new(GUEST.seed)];
    let mut now = 0.7;
    for (turn, text) in DIALOGUE.iter().enumerate() {
        let who = turn % 2;
        let speaker = if who == 0 { &HOST } else { &GUEST };
        now = timelines[who].turn(text, now, speaker, &mut random[who]);
        now += if who == 0 { 0.42 } else { 0.55 } + 0.15 * random[who].uniform();
    }
    (timelines, (now + 0.6).ceil())
}

impl SpeechTimeline {
    /// Appends one turn. Returns its end, s.
    fn turn(&mut self, text: &str, start_s: f64, speaker: &Speaker, random: &mut Random) -> f64 {
        let mut now = start_s;
        let quiet = |now: f64, length_s: f64, breath: f64| Segment {
            start_s: now,
            length_s,
            formants: [550.0, 1_500.0, 2_600.0],
            bandwidth: 2.0,
            voice: 0.0,
            breath,
            noise: None,
            stressed: false,
            vowel: false,
            is_pause: true,
        };
        // A breath, then a short pause.
        self.segments.push(quiet(now, 0.32, speaker.breath * 0.09));
        self.segments.push(quiet(now + 0.32, 0.1, 0.0));
        now += 0.42;
        let speech_from = now;
        let (mut phrase_from, mut phrase_first, mut phrase_number) = (now, self.segments.len(), 0);
        let phones: Vec<&str> = text.split_whitespace().collect();
        for (index, &symbol) in phones.iter().enumerate() {
            if let "," | "." | "?" = symbol {
                // The last syllable of a phrase is lengthened.
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
                let pause =
                    if last { 0.06 } else { 0.2 + 0.12 * random.uniform() + if end == ',' { 0.0 } else { 0.25 } };
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
                segment.length_s *= speaker.duration_scale * (0.92 + 0.16 * random.uniform());
                segment.voice *= from_db(1.6 * (random.uniform() - 0.5));
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
