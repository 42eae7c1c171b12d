//! The stages of the strip, named once: the variant of [`StageId`], the field, the type.

use crate::settings::{MIDDLE, StageId};
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
            movable {
                CorrectiveEq corrective_eq: CorrectiveEq,
                DeEsser de_esser: DeEsser,
                Compressor compressor: Compressor,
                ToneEq tone_eq: ToneEq,
            }
        }
    };
}
pub(super) use with_stages;

macro_rules! facts {
    (
        fixed { $($fixed:ident $fixed_field:ident: $fixed_type:ident,)+ }
        movable { $($movable:ident $movable_field:ident: $movable_type:ident,)+ }
    ) => {
        use crate::stages::{$($fixed_type,)+ $($movable_type,)+};

        /// Whether a stage moves the level and has a meter of gain reduction.
        pub(super) const fn reduces(stage: StageId) -> bool {
            match stage {
                $(StageId::$fixed => <$fixed_type as Stage<1>>::REDUCES,)+
                $(StageId::$movable => <$movable_type as Stage<1>>::REDUCES,)+
            }
        }

        const fn longest_latency_of(stage: StageId) -> usize {
            match stage {
                $(StageId::$fixed => <$fixed_type as Stage<1>>::LONGEST_LATENCY,)+
                $(StageId::$movable => <$movable_type as Stage<1>>::LONGEST_LATENCY,)+
            }
        }
    };
}
with_stages!(facts);

/// The longest latency of the whole strip, samples.
pub(super) const LONGEST_LATENCY: usize = {
    let (mut sum, mut place) = (0, 0);
    while place < StageId::COUNT {
        sum += longest_latency_of(StageId::ALL[place]);
        place += 1;
    }
    sum
};

/// The first place of the stages whose order can be set; they are neighbours, and none of them delays.
pub(super) const FIRST_MOVABLE: usize = {
    let mut first = 0;
    while StageId::ALL[first].middle().is_none() {
        first += 1;
    }
    first
};
/// Their last place.
pub(super) const LAST_MOVABLE: usize = FIRST_MOVABLE + MIDDLE - 1;

const _: () = {
    let mut place = 0;
    while place < StageId::COUNT {
        let movable = StageId::ALL[place].middle().is_some();
        assert!(movable == (place >= FIRST_MOVABLE && place <= LAST_MOVABLE), "movable stages are neighbours");
        let delays = longest_latency_of(StageId::ALL[place]) > 0;
        // What is done when a latency changes, and the groups of the ledger's taps, are written for these two.
        let known = matches!(StageId::ALL[place], StageId::DeReverb | StageId::Limiter);
        assert!(
            delays == known,
            "another stage with latency: see SignalPath::change_latency and the groups of the ledger"
        );
        place += 1;
    }
};
