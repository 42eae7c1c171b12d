//! Limit on the total tone change of both equalisers.

use crate::propose::proposal::Proposal;

/// Maximum sum of the magnitudes of all gains, dB (common practice, no source).
pub(super) const MAX_TOTAL_GAIN_DB: f64 = 9.0;
/// Smallest remainder that counts, dB: far below the step of a gain, far above the rounding of a sum of gains.
const RESOLUTION_DB: f64 = 1e-6;

/// What earlier decisions leave of [`MAX_TOTAL_GAIN_DB`].
#[derive(Clone, Copy)]
pub(super) struct ToneBudget {
    /// Never negative: a remainder below the resolution is 0, whatever rounding leaves of it.
    remaining_db: f64,
}

impl ToneBudget {
    /// The remainder after the gains that `proposal` has so far.
    pub(super) fn after(proposal: &Proposal) -> Self {
        let (cuts, tone) = (&proposal.settings.corrective_eq, &proposal.settings.tone_eq);
        let gains =
            [cuts.bell_1_gain_db, cuts.bell_2_gain_db, cuts.bell_3_gain_db, tone.low_shelf_gain_db, tone.bell_gain_db];
        let remaining_db = MAX_TOTAL_GAIN_DB - gains.iter().map(|gain| gain.abs()).sum::<f64>();
        Self { remaining_db: if remaining_db > RESOLUTION_DB { remaining_db } else { 0.0 } }
    }

    /// The gain nearest to `gain_db` that fits into the remainder, dB.
    pub(super) fn limit(self, gain_db: f64) -> f64 {
        gain_db.clamp(-self.remaining_db, self.remaining_db)
    }
}
