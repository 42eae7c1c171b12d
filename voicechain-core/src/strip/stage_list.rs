//! The stages of the strip, named once: the variant of [`StageId`], the field, the type.

use crate::settings::{REORDERABLE_STAGES, StageId};
use crate::stages::Stage;

/// Hands the list of stages to a macro. What goes through every stage is written by such macros, with a `match` over
/// [`StageId`] that has no wildcard: the compiler asks for a stage that is missing here.
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

        /// Whether a stage moves the level and has a meter of gain reduction.
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

/// The longest latency of the whole strip, samples.
pub(super) const MAX_LATENCY: usize = {
    let (mut sum, mut place) = (0, 0);
    while place < StageId::COUNT {
        sum += max_latency_of(StageId::ALL[place]);
        place += 1;
    }
    sum
};

/// The first place of the stages whose order can be set; they are neighbours, and none of them delays.
pub(super) const FIRST_REORDERABLE: usize = {
    let mut first = 0;
    while StageId::ALL[first].reorderable().is_none() {
        first += 1;
    }
    first
};
/// Their last place.
pub(super) const LAST_REORDERABLE: usize = FIRST_REORDERABLE + REORDERABLE_STAGES - 1;

const _: () = {
    let mut place = 0;
    while place < StageId::COUNT {
        let reorderable = StageId::ALL[place].reorderable().is_some();
        assert!(
            reorderable == (place >= FIRST_REORDERABLE && place <= LAST_REORDERABLE),
            "reorderable stages are neighbours"
        );
        let delays = max_latency_of(StageId::ALL[place]) > 0;
        // What is done when a latency changes, and the groups of the ledger's taps, are written for these two.
        let known = matches!(StageId::ALL[place], StageId::DeReverb | StageId::Limiter);
        assert!(
            delays == known,
            "another stage with latency: see SignalPath::change_latency and the groups of the ledger"
        );
        place += 1;
    }
};
