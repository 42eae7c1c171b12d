//! Text description of the file format.

/// Container, codec and word length, such as "WAV, 24 bit".
pub(super) fn describe(container: &str, codec: &str, bits: Option<u32>) -> String {
    let name = match (container, codec) {
        ("wave", _) => "WAV",
        ("aiff", _) => "AIFF",
        ("flac", _) => "FLAC",
        ("ogg", _) => "Ogg",
        ("isomp4", _) => "MP4",
        ("aac", _) => "AAC",
        (_, "mp3") => "MP3",
        (other, _) => other,
    };
    let coding = match codec {
        "flac" if container == "flac" => bits.map(|b| format!("{b} bit")),
        "aac" if container == "aac" => None,
        "mp3" => None,
        "pcm_mulaw" => Some("µ-law".to_owned()),
        "pcm_alaw" => Some("A-law".to_owned()),
        "vorbis" => Some("Vorbis".to_owned()),
        _ if codec.starts_with("adpcm") => Some("ADPCM".to_owned()),
        _ if codec.starts_with("pcm_f64") => Some("64 bit float".to_owned()),
        _ if codec.starts_with("pcm_f") => bits.map(|b| format!("{b} bit float")),
        _ if is_integer_pcm(codec) => bits.map(|b| format!("{b} bit")),
        other => Some(other.replace('_', " ").to_uppercase()),
    };
    match coding {
        Some(coding) => format!("{name}, {coding}"),
        None => name.to_owned(),
    }
}

/// Whether the codec is integer PCM.
pub(super) fn is_integer_pcm(codec: &str) -> bool {
    codec.starts_with("pcm_s") || codec.starts_with("pcm_u")
}
