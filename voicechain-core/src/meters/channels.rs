//! Channels of a programme and their loudness weights.

use crate::blank::Blank;

/// Channel of a programme, for its loudness weight (ITU-R BS.1770 Annex 1, Table 3).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Channel {
    /// Left; also the only channel of a mono voice.
    Left,
    /// Right.
    Right,
    /// Centre.
    Centre,
    /// Left surround.
    LeftSurround,
    /// Right surround.
    RightSurround,
    /// Low-frequency effects; excluded from loudness.
    LowFrequency,
}

impl Channel {
    /// Factor on the energy of the channel: 1 in front, 1.41 for surround, 0 for low-frequency effects.
    #[must_use]
    pub const fn weight(self) -> f64 {
        match self {
            Self::Left | Self::Right | Self::Centre => 1.0,
            Self::LeftSurround | Self::RightSurround => 1.41,
            Self::LowFrequency => 0.0,
        }
    }
}

/// Loudness weights of `C` channels.
///
/// The default is the usual order: one channel is a voice in front; two are left, right; three add the centre; four are
/// left, right and both surrounds; five are left, right, centre and both surrounds.
///
/// Tested by `standards::loudness::tech_3341_case_6` and `channel_order_does_not_change_loudness`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChannelWeights<const C: usize>([f64; C]);

impl<const C: usize> Blank for ChannelWeights<C> {
    const BLANK: Self = Self(Blank::BLANK);
}

impl<const C: usize> ChannelWeights<C> {
    /// Creates the weights of `channels`.
    #[must_use]
    pub fn of(channels: [Channel; C]) -> Self {
        Self(channels.map(Channel::weight))
    }

    /// Weights as factors of energy.
    #[must_use]
    pub fn factors(&self) -> &[f64; C] {
        &self.0
    }
}

impl<const C: usize> Default for ChannelWeights<C> {
    fn default() -> Self {
        let front = if C == 4 { 2 } else { 3 };
        let channel = |c| if c < front { Channel::Left } else { Channel::LeftSurround };
        Self(core::array::from_fn(|c| channel(c).weight()))
    }
}
