//! One voice: read, measured and processed by the strip.

mod plot_data;
mod process;
mod read;
mod response;

use super::assigned_settings::AssignedSettings;
use super::settings_text;
use crate::audio_file::Warning;
use crate::error::{JobError, JobErrorKind};
use crate::report::VoiceSeries;
use crate::report::data::{self, DUAL_MONO_GAIN_DB, GainReductions, Levels};
use crate::wav_file::SpoolReader;
use voicechain_core::measure::Profile;
use voicechain_core::settings::StageId;
use voicechain_core::strip::{Ledger, StripCoefs};
use voicechain_core::{SampleRate, StripSettings};

/// State of one voice during the job.
pub(super) struct Voice {
    pub(super) name: String,
    /// Name of the recording in the report.
    file: String,
    pub(super) settings: StripSettings,
    /// Profile of the recording, measured at its own sample rate.
    pub(super) profile: Profile,
    pub(super) file_warnings: Vec<Warning>,
    chosen: AssignedSettings,
    rate: SampleRate,
    source_rate_hz: u32,
    recorded: SpoolReader,
    processed: Option<SpoolReader>,
    pub(super) input: Levels,
    /// Levels of the processed voice in the stereo mix, before the balance gain.
    processed_levels: Levels,
    pub(super) balance_db: f64,
    ledger: Option<Ledger>,
    reductions: GainReductions,
    /// Frequency and level of the last removed hum, Hz and dBFS.
    hum: Option<(f64, f64)>,
    warnings: Vec<String>,
    drawn: VoiceSeries,
}

impl Voice {
    /// Assigns the chosen settings.
    pub(super) fn assign(&mut self, chosen: AssignedSettings) {
        self.settings = chosen.settings;
        self.warnings.extend(chosen.warnings.iter().cloned());
        self.chosen = chosen;
    }

    pub(super) fn frames(&self) -> u64 {
        self.recorded.frames()
    }

    pub(super) fn seconds(&self) -> f64 {
        self.frames() as f64 / self.rate.hz()
    }

    pub(super) fn channels(&self) -> usize {
        self.recorded.channels()
    }

    pub(super) fn warn(&mut self, words: String) {
        self.warnings.push(words);
    }

    /// The recording at the delivery rate.
    pub(super) fn recorded(&mut self) -> &mut SpoolReader {
        &mut self.recorded
    }

    /// The processed voice, or the recording if it is not processed yet.
    pub(super) fn processed(&mut self) -> &mut SpoolReader {
        self.processed.as_mut().unwrap_or(&mut self.recorded)
    }

    /// Loudness and peaks of the processed and balanced voice in the stereo mix.
    pub(super) fn output(&self) -> Levels {
        let shifted = |level: Option<f64>| level.map(|level| level + self.balance_db);
        Levels {
            integrated_lufs: shifted(self.processed_levels.integrated_lufs),
            loudness_range_lu: self.processed_levels.loudness_range_lu,
            true_peak_dbtp: shifted(self.processed_levels.true_peak_dbtp),
            sample_peak_dbfs: shifted(self.processed_levels.sample_peak_dbfs),
        }
    }

    /// Series for the plots of the report page.
    pub(super) fn series(&self) -> VoiceSeries {
        let mut drawn = self.drawn.clone();
        // The plot shows the balanced voice as it is in the stereo mix.
        let two = if self.channels() == 1 { DUAL_MONO_GAIN_DB } else { 0.0 };
        for value in &mut drawn.loudness_after.values {
            *value += (self.balance_db + two) as f32;
        }
        drawn
    }

    /// Data of this voice for the report.
    pub(super) fn report(&self) -> Result<data::Voice, JobError> {
        let design = |e: voicechain_core::SettingError| {
            JobError::new(JobErrorKind::Usage, e.to_string(), "correct this setting")
        };
        let coefs = StripCoefs::<2>::design(&self.settings, self.rate).map_err(design)?;
        let ledger = self.settings.signal_order().into_iter().map(|stage| data::LedgerEntry {
            stage: stage.id().to_string(),
            lu: self.ledger.and_then(|l| l.entries.iter().find(|e| e.stage == stage).map(|e| e.lu)),
        });
        let mut voice = data::Voice {
            name: self.name.clone(),
            file: self.file.clone(),
            duration_s: self.seconds(),
            sample_rate_hz: self.source_rate_hz,
            channels: self.channels() as u16,
            input: self.input,
            output: self.output(),
            ledger: ledger.collect(),
            beside_ledger: Vec::new(),
            gain_reduction: self.reductions,
            settings_source: self.chosen.from.clone(),
            settings: settings_text::stages(&self.settings, &coefs, |stage| match stage {
                StageId::Hum if self.settings.hum.on => Some(settings_text::hum(self.hum, self.chosen.why(stage))),
                _ => self.chosen.why(stage),
            }),
            evidence: self.chosen.evidence.clone(),
            left_off: self.chosen.left_off.clone(),
            balance_gain_db: self.balance_db,
            warnings: self.warnings.clone(),
        };
        voice.beside_ledger = voice.changes_beside_ledger(2);
        Ok(voice)
    }
}
