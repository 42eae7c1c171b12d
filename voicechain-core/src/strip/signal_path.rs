//! The signal path: all stages run in signal order, with a cross-fade between two orders.

use super::StripCoefs;
use super::stage_list::{FIRST_REORDERABLE, LAST_REORDERABLE, with_stages};
use crate::blank::blank;
use crate::frame::{CHUNK, Frame};
use crate::math::smooth_step;
use crate::settings::{REORDERABLE_STAGES, ReorderableStage, StageId, signal_order};
use crate::stages::processor::TRANSITION_MS;
use crate::stages::{
    Compressor, CorrectiveEq, DeEsser, DeReverb, Expander, HighPass, Hum, Leveller, Limiter, OutputTrim, Processor,
    ToneEq, Trim,
};

macro_rules! signal_path {
    (
        fixed { $($fixed:ident $fixed_field:ident: $fixed_type:ident,)+ }
        reorderable { $($reorderable:ident $reorderable_field:ident: $reorderable_type:ident,)+ }
    ) => {
        /// The stages with a configurable order.
        struct ReorderableStages<const C: usize>
        where
            [f32; C]: Frame,
        {
            order: [ReorderableStage; REORDERABLE_STAGES],
            $($reorderable_field: Processor<$reorderable_type, C>,)+
        }

        impl<const C: usize> Clone for ReorderableStages<C>
        where
            [f32; C]: Frame,
        {
            fn clone(&self) -> Self {
                Self { order: self.order, $($reorderable_field: self.$reorderable_field.clone(),)+ }
            }
        }

        impl<const C: usize> ReorderableStages<C>
        where
            [f32; C]: Frame,
        {
            fn run(&mut self, stage: ReorderableStage, frames: &mut [[f32; C]]) {
                match stage {
                    $(ReorderableStage::$reorderable => self.$reorderable_field.run_sanitised(frames),)+
                }
            }
        }

        /// All stages, in signal order.
        pub(super) struct SignalPath<const C: usize>
        where
            [f32; C]: Frame,
        {
            order: [StageId; StageId::COUNT],
            $(pub(super) $fixed_field: Processor<$fixed_type, C>,)+
            reorderable: ReorderableStages<C>,
            /// The reorderable stages in their previous order, during a cross-fade, and its elapsed frames.
            former: ReorderableStages<C>,
            cross_fade: Option<u32>,
            transition: u32,
        }

        blank! {
            [const C: usize] ReorderableStages<C> where [f32; C]: Frame { order, $($reorderable_field),+ }
        }
        blank! {
            [const C: usize] SignalPath<C> where [f32; C]: Frame {
                order, $($fixed_field,)+ reorderable, former, cross_fade, transition
            }
        }

        impl<const C: usize> SignalPath<C>
        where
            [f32; C]: Frame,
        {
            /// Clears all stages in place and applies the coefficients at once.
            pub(super) fn restart(&mut self, coefs: &StripCoefs<C>) {
                $(self.$fixed_field.restart(&coefs.$fixed_field);)+
                $(self.reorderable.$reorderable_field.restart(&coefs.$reorderable_field);)+
                self.cross_fade = None;
                self.transition = coefs.rate.samples(TRANSITION_MS);
                self.set_order(coefs.order);
            }

            /// Starts the transition of every stage to its new coefficients. The order stays.
            pub(super) fn set(&mut self, coefs: &StripCoefs<C>) {
                $(self.$fixed_field.set(&coefs.$fixed_field);)+
                $(self.reorderable.$reorderable_field.set(&coefs.$reorderable_field);)+
            }

            fn run_stage(&mut self, stage: StageId, frames: &mut [[f32; C]]) {
                match stage {
                    $(StageId::$fixed => self.$fixed_field.run_sanitised(frames),)+
                    $(StageId::$reorderable => self.reorderable.$reorderable_field.run_sanitised(frames),)+
                }
            }

            fn is_idle(&self, stage: StageId) -> bool {
                match stage {
                    $(StageId::$fixed => self.$fixed_field.is_idle(),)+
                    $(StageId::$reorderable => self.reorderable.$reorderable_field.is_idle(),)+
                }
            }

            /// Largest gain reduction of a stage since the last call, dB; 0 for stages without gain reduction.
            pub(super) fn take_reduction_db(&mut self, stage: StageId) -> f64 {
                match stage {
                    $(StageId::$fixed => self.$fixed_field.take_reduction_db(),)+
                    $(StageId::$reorderable => self.reorderable.$reorderable_field.take_reduction_db(),)+
                }
            }
        }
    };
}
with_stages!(signal_path);

