//! Undo and redo stacks.

use voicechain_core::StripSettings;

/// Maximum number of steps that can be undone.
const MAX_STEPS: usize = 100;

/// Earlier and later settings, the nearest to the current ones last.
#[derive(Debug, Default)]
pub(crate) struct UndoHistory {
    undo_stack: Vec<StripSettings>,
    redo_stack: Vec<StripSettings>,
}

impl UndoHistory {
    /// Pushes the current settings as an undo step and clears the redo stack.
    pub(crate) fn push(&mut self, now: StripSettings) {
        if self.undo_stack.len() == MAX_STEPS {
            self.undo_stack.remove(0);
        }
        self.undo_stack.push(now);
        self.redo_stack.clear();
    }

    /// As [`push`](Self::push), unless the last step equals the current settings: a gesture may begin without a move.
    pub(crate) fn push_if_changed(&mut self, now: StripSettings) {
        if self.undo_stack.last() != Some(&now) {
            self.push(now);
        }
    }

    /// Whether undo and redo are possible.
    pub(crate) fn can_undo_redo(&self, now: &StripSettings) -> [bool; 2] {
        [self.undo_stack.iter().any(|before| before != now), !self.redo_stack.is_empty()]
    }

    /// Undoes the last step; returns the settings before it. A gesture without a move does not count as a step.
    pub(crate) fn undo(&mut self, now: StripSettings) -> Option<StripSettings> {
        while self.undo_stack.last() == Some(&now) {
            self.undo_stack.pop();
        }
        let settings = self.undo_stack.pop()?;
        self.redo_stack.push(now);
        Some(settings)
    }

    /// Redoes the last undone step; returns the settings after it.
    pub(crate) fn redo(&mut self, now: StripSettings) -> Option<StripSettings> {
        let settings = self.redo_stack.pop()?;
        self.undo_stack.push(now);
        Some(settings)
    }
}
