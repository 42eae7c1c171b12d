//! Channel patterns: the ways in which the two channels of a recording differ.

use crate::signals::unequal;
use crate::spectra::Noise;

/// Relation of the two channels of a recording.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ChannelPattern {
    /// The same signal in both.
    Equal,
    /// The right channel is 4 dB quieter, inverted, and 11 samples late.
    Unequal,
    /// The right channel is silent.
    OnlyLeft,
    /// The left channel is silent.
    OnlyRight,
    /// The right channel is inverted: the channels sum to silence.
    Opposite,
    /// Both channels are silent.
    Silent,
    /// Unequal; both channels are muted in the middle third.
    BothPause,
    /// Unequal; the right channel is silent in the middle third.
    RightPauses,
    /// One channel at a time, in five turns.
    TakeTurns,
    /// Unequal; one channel or the other drops out, from one sample to a twentieth of the recording at a time.
    DropOuts,
}

impl ChannelPattern {
    /// Every pattern.
    pub const ALL: [Self; 10] = [
        Self::Equal,
        Self::Unequal,
        Self::OnlyLeft,
        Self::OnlyRight,
        Self::Opposite,
        Self::Silent,
        Self::BothPause,
        Self::RightPauses,
        Self::TakeTurns,
        Self::DropOuts,
    ];
    /// The patterns that contain sound and do not change within the recording.
    pub const STEADY: [Self; 5] = [Self::Equal, Self::Unequal, Self::OnlyLeft, Self::OnlyRight, Self::Opposite];

    /// One of these patterns at random.
    ///
    /// # Panics
    /// If there are none.
    #[must_use]
    pub fn one_of(patterns: &[Self], random: &mut Noise) -> Self {
        patterns[random.between(0.0, patterns.len() as f64 - 1e-9) as usize]
    }

    /// Two channels of a signal, in single precision.
    #[must_use]
    pub fn frames(self, signal: &[f64]) -> Vec<[f32; 2]> {
        let n = signal.len();
        let silence = |frames: &mut [[f32; 2]], left: bool, right: bool| {
            for frame in frames {
                *frame = [if left { 0.0 } else { frame[0] }, if right { 0.0 } else { frame[1] }];
            }
        };
        let mut frames = match self {
            Self::Equal | Self::OnlyLeft | Self::OnlyRight | Self::Silent | Self::TakeTurns => {
                signal.iter().map(|&x| [x as f32; 2]).collect()
            }
            Self::Opposite => signal.iter().map(|&x| [x as f32, (0.0 - x) as f32]).collect(),
            Self::Unequal | Self::BothPause | Self::RightPauses | Self::DropOuts => unequal(signal),
        };
        match self {
            Self::Equal | Self::Unequal | Self::Opposite => {}
            Self::OnlyLeft => silence(&mut frames, false, true),
            Self::OnlyRight => silence(&mut frames, true, false),
            Self::Silent => silence(&mut frames, true, true),
            Self::BothPause => silence(&mut frames[n / 3..2 * n / 3], true, true),
            Self::RightPauses => silence(&mut frames[n / 3..2 * n / 3], false, true),
            Self::TakeTurns => {
                for (turn, frames) in frames.chunks_mut(n.div_ceil(5).max(1)).enumerate() {
                    silence(frames, turn % 2 == 1, turn % 2 == 0);
                }
            }
            Self::DropOuts => {
                let mut random = Noise::new(n as u64);
                let longest = (n as f64 / 20.0).max(1.0);
                let (mut at, mut sounds) = (0, true);
                while at < n {
                    let end = n.min(at + random.octaves_between(1.0, longest) as usize);
                    let left = random.sample() > 0.0;
                    if !sounds {
                        silence(&mut frames[at..end], left, !left);
                    }
                    (at, sounds) = (end, !sounds);
                }
            }
        }
        frames
    }
}