impl<const C: usize> SignalPath<C>
where
    [f32; C]: Frame,
{
    /// All stages in signal order.
    pub(super) fn order(&self) -> [StageId; StageId::COUNT] {
        self.order
    }

    fn set_order(&mut self, order: [ReorderableStage; REORDERABLE_STAGES]) {
        self.reorderable.order = order;
        self.order = signal_order(order);
    }

    /// Starts the cross-fade to another order. Returns false when the order is already current or a cross-fade is in
    /// progress.
    pub(super) fn reorder(&mut self, order: [ReorderableStage; REORDERABLE_STAGES]) -> bool {
        let begins = self.cross_fade.is_none() && self.reorderable.order != order;
        if begins {
            self.former = self.reorderable.clone();
            self.cross_fade = Some(0);
            self.set_order(order);
        }
        begins
    }

    /// Maximum length of the next segment: a cross-fade ends at the end of a segment.
    pub(super) fn remaining(&self) -> usize {
        self.cross_fade.map_or(usize::MAX, |at| (self.transition - at) as usize)
    }

    /// Ends a completed cross-fade. Returns true if one has ended.
    pub(super) fn end_order_change(&mut self) -> bool {
        let over = self.cross_fade == Some(self.transition);
        if over {
            self.cross_fade = None;
        }
        over
    }

    /// Runs at most one chunk through all stages. After each stage, `after_stage` receives its place, the frames, and
    /// whether the frames may differ from the stage's input.
    pub(super) fn run(&mut self, frames: &mut [[f32; C]], mut after_stage: impl FnMut(usize, &mut [[f32; C]], bool)) {
        let mut before = [[0.0; C]; CHUNK];
        let before = &mut before[..frames.len()];
        for (place, stage) in self.order.into_iter().enumerate() {
            if place == FIRST_REORDERABLE && self.cross_fade.is_some() {
                before.copy_from_slice(frames);
            }
            let mut changes = !self.is_idle(stage);
            if changes {
                self.run_stage(stage, frames);
            }
            if place == LAST_REORDERABLE && self.cross_fade.is_some() {
                self.cross_fade_orders(frames, before);
                changes = true;
            }
            after_stage(place, frames, changes);
        }
    }

    /// Runs frames through the first stages, up to and including `last`.
    pub(super) fn run_up_to(&mut self, last: StageId, frames: &mut [[f32; C]]) {
        for stage in self.order {
            if !self.is_idle(stage) {
                self.run_stage(stage, frames);
            }
            if stage == last {
                return;
            }
        }
    }

    /// Cross-fades from the previous order, run on the input of the reorderable stages, to the new order.
    fn cross_fade_orders(&mut self, frames: &mut [[f32; C]], before: &mut [[f32; C]]) {
        let Some(at) = &mut self.cross_fade else { return };
        for stage in self.former.order {
            self.former.run(stage, before);
        }
        for (new, old) in frames.iter_mut().zip(before.iter()) {
            *at += 1;
            let share = smooth_step(f64::from(*at) / f64::from(self.transition)) as f32;
            for (new, &old) in new.iter_mut().zip(old) {
                *new = old + share * (*new - old);
            }
        }
    }

    /// Applies new latencies while the output is silent. Returns the frames until the discontinuity has passed the
    /// limiter.
    ///
    /// De-reverb and limiter keep their delayed audio, so the output resumes without a gap.
    pub(super) fn change_latency(&mut self, coefs: &StripCoefs<C>) -> u32 {
        let mut mute = 0;
        if self.de_reverb.latency() != coefs.de_reverb.latency() {
            self.de_reverb.state_mut().change_latency(coefs.de_reverb.coefs());
            self.de_reverb.set_at_once(&coefs.de_reverb);
            mute = self.limiter.latency().max(coefs.limiter.latency());
        }
        self.limiter.set_at_once(&coefs.limiter);
        mute
    }
}
