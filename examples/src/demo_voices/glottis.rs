//! Voiced sound: glottal pulses and breath noise, filtered by the resonators of the vocal tract.

use super::random::Random;
use super::speaker::Speaker;
use super::tracks::Tracks;
use std::f64::consts::{PI, TAU};

/// Adds glottal pulses and breath noise, filtered by the vocal tract.
pub(super) fn add_voiced(out: &mut [f32], tracks: &Tracks, speaker: &Speaker, rate: u32, from_s: f64, to_s: f64) {
    let fs = f64::from(rate);
    let first = (from_s.max(0.0) * fs) as usize;
    let last = ((to_s * fs) as usize).min(out.len());
    let mut random = Random::new(speaker.seed.wrapping_mul(0x1234_5677) ^ first as u64);
    let scale = if speaker.female { 1.15 } else { 1.0 };
    // Fixed formants above the three vowel formants, at the mean spacing of 1 kHz.
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
            let bandwidth = tracks.bandwidth[ms];
            // Formant bandwidths of vowels, Hz: typical values, from memory.
            for (k, base) in [60.0, 90.0, 150.0].into_iter().enumerate() {
                tract[k].set(
                    tracks.formants[k][ms],
                    base * scale * if k == 0 { bandwidth.sqrt() } else { bandwidth },
                    fs,
                );
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
            // Healthy voices have less than about 1 % jitter and 4 % shimmer (from memory).
            period = (1.0 + 0.006 * random.normal()) / tracks.pitch[ms];
            strength = 1.0 + 0.03 * random.normal();
            // A soft voice has a longer opening phase.
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
        // Lip radiation: derivative of the flow, scaled by the period so that loudness does not depend on pitch.
        let pulse = (next_flow - flow) * fs * period * strength;
        flow = next_flow;
        let air = random.white() * breath * (0.5 + 0.5 * if voice > 0.3 { next_flow } else { 1.0 });
        let mut x = 0.1 * voice * pulse + air;
        for resonator in &mut tract {
            x = resonator.next(x);
        }
        *sample += x as f32;
    }
}

/// Two-pole resonator with unity gain at 0 Hz.
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
