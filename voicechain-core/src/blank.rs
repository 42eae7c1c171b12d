//! Blank values: constants from which the large objects start, in place.
//!
//! A strip or a profile meter is larger than the stack of many threads. It therefore starts as a constant of zeros, which
//! is written straight to its place, and is then prepared there, part by part.

use wide::{f32x4, f64x2};

/// A type with a blank value. It only holds the place: preparing it sets everything that differs.
pub trait Blank: Sized {
    /// Every number 0, every switch false, every choice the first, every option `None`.
    const BLANK: Self;
}

/// Implements [`Blank`] for a structure from the names of its fields, or for a choice from its first variant.
macro_rules! blank {
    ([$($parameter:tt)+] $type:ty $(where $bounded:ty: $bound:path)? { $($field:ident),+ $(,)? }) => {
        impl<$($parameter)+> $crate::blank::Blank for $type
        $(where
            $bounded: $bound,)?
        {
            const BLANK: Self = Self { $($field: $crate::blank::Blank::BLANK),+ };
        }
    };
    ($type:ty { $($field:ident),+ $(,)? }) => {
        $crate::blank::blank!($type = Self { $($field: $crate::blank::Blank::BLANK),+ });
    };
    ($type:ty = $first:expr) => {
        impl $crate::blank::Blank for $type {
            const BLANK: Self = $first;
        }
    };
}
pub(crate) use blank;

blank!(() = ());
blank!(bool = false);
blank!(u8 = 0);
blank!(u16 = 0);
blank!(u32 = 0);
blank!(u64 = 0);
blank!(usize = 0);
blank!(i32 = 0);
blank!(f32 = 0.0);
blank!(f64 = 0.0);
blank!(f32x4 = f32x4::ZERO);
blank!(f64x2 = f64x2::ZERO);

impl<T> Blank for Option<T> {
    const BLANK: Self = None;
}

impl<A: Blank, B: Blank> Blank for (A, B) {
    const BLANK: Self = (A::BLANK, B::BLANK);
}

impl<T: Blank, const N: usize> Blank for [T; N] {
    const BLANK: Self = [T::BLANK; N];
}
