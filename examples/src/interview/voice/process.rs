//! Second pass: runs the strip over the recording.

use super::Voice;
use super::plot_data::PlotData;
use crate::error::{JobError, JobErrorKind};
use crate::interview::levels::{measure, reduction};
use crate::progress::{Progress, advance};
use crate::report::data::{DUAL_MONO_GAIN_DB, GainReductions};
use crate::report::text::count;
use crate::wav_file::Spool;
use std::path::Path;
use voicechain_core::SettingError;
use voicechain_core::frame::Frame;
use voicechain_core::settings::StageId;
use voicechain_core::stages::leveller::gain_curve::{self, SubBlockPowerMeter};
use voicechain_core::strip::{ANALYSED_AHEAD_S, SanitisedSamples, Strip, StripCoefs};

impl Voice {
    /// Runs the voice through the strip.
    pub(in crate::interview) fn process(&mut self, folder: &Path, progress: &mut dyn Progress) -> Result<(), JobError> {
        progress.step(&format!("processing {}", self.name), Some(self.frames()));
        let spool = Spool::create(folder, self.channels())?;
        if self.channels() == 1 { self.run_strip::<1>(spool, progress) } else { self.run_strip::<2>(spool, progress) }
    }

    fn run_strip<const C: usize>(&mut self, mut spool: Spool, progress: &mut dyn Progress) -> Result<(), JobError>
    where
        [f32; C]: Frame,
    {
        let design = |e: SettingError| JobError::new(JobErrorKind::Usage, e.to_string(), "correct this setting");
        let coefs = StripCoefs::<C>::design(&self.settings, self.rate).map_err(design)?;
        let mut strip = Box::new(Strip::NEW);
        strip.set(&coefs);
        let mut plot_data = PlotData::new(&self.settings, self.rate);
        let gains = if self.settings.leveller.on { self.leveller_gains::<C>()? } else { Vec::new() };
        if self.settings.hum.on || self.settings.de_reverb.on {
            let mut beginning = Vec::new();
            self.recorded.rewind()?;
            self.recorded.read(&mut beginning, (ANALYSED_AHEAD_S * self.rate.hz()) as usize)?;
            strip.analyse_ahead(beginning.as_chunks::<C>().0);
        }
        self.process_recording(&mut strip, &gains, &mut plot_data, &mut spool, progress)?;

        let mut processed = spool.into_reader()?;
        self.processed_levels = measure::<C>(&mut processed, self.rate)?;
        if C == 1 {
            self.processed_levels.integrated_lufs =
                self.processed_levels.integrated_lufs.map(|lufs| lufs + DUAL_MONO_GAIN_DB);
        }
        self.processed = Some(processed);
        self.store_meter_readings(&strip);
        self.hum = plot_data.hum;
        let pitch_hz = self.profile.pitch.ok().map(|pitch| pitch.median_hz);
        self.drawn = plot_data.series(&self.settings, &coefs, self.source_rate_hz, pitch_hz);
        Ok(())
    }

    /// Runs the recording through the strip into the spool in blocks of 10 ms, and reads the meters after each block.
    /// The latency is compensated: its frames are dropped at the start, and silence after the end flushes the strip.
    fn process_recording<const C: usize>(
        &mut self,
        strip: &mut Strip<C>,
        leveller_gains: &[f32],
        plot_data: &mut PlotData<C>,
        spool: &mut Spool,
        progress: &mut dyn Progress,
    ) -> Result<(), JobError>
    where
        [f32; C]: Frame,
    {
        let step = (self.rate.hz() / 100.0) as u64;
        let (latency, total) = (u64::from(strip.latency()), self.recorded.frames());
        self.recorded.rewind()?;
        let (mut chunk, mut fed, mut written) = (Vec::new(), 0u64, 0u64);
        while written < total {
            let read = self.recorded.read(&mut chunk, step as usize)?;
            plot_data.recorded(&chunk);
            chunk.resize(step as usize * C, 0.0);
            let (frames, _) = chunk.as_chunks_mut::<C>();
            let at = gain_curve::gain_index(fed, strip.leveller_delay(), self.rate);
            strip.override_leveller_gain(leveller_gains.get(at).or(leveller_gains.last()).map(|&db| f64::from(db)));
            strip.run(frames);
            let drop = latency.saturating_sub(fed).min(step);
            let take = (step - drop).min(total - written);
            let out = &chunk[drop as usize * C..(drop + take) as usize * C];
            plot_data.processed(out);
            spool.write(out)?;
            plot_data.read(strip);
            fed += step;
            written += take;
            advance(progress, fed.min(total))?;
            debug_assert!(read > 0 || fed <= total + latency + step);
        }
        Ok(())
    }

    /// Stores the final readings of the strip's meters.
    fn store_meter_readings<const C: usize>(&mut self, strip: &Strip<C>)
    where
        [f32; C]: Frame,
    {
        self.ledger = strip.ledger();
        self.reductions = GainReductions {
            de_reverb: reduction(strip.reduction(StageId::DeReverb)),
            expander: reduction(strip.reduction(StageId::Expander)),
            leveller: reduction(strip.reduction(StageId::Leveller)),
            de_esser: reduction(strip.reduction(StageId::DeEsser)),
            compressor: reduction(strip.reduction(StageId::Compressor)),
            limiter: reduction(strip.reduction(StageId::Limiter)),
        };
        self.warnings.extend(sanitised_warnings(strip.sanitised_samples()));
    }

    /// Gain curve of the leveller, dB, one value every 10 ms, computed from the whole recording.
    fn leveller_gains<const C: usize>(&mut self) -> Result<Vec<f32>, JobError>
    where
        [f32; C]: Frame,
    {
        let (mut level_meter, mut powers, mut chunk) =
            (SubBlockPowerMeter::<C>::new(self.rate), Vec::new(), Vec::new());
        self.recorded.rewind()?;
        while self.recorded.read(&mut chunk, 4_096)? > 0 {
            level_meter.push(chunk.as_chunks::<C>().0, |power| powers.push(power));
        }
        let mut gains = vec![0.0; powers.len()];
        gain_curve::compute(&powers, self.settings.trim.gain_db, &self.settings.leveller, &mut gains);
        Ok(gains)
    }
}

/// Warnings about input samples that the strip replaced, one for each kind.
fn sanitised_warnings(samples: SanitisedSamples) -> impl Iterator<Item = String> {
    let warning = |n: u64, what: &str| (n > 0).then(|| format!("{} {what}", count(n as usize, "sample", "samples")));
    let non_finite =
        warning(samples.non_finite, "without a valid value (infinite or not a number) replaced by silence");
    [non_finite, warning(samples.clamped, "above +36 dBFS clamped")].into_iter().flatten()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_kind_of_sanitised_sample_has_its_own_warning() {
        let warnings = |non_finite, clamped| -> Vec<String> {
            sanitised_warnings(SanitisedSamples { non_finite, clamped }).collect()
        };
        assert_eq!(warnings(0, 0), [""; 0]);
        assert_eq!(warnings(0, 2), ["2 samples above +36 dBFS clamped"]);
        let invalid = "1 sample without a valid value (infinite or not a number) replaced by silence";
        assert_eq!(warnings(1, 0), [invalid]);
        assert_eq!(warnings(1, 2), [invalid, "2 samples above +36 dBFS clamped"]);
    }
}
