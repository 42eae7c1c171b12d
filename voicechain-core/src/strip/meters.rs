//! The meters of the strip: level ledger, loudness and true peak at both ends, voice activity and gain reduction.

use super::StripCoefs;
use super::stage_list::has_gain_reduction;
use crate::blank::blank;
use crate::detectors::VoiceActivity;
use crate::frame::{CHUNK, Frame};
use crate::meters::ledger::BlockPair;
use crate::meters::{ChannelWeights, GainReductionMeter, LevelLedger, SubBlockLoudness, TruePeakMeter};
use crate::settings::StageId;
use crate::units::SampleRate;

/// Measuring points of the ledger: the input and the output of each stage.
pub(super) const LEDGER_POINTS: usize = StageId::COUNT + 1;

const METERED: usize = {
    let (mut count, mut at) = (0, 0);
    while at < StageId::COUNT {
        count += has_gain_reduction(StageId::ALL[at]) as usize;
        at += 1;
    }
    count
};

/// Stages with a gain-reduction meter, in default order.
pub const METERED_STAGES: [StageId; METERED] = {
    let (mut stages, mut count, mut at) = ([StageId::Trim; METERED], 0, 0);
    while at < StageId::COUNT {
        if has_gain_reduction(StageId::ALL[at]) {
            stages[count] = StageId::ALL[at];
            count += 1;
        }
        at += 1;
    }
    stages
};

/// Delay of each ledger point in frames: the latency of all stages before it.
fn delays<const C: usize>(coefs: &StripCoefs<C>) -> [usize; LEDGER_POINTS]
where
    [f32; C]: Frame,
{
    let mut delays = [0; LEDGER_POINTS];
    for (place, stage) in coefs.signal_order().into_iter().enumerate() {
        delays[place + 1] = delays[place] + coefs.stage_latency(stage) as usize;
    }
    delays
}

/// Measurements at the end of a segment.
pub(super) struct SegmentEnd<const C: usize> {
    /// A gating block complete at every ledger point.
    pub(super) block: Option<BlockPair>,
    /// Energies of a sub-block complete at the input.
    pub(super) sub_block: Option<[f64; C]>,
}

/// All meters of a strip.
pub(super) struct StripMeters<const C: usize> {
    points: [[[f32; C]; CHUNK]; LEDGER_POINTS],
    /// Whether the frames at each point may differ from those at the previous point.
    changes: [bool; LEDGER_POINTS],
    ledger: LevelLedger<C, LEDGER_POINTS>,
    input_loudness: SubBlockLoudness<C>,
    output_loudness: SubBlockLoudness<C>,
    input_peak: TruePeakMeter<C>,
    output_peak: TruePeakMeter<C>,
    activity: VoiceActivity,
    reductions: [GainReductionMeter; METERED],
}

blank! {
    [const C: usize] StripMeters<C> {
        points, changes, ledger, input_loudness, output_loudness, input_peak, output_peak, activity, reductions,
    }
}

fn voice_activity(rate: SampleRate) -> VoiceActivity {
    VoiceActivity::new(rate, 0.01 * rate.hz())
}

