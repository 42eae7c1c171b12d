//! What an editor works with: the parts, and what needs several of them.

use crate::desk::Desk;
use crate::ear::Ear;
use crate::gestures::Gestures;
use crate::hearing::{Heard, Hearing};
use crate::meters::Meters;
use crate::parameters::Parameters;
use std::fmt;
use std::sync::{Arc, Mutex, PoisonError};
use voicechain_core::propose::{Context, Proposal};
use voicechain_text::TextError;

/// With less of the voice heard, nothing is proposed (common practice, no source).
pub const LEAST_VALIDITY: f64 = 0.5;

/// Why nothing can be proposed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Unheard {
    /// Nothing was measured yet.
    Nothing,
    /// Too little of the voice was heard: the share, 0 to 1.
    TooLittle(f64),
}

impl fmt::Display for Unheard {
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

impl std::error::Error for Unheard {}

impl From<Unheard> for TextError {
    fn from(reason: Unheard) -> Self {
        Self { what: reason.to_string(), advice: "then carry over" }
    }
}

/// What an editor works with, on the main thread; it can outlive any activation.
#[derive(Clone, Debug)]
pub struct Handles {
    /// The parameters.
    pub parameters: Arc<Parameters>,
    /// All settings as a whole.
    pub desk: Arc<Desk>,
    /// The way of the sound to whoever measures it.
    pub ear: Arc<Ear>,
    /// Who measures it.
    pub hearing: Arc<Mutex<Hearing>>,
    /// What the strip's meters say.
    pub meters: Arc<Meters>,
}

impl Default for Handles {
    fn default() -> Self {
        let parameters = Arc::<Parameters>::default();
        let desk = Arc::new(Desk::new(Arc::clone(&parameters)));
        Self { parameters, desk, ear: Arc::default(), hearing: Arc::default(), meters: Arc::default() }
    }
}

impl Handles {
    /// Begins to measure the voice on this track anew.
    ///
    /// # Errors
    /// When the system has no thread left.
    pub fn measure(&self) -> std::io::Result<()> {
        self.ear.stop();
        self.hearing.lock().unwrap_or_else(PoisonError::into_inner).clear();
        self.ear.listen(Arc::clone(&self.hearing))
    }

    /// Ends measuring: what was played before counts.
    pub fn stop_measuring(&self) {
        self.ear.stop();
    }

    /// True while the voice is being measured.
    #[must_use]
    pub fn is_measuring(&self) -> bool {
        self.ear.is_listening()
    }

    /// What was measured, or has been so far; `None` before anything was heard. Takes some hundred microseconds.
    #[must_use]
    pub fn heard(&self) -> Option<Heard> {
        self.hearing.lock().unwrap_or_else(PoisonError::into_inner).heard()
    }

    fn believed(&self) -> Result<Heard, Unheard> {
        let heard = self.heard().ok_or(Unheard::Nothing)?;
        if heard.validity < LEAST_VALIDITY { Err(Unheard::TooLittle(heard.validity)) } else { Ok(heard) }
    }

    /// Proposes settings for the voice that was heard and applies them, as [`Desk::propose`].
    ///
    /// # Errors
    /// When nothing, or too little of it, was heard. Nothing is changed then.
    pub fn propose(&self, context: Context, host: &dyn Gestures) -> Result<Proposal, Unheard> {
        Ok(self.desk.propose(&self.believed()?.profile, context, host))
    }

    /// Carries over what another track's person changed to the voice that was heard here, as [`Desk::carry_over`].
    ///
    /// # Errors
    /// As [`Desk::carry_over`], and when nothing, or too little of it, was heard here. Nothing is changed then.
    pub fn carry_over(&self, text: &str, context: Context, host: &dyn Gestures) -> Result<(), TextError> {
        self.desk.carry_over(text, &self.believed()?.profile, context, host)
    }
}
