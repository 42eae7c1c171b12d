//! Encoder delay and padding, as stated by the file.

use super::mp4;

/// Metadata of a file about encoder delay and length.
pub(super) struct GaplessMetadata<'a> {
    /// Short name of the container.
    pub(super) container: &'a str,
    /// Short name of the codec.
    pub(super) codec: &'a str,
    /// `iTunSMPB` comment with delay and length, if present.
    pub(super) comment: Option<String>,
    /// Edit list of an MP4 file.
    pub(super) edit: mp4::EditList,
    /// Whether the decoding library already removes a stated delay.
    pub(super) removed: bool,
}

/// Frames to remove from the decoded audio.
#[derive(Debug, Default, PartialEq)]
pub(super) struct EncoderDelay {
    /// Frames to drop at the start.
    pub(super) frames_to_skip: u64,
    /// Length after which only padding follows, frames.
    pub(super) limit: Option<u64>,
    /// Whether the codec has a delay that the file does not state.
    pub(super) unknown: bool,
}

impl EncoderDelay {
    /// Derives the delay of a file with this sample rate from its metadata.
    pub(super) fn of(stated: &GaplessMetadata<'_>, rate_hz: u32) -> Self {
        let frames = |seconds: f64| (seconds * f64::from(rate_hz)).round() as u64;
        if stated.container != "isomp4" {
            let unknown = matches!(stated.codec, "aac" | "mp1" | "mp2" | "mp3") && !stated.removed;
            return Self { unknown, ..Self::default() };
        }
        if let Some((frames_to_skip, length)) = stated.comment.as_deref().and_then(parse_gapless) {
            return Self { frames_to_skip, limit: Some(length), unknown: false };
        }
        match stated.edit.start_s {
            Some(start_s) => Self {
                frames_to_skip: frames(start_s),
                limit: stated.edit.length_s.map(frames),
                // Every AAC encoder has a delay, so that a start of zero is not a statement.
                unknown: stated.codec == "aac" && start_s == 0.0,
            },
            None => Self { unknown: stated.codec == "aac", ..Self::default() },
        }
    }
}

/// Parses the `iTunSMPB` comment: hexadecimal words, of which the second is the delay and the fourth the length, both
/// in frames.
fn parse_gapless(text: &str) -> Option<(u64, u64)> {
    let words: Vec<u64> = text.split_whitespace().map_while(|w| u64::from_str_radix(w, 16).ok()).collect();
    match words[..] {
        [_, delay, _, length, ..] if delay < 1 << 20 && length > 0 => Some((delay, length)),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_comment_states_delay_and_length() {
        let comment = " 00000000 00000840 000001CA 00000000003F31F6 00000000";
        assert_eq!(parse_gapless(comment), Some((2_112, 4_141_558)));
        assert_eq!(parse_gapless("no numbers"), None);
        // The comment takes precedence over the edit list.
        let edit = mp4::EditList { start_s: Some(1.0), length_s: None };
        let mut stated =
            GaplessMetadata { container: "isomp4", codec: "aac", comment: Some(comment.into()), edit, removed: false };
        let delay = EncoderDelay { frames_to_skip: 2_112, limit: Some(4_141_558), unknown: false };
        assert_eq!(EncoderDelay::of(&stated, 44_100), delay);
        stated.comment = None;
        let delay = EncoderDelay { frames_to_skip: 44_100, limit: None, unknown: false };
        assert_eq!(EncoderDelay::of(&stated, 44_100), delay);
        stated.edit = mp4::EditList::default();
        assert!(EncoderDelay::of(&stated, 44_100).unknown);
    }
}
