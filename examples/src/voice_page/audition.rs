//! Clips for judging candidate resonances by ear: unprocessed, the band alone, with the cut, and what the cut removes.
//! All four are equally loud.

use crate::audio_file::AudioFile;
use crate::error::JobError;
use crate::interview::clips::loudness_and_true_peak;
use crate::output_folder::OutputFolder;
use crate::progress::{Progress, advance};
use crate::report::table::{printable, wrap};
use crate::report::text::{count, number};
use crate::series::{BoundedSeries, Decimation, most_active_start_s};
use crate::wav_file::{PendingFile, WavFile, WavFormat};
use std::path::Path;
use voicechain_core::SampleRate;
use voicechain_core::frame::Frame;
use voicechain_core::levels::WORKING_LEVEL_LUFS;
use voicechain_core::math::from_db;
use voicechain_core::measure::profile::Resonance;
use voicechain_core::meters::{ChannelWeights, LoudnessMeter};
use voicechain_core::propose::{TrialBell, trial_bell};
use voicechain_core::strip::{Audition, AuditionBand};

/// Length of a clip, s.
const CLIP_S: f64 = 4.0;
/// Loudness of every clip, LUFS. All clips of a candidate are lowered together if a peak exceeds the ceiling.
const CLIP_LUFS: f64 = WORKING_LEVEL_LUFS;
/// True-peak ceiling of every clip, dBTP.
const CLIP_CEILING_DBTP: f64 = -1.0;
/// Length of fade-in and fade-out, s.
const FADE_S: f64 = 0.02;
/// File name suffixes of the four clips of a candidate.
const CLIP_SUFFIXES: [&str; 4] = ["a-unprocessed", "b-band", "c-processed", "d-removed"];

/// Complete clips under temporary names.
pub struct Clips {
    // Declared before `folder`, so that a folder created for dropped clips is empty when it is removed.
    files: Vec<PendingFile>,
    folder: OutputFolder,
    candidates: usize,
    /// Start of the clips in the recording, s.
    pub start_s: f64,
}

impl Clips {
    /// Renames the clips and the other files to their final names, all or none.
    ///
    /// # Errors
    /// A rename failed.
    pub fn commit(self, others: Vec<PendingFile>) -> Result<(), JobError> {
        self.folder.finish(self.files.into_iter().chain(others).collect())
    }
}

/// Writes clips of every candidate from the most active segment of the recording to new files in `folder`. Returns
/// `None` without candidates.
///
/// # Errors
/// The recording cannot be read, the folder cannot be written, or a file with a clip's name exists.
pub fn clips(
    recording: &Path,
    candidates: &[Resonance],
    folder: &Path,
    progress: &mut dyn Progress,
) -> Result<Option<Clips>, JobError> {
    if candidates.is_empty() {
        return Ok(None);
    }
    let channels = AudioFile::open(recording)?.channels();
    match channels {
        1 => clips_in::<1>(recording, candidates, folder, progress).map(Some),
        _ => clips_in::<2>(recording, candidates, folder, progress).map(Some),
    }
}

/// File name of a clip.
fn name(place: usize, candidate: &Resonance, kind: &str) -> String {
    format!("candidate-{}-{:.0}-hz-{kind}.wav", place + 1, candidate.frequency_hz)
}

fn clips_in<const C: usize>(
    recording: &Path,
    candidates: &[Resonance],
    folder: &Path,
    progress: &mut dyn Progress,
) -> Result<Clips, JobError>
where
    [f32; C]: Frame,
{
    let mut folder = OutputFolder::open_without_overwriting(folder, "--audition")?;
    let all = |(place, candidate)| CLIP_SUFFIXES.map(|kind| name(place, candidate, kind));
    let names: Vec<String> = candidates.iter().enumerate().flat_map(all).collect();
    folder.check_overwrite(&names, &[recording.to_owned()])?;

    let (start, rate_hz, rate) = most_active::<C>(recording, progress)?;
    let whole = read_segment::<C>(recording, start, (CLIP_S * f64::from(rate_hz)) as usize)?;
    let mut files = Vec::new();
    let mut names = names.iter();
    for candidate in candidates {
        for (frames, name) in loudness_matched(&whole, candidate, rate).iter().zip(&mut names) {
            let mut file = WavFile::create(folder.path().join(name), rate_hz, C as u16, WavFormat::Int24)?;
            file.write(frames.as_flattened())?;
            files.push(file.complete()?);
        }
    }
    Ok(Clips { folder, files, candidates: candidates.len(), start_s: start as f64 / f64::from(rate_hz) })
}

