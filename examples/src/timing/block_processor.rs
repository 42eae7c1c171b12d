//! Uniform block processors for every stage and for the strip.

use voicechain_core::frame::Frame;
use voicechain_core::settings::{Slope, SpectralLatency, StageId, StripSettings};
use voicechain_core::stages::{
    Compressor, CorrectiveEq, DeEsser, DeReverb, Expander, HighPass, Hum, Leveller, Limiter, OutputTrim, Processor,
    Stage, ToneEq, Trim,
};
use voicechain_core::{SampleRate, SettingError, Strip, StripCoefs};

/// Block sizes that hosts use, frames.
pub const BLOCK_SIZES: [usize; 8] = [16, 32, 64, 128, 256, 512, 1_024, 2_048];

type Run<const C: usize> = Box<dyn FnMut(&mut [[f32; C]])>;

/// Processor of blocks of frames, in place.
pub struct BlockProcessor<const C: usize> {
    /// Latency, samples.
    pub latency: u32,
    run: Run<C>,
}

impl<const C: usize> BlockProcessor<C> {
    /// Processes one block.
    pub fn run(&mut self, frames: &mut [[f32; C]]) {
        (self.run)(frames);
    }
}

/// Settings in which no stage is bypassed: every band is active, and every stage changes the test signal.
#[must_use]
pub fn all_stages_active() -> StripSettings {
    let mut s = StripSettings::default();
    s.trim.gain_db = -1.0;
    s.hum.on = true;
    s.high_pass.slope = Slope::Db24;
    s.de_reverb.on = true;
    s.spectral.latency = SpectralLatency::High;
    s.expander.on = true;
    s.leveller.on = true;
    s.corrective_eq.bell_1_gain_db = -2.0;
    s.corrective_eq.bell_2_gain_db = -3.0;
    s.corrective_eq.bell_3_gain_db = 1.5;
    s.corrective_eq.bell_4_gain_db = -2.5;
    s.de_esser.threshold_db = -6.0;
    s.compressor.threshold_db = -24.0;
    s.tone_eq.low_shelf_gain_db = 1.5;
    s.tone_eq.bell_gain_db = 2.0;
    s.tone_eq.high_shelf_gain_db = 2.0;
    s.limiter.ceiling_dbtp = -12.0;
    s.output.gain_db = -1.0;
    s
}

/// A single stage.
///
/// # Errors
/// A setting is out of range.
pub fn stage<const C: usize>(
    id: StageId,
    s: &StripSettings,
    rate: SampleRate,
) -> Result<BlockProcessor<C>, SettingError>
where
    [f32; C]: Frame,
{
    // No wildcard arm, so that a new stage does not compile until it is timed.
    match id {
        StageId::Trim => alone::<Trim, C>(s, rate),
        StageId::Hum => alone::<Hum, C>(s, rate),
        StageId::HighPass => alone::<HighPass, C>(s, rate),
        StageId::DeReverb => alone::<DeReverb, C>(s, rate),
        StageId::Expander => alone::<Expander, C>(s, rate),
        StageId::Leveller => alone::<Leveller, C>(s, rate),
        StageId::CorrectiveEq => alone::<CorrectiveEq, C>(s, rate),
        StageId::DeEsser => alone::<DeEsser, C>(s, rate),
        StageId::Compressor => alone::<Compressor, C>(s, rate),
        StageId::ToneEq => alone::<ToneEq, C>(s, rate),
        StageId::Limiter => alone::<Limiter, C>(s, rate),
        StageId::Output => alone::<OutputTrim, C>(s, rate),
    }
}

fn alone<S, const C: usize>(settings: &StripSettings, rate: SampleRate) -> Result<BlockProcessor<C>, SettingError>
where
    S: Stage<C> + 'static,
    S::Coefs: 'static,
    S::State: 'static,
    [f32; C]: Frame,
{
    let mut stage = Box::new(Processor::<S, C>::design(&settings.into(), rate)?);
    Ok(BlockProcessor { latency: stage.latency(), run: Box::new(move |frames| stage.run(frames)) })
}

/// The whole strip with meters and ledger.
///
/// # Errors
/// A setting is out of range.
pub fn strip<const C: usize>(settings: &StripSettings, rate: SampleRate) -> Result<BlockProcessor<C>, SettingError>
where
    [f32; C]: Frame,
{
    let mut strip = Box::new(Strip::<C>::NEW);
    strip.set(&StripCoefs::design(settings, rate)?);
    Ok(BlockProcessor { latency: strip.latency(), run: Box::new(move |frames| strip.run(frames)) })
}
