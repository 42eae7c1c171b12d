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
use crate::blank::{Blank, blank};
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
/// large, at most 300 KiB: keep it on the heap.
///
/// Tested in tests/properties/profile.rs and by `a_profile_meter_fits_in_300_kib`. For accuracy on recorded voices see
/// tests/accuracy/RESULTS.md.
///
/// ```
/// use voicechain_core::SampleRate;
/// use voicechain_core::measure::ProfileMeter;
/// use voicechain_core::propose::{Context, propose};
///
/// let mut meter = Box::new(ProfileMeter::<1>::NEW);
/// meter.restart(SampleRate::new(48_000.0)?);
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

blank! {
    [const C: usize] ProfileMeter<C> {
        rate, frames, sanitised, loudness, true_peak, clipping, base, levels, short, long, balance, sibilance, decay,
        hum, pitch, resonance, invalid_signal, signal_class,
    }
}

/// Builds a part on the stack and moves it to its place. Not inlined, so that all parts use the same stack in turn.
#[inline(never)]
fn place<T>(to: &mut T, part: impl FnOnce() -> T) {
    *to = part();
}

impl<const C: usize> ProfileMeter<C> {
    /// Blank meter: it measures nothing before its first [`restart`](Self::restart). The constant is all zeros, so an
    /// optimised build writes it straight to the heap, on a stack of 128 KiB; a debug build needs the size of the meter
    /// plus 96 KiB. Tested by `making_a_strip_or_a_profile_meter_needs_128_kib_of_stack` and
    /// `a_restarted_profile_meter_equals_a_new_one`.
    ///
    /// ```
    /// use voicechain_core::SampleRate;
    /// use voicechain_core::measure::ProfileMeter;
    ///
    /// let mut meter = Box::new(ProfileMeter::<2>::NEW);
    /// meter.restart(SampleRate::new(48_000.0)?);
    /// # Ok::<(), voicechain_core::SettingError>(())
    /// ```
    pub const NEW: Self = Self::BLANK;

    /// A meter in its initial state, for threads with a stack of 2 MiB: it passes over the stack several times.
    /// [`NEW`](Self::NEW) with [`restart`](Self::restart) spares it.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        let mut meter = Self::NEW;
        meter.restart(rate);
        meter
    }

    /// Clears the meter in place, for any sample rate. It is then that of [`new`](Self::new), bit for bit.
    pub fn restart(&mut self, rate: SampleRate) {
        const { assert!(C == 1 || C == 2, "one or two channels") };
        (self.rate, self.frames, self.sanitised) = (rate, 0, 0);
        place(&mut self.base, || Downsampler::new(rate));
        let base = self.base.rate();
        let (short, long) = (Framing::short(base.hz()), Framing::long(base.hz()));
        self.loudness.restart(rate, ChannelWeights::default());
        place(&mut self.true_peak, || TruePeakMeter::new(rate));
        place(&mut self.clipping, || [const { ClippingDetector::new() }; C]);
        place(&mut self.levels, || LevelMeter::new(base));
        self.short.restart(short);
        self.long.restart(long);
        place(&mut self.balance, || TonalBalanceMeter::new(&long));
        place(&mut self.sibilance, || SibilanceMeter::new(base, &short));
        place(&mut self.decay, || DecayMeter::new(&short));
        self.hum.restart(base.hz());
        self.pitch.restart(base.hz());
        place(&mut self.resonance, || ResonanceMeter::new(&long));
        place(&mut self.invalid_signal, InvalidSignalDetector::new);
        place(&mut self.signal_class, || SignalClassifier::new(&short, &long));
    }

    /// Processes frames. A blank meter ignores them.
    pub fn push(&mut self, frames: &[[f32; C]]) {
        if self.rate == SampleRate::BLANK {
            return;
        }
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
        if self.frames == 0 { 0.0 } else { self.frames as f64 / self.rate.hz() }
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
