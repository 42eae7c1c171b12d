//! The meter that hears a voice and gives its profile.

use super::base_rate::{BaseRate, finite};
use super::decay::DecayMeter;
use super::fricatives::SibilanceMeter;
use super::hum::HumMeter;
use super::levels::{Levelled, Levels};
use super::peaks::Clipped;
use super::pitch::PitchMeter;
use super::profile::{Clipping, Doubt, Ground, Level, Profile, Subject};
use super::resonance::ResonanceMeter;
use super::spectra::{Framing, Spectra};
use super::subject::{Garbage, SubjectMeter};
use super::tonal_balance::TonalBalance;
use crate::SampleRate;
use crate::frame::CHUNK;
use crate::math::to_db;
use crate::meters::{ChannelWeights, LoudnessMeter, TruePeakMeter};

/// Less active speech than this is no voice to be judged, s.
const LEAST_ACTIVE_S: f64 = 2.0;
/// Hears a recording, mono or stereo, at 8 to 192 kHz, in blocks of any length, and gives its [`Profile`] at any time.
///
/// Loudness and peaks are those of all channels, everything else is of (L+R)/2 without its offset, and spectra are taken
/// at 48 kHz or less. Samples that are not finite count as silence. Everything runs on clocks counted in samples, so that
/// any split of the same frames into blocks gives the same profile, bit for bit. Nothing allocates; the meter is large
/// (see `size_of`), so keep it on the heap where threads have small stacks.
///
/// Tested by `properties::profile`; how well it measures recorded voices is shown by `reach` in tests.
#[derive(Clone, Debug)]
pub struct ProfileMeter<const C: usize> {
    rate: SampleRate,
    frames: u64,
    rejected: u64,
    loudness: LoudnessMeter<C>,
    true_peak: TruePeakMeter<C>,
    clipped: [Clipped; C],
    base: BaseRate,
    levels: Levels,
    short: Spectra<512>,
    long: Spectra<2_048>,
    balance: TonalBalance,
    sibilance: SibilanceMeter,
    decay: DecayMeter,
    hum: HumMeter,
    pitch: PitchMeter,
    resonance: ResonanceMeter,
    garbage: Garbage<C>,
    subject: SubjectMeter,
}

