//! How serde writes what was measured: a known quantity as it is, an unknown one as the word for the reason, and numbers
//! of bands that do not exist as NaN, so that formats without an empty value can hold them.
//!
//! Tested in voicechain-text, which writes profiles as text.

use super::profile::{Candidates, Doubt, Hum, Measured, Resonance};
use core::fmt;
use core::marker::PhantomData;
use serde::de::value::{MapAccessDeserializer, StrDeserializer};
use serde::de::{Deserialize, Deserializer, Error, IntoDeserializer, MapAccess, SeqAccess, Visitor};
use serde::ser::{Serialize, SerializeSeq, Serializer};

/// The word for what was looked for and is not there.
const NONE: &str = "none";

/// What an older text does not tell.
pub(super) fn missing<T>() -> Measured<T> {
    Err(Doubt::NotMeasured)
}

pub(super) fn serialize<T: Serialize, S: Serializer>(value: &Measured<T>, to: S) -> Result<S::Ok, S::Error> {
    match value {
        Ok(known) => known.serialize(to),
        Err(doubt) => doubt.serialize(to),
    }
}

pub(super) fn deserialize<'de, T, D>(from: D) -> Result<Measured<T>, D::Error>
where
    T: Deserialize<'de>,
    D: Deserializer<'de>,
{
    from.deserialize_any(Told(PhantomData))
}

fn doubt<E: Error>(word: &str) -> Result<Doubt, E> {
    let word: StrDeserializer<'_, E> = word.into_deserializer();
    Doubt::deserialize(word)
}

/// A number, a table, or the word for a doubt.
struct Told<T>(PhantomData<T>);

impl<'de, T: Deserialize<'de>> Visitor<'de> for Told<T> {
    type Value = Measured<T>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a quantity, or the word for why it is not known")
    }
    fn visit_str<E: Error>(self, word: &str) -> Result<Self::Value, E> {
        doubt(word).map(Err)
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

/// Bands of which some do not exist.
pub(super) mod bands {
    use super::{Deserializer, Error, SeqAccess, Serialize, SerializeSeq, Serializer, Visitor, fmt};

    pub(in crate::measure) fn serialize<S: Serializer, const N: usize>(
        bands: &[Option<f64>; N],
        to: S,
    ) -> Result<S::Ok, S::Error> {
        let mut list = to.serialize_seq(Some(N))?;
        for band in bands {
            list.serialize_element(&band.unwrap_or(f64::NAN))?;
        }
        list.end()
    }

    pub(in crate::measure) fn deserialize<'de, D: Deserializer<'de>, const N: usize>(
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

    /// Bands that all exist.
    pub(in crate::measure) mod all {
        use super::{Deserializer, Serialize, Serializer};

        pub(in crate::measure) fn serialize<S: Serializer, const N: usize>(
            bands: &[f64; N],
            to: S,
        ) -> Result<S::Ok, S::Error> {
            bands.as_slice().serialize(to)
        }

        pub(in crate::measure) fn deserialize<'de, D: Deserializer<'de>, const N: usize>(
            from: D,
        ) -> Result<[f64; N], D::Error> {
            super::exactly(from)
        }
    }
}

/// Mains hum: a table, or the word for none or for a doubt.
pub(super) mod hum {
    use super::{Deserializer, Error, Hum, MapAccess, Measured, NONE, Serializer, Told, Visitor, fmt};

    pub(in crate::measure) fn serialize<S: Serializer>(hum: &Measured<Option<Hum>>, to: S) -> Result<S::Ok, S::Error> {
        match hum {
            Ok(None) => to.serialize_str(NONE),
            Ok(Some(hum)) => super::serialize(&Ok(hum), to),
            Err(doubt) => super::serialize::<Hum, S>(&Err(*doubt), to),
        }
    }

    pub(in crate::measure) fn deserialize<'de, D: Deserializer<'de>>(
        from: D,
    ) -> Result<Measured<Option<Hum>>, D::Error> {
        from.deserialize_any(Heard)
    }

    struct Heard;

    impl<'de> Visitor<'de> for Heard {
        type Value = Measured<Option<Hum>>;

        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            f.write_str("hum, \"none\", or the word for why it is not known")
        }
        fn visit_str<E: Error>(self, word: &str) -> Result<Self::Value, E> {
            if word == NONE { Ok(Ok(None)) } else { super::doubt(word).map(Err) }
        }
        fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Self::Value, A::Error> {
            Told(super::PhantomData).visit_map(map).map(|hum| hum.map(Some))
        }
    }
}

/// Candidates: a list as long as there are any, or the word for a doubt.
pub(super) mod candidates {
    use super::{
        Candidates, Deserializer, Error, Measured, Resonance, SeqAccess, SerializeSeq, Serializer, Visitor, fmt,
    };

    pub(in crate::measure) fn serialize<S: Serializer>(found: &Measured<Candidates>, to: S) -> Result<S::Ok, S::Error> {
        match found {
            Ok(found) => {
                let mut list = to.serialize_seq(Some(found.iter().flatten().count()))?;
                for candidate in found.iter().flatten() {
                    list.serialize_element(candidate)?;
                }
                list.end()
            }
            Err(doubt) => super::serialize::<Resonance, S>(&Err(*doubt), to),
        }
    }

    pub(in crate::measure) fn deserialize<'de, D: Deserializer<'de>>(
        from: D,
    ) -> Result<Measured<Candidates>, D::Error> {
        from.deserialize_any(List)
    }

    struct List;

    impl<'de> Visitor<'de> for List {
        type Value = Measured<Candidates>;

        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            f.write_str("a short list of resonances, or the word for why they are not known")
        }
        fn visit_str<E: Error>(self, word: &str) -> Result<Self::Value, E> {
            super::doubt(word).map(Err)
        }
        fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Self::Value, A::Error> {
            let mut found = Candidates::default();
            for place in &mut found {
                *place = list.next_element()?;
            }
            match list.next_element::<Resonance>()? {
                None => Ok(Ok(found)),
                Some(_) => Err(A::Error::invalid_length(found.len() + 1, &self)),
            }
        }
    }
}
