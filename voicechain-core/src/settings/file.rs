//! Values in files. An infinite number is the word `infinite` in human-readable formats, because JSON has no other form;
//! formats that support `inf` may use it as well.

use core::fmt;
use serde::de::{Deserialize, Deserializer, Error, Unexpected, Visitor};
use serde::ser::{Serialize, Serializer};

const INFINITE: &str = "infinite";

pub(super) trait SerdeValue: Sized {
    fn write<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error>;
    fn read<'de, D: Deserializer<'de>>(from: D) -> Result<Self, D::Error>;
}

/// Implements [`SerdeValue`] for types with a suitable serde form.
macro_rules! serde_by_default {
    ($($type:ty),+) => {$(
        impl crate::settings::file::SerdeValue for $type {
            fn write<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
                serde::Serialize::serialize(self, to)
            }
            fn read<'de, D: serde::Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
                serde::Deserialize::deserialize(from)
            }
        }
    )+};
}
pub(super) use serde_by_default;
serde_by_default!(bool);

impl SerdeValue for f64 {
    fn write<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        if *self == Self::INFINITY && to.is_human_readable() {
            return INFINITE.serialize(to);
        }
        self.serialize(to)
    }
    fn read<'de, D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        if from.is_human_readable() { from.deserialize_any(Number) } else { Self::deserialize(from) }
    }
}

struct Number;

impl Visitor<'_> for Number {
    type Value = f64;
    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "a number or \"{INFINITE}\"")
    }
    fn visit_f64<E: Error>(self, number: f64) -> Result<f64, E> {
        Ok(number)
    }
    fn visit_i64<E: Error>(self, number: i64) -> Result<f64, E> {
        Ok(number as f64)
    }
    fn visit_u64<E: Error>(self, number: u64) -> Result<f64, E> {
        Ok(number as f64)
    }
    fn visit_str<E: Error>(self, word: &str) -> Result<f64, E> {
        if word == INFINITE { Ok(f64::INFINITY) } else { Err(E::invalid_value(Unexpected::Str(word), &self)) }
    }
}

pub(super) fn serialize<T: SerdeValue, S: Serializer>(value: &T, to: S) -> Result<S::Ok, S::Error> {
    value.write(to)
}

pub(super) fn deserialize<'de, T: SerdeValue, D: Deserializer<'de>>(from: D) -> Result<T, D::Error> {
    T::read(from)
}
