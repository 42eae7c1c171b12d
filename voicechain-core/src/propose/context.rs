//! Intended use of the voice.

/// Place of the voice in the programme.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Role {
    /// Voice alone.
    #[default]
    SoloVoice,
    /// Voice over music.
    OverMusic,
}

/// Speech or singing.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum VocalStyle {
    /// Speech.
    #[default]
    Spoken,
    /// Singing.
    Sung,
}

/// Intended use of the voice, which the profile cannot contain.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Context {
    /// Alone or over music.
    pub role: Role,
    /// Speech or singing.
    pub vocal_style: VocalStyle,
}

/// Part of the context that decides a setting.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ContextReason {
    /// [`Role::OverMusic`].
    OverMusic,
    /// [`VocalStyle::Sung`].
    Sung,
}

impl ContextReason {
    /// The reason as a clause of a sentence.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::OverMusic => "the voice is over music",
            Self::Sung => "the voice is sung",
        }
    }
}
