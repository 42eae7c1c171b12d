//! Serialisation of measured quantities: a known quantity as its value, an unavailable one as the word for the reason.
//! Missing bands are NaN, so that formats without a null value can hold them.
//!
//! Tested in voicechain-text, which writes profiles as text.

use super::measured::{Measured, Unavailable};
use core::fmt;
use core::marker::PhantomData;
use serde::de::value::{MapAccessDeserializer, StrDeserializer};
use serde::de::{Deserialize, Deserializer, Error, IntoDeserializer, MapAccess, SeqAccess, Visitor};
use serde::ser::{Serialize, SerializeSeq, Serializer};

/// Word for a quantity that was measured and is absent.
const NONE: &str = "none";

/// Value of a quantity that an older text lacks.
pub(super) fn missing<T>() -> Measured<T> {
    Err(Unavailable::NotMeasured)
}

pub(super) fn serialize<T: Serialize, S: Serializer>(value: &Measured<T>, to: S) -> Result<S::Ok, S::Error> {
    match value {
        Ok(known) => known.serialize(to),
        Err(unavailable) => unavailable.serialize(to),
    }
}

pub(super) fn deserialize<'de, T, D>(from: D) -> Result<Measured<T>, D::Error>
where
    T: Deserialize<'de>,
    D: Deserializer<'de>,
{
    from.deserialize_any(Visit(PhantomData))
}

fn unavailable<E: Error>(word: &str) -> Result<Unavailable, E> {
    let word: StrDeserializer<'_, E> = word.into_deserializer();
    Unavailable::deserialize(word)
}

/// A number, a table, or the word for the reason why it is unavailable.
struct Visit<T>(PhantomData<T>);

impl<'de, T: Deserialize<'de>> Visitor<'de> for Visit<T> {
    type Value = Measured<T>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a quantity, or the reason why it is unavailable")
    }
    fn visit_str<E: Error>(self, word: &str) -> Result<Self::Value, E> {
        unavailable(word).map(Err)
    }
    fn visit_f64<E: Error>(self, number: f64) -> Result<Self::Value, E> {
        T::deserialize(number.into_deserializer()).map(Ok)
    }
    fn visit_i64<E: Error>(self, number: i64) -> Result<Self::Value, E> {
        self.visit_f64(number as f64)
    }
    fn visit_u64<E: Error>(self, number: u64) -> Result<Self::Value, E> {
        self.visit_f64(number as f64)
    }
    fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Self::Value, A::Error> {
        T::deserialize(MapAccessDeserializer::new(map)).map(Ok)
    }
}

/// Bands, of which some may be missing.
pub(super) mod bands {
    use super::{Deserializer, Error, SeqAccess, Serialize, SerializeSeq, Serializer, Visitor, fmt};

    pub(crate) fn serialize<S: Serializer, const N: usize>(bands: &[Option<f64>; N], to: S) -> Result<S::Ok, S::Error> {
        let mut list = to.serialize_seq(Some(N))?;
        for band in bands {
            list.serialize_element(&band.unwrap_or(f64::NAN))?;
        }
        list.end()
    }

    pub(crate) fn deserialize<'de, D: Deserializer<'de>, const N: usize>(
        from: D,
    ) -> Result<[Option<f64>; N], D::Error> {
        exactly(from).map(|bands: [f64; N]| bands.map(|band| Some(band).filter(|band| !band.is_nan())))
    }

    struct List<const N: usize>;

