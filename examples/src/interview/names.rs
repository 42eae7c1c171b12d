//! Names of voices, files and jobs.

use std::path::Path;

/// File-safe name: at most 40 lower-case letters, digits and hyphens; "voice" if none remain.
pub(super) fn safe_name(name: &str) -> String {
    let mut safe = String::new();
    for c in name.to_lowercase().chars() {
        if c.is_alphanumeric() {
            safe.push(c);
        } else if !safe.is_empty() && !safe.ends_with('-') {
            safe.push('-');
        }
    }
    let safe: String = safe.trim_end_matches('-').chars().take(40).collect();
    if safe.is_empty() { "voice".into() } else { safe }
}

/// The name, with a number if it is already taken.
pub(super) fn unique_name(name: String, taken: &[String]) -> String {
    if !taken.contains(&name) {
        return name;
    }
    (2..).map(|n| format!("{name}-{n}")).find(|n| !taken.contains(n)).unwrap_or(name)
}

/// Names of all output files of a job with these voices.
pub(super) fn file_names(voices: &[String]) -> Vec<String> {
    let mut names = vec!["mix.wav".to_string()];
    names.extend(voices.iter().map(|v| format!("voice-{v}.wav")));
    names.extend(voices.iter().map(|v| format!("settings-{v}.toml")));
    names.extend(["report.html".to_string(), "report.json".to_string()]);
    names
}

/// Short description of an output file.
pub(super) fn file_description(name: &str) -> String {
    let words = match Path::new(name).file_stem().and_then(|s| s.to_str()) {
        Some("mix") => "the delivered mix",
        Some("report") if name.ends_with("html") => "the report as a page",
        Some("report") => "the report as data",
        Some(stem) if stem.starts_with("voice-") => {
            "the balanced voice, aligned with its recording, before programme gain and limiter"
        }
        _ => "the strip's settings for this voice",
    };
    words.to_string()
}

/// Title of the job.
pub(super) fn job_title(names: &[String], demo: bool) -> String {
    let voices = match names {
        [one] => one.clone(),
        [others @ .., last] => format!("{} and {last}", others.join(", ")),
        [] => String::new(),
    };
    if demo { format!("Demo interview: {voices}") } else { format!("Interview: {voices}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_safe_and_numbered() {
        assert_eq!(safe_name("../../Étude No. 3 (final).take"), "étude-no-3-final-take");
        assert_eq!(safe_name("///"), "voice");
        assert_eq!(safe_name(&"x".repeat(300)).len(), 40);
        let taken = ["anna".to_string(), "anna-2".to_string()];
        assert_eq!(unique_name("anna".into(), &taken), "anna-3");
    }
}
