//! Speech-like test signal of the timing programs.

use voicechain_core::SampleRate;
use voicechain_core::meters::{ChannelWeights, LoudnessMeter};

/// Gated loudness of the stereo signal, LUFS.
pub const LOUDNESS_LUFS: f64 = -20.0;

/// Repeatable uniform noise from -1 to 1.
struct Noise(u32);

impl Noise {
    fn next(&mut self) -> f64 {
        // Xorshift: G. Marsaglia, "Xorshift RNGs", Journal of Statistical Software 8(14), 2003.
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 17;
        self.0 ^= self.0 << 5;
        f64::from(self.0) / f64::from(1_u32 << 31) - 1.0
    }
}

/// Two-pole resonator.
#[derive(Default)]
struct Resonance {
    past: [f64; 2],
}

impl Resonance {
    fn step(&mut self, x: f64, hz: f64, width_hz: f64, rate: f64) -> f64 {
        let radius = (-std::f64::consts::PI * width_hz / rate).exp();
        let cosine = (std::f64::consts::TAU * hz / rate).cos();
        let y = x * (1.0 - radius) + 2.0 * radius * cosine * self.past[0] - radius * radius * self.past[1];
        self.past = [y, self.past[0]];
        y
    }
}

/// First and second formants of five vowels, Hz (Peterson and Barney 1952, men, rounded).
const VOWELS: [[f64; 2]; 5] = [[730.0, 1_090.0], [530.0, 1_840.0], [270.0, 2_290.0], [570.0, 840.0], [300.0, 870.0]];

/// Synthetic stereo signal that exercises a voice strip like speech, at [`LOUDNESS_LUFS`]. It has phrases of about four
/// syllables per second with pitch, vowels and fricatives, pauses of 0.6 s with low noise, and similar but not
/// identical channels. Equal arguments produce equal signals.
#[must_use]
pub fn speech_like(frames: usize, rate: SampleRate) -> Vec<[f32; 2]> {
    let hz = rate.hz();
    let mut noise = Noise(0x9e37_79b9);
    let mut formants = [Resonance::default(), Resonance::default(), Resonance::default()];
    let (mut phase, mut previous_white) = (0.0, 0.0);
    let mut out: Vec<[f32; 2]> = Vec::with_capacity(frames);
    for n in 0..frames {
        let t = n as f64 / hz;
        let (phrase, into) = ((t / 3.0).floor(), t % 3.0);
        let (syllable, within) = ((into * 4.0).floor(), (into * 4.0).fract());
        let speaking = into < 2.4;
        // One hump per syllable; every second one begins with a fricative.
        let hump = if speaking { 4.0 * within * (1.0 - within) } else { 0.0 };
        let fricative = speaking && syllable % 2.0 == 1.0 && within < 0.3;
        let pitch = 115.0 + 25.0 * hump - 8.0 * into + 3.0 * phrase % 7.0;
        phase += pitch / hz;
        phase -= phase.floor();
        // Glottal pulse: slow rise, fast fall, closed phase.
        let pulse = if phase < 0.4 {
            phase * phase * 6.25
        } else if phase < 0.56 {
            1.0 - (phase - 0.4) * 6.25
        } else {
            0.0
        };
        let white = noise.next();
        let source = if fricative { 0.0 } else { hump * (pulse - 0.28 + 0.02 * white) };
        let [first, second] = VOWELS[((phrase * 3.0 + syllable) % 5.0) as usize];
        let mut voiced = 0.0;
        for (formant, (hz_k, width, gain)) in
            formants.iter_mut().zip([(first, 80.0, 1.0), (second, 110.0, 0.6), (2_600.0, 160.0, 0.35)])
        {
            voiced += gain * formant.step(source, hz_k, width, hz);
        }
        let hiss = if fricative { 0.12 * (white - previous_white) * (1.0 - within / 0.3) } else { 0.0 };
        previous_white = white;
        let voice = voiced + hiss;
        out.push([(voice + 2e-4 * noise.next()) as f32, (0.9 * voice + 2e-4 * noise.next()) as f32]);
    }
    let mut meter = LoudnessMeter::new(rate, ChannelWeights::default());
    meter.push(&out);
    if let Some(loudness) = meter.integrated() {
        let gain = 10_f64.powf((LOUDNESS_LUFS - loudness) / 20.0) as f32;
        out.iter_mut().flatten().for_each(|sample| *sample *= gain);
    }
    out
}

/// The left channel as a mono signal.
#[must_use]
pub fn left_channel(frames: &[[f32; 2]]) -> Vec<[f32; 1]> {
    frames.iter().map(|frame| [frame[0]]).collect()
}
