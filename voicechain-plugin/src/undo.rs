//! The steps that can be undone and redone.

use voicechain_core::StripSettings;

/// How many steps can be undone.
const MAX_STEPS: usize = 100;

/// The settings before and after those that are there now, the nearest last.
#[derive(Debug, Default)]
pub(crate) struct UndoHistory {
    undo_stack: Vec<StripSettings>,
    redo_stack: Vec<StripSettings>,
}

impl UndoHistory {
    /// The settings as they are become a step that can be gone back to.
    pub(crate) fn push(&mut self, now: StripSettings) {
        if self.undo_stack.len() == MAX_STEPS {
            self.undo_stack.remove(0);
        }
        self.undo_stack.push(now);
        self.redo_stack.clear();
    }

    /// The same, unless that step is there already: a person takes hold of something, and may not move it.
    pub(crate) fn push_if_changed(&mut self, now: StripSettings) {
        if self.undo_stack.last() != Some(&now) {
            self.push(now);
        }
    }

    /// True if there is a step to take back, and one to take again.
    pub(crate) fn can_undo_redo(&self, now: &StripSettings) -> [bool; 2] {
        [self.undo_stack.iter().any(|before| before != now), !self.redo_stack.is_empty()]
    }

    /// Takes the last step back and gives the settings before it. A hold that moved nothing is no step.
    pub(crate) fn undo(&mut self, now: StripSettings) -> Option<StripSettings> {
        while self.undo_stack.last() == Some(&now) {
            self.undo_stack.pop();
        }
        let settings = self.undo_stack.pop()?;
        self.redo_stack.push(now);
        Some(settings)
    }

    /// Takes the last step that was taken back again and gives the settings after it.
    pub(crate) fn redo(&mut self, now: StripSettings) -> Option<StripSettings> {
        let settings = self.redo_stack.pop()?;
        self.undo_stack.push(now);
        Some(settings)
    }
}