/// Start of the most active segment in frames, and the sample rate.
fn most_active<const C: usize>(
    recording: &Path,
    progress: &mut dyn Progress,
) -> Result<(u64, u32, SampleRate), JobError> {
    let mut file = AudioFile::open(recording)?;
    let rate_hz = file.rate_hz();
    let rate = SampleRate::new(f64::from(rate_hz)).map_err(|e| {
        JobError::new(crate::JobErrorKind::Rate, e.to_string(), "use a rate from 8000 to 192000 Hz").at(recording)
    })?;
    progress.step("finding the most active segment", file.frames());
    let mut meter = Box::new(LoudnessMeter::<C>::new(rate, ChannelWeights::default()));
    let mut loudness_series = BoundedSeries::new(0.1, Decimation::Mean);
    let step = rate_hz as usize / 10;
    let (mut chunk, mut waiting) = (Vec::new(), Vec::<f32>::new());
    while file.read(&mut chunk)? > 0 {
        waiting.extend(chunk.iter().map(|s| if s.is_finite() { *s } else { 0.0 }));
        let whole = waiting.len() / (step * C) * (step * C);
        for piece in waiting[..whole].chunks_exact(step * C) {
            meter.push(piece.as_chunks::<C>().0);
            loudness_series.push(meter.momentary().unwrap_or(f64::NEG_INFINITY) as f32);
        }
        waiting.drain(..whole);
        advance(progress, file.position())?;
    }
    let total = file.position();
    let wanted = (most_active_start_s(&loudness_series.to_series(), CLIP_S) * f64::from(rate_hz)) as u64;
    Ok((wanted.min(total.saturating_sub((CLIP_S * f64::from(rate_hz)) as u64)), rate_hz, rate))
}

/// Reads up to `frames` frames of the recording, starting at frame `start`.
fn read_segment<const C: usize>(recording: &Path, start: u64, frames: usize) -> Result<Vec<[f32; C]>, JobError> {
    let mut file = AudioFile::open(recording)?;
    let (mut chunk, mut found, mut at) = (Vec::new(), Vec::with_capacity(frames), 0u64);
    while found.len() < frames && file.read(&mut chunk)? > 0 {
        let (read, _) = chunk.as_chunks::<C>();
        let skip = start.saturating_sub(at).min(read.len() as u64) as usize;
        let rest = &read[skip..];
        found.extend(&rest[..rest.len().min(frames - found.len())]);
        at += read.len() as u64;
    }
    found.as_flattened_mut().iter_mut().filter(|s| !s.is_finite()).for_each(|s| *s = 0.0);
    Ok(found)
}

/// The four loudness-matched clips of a candidate.
fn loudness_matched<const C: usize>(whole: &[[f32; C]], candidate: &Resonance, rate: SampleRate) -> [Vec<[f32; C]>; 4]
where
    [f32; C]: Frame,
{
    let audition = |audition: AuditionBand| {
        let mut frames = whole.to_vec();
        Audition::new(audition, rate).run(&mut frames);
        frames
    };
    let TrialBell { frequency_hz, gain_db, q } = trial_bell(candidate);
    let removed = audition(AuditionBand::BellCut { frequency_hz, gain_db, q });
    let processed = whole.iter().zip(&removed).map(|(all, cut)| std::array::from_fn(|c| all[c] - cut[c])).collect();
    let band = audition(AuditionBand::BandPass { frequency_hz: candidate.frequency_hz, q: candidate.q });
    let mut clips = [whole.to_vec(), band, processed, removed];
    let fade = (FADE_S * rate.hz()) as usize;
    let (mut gains, mut over) = ([0.0; 4], 0.0f64);
    for (clip, gain_db) in clips.iter_mut().zip(&mut gains) {
        let last = clip.len().saturating_sub(1);
        for (n, frame) in clip.iter_mut().enumerate() {
            let share = (n.min(last - n) as f32 / fade as f32).min(1.0);
            frame.iter_mut().for_each(|s| *s *= share * share * (3.0 - 2.0 * share));
        }
        if let Some((lufs, peak)) = loudness_and_true_peak::<C>(clip.as_flattened(), rate) {
            *gain_db = CLIP_LUFS - lufs;
            over = over.max(peak + *gain_db - CLIP_CEILING_DBTP);
        }
    }
    for (clip, gain_db) in clips.iter_mut().zip(gains) {
        let gain = from_db(gain_db - over) as f32;
        clip.as_flattened_mut().iter_mut().for_each(|s| *s *= gain);
    }
    clips
}

/// Summary of the written clips for the terminal.
#[must_use]
pub fn words(clips: Option<&Clips>, folder: &Path) -> String {
    let mut out = String::new();
    let Some(clips) = clips else {
        wrap(&mut out, "", "Clips to hear: none, because no resonance was found.");
        return out.trim_end().to_owned();
    };
    let folder = printable(&folder.display().to_string());
    wrap(
        &mut out,
        "",
        &format!(
            "Clips to hear in {folder}, {} s each, starting at {} s, for {}: unprocessed, the band alone, with the cut, and \
             what the cut removes. All clips of a candidate are equally loud, even where little signal is left: start \
             playback at a low level.",
            number(CLIP_S, 0),
            number(clips.start_s, 0),
            count(clips.candidates, "candidate", "candidates")
        ),
    );
    out.trim_end().to_owned()
}
