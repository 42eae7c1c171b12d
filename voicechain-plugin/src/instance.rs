//! Instance of the plugin as its editor uses it: shared parts, and operations that need several of them.

use crate::activation::Activation;
use crate::commands::Commands;
use crate::gestures::Gestures;
use crate::meters::Meters;
use crate::parameters::Parameters;
use crate::sample_ring::SampleRing;
use crate::voice_meter::{MeasuredVoice, VoiceMeter};
use std::fmt;
use std::sync::{Arc, Mutex, PoisonError};
use voicechain_core::propose::{Context, Proposal};
use voicechain_text::TextError;

/// Minimum captured fraction of the voice for a proposal (common practice, no source).
pub const MIN_CAPTURED_FRACTION: f64 = 0.5;

/// Reason why no settings can be proposed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum NotMeasured {
    /// No voice has been measured yet.
    Nothing,
    /// Too little of the voice was captured: the captured fraction, 0 to 1.
    TooLittle(f64),
}

impl fmt::Display for NotMeasured {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Nothing => f.write_str("no voice has been measured yet; measure while it plays"),
            Self::TooLittle(fraction) => {
                let percent = 100.0 * fraction;
                write!(f, "only {percent:.0} % of the voice was captured; measure again with less load on the computer")
            }
        }
    }
}

impl std::error::Error for NotMeasured {}

impl From<NotMeasured> for TextError {
    fn from(reason: NotMeasured) -> Self {
        Self { what: reason.to_string(), advice: "then carry over" }
    }
}

/// Instance of the plugin as its editor uses it, on the main thread. It outlives activations.
#[derive(Clone, Debug)]
pub struct Instance {
    /// Host parameters.
    pub parameters: Arc<Parameters>,
    /// Commands on all settings.
    pub commands: Arc<Commands>,
    /// Sample ring to the voice meter.
    pub samples: Arc<SampleRing>,
    /// Voice meter.
    pub voice_meter: Arc<Mutex<VoiceMeter>>,
    /// Meter readings of the strip.
    pub meters: Arc<Meters>,
    /// Sample rate and tail of the current activation.
    pub activation: Arc<Activation>,
}

impl Default for Instance {
    fn default() -> Self {
        let parameters = Arc::<Parameters>::default();
        let commands = Arc::new(Commands::new(Arc::clone(&parameters)));
        Self {
            parameters,
            commands,
            samples: Arc::default(),
            voice_meter: Arc::default(),
            meters: Arc::default(),
            activation: Arc::default(),
        }
    }
}

impl Instance {
    /// Starts a new measurement of the voice on this track.
    ///
    /// # Errors
    /// If the sound passes through unprocessed, or the system cannot start a thread.
    pub fn measure(&self) -> std::io::Result<()> {
        if let Some(notice) = self.activation.pass_through_notice() {
            return Err(std::io::Error::new(std::io::ErrorKind::Unsupported, notice));
        }
        self.samples.stop();
        self.voice_meter.lock().unwrap_or_else(PoisonError::into_inner).clear();
        self.samples.listen(Arc::clone(&self.voice_meter))
    }

    /// Ends the measurement; all frames sent before are included.
    pub fn stop_measuring(&self) {
        self.samples.stop();
    }

    /// Whether a measurement is running.
    #[must_use]
    pub fn is_measuring(&self) -> bool {
        self.samples.is_listening()
    }

    /// Result of the measurement, also while it runs; `None` before the first signal. Takes a few hundred microseconds.
    #[must_use]
    pub fn measured(&self) -> Option<MeasuredVoice> {
        self.voice_meter.lock().unwrap_or_else(PoisonError::into_inner).measured()
    }

    fn validated(&self) -> Result<MeasuredVoice, NotMeasured> {
        let voice = self.measured().ok_or(NotMeasured::Nothing)?;
        if voice.captured_fraction < MIN_CAPTURED_FRACTION {
            Err(NotMeasured::TooLittle(voice.captured_fraction))
        } else {
            Ok(voice)
        }
    }

    /// Proposes settings for the measured voice and applies them, as [`Commands::propose`].
    ///
    /// # Errors
    /// If no voice, or too little of it, was captured. Nothing is changed then.
    pub fn propose(&self, context: Context, host: &dyn Gestures) -> Result<Proposal, NotMeasured> {
        Ok(self.commands.propose(&self.validated()?.profile, context, host))
    }

    /// Carries over the changes made on another track to the voice measured here, as [`Commands::carry_over`].
    ///
    /// # Errors
    /// As [`Commands::carry_over`], and if no voice, or too little of it, was captured. Nothing is changed then.
    pub fn carry_over(&self, text: &str, context: Context, host: &dyn Gestures) -> Result<(), TextError> {
        self.commands.carry_over(text, &self.validated()?.profile, context, host)
    }
}