    impl<'de, const N: usize> Visitor<'de> for List<N> {
        type Value = [f64; N];

        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            write!(f, "{N} numbers")
        }
        fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Self::Value, A::Error> {
            let mut numbers = [0.0; N];
            for (at, number) in numbers.iter_mut().enumerate() {
                *number = list.next_element()?.ok_or_else(|| A::Error::invalid_length(at, &self))?;
            }
            match list.next_element::<f64>()? {
                None => Ok(numbers),
                Some(_) => Err(A::Error::invalid_length(N + 1, &self)),
            }
        }
    }

    fn exactly<'de, D: Deserializer<'de>, const N: usize>(from: D) -> Result<[f64; N], D::Error> {
        from.deserialize_seq(List)
    }

    /// Bands, of which none is missing.
    pub(crate) mod all {
        use super::{Deserializer, Serialize, Serializer};

        pub(crate) fn serialize<S: Serializer, const N: usize>(bands: &[f64; N], to: S) -> Result<S::Ok, S::Error> {
            bands.as_slice().serialize(to)
        }

        pub(crate) fn deserialize<'de, D: Deserializer<'de>, const N: usize>(from: D) -> Result<[f64; N], D::Error> {
            super::exactly(from)
        }
    }
}

/// Optional quantity: a table, the word for none, or the word for the reason why it is unavailable.
pub(super) mod optional {
    use super::{
        Deserialize, Deserializer, Error, MapAccess, Measured, NONE, PhantomData, Serialize, Serializer, Visit,
        Visitor, fmt,
    };

    pub(crate) fn serialize<T: Serialize, S: Serializer>(
        value: &Measured<Option<T>>,
        to: S,
    ) -> Result<S::Ok, S::Error> {
        match value {
            Ok(None) => to.serialize_str(NONE),
            Ok(Some(known)) => known.serialize(to),
            Err(unavailable) => unavailable.serialize(to),
        }
    }

    pub(crate) fn deserialize<'de, T, D>(from: D) -> Result<Measured<Option<T>>, D::Error>
    where
        T: Deserialize<'de>,
        D: Deserializer<'de>,
    {
        from.deserialize_any(Optional(PhantomData))
    }

    struct Optional<T>(PhantomData<T>);

    impl<'de, T: Deserialize<'de>> Visitor<'de> for Optional<T> {
        type Value = Measured<Option<T>>;

        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            f.write_str("a table, \"none\", or the reason why it is unavailable")
        }
        fn visit_str<E: Error>(self, word: &str) -> Result<Self::Value, E> {
            if word == NONE { Ok(Ok(None)) } else { super::unavailable(word).map(Err) }
        }
        fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Self::Value, A::Error> {
            Visit(PhantomData).visit_map(map).map(|known| known.map(Some))
        }
    }
}

/// List of up to `N` entries, or the word for the reason why it is unavailable.
pub(super) mod list {
    use super::{
        Deserialize, Deserializer, Error, Measured, PhantomData, SeqAccess, Serialize, SerializeSeq, Serializer,
        Visitor, fmt,
    };

    pub(crate) fn serialize<T: Serialize, S: Serializer, const N: usize>(
        found: &Measured<[Option<T>; N]>,
        to: S,
    ) -> Result<S::Ok, S::Error> {
        match found {
            Ok(found) => {
                let mut list = to.serialize_seq(Some(found.iter().flatten().count()))?;
                for one in found.iter().flatten() {
                    list.serialize_element(one)?;
                }
                list.end()
            }
            Err(unavailable) => unavailable.serialize(to),
        }
    }

    pub(crate) fn deserialize<'de, T, D, const N: usize>(from: D) -> Result<Measured<[Option<T>; N]>, D::Error>
    where
        T: Deserialize<'de>,
        D: Deserializer<'de>,
    {
        from.deserialize_any(List(PhantomData))
    }

    struct List<T, const N: usize>(PhantomData<T>);

    impl<'de, T: Deserialize<'de>, const N: usize> Visitor<'de> for List<T, N> {
        type Value = Measured<[Option<T>; N]>;

        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            write!(f, "a list of up to {N} entries, or the reason why it is unavailable")
        }
        fn visit_str<E: Error>(self, word: &str) -> Result<Self::Value, E> {
            super::unavailable(word).map(Err)
        }
        fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Self::Value, A::Error> {
            let mut found = [const { None }; N];
            for place in &mut found {
                *place = list.next_element()?;
            }
            match list.next_element::<T>()? {
                None => Ok(Ok(found)),
                Some(_) => Err(A::Error::invalid_length(N + 1, &self)),
            }
        }
    }
}
