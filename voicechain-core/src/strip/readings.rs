//! What the meters of a strip show.

use super::{MIDDLE_FROM, REDUCING, Strip, TAPS};
use crate::frame::Frame;
use crate::meters::{LoudnessMeter, ReductionMeter, TruePeakMeter};
use crate::settings::StageId;

/// How many LU each stage added or took, over the blocks that pass the gates of ITU-R BS.1770 at the strip's input.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ledger {
    /// One entry per stage, in signal order. They sum to `total_lu`.
    pub entries: [LedgerEntry; StageId::ALL.len()],
    /// Loudness at the input, LUFS.
    pub input_lufs: f64,
    /// Loudness at the output minus loudness at the input, LU.
    pub total_lu: f64,
}

/// One line of a [`Ledger`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LedgerEntry {
    /// The stage.
    pub stage: StageId,
    /// Loudness behind it minus loudness before it, LU.
    pub lu: f64,
}

impl<const C: usize> Strip<C>
where
    [f32; C]: Frame,
{
    /// The level ledger since the last reset; `None` before any block of 400 ms has passed the gates. A new order or
    /// latency starts it afresh.
    #[must_use]
    pub fn ledger(&self) -> Option<Ledger> {
        let loudness = self.ledger.loudness()?;
        let mut stages = [StageId::Trim; StageId::ALL.len()];
        stages.copy_from_slice(StageId::ALL);
        for (stage, middle) in stages[MIDDLE_FROM - 1..].iter_mut().zip(self.middle.order) {
            *stage = middle.stage();
        }
        Some(Ledger {
            entries: core::array::from_fn(|k| LedgerEntry { stage: stages[k], lu: loudness[k + 1] - loudness[k] }),
            input_lufs: loudness[0],
            total_lu: loudness[TAPS - 1] - loudness[0],
        })
    }

    /// Loudness at the input.
    #[must_use]
    pub fn input_loudness(&self) -> &LoudnessMeter<C> {
        &self.input_loudness
    }

    /// Loudness of the processed signal, whatever is heard.
    #[must_use]
    pub fn output_loudness(&self) -> &LoudnessMeter<C> {
        &self.output_loudness
    }

    /// True peak at the input.
    #[must_use]
    pub fn input_true_peak(&self) -> &TruePeakMeter<C> {
        &self.input_peak
    }

    /// True peak of the processed signal, whatever is heard.
    #[must_use]
    pub fn output_true_peak(&self) -> &TruePeakMeter<C> {
        &self.output_peak
    }

    /// Gain reduction of a stage that moves the level while somebody spoke: de-reverb, expander, leveller (its cuts), de-esser,
    /// compressor, limiter; `None` for any other stage.
    #[must_use]
    pub fn reduction(&self, stage: StageId) -> Option<&ReductionMeter> {
        REDUCING.iter().position(|&reducing| reducing == stage).map(|at| &self.reductions[at])
    }

    /// What the leveller gives now, in dB; below 0 it takes.
    #[must_use]
    pub fn leveller_gain_db(&self) -> f64 {
        self.leveller.state.gain_db()
    }

    /// The mains frequency that the hum stage has found, Hz; `None` where there is no hum, and when it is off.
    #[must_use]
    pub fn mains_hz(&self) -> Option<f64> {
        self.hum.state.frequency_hz()
    }

    /// The level of the hum that the hum stage takes out now, dBFS RMS, of the channel that has most of it; `None` where it
    /// takes nothing. Tested by `mending` in `properties`.
    #[must_use]
    pub fn hum_taken_dbfs(&self) -> Option<f64> {
        self.hum.state.taken_dbfs()
    }

    /// By how many dB the unprocessed side is raised (or lowered) to match, and by how many dB both sides are lowered so
    /// that it stays under the ceiling.
    #[must_use]
    pub fn match_db(&self) -> [f64; 2] {
        [self.level_match.gain_db(), self.level_match.headroom_db()]
    }

    /// True while somebody speaks at the input, and for 200 ms after.
    #[must_use]
    pub fn voice_is_active(&self) -> bool {
        self.activity.is_active()
    }

    /// How many samples were refused at the door since reset: not finite, or beyond +36 dB of full scale.
    #[must_use]
    pub fn rejected_samples(&self) -> u64 {
        self.rejected
    }
}