impl<const C: usize> ProfileMeter<C> {
    /// A meter that has heard nothing.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        const { assert!(C == 1 || C == 2, "one or two channels") };
        let base = BaseRate::new(rate);
        let base_rate = base.rate();
        let (short, long) = (Framing::short(base_rate.hz()), Framing::long(base_rate.hz()));
        Self {
            rate,
            frames: 0,
            rejected: 0,
            loudness: LoudnessMeter::new(rate, ChannelWeights::default()),
            true_peak: TruePeakMeter::new(rate),
            clipped: [const { Clipped::new() }; C],
            base,
            levels: Levels::new(base_rate),
            short: Spectra::new(short),
            long: Spectra::new(long),
            balance: TonalBalance::new(&long),
            sibilance: SibilanceMeter::new(base_rate, &short),
            decay: DecayMeter::new(&short),
            hum: HumMeter::new(base_rate.hz()),
            pitch: PitchMeter::new(base_rate.hz()),
            resonance: ResonanceMeter::new(&long),
            garbage: Garbage::new(),
            subject: SubjectMeter::new(&short, &long),
        }
    }

    /// Hears frames.
    pub fn push(&mut self, frames: &[[f32; C]]) {
        for piece in frames.chunks(CHUNK) {
            let mut clean = [[0.0_f32; C]; CHUNK];
            let mut channel = [0.0_f32; CHUNK];
            let mut mono = [0.0_f32; CHUNK];
            let (clean, rejected) = finite(piece, &mut clean);
            self.rejected += rejected;
            self.frames += piece.len() as u64;
            self.garbage.push(clean);
            self.loudness.push(clean);
            self.true_peak.push(clean);
            for (c, clipped) in self.clipped.iter_mut().enumerate() {
                for (to, frame) in channel.iter_mut().zip(clean) {
                    *to = frame[c];
                }
                clipped.push(&channel[..clean.len()]);
            }
            let count = self.base.run(clean, &mut mono);
            self.hear(&mono[..count]);
        }
    }

    /// Hears one channel at the base rate: levels, then what listens to short frames, hum, what listens to long frames.
    fn hear(&mut self, samples: &[f32]) {
        self.levels.push(samples);
        let Self { short, long, balance, sibilance, decay, pitch, resonance, subject, .. } = self;
        short.pieces(samples, |short, now| {
            sibilance.push(now);
            short.push(now, |spectrum| {
                sibilance.frame(spectrum);
                decay.frame(spectrum);
                subject.short_frame(spectrum);
            });
        });
        self.hum.push(samples);
        // The pitch is heard up to the very sample with which a spectrum ends, whatever the split.
        long.pieces(samples, |long, now| {
            pitch.push(now, |hz, level_db| {
                resonance.pitch(hz);
                subject.pitch(hz, level_db);
            });
            long.push(now, |spectrum| {
                let level_db = spectrum.level_db();
                balance.frame(spectrum, level_db);
                resonance.frame(spectrum, level_db);
                subject.long_frame(spectrum);
            });
        });
    }

    /// Seconds heard so far.
    #[must_use]
    pub fn duration_s(&self) -> f64 {
        self.frames as f64 / self.rate.hz()
    }

    /// Samples that were not finite and were heard as silence.
    #[must_use]
    pub fn rejected_samples(&self) -> u64 {
        self.rejected
    }

    /// What is known so far. Reads every histogram: some hundred microseconds.
    #[must_use]
    pub fn profile(&self) -> Profile {
        let levelled = self.levels.result();
        let samples = self.frames * C as u64;
        let subject = match levelled.active {
            _ if self.garbage.is_garbage(samples, self.rejected) => Subject::Garbage,
            Err(_) => Subject::Silence,
            Ok(active) if active.active_s < LEAST_ACTIVE_S => Subject::TooShort,
            Ok(active) => self.subject.subject(active.level_dbov),
        };
        let heard = match subject {
            Subject::Voice | Subject::SeveralVoices => levelled.active.map(|active| active.level_dbov),
            Subject::Silence => Err(Doubt::Silence),
            Subject::TooShort => Err(Doubt::TooShort),
            Subject::Tone | Subject::Noise | Subject::Music | Subject::Garbage => Err(Doubt::NotAVoice),
        };
        let noise_bands_dbfs = self.balance.quiet_dbfs();
        let bandwidth = heard.and_then(|level| self.balance.bandwidth(level));
        let high_hz = bandwidth.map_or(0.5 * self.base.rate().hz(), |bandwidth| bandwidth.high_hz);
        let pitch = heard.and_then(|_| self.pitch.pitch());
        let pitch_hz = pitch.ok().map(|pitch| pitch.median_hz);
        Profile {
            rate_hz: self.rate.hz(),
            duration_s: self.duration_s(),
            channels: C,
            subject,
            level: self.level(&levelled),
            phrases: heard.and(levelled.phrases),
            spikes: heard.and(levelled.spikes),
            ground: Ground {
                noise_floor_dbfs: levelled.floor.noise_dbfs,
                noise_bands_dbfs,
                snr_db: heard.and(levelled.floor.snr_db),
                rumble_dbfs: levelled.floor.rumble_dbfs,
                offset: levelled.offset,
            },
            hum: heard.and_then(|level| self.hum.hum(level)),
            pitch,
            colour: heard.and_then(|level| self.balance.colour(level, &noise_bands_dbfs, high_hz, pitch_hz)),
            bandwidth,
            resonances: heard.and_then(|level| self.resonance.candidates(level)),
            sibilance: heard.and_then(|level| self.sibilance.sibilance(level, high_hz)),
            room: heard.and_then(|_| self.decay.room(levelled.floor.snr_db)),
        }
    }

    fn level(&self, levelled: &Levelled) -> Level {
        // The last samples are still inside the interpolator.
        let mut true_peak = self.true_peak.clone();
        true_peak.finish();
        let most = |values: &[f64]| values.iter().fold(0.0_f64, |most, &value| most.max(value));
        let mut clipping = Clipping::default();
        for found in self.clipped.iter().map(Clipped::result) {
            clipping.stretches = clipping.stretches.saturating_add(found.stretches);
            clipping.samples += found.samples;
        }
        Level {
            integrated_lufs: self.loudness.integrated().ok_or(Doubt::Silence),
            loudness_range_lu: self.loudness.range().ok_or(Doubt::TooShort),
            true_peak_dbtp: to_db(most(&true_peak.hold())),
            sample_peak_dbfs: to_db(most(&true_peak.sample_hold())),
            clipping,
            active_level_dbov: levelled.active.map(|active| active.level_dbov),
            activity_percent: levelled.active.map_or(0.0, |active| active.activity_percent),
            active_s: levelled.active.map_or(0.0, |active| active.active_s),
            crest_db: levelled.crest_db,
            speech_peak_dbfs: levelled.speech_peak_dbfs,
        }
    }
}
