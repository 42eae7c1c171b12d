//! What the voice is for.

/// Where the voice is heard.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Role {
    /// Alone.
    #[default]
    SoloVoice,
    /// With music under it.
    OverMusic,
}

/// How the voice is used.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum VocalStyle {
    /// Spoken.
    #[default]
    Spoken,
    /// Sung.
    Sung,
}

/// What the profile cannot tell: what the voice is for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Context {
    /// Where it is heard.
    pub role: Role,
    /// How it is used.
    pub vocal_style: VocalStyle,
}
