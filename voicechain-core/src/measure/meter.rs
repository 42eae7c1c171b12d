//! Meter that measures a voice recording and returns its profile.

use super::clipping::ClippingDetector;
use super::decay::DecayMeter;
use super::downsampler::{Downsampler, sanitise};
use super::hum::HumMeter;
use super::levels::{LevelMeter, LevelReadings};
use super::pitch::PitchMeter;
use super::profile::{BackgroundNoise, Clipping, Level, Profile, SignalClass, Unavailable};
use super::resonance::ResonanceMeter;
use super::sibilance::SibilanceMeter;
use super::signal_class::{InvalidSignalDetector, SignalClassifier};
use super::spectra::{Framing, Spectra};
use super::tonal_balance::TonalBalanceMeter;
use crate::SampleRate;
use crate::frame::CHUNK;
use crate::math::to_db;
use crate::meters::{ChannelWeights, LoudnessMeter, TruePeakMeter};

/// Minimum active speech for a measurement, s.
const MIN_ACTIVE_S: f64 = 2.0;

/// Measures a recording and returns its [`Profile`] at any time.
///
/// Accepts mono or stereo at 8 to 192 kHz in blocks of any length. Loudness, true peak, sample peak and
/// clipping cover all channels, as does the check for an invalid signal. Everything else is measured on (L+R)/2 without
/// its DC offset; spectra are taken at 48 kHz or less. Non-finite samples count as silence.
///
/// All timing is counted in samples: the profile is bit-identical for any block size. Nothing allocates. The meter is
/// large, at most 300 KiB: keep it on the heap where threads have small stacks.
///
/// Tested in tests/properties/profile.rs and by `a_profile_meter_fits_in_300_kib`. For accuracy on recorded voices see
/// tests/accuracy/RESULTS.md.
///
/// ```
/// use voicechain_core::SampleRate;
/// use voicechain_core::measure::ProfileMeter;
/// use voicechain_core::propose::{Context, propose};
///
/// let mut meter = Box::new(ProfileMeter::<1>::new(SampleRate::new(48_000.0)?));
/// meter.push(&[[0.0]; 4_800]); // a recording, in blocks of any length
/// let profile = meter.profile();
/// assert!(profile.pitch.is_err(), "silence has no pitch");
/// let proposal = propose(&profile, Context::default());
/// assert_eq!(proposal.warnings().count(), 1); // no voice: nothing is proposed
/// # Ok::<(), voicechain_core::SettingError>(())
/// ```
#[derive(Clone, Debug)]
pub struct ProfileMeter<const C: usize> {
    rate: SampleRate,
    frames: u64,
    sanitised: u64,
    loudness: LoudnessMeter<C>,
    true_peak: TruePeakMeter<C>,
    clipping: [ClippingDetector; C],
    base: Downsampler,
    levels: LevelMeter,
    short: Spectra<512>,
    long: Spectra<2_048>,
    balance: TonalBalanceMeter,
    sibilance: SibilanceMeter,
    decay: DecayMeter,
    hum: HumMeter,
    pitch: PitchMeter,
    resonance: ResonanceMeter,
    invalid_signal: InvalidSignalDetector<C>,
    signal_class: SignalClassifier,
}

