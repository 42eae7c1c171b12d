//! What the page draws of a voice, gathered while the strip runs.

use super::response::{bands, response};
use crate::interview::words;
use crate::report::{LoudnessWindow, VoiceSeries};
use crate::series::{Merge, Series};
use crate::spectrum::LongTermSpectrum;
use voicechain_core::StripSettings;
use voicechain_core::frame::Frame;
use voicechain_core::meters::{LoudnessMeter, ReductionMeter};
use voicechain_core::settings::StageId;
use voicechain_core::strip::{Strip, StripCoefs};

/// Ten values of a series per second.
const SERIES_STEP_S: f64 = 0.1;
/// A frame of the spectrum counts when it is at most so far under the voice's loudness, dB.
const SPECTRUM_RANGE_DB: f64 = 20.0;

/// The gain of a stage over time.
struct Gain {
    stage: StageId,
    series: Series,
    /// The most that it took since the last value of the series, dB.
    deepest_db: f64,
}

/// Spectra before and after the strip, loudness before and after, and the gains of the stages that take away.
pub(super) struct Gathered {
    before: LongTermSpectrum,
    after: LongTermSpectrum,
    loudness_before: Series,
    loudness_after: Series,
    gains: Vec<Gain>,
    steps: u64,
    /// Frequency and level of the hum that was last taken out, Hz, dBFS.
    pub(super) hum: Option<(f64, f64)>,
}

impl Gathered {
    /// Nothing yet, of a voice of this loudness at the delivery's rate.
    pub(super) fn new(settings: &StripSettings, loudness_lufs: f64, rate_hz: u32) -> Self {
        let least = loudness_lufs - SPECTRUM_RANGE_DB;
        let least_after = loudness_lufs + settings.trim.gain_db - SPECTRUM_RANGE_DB;
        let gain = |stage| Gain { stage, series: Series::new(SERIES_STEP_S, Merge::Least), deepest_db: 0.0 };
        Self {
            before: LongTermSpectrum::new(rate_hz, least),
            after: LongTermSpectrum::new(rate_hz, least_after),
            loudness_before: Series::new(SERIES_STEP_S, Merge::Mean),
            loudness_after: Series::new(SERIES_STEP_S, Merge::Mean),
            gains: words::reducing(settings).map(gain).collect(),
            steps: 0,
            hum: None,
        }
    }

    /// Takes what goes into the strip, interleaved.
    pub(super) fn recorded(&mut self, samples: &[f32], channels: usize) {
        self.before.push(samples, channels);
    }

    /// Takes what comes out of it.
    pub(super) fn processed(&mut self, samples: &[f32], channels: usize) {
        self.after.push(samples, channels);
    }

    /// Reads the strip's meters: to be called every 10 ms.
    pub(super) fn read<const C: usize>(&mut self, strip: &Strip<C>)
    where
        [f32; C]: Frame,
    {
        for gain in &mut self.gains {
            let now = strip.reduction(gain.stage).map_or(0.0, ReductionMeter::now_db);
            gain.deepest_db = gain.deepest_db.max(now);
        }
        self.steps += 1;
        if !self.steps.is_multiple_of(10) {
            return;
        }
        let lufs = |meter: &LoudnessMeter<C>| meter.momentary().unwrap_or(f64::NEG_INFINITY) as f32;
        self.loudness_before.push(lufs(strip.input_loudness()));
        self.loudness_after.push(lufs(strip.output_loudness()));
        self.hum = strip.mains_hz().zip(strip.hum_taken_dbfs()).or(self.hum);
        for gain in &mut self.gains {
            gain.series.push(-gain.deepest_db as f32);
            gain.deepest_db = 0.0;
        }
    }

    /// What is drawn of it, with the response of these coefficients. The recording's own rate and its pitch belong to it.
    pub(super) fn series<const C: usize>(
        &self,
        settings: &StripSettings,
        coefs: &StripCoefs<C>,
        source_rate_hz: u32,
        pitch_hz: Option<f64>,
    ) -> VoiceSeries
    where
        [f32; C]: Frame,
    {
        VoiceSeries {
            spectrum_before: within(self.before.bands(), source_rate_hz),
            spectrum_after: within(self.after.bands(), source_rate_hz),
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

/// The bands that a recording of this rate can hold.
fn within(mut bands: Vec<(f32, f32)>, rate_hz: u32) -> Vec<(f32, f32)> {
    bands.retain(|(hz, _)| *hz <= 0.45 * rate_hz as f32);
    bands
}