impl<const C: usize> StripMeters<C>
where
    [f32; C]: Frame,
{
    /// Resets all meters, for any sample rate.
    pub(super) fn restart(&mut self, coefs: &StripCoefs<C>) {
        self.changes = [true; LEDGER_POINTS];
        self.ledger.restart(coefs.rate, delays(coefs));
        self.input_loudness.restart(coefs.rate, ChannelWeights::default());
        self.output_loudness.restart(coefs.rate, ChannelWeights::default());
        self.input_peak = TruePeakMeter::new(coefs.rate);
        self.output_peak = TruePeakMeter::new(coefs.rate);
        self.activity = voice_activity(coefs.rate);
        self.reductions = core::array::from_fn(|_| GainReductionMeter::default());
    }

    /// Resets all meters.
    pub(super) fn reset(&mut self, coefs: &StripCoefs<C>) {
        self.restart_loudness(coefs);
        self.input_peak.reset();
        self.output_peak.reset();
        self.activity = voice_activity(coefs.rate);
        self.reductions = core::array::from_fn(|_| GainReductionMeter::default());
    }

    /// Restarts ledger and loudness. After a change of order or latency the points would otherwise measure different
    /// audio.
    pub(super) fn restart_loudness(&mut self, coefs: &StripCoefs<C>) {
        self.ledger.set_delays(delays(coefs));
        self.input_loudness.reset();
        self.output_loudness.reset();
    }

    /// Maximum length of the next segment: a sub-block ends at the end of a segment.
    pub(super) fn remaining(&self) -> usize {
        self.ledger.remaining().min(CHUNK)
    }

    /// Adds the frames of a segment at the input.
    pub(super) fn push_input(&mut self, frames: &[[f32; C]]) {
        self.input_peak.push(frames);
        self.points[0][..frames.len()].copy_from_slice(frames);
    }

    /// Adds the frames of the segment after the stage at `place`. `changes` is false when they repeat the stage's
    /// input.
    pub(super) fn push_stage_output(&mut self, place: usize, frames: &[[f32; C]], changes: bool) {
        self.points[place + 1][..frames.len()].copy_from_slice(frames);
        self.changes[place + 1] = changes;
    }

    /// Ends a segment with its frames at the output.
    pub(super) fn end_segment(&mut self, frames: &[[f32; C]]) -> SegmentEnd<C> {
        self.output_peak.push(frames);
        let mut end = SegmentEnd { block: None, sub_block: None };
        self.ledger.push(&self.points, frames.len(), &self.changes, |done| {
            if let Some(energies) = done.last {
                self.output_loudness.push_energy(energies);
            }
            (end.block, end.sub_block) = (done.block.or(end.block), done.first.or(end.sub_block));
        });
        end
    }

    /// Ends a sub-block of 10 ms at the input, with the gain reduction of each stage in it. Returns true during
    /// speech.
    pub(super) fn end_sub_block(&mut self, energies: [f64; C], mut reduction_db: impl FnMut(StageId) -> f64) -> bool {
        let frames = self.input_loudness.clock().length() as f64;
        self.activity.tick(energies.iter().sum::<f64>() / frames);
        self.input_loudness.push_energy(energies);
        let speech = self.activity.is_active();
        for (meter, stage) in self.reductions.iter_mut().zip(METERED_STAGES) {
            meter.push(reduction_db(stage), speech);
        }
        speech
    }

    /// Loudness at every ledger point over the gated blocks, LUFS.
    pub(super) fn loudness(&self) -> Option<[f64; LEDGER_POINTS]> {
        self.ledger.loudness()
    }

    pub(super) fn input_loudness(&self) -> &SubBlockLoudness<C> {
        &self.input_loudness
    }

    pub(super) fn output_loudness(&self) -> &SubBlockLoudness<C> {
        &self.output_loudness
    }

    pub(super) fn input_peak(&self) -> &TruePeakMeter<C> {
        &self.input_peak
    }

    /// True peak of the input since the last call, the largest of all channels.
    pub(super) fn take_input_true_peak(&mut self) -> f64 {
        self.input_peak.take_recent().into_iter().fold(0.0, f64::max)
    }

    pub(super) fn output_peak(&self) -> &TruePeakMeter<C> {
        &self.output_peak
    }

    pub(super) fn reduction(&self, stage: StageId) -> Option<&GainReductionMeter> {
        self.reductions.get(METERED_STAGES.iter().position(|&metered| metered == stage)?)
    }

    pub(super) fn voice_is_active(&self) -> bool {
        self.activity.is_active()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::blank::Blank;
    use crate::settings::{SpectralLatency, StripSettings};

    #[test]
    fn every_stage_with_gain_reduction_has_its_own_meter() {
        let coefs = StripCoefs::<1>::design(&StripSettings::default(), SampleRate::new(48_000.0).unwrap()).unwrap();
        let mut meters = StripMeters::BLANK;
        meters.restart(&coefs);
        meters.end_sub_block([0.0], |stage| stage.index() as f64);
        for &stage in StageId::ALL {
            let read = meters.reduction(stage).map(GainReductionMeter::now_db);
            assert_eq!(read, has_gain_reduction(stage).then_some(stage.index() as f64), "{stage:?}");
        }
        assert!(METERED_STAGES.contains(&StageId::Compressor) && !METERED_STAGES.contains(&StageId::ToneEq));
    }

    #[test]
    fn each_ledger_point_is_delayed_by_the_latency_before_it() {
        let mut settings = StripSettings::default();
        settings.spectral.latency = SpectralLatency::Low;
        settings.order.reverse();
        let coefs = StripCoefs::<2>::design(&settings, SampleRate::new(48_000.0).unwrap()).unwrap();
        let delays = delays(&coefs);
        let order = settings.signal_order();
        let after = |stage| order.iter().position(|&s| s == stage).unwrap() + 1;
        assert_eq!(delays[0], 0);
        assert_eq!(delays[after(StageId::DeReverb) - 1], 0);
        assert_eq!(delays[after(StageId::DeReverb)], 512, "512-sample spectral frames at 48 kHz");
        assert_eq!(delays[after(StageId::Limiter) - 1], 512);
        assert_eq!(delays[LEDGER_POINTS - 1], coefs.latency() as usize);
    }
}
