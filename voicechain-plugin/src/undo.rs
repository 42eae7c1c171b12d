//! The steps that can be undone and redone.

use voicechain_core::StripSettings;

/// How many steps can be undone.
const STEPS: usize = 100;

/// The settings before and after those that are there now, the nearest last.
#[derive(Debug, Default)]
pub(crate) struct UndoSteps {
    before: Vec<StripSettings>,
    after: Vec<StripSettings>,
}

impl UndoSteps {
    /// The settings as they are become a step that can be gone back to.
    pub(crate) fn push(&mut self, now: StripSettings) {
        if self.before.len() == STEPS {
            self.before.remove(0);
        }
        self.before.push(now);
        self.after.clear();
    }

    /// The same, unless that step is there already: a person takes hold of something, and may not move it.
    pub(crate) fn hold(&mut self, now: StripSettings) {
        if self.before.last() != Some(&now) {
            self.push(now);
        }
    }

    /// True if there is a step to take back, and one to take again.
    pub(crate) fn available(&self, now: &StripSettings) -> [bool; 2] {
        [self.before.iter().any(|before| before != now), !self.after.is_empty()]
    }

    /// Takes the last step back and gives the settings before it. A hold that moved nothing is no step.
    pub(crate) fn undo(&mut self, now: StripSettings) -> Option<StripSettings> {
        while self.before.last() == Some(&now) {
            self.before.pop();
        }
        let settings = self.before.pop()?;
        self.after.push(now);
        Some(settings)
    }

    /// Takes the last step that was taken back again and gives the settings after it.
    pub(crate) fn redo(&mut self, now: StripSettings) -> Option<StripSettings> {
        let settings = self.after.pop()?;
        self.before.push(now);
        Some(settings)
    }
}
