//! Starting points: settings for five kinds of voice at the working level.

use crate::settings::{MakeUp, Slope, StripSettings};

/// A kind of voice.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StartingPoint {
    /// Speech close to the microphone in a quiet, dry room.
    SpokenClose,
    /// Speech in an audibly reverberant room.
    SpokenLiveRoom,
    /// A remote call: narrow-band, already levelled by the line.
    RemoteCall,
    /// Solo singing.
    SungAlone,
    /// Singing in a mix.
    SungInMix,
}

impl StartingPoint {
    /// All kinds of voice.
    pub const ALL: [Self; 5] =
        [Self::SpokenClose, Self::SpokenLiveRoom, Self::RemoteCall, Self::SungAlone, Self::SungInMix];

    /// Display name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::SpokenClose => "spoken voice, close",
            Self::SpokenLiveRoom => "spoken voice in a live room",
            Self::RemoteCall => "remote call",
            Self::SungAlone => "sung voice alone",
            Self::SungInMix => "sung voice in a mix",
        }
    }

    /// Settings for a voice at [`WORKING_LEVEL_LUFS`](crate::levels::WORKING_LEVEL_LUFS) (common practice, no
    /// source). Stages and bands that this kind of voice does not need are off or at 0 dB.
    #[must_use]
    pub fn settings(self) -> StripSettings {
        let mut s = StripSettings::default();
        s.compressor.make_up = MakeUp::Automatic;
        // The whole sibilant band: its lower edge is at 4 kHz.
        s.de_esser.frequency_hz = 4_000.0;
        s.de_esser.threshold_db = -2.0;
        match self {
            Self::SpokenClose => {
                s.high_pass.frequency_hz = 70.0;
                s.corrective_eq.bell_1_frequency_hz = 220.0;
                s.corrective_eq.bell_1_gain_db = -1.5;
                s.corrective_eq.bell_1_q = 1.0;
                s.de_esser.range_db = 6.0;
                s.compressor.threshold_db = -20.0;
                s.tone_eq.bell_gain_db = 1.5;
            }
            Self::SpokenLiveRoom => {
                s.high_pass.frequency_hz = 90.0;
                s.high_pass.slope = Slope::Db24;
                s.corrective_eq.bell_1_frequency_hz = 240.0;
                s.corrective_eq.bell_1_gain_db = -2.0;
                s.corrective_eq.bell_2_frequency_hz = 420.0;
                s.corrective_eq.bell_2_gain_db = -3.0;
                s.de_esser.range_db = 4.0;
                // Compression raises reverberation between words: use less of it, with a slower release.
                s.compressor.threshold_db = -18.0;
                s.compressor.ratio = 2.5;
                s.compressor.release_ms = 180.0;
                s.tone_eq.bell_gain_db = 2.0;
                s.tone_eq.low_shelf_gain_db = 1.0;
            }
            Self::RemoteCall => {
                s.high_pass.frequency_hz = 110.0;
                s.high_pass.slope = Slope::Db24;
                s.corrective_eq.bell_1_frequency_hz = 350.0;
                s.corrective_eq.bell_1_gain_db = -2.0;
                s.corrective_eq.bell_3_frequency_hz = 1_600.0;
                s.corrective_eq.bell_3_gain_db = -2.0;
                s.de_esser.range_db = 3.0;
                s.compressor.threshold_db = -18.0;
                s.compressor.ratio = 2.0;
                s.tone_eq.low_shelf_gain_db = 2.0;
            }
            Self::SungAlone => {
                s.high_pass.frequency_hz = 70.0;
                s.high_pass.slope = Slope::Db12;
                s.de_esser.range_db = 5.0;
                s.compressor.threshold_db = -18.0;
                s.compressor.attack_ms = 12.0;
                s.compressor.release_ms = 200.0;
                s.compressor.knee_db = 10.0;
                s.tone_eq.high_shelf_gain_db = 1.5;
            }
            Self::SungInMix => {
                s.high_pass.frequency_hz = 110.0;
                s.corrective_eq.bell_1_frequency_hz = 250.0;
                s.corrective_eq.bell_1_gain_db = -2.5;
                s.de_esser.range_db = 7.0;
                s.compressor.threshold_db = -21.0;
                s.compressor.ratio = 4.0;
                s.compressor.attack_ms = 4.0;
                s.tone_eq.bell_gain_db = 2.5;
                s.tone_eq.high_shelf_gain_db = 2.0;
            }
        }
        s
    }
}
