//! An instance of the plugin as an editor works with it: its parts, and what needs several of them.

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

/// With less of the voice heard, nothing is proposed (common practice, no source).
pub const MIN_CAPTURED_FRACTION: f64 = 0.5;

/// Why nothing can be proposed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum NotMeasured {
    /// Nothing was measured yet.
    Nothing,
    /// Too little of the voice was heard: the share, 0 to 1.
    TooLittle(f64),
}

impl fmt::Display for NotMeasured {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Nothing => f.write_str("no voice was measured yet; measure while it plays"),
            Self::TooLittle(share) => {
                let percent = 100.0 * share;
                write!(
                    f,
                    "only {percent:.0} % of the voice could be heard; measure again with less load on the computer"
                )
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

/// An instance of the plugin as an editor works with it, on the main thread; it can outlive any activation.
#[derive(Clone, Debug)]
pub struct Instance {
    /// The parameters.
    pub parameters: Arc<Parameters>,
    /// All settings as a whole.
    pub commands: Arc<Commands>,
    /// The ring of samples to the meter of the voice.
    pub samples: Arc<SampleRing>,
    /// The meter of the voice.
    pub voice_meter: Arc<Mutex<VoiceMeter>>,
    /// What the strip's meters say.
    pub meters: Arc<Meters>,
}

impl Default for Instance {
    fn default() -> Self {
        let parameters = Arc::<Parameters>::default();
        let commands = Arc::new(Commands::new(Arc::clone(&parameters)));
        Self { parameters, commands, samples: Arc::default(), voice_meter: Arc::default(), meters: Arc::default() }
    }
}

impl Instance {
    /// Begins to measure the voice on this track anew.
    ///
    /// # Errors
    /// When the system has no thread left.
    pub fn measure(&self) -> std::io::Result<()> {
        self.samples.stop();
        self.voice_meter.lock().unwrap_or_else(PoisonError::into_inner).clear();
        self.samples.listen(Arc::clone(&self.voice_meter))
    }

    /// Ends measuring: what was played before counts.
    pub fn stop_measuring(&self) {
        self.samples.stop();
    }

    /// True while the voice is being measured.
    #[must_use]
    pub fn is_measuring(&self) -> bool {
        self.samples.is_listening()
    }

    /// What was measured, or has been so far; `None` before anything was heard. Takes some hundred microseconds.
    #[must_use]
    pub fn measured(&self) -> Option<MeasuredVoice> {
        self.voice_meter.lock().unwrap_or_else(PoisonError::into_inner).measured()
    }

    fn validated(&self) -> Result<MeasuredVoice, NotMeasured> {
        let heard = self.measured().ok_or(NotMeasured::Nothing)?;
        if heard.captured_fraction < MIN_CAPTURED_FRACTION {
            Err(NotMeasured::TooLittle(heard.captured_fraction))
        } else {
            Ok(heard)
        }
    }

    /// Proposes settings for the voice that was heard and applies them, as [`Commands::propose`].
    ///
    /// # Errors
    /// When nothing, or too little of it, was heard. Nothing is changed then.
    pub fn propose(&self, context: Context, host: &dyn Gestures) -> Result<Proposal, NotMeasured> {
        Ok(self.commands.propose(&self.validated()?.profile, context, host))
    }

    /// Carries over what another track's person changed to the voice that was heard here, as [`Commands::carry_over`].
    ///
    /// # Errors
    /// As [`Commands::carry_over`], and when nothing, or too little of it, was heard here. Nothing is changed then.
    pub fn carry_over(&self, text: &str, context: Context, host: &dyn Gestures) -> Result<(), TextError> {
        self.commands.carry_over(text, &self.validated()?.profile, context, host)
    }
}
