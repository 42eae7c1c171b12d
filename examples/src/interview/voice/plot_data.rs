//! Plot data of a voice, collected while the strip runs.

use super::response::{bands, response};
use crate::interview::settings_text;
use crate::report::{LoudnessWindow, VoiceSeries};
use crate::series::{BoundedSeries, Decimation};
use voicechain_core::frame::Frame;
use voicechain_core::measure::SpeechSpectrum;
use voicechain_core::meters::{GainReductionMeter, SubBlockLoudness};
use voicechain_core::settings::StageId;
use voicechain_core::speech::BYRNE_1994_COMBINED;
use voicechain_core::strip::{Strip, StripCoefs};
use voicechain_core::{SampleRate, StripSettings};

/// Interval between the values of a series, s.
const SERIES_STEP_S: f64 = 0.1;

/// Gain of a stage over time.
struct Gain {
    stage: StageId,
    series: BoundedSeries,
    /// Maximum gain reduction since the last value of the series, dB.
    max_reduction_db: f64,
}

/// Spectrum and loudness before and after the strip, and the gains of the dynamic stages.
pub(super) struct PlotData<const C: usize> {
    before: Box<SpeechSpectrum<C>>,
    after: Box<SpeechSpectrum<C>>,
    loudness_before: BoundedSeries,
    loudness_after: BoundedSeries,
    gains: Vec<Gain>,
    steps: u64,
    /// Frequency and level of the last removed hum, Hz and dBFS.
    pub(super) hum: Option<(f64, f64)>,
}

impl<const C: usize> PlotData<C>
where
    [f32; C]: Frame,
{
    /// Empty data for these settings and this sample rate.
    pub(super) fn new(settings: &StripSettings, rate: SampleRate) -> Self {
        let gain = |stage| Gain {
            stage,
            series: BoundedSeries::new(SERIES_STEP_S, Decimation::Minimum),
            max_reduction_db: 0.0,
        };
        Self {
            before: Box::new(SpeechSpectrum::new(rate)),
            after: Box::new(SpeechSpectrum::new(rate)),
            loudness_before: BoundedSeries::new(SERIES_STEP_S, Decimation::Mean),
            loudness_after: BoundedSeries::new(SERIES_STEP_S, Decimation::Mean),
            gains: settings_text::stages_with_reduction(settings).map(gain).collect(),
            steps: 0,
            hum: None,
        }
    }

    /// Consumes interleaved input samples of the strip.
    pub(super) fn recorded(&mut self, samples: &[f32]) {
        self.before.push(samples.as_chunks::<C>().0);
    }

    /// Consumes interleaved output samples of the strip.
    pub(super) fn processed(&mut self, samples: &[f32]) {
        self.after.push(samples.as_chunks::<C>().0);
    }

    /// Reads the strip's meters, to be called every 10 ms.
    pub(super) fn read(&mut self, strip: &Strip<C>) {
        for gain in &mut self.gains {
            let now = strip.reduction(gain.stage).map_or(0.0, GainReductionMeter::now_db);
            gain.max_reduction_db = gain.max_reduction_db.max(now);
        }
        self.steps += 1;
        if !self.steps.is_multiple_of(10) {
            return;
        }
        let lufs = |meter: &SubBlockLoudness<C>| meter.momentary().unwrap_or(f64::NEG_INFINITY) as f32;
        self.loudness_before.push(lufs(strip.input_loudness()));
        self.loudness_after.push(lufs(strip.output_loudness()));
        self.hum = strip.mains_hz().zip(strip.removed_hum_dbfs()).or(self.hum);
        for gain in &mut self.gains {
            gain.series.push(-gain.max_reduction_db as f32);
            gain.max_reduction_db = 0.0;
        }
    }

    /// The collected series, with the response of these coefficients, limited to the bandwidth of the source rate.
    pub(super) fn series(
        &self,
        settings: &StripSettings,
        coefs: &StripCoefs<C>,
        source_rate_hz: u32,
        pitch_hz: Option<f64>,
    ) -> VoiceSeries {
        VoiceSeries {
            spectrum_before: spectrum_points(&self.before, source_rate_hz),
            spectrum_after: spectrum_points(&self.after, source_rate_hz),
            response: response(coefs),
            bands: bands(settings, coefs),
            pitch_hz,
            window: LoudnessWindow::Momentary,
            loudness_before: self.loudness_before.to_series(),
            loudness_after: self.loudness_after.to_series(),
            gain: self.gains.iter().map(|gain| (gain.stage.id().to_string(), gain.series.to_series())).collect(),
            excerpt: None,
        }
    }
}

/// Third-octave spectrum, (centre in Hz, dBFS), up to 0.45 times the source rate.
fn spectrum_points<const C: usize>(spectrum: &SpeechSpectrum<C>, rate_hz: u32) -> Vec<(f32, f32)> {
    let levels = spectrum.bands_dbfs().unwrap_or_default();
    let bands =
        BYRNE_1994_COMBINED.iter().zip(levels).filter_map(|(&(hz, _), level)| level.map(|db| (hz as f32, db as f32)));
    bands.filter(|(hz, _)| *hz <= 0.45 * rate_hz as f32).collect()
}