impl<const C: usize> ProfileMeter<C> {
    /// A meter in its initial state.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        const { assert!(C == 1 || C == 2, "one or two channels") };
        let base = Downsampler::new(rate);
        let base_rate = base.rate();
        let (short, long) = (Framing::short(base_rate.hz()), Framing::long(base_rate.hz()));
        Self {
            rate,
            frames: 0,
            sanitised: 0,
            loudness: LoudnessMeter::new(rate, ChannelWeights::default()),
            true_peak: TruePeakMeter::new(rate),
            clipping: [const { ClippingDetector::new() }; C],
            base,
            levels: LevelMeter::new(base_rate),
            short: Spectra::new(short),
            long: Spectra::new(long),
            balance: TonalBalanceMeter::new(&long),
            sibilance: SibilanceMeter::new(base_rate, &short),
            decay: DecayMeter::new(&short),
            hum: HumMeter::new(base_rate.hz()),
            pitch: PitchMeter::new(base_rate.hz()),
            resonance: ResonanceMeter::new(&long),
            invalid_signal: InvalidSignalDetector::new(),
            signal_class: SignalClassifier::new(&short, &long),
        }
    }

    /// Processes frames.
    pub fn push(&mut self, frames: &[[f32; C]]) {
        for piece in frames.chunks(CHUNK) {
            let mut clean = [[0.0_f32; C]; CHUNK];
            let mut channel = [0.0_f32; CHUNK];
            let mut mono = [0.0_f32; CHUNK];
            let (clean, sanitised) = sanitise(piece, &mut clean);
            self.sanitised += sanitised;
            self.frames += piece.len() as u64;
            self.invalid_signal.push(clean);
            self.loudness.push(clean);
            self.true_peak.push(clean);
            for (c, clipping) in self.clipping.iter_mut().enumerate() {
                for (to, frame) in channel.iter_mut().zip(clean) {
                    *to = frame[c];
                }
                clipping.push(&channel[..clean.len()]);
            }
            let count = self.base.run(clean, &mut mono);
            self.process(&mono[..count]);
        }
    }

    /// Processes (L+R)/2 at the measurement rate: levels, then meters of short frames, hum, meters of long frames.
    fn process(&mut self, samples: &[f32]) {
        self.levels.push(samples);
        let Self { short, long, balance, sibilance, decay, pitch, resonance, signal_class, .. } = self;
        short.pieces(samples, |short, now| {
            sibilance.push(now);
            short.push(now, |spectrum| {
                sibilance.frame(spectrum);
                decay.frame(spectrum);
                signal_class.short_frame(spectrum);
            });
        });
        self.hum.push(samples);
        // The pitch meter runs exactly up to the last sample of each spectrum, whatever the block size.
        long.pieces(samples, |long, now| {
            pitch.push(now, |hz, level_db| {
                resonance.pitch(hz);
                signal_class.pitch(hz, level_db);
            });
            long.push(now, |spectrum| {
                let level_db = spectrum.level_db();
                balance.frame(spectrum, level_db);
                resonance.frame(spectrum, level_db);
                signal_class.long_frame(spectrum);
            });
        });
    }

    /// Processed duration, s.
    #[must_use]
    pub fn duration_s(&self) -> f64 {
        self.frames as f64 / self.rate.hz()
    }

    /// Number of non-finite samples that were replaced by silence.
    #[must_use]
    pub fn sanitised_samples(&self) -> u64 {
        self.sanitised
    }

    /// Profile of the sound so far. Reads all histograms, which takes some hundred microseconds.
    #[must_use]
    pub fn profile(&self) -> Profile {
        let readings = self.levels.result();
        let samples = self.frames * C as u64;
        let signal_class = match readings.active {
            _ if self.invalid_signal.is_invalid(samples, self.sanitised) => SignalClass::InvalidSignal,
            Err(_) => SignalClass::Silence,
            Ok(active) if active.active_s < MIN_ACTIVE_S => SignalClass::TooShort,
            Ok(active) => self.signal_class.signal_class(active.level_dbov),
        };
        let level_dbov = match signal_class {
            SignalClass::Voice | SignalClass::SeveralVoices => readings.active.map(|active| active.level_dbov),
            SignalClass::Silence => Err(Unavailable::Silence),
            SignalClass::TooShort => Err(Unavailable::TooShort),
            SignalClass::Tone | SignalClass::Noise | SignalClass::Music | SignalClass::InvalidSignal => {
                Err(Unavailable::NotAVoice)
            }
        };
        let noise_bands_dbfs = self.balance.quiet_dbfs();
        let bandwidth = level_dbov.and_then(|level| self.balance.bandwidth(level));
        let high_hz = bandwidth.map_or(0.5 * self.base.rate().hz(), |bandwidth| bandwidth.high_hz);
        let pitch = level_dbov.and_then(|_| self.pitch.pitch());
        let pitch_hz = pitch.ok().map(|pitch| pitch.median_hz);
        Profile {
            rate_hz: self.rate.hz(),
            duration_s: self.duration_s(),
            channels: C,
            signal_class,
            level: self.level(&readings),
            level_consistency: level_dbov.and(readings.level_consistency),
            transients: level_dbov.and(readings.transients),
            background_noise: BackgroundNoise {
                noise_floor_dbfs: readings.noise_floor.noise_dbfs,
                noise_bands_dbfs,
                snr_db: level_dbov.and(readings.noise_floor.snr_db),
                rumble_dbfs: readings.noise_floor.rumble_dbfs,
                dc_offset: readings.dc_offset,
            },
            hum: level_dbov.and_then(|level| self.hum.hum(level)),
            pitch,
            tonal_balance: level_dbov
                .and_then(|level| self.balance.tonal_balance(level, &noise_bands_dbfs, high_hz, pitch_hz)),
            bandwidth,
            resonances: level_dbov.and_then(|level| self.resonance.resonances(level, &self.pitch.distribution())),
            sibilance: level_dbov.and_then(|level| self.sibilance.sibilance(level, high_hz)),
            reverberation: level_dbov.and_then(|_| self.decay.reverberation(readings.noise_floor.snr_db)),
        }
    }

    fn level(&self, readings: &LevelReadings) -> Level {
        // Flush the samples inside the interpolator.
        let mut true_peak = self.true_peak.clone();
        true_peak.finish();
        let most = |values: &[f64]| values.iter().fold(0.0_f64, |most, &value| most.max(value));
        let mut clipping = Clipping::default();
        for found in self.clipping.iter().map(ClippingDetector::result) {
            clipping.runs = clipping.runs.saturating_add(found.runs);
            clipping.samples += found.samples;
        }
        Level {
            integrated_lufs: self.loudness.integrated().ok_or(Unavailable::Silence),
            loudness_range_lu: self.loudness.range().ok_or(Unavailable::TooShort),
            true_peak_dbtp: to_db(most(&true_peak.hold())),
            sample_peak_dbfs: to_db(most(&true_peak.sample_hold())),
            clipping,
            active_level_dbov: readings.active.map(|active| active.level_dbov),
            activity_percent: readings.active.map_or(0.0, |active| active.activity_percent),
            active_s: readings.active.map_or(0.0, |active| active.active_s),
            crest_db: readings.crest_db,
            speech_peak_dbfs: readings.speech_peak_dbfs,
        }
    }
}
