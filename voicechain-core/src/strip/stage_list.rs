//! The list of stages: variant of [`StageId`], field and type of each.

use crate::settings::{REORDERABLE_STAGES, StageId};
use crate::stages::Stage;

/// Passes the list of stages to a macro. Code that runs over all stages comes from such macros. Each has a `match`
/// over [`StageId`] without wildcard, so the compiler reports a stage missing here.
macro_rules! with_stages {
    ($then:ident) => {
        $then! {
            fixed {
                Trim trim: Trim,
                Hum hum: Hum,
                HighPass high_pass: HighPass,
                DeReverb de_reverb: DeReverb,
                Expander expander: Expander,
                Leveller leveller: Leveller,
                Limiter limiter: Limiter,
                Output output: OutputTrim,
            }
            reorderable {
                CorrectiveEq corrective_eq: CorrectiveEq,
                DeEsser de_esser: DeEsser,
                Compressor compressor: Compressor,
                ToneEq tone_eq: ToneEq,
            }
        }
    };
}
pub(super) use with_stages;

macro_rules! stage_properties {
    (
        fixed { $($fixed:ident $fixed_field:ident: $fixed_type:ident,)+ }
        reorderable { $($reorderable:ident $reorderable_field:ident: $reorderable_type:ident,)+ }
    ) => {
        use crate::stages::{$($fixed_type,)+ $($reorderable_type,)+};

        /// Whether a stage has a gain-reduction meter.
        pub(super) const fn has_gain_reduction(stage: StageId) -> bool {
            match stage {
                $(StageId::$fixed => <$fixed_type as Stage<1>>::HAS_GAIN_REDUCTION,)+
                $(StageId::$reorderable => <$reorderable_type as Stage<1>>::HAS_GAIN_REDUCTION,)+
            }
        }

        const fn max_latency_of(stage: StageId) -> usize {
            match stage {
                $(StageId::$fixed => <$fixed_type as Stage<1>>::MAX_LATENCY,)+
                $(StageId::$reorderable => <$reorderable_type as Stage<1>>::MAX_LATENCY,)+
            }
        }
    };
}
with_stages!(stage_properties);

/// Maximum latency of the strip, samples.
pub(super) const MAX_LATENCY: usize = {
    let (mut sum, mut place) = (0, 0);
    while place < StageId::COUNT {
        sum += max_latency_of(StageId::ALL[place]);
        place += 1;
    }
    sum
};

/// First place of the reorderable stages. They are contiguous and have no latency.
pub(super) const FIRST_REORDERABLE: usize = {
    let mut first = 0;
    while StageId::ALL[first].reorderable().is_none() {
        first += 1;
    }
    first
};
/// Last place of the reorderable stages.
pub(super) const LAST_REORDERABLE: usize = FIRST_REORDERABLE + REORDERABLE_STAGES - 1;

const _: () = {
    let mut place = 0;
    while place < StageId::COUNT {
        let reorderable = StageId::ALL[place].reorderable().is_some();
        assert!(
            reorderable == (place >= FIRST_REORDERABLE && place <= LAST_REORDERABLE),
            "reorderable stages must be contiguous"
        );
        let delays = max_latency_of(StageId::ALL[place]) > 0;
        // Latency changes and the groups of ledger points handle only these two stages.
        let known = matches!(StageId::ALL[place], StageId::DeReverb | StageId::Limiter);
        assert!(
            delays == known,
            "new stage with latency: adapt SignalPath::change_latency and the groups of the ledger"
        );
        place += 1;
    }
};
