//! Limit on the total tone change of both equalisers.

use crate::propose::proposal::Proposal;

/// Maximum sum of the magnitudes of all gains, dB. No combined response exceeds it (common practice, no source).
const MAX_TOTAL_GAIN_DB: f64 = 9.0;

/// Remainder of [`MAX_TOTAL_GAIN_DB`], dB.
pub(super) fn remaining_db(proposal: &Proposal) -> f64 {
    let (cuts, tone) = (&proposal.settings.corrective_eq, &proposal.settings.tone_eq);
    let gains =
        [cuts.bell_1_gain_db, cuts.bell_2_gain_db, cuts.bell_3_gain_db, tone.low_shelf_gain_db, tone.bell_gain_db];
    MAX_TOTAL_GAIN_DB - gains.iter().map(|gain| gain.abs()).sum::<f64>()
}
