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
