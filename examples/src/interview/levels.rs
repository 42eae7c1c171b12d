//! Loudness, peaks and gain reduction in the form that the report uses.

use crate::audio_file::AudioFile;
use crate::error::JobError;
use crate::progress::{Progress, advance};
use crate::report::data::{GainReduction, Levels};
use crate::wav_file::{PendingFile, SpoolReader};
use voicechain_core::SampleRate;
use voicechain_core::math::to_db;
use voicechain_core::meters::{ChannelWeights, GainReductionMeter, LoudnessMeter, TruePeakMeter};

/// Loudness and peaks of a whole spool.
pub(super) fn measure<const C: usize>(spool: &mut SpoolReader, rate: SampleRate) -> Result<Levels, JobError> {
    let mut loudness = Box::new(LoudnessMeter::<C>::new(rate, ChannelWeights::default()));
    let mut peak = TruePeakMeter::<C>::new(rate);
    let mut chunk = Vec::new();
    spool.rewind()?;
    while spool.read(&mut chunk, 4_096)? > 0 {
        let (frames, _) = chunk.as_chunks::<C>();
        loudness.push(frames);
        peak.push(frames);
    }
    peak.finish();
    Ok(levels(&loudness, &peak))
}

/// Loudness and peaks of a stereo file that is written completely, decoded from the disk.
pub(super) fn measure_file(
    file: &PendingFile,
    rate: SampleRate,
    progress: &mut dyn Progress,
) -> Result<Levels, JobError> {
    let mut audio = AudioFile::open(file.temporary_path()).map_err(|e| e.at(file.path()))?;
    let mut loudness = Box::new(LoudnessMeter::<2>::new(rate, ChannelWeights::default()));
    let mut peak = TruePeakMeter::<2>::new(rate);
    let mut chunk = Vec::new();
    while audio.read(&mut chunk).map_err(|e| e.at(file.path()))? > 0 {
        let (frames, _) = chunk.as_chunks::<2>();
        loudness.push(frames);
        peak.push(frames);
        advance(progress, audio.position())?;
    }
    peak.finish();
    Ok(levels(&loudness, &peak))
}

/// Readings of the loudness and peak meters.
pub(super) fn levels<const C: usize>(loudness: &LoudnessMeter<C>, peak: &TruePeakMeter<C>) -> Levels {
    let largest = |values: [f64; C]| Some(to_db(values.into_iter().fold(0.0, f64::max))).filter(|db| db.is_finite());
    Levels {
        integrated_lufs: loudness.integrated(),
        loudness_range_lu: loudness.range(),
        true_peak_dbtp: largest(peak.hold()),
        sample_peak_dbfs: largest(peak.sample_hold()),
    }
}

/// Readings of a gain-reduction meter.
pub(super) fn reduction(meter: Option<&GainReductionMeter>) -> GainReduction {
    let at = |percent| meter.and_then(|m| m.percentile_db(percent)).unwrap_or(0.0);
    GainReduction { median_db: at(50.0), p95_db: at(95.0), max_db: meter.map_or(0.0, GainReductionMeter::largest_db) }
}
