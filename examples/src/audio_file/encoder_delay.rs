//! What an encoder added before and after the sound, as far as the file states it.

use super::mp4;

/// What a file says about the sound in it.
pub(super) struct GaplessMetadata<'a> {
    /// Short name of the container.
    pub(super) container: &'a str,
    /// Short name of the coding.
    pub(super) codec: &'a str,
    /// The comment with delay and length, if there is one.
    pub(super) comment: Option<String>,
    /// The edit list of an MP4 file.
    pub(super) edit: mp4::EditList,
    /// The container removes a delay itself.
    pub(super) removed: bool,
}

/// What is to be left out of the decoded sound.
#[derive(Debug, Default, PartialEq)]
pub(super) struct EncoderDelay {
    /// Frames to be dropped at the start.
    pub(super) frames_to_skip: u64,
    /// Frames after which the sound ends although packets go on.
    pub(super) limit: Option<u64>,
    /// The encoder has a delay that the file does not state.
    pub(super) unknown: bool,
}

impl EncoderDelay {
    /// Of a file at this rate.
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
                // No AAC encoder is without delay: a start of zero states nothing.
                unknown: stated.codec == "aac" && start_s == 0.0,
            },
            None => Self { unknown: stated.codec == "aac", ..Self::default() },
        }
    }
}

/// Reads the comment in which some encoders state delay and length of AAC: hexadecimal words, the second the delay, the
/// fourth the length in frames.
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
        // Where there is one, it goes before the edit list.
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
