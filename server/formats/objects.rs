//! JSON whose objects are objects. The readers that serde derives also take a list for an object, its items in the order
//! of the fields: what somebody meant as a list would be read as something else, without a word.

use std::fmt;

use serde::de::{
    DeserializeSeed, Deserializer, EnumAccess, Error, MapAccess, SeqAccess, VariantAccess, Visitor,
};

/// Reads like the one within, and an object from nothing but an object, at any depth.
pub struct Objects<D>(pub D);

/// What such a reader found wrong, without its own names for things.
pub fn told(detail: &str) -> String {
    let (what, place) = detail.find(" at line ").map_or((detail, ""), |at| detail.split_at(at));
    let unfit = ["invalid type: ", "invalid value: ", "invalid length "];
    let rest = unfit.into_iter().find_map(|lead| what.strip_prefix(lead));
    match rest.and_then(|rest| rest.split_once(", expected ")) {
        Some((found, needed)) => {
            format!("found {}; {} is needed{place}", found_words(found), needed_words(needed))
        }
        None => detail.to_string(),
    }
}

/// What stood there, in the words of JSON.
fn found_words(found: &str) -> String {
    let value = found.split_once(' ').map(|(_, value)| value.trim_matches('`'));
    match found.split(' ').next().unwrap_or(found) {
        "sequence" => "a list".into(),
        "map" => "an object".into(),
        "null" | "unit" | "Option" => "null".into(),
        "string" | "str" | "character" => value.map_or("a text".into(), |text| format!("the text {text}")),
        "integer" | "boolean" => value.unwrap_or("another type").into(),
        // "floating point `5.5`"
        "floating" => found.split('`').nth(1).unwrap_or("a number with decimals").into(),
        count if count.bytes().all(|byte| byte.is_ascii_digit()) => format!("{count} items"),
        _ => found.replace('`', ""),
    }
}

fn needed_words(needed: &str) -> String {
    if needed.starts_with("struct ") || needed == "a map" {
        return "an object with named fields".into();
    }
    if let Some(count) = needed.strip_prefix("an array of length ") {
        return format!("a list of {count}");
    }
    match needed {
        "u8" | "u16" | "u32" | "u64" | "usize" => "a whole number that is not negative".into(),
        "i8" | "i16" | "i32" | "i64" => "a whole number".into(),
        "f32" | "f64" => "a number".into(),
        "a sequence" => "a list".into(),
        "a string" | "str" => "a text".into(),
        "a boolean" => "true or false".into(),
        _ if needed.starts_with("enum ") || needed == "string or map" => {
            "one of its choices, as a text".into()
        }
        _ => needed.into(),
    }
}

/// A visitor, a seed or an access whose inside is read so.
struct Within<T>(T);

macro_rules! forward {
    ($($name:ident)*) => {
        $(fn $name<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, D::Error> {
            self.0.$name(Within(visitor))
        })*
    };
}

impl<'de, D: Deserializer<'de>> Deserializer<'de> for Objects<D> {
    type Error = D::Error;

    forward! {
        deserialize_any deserialize_bool deserialize_i8 deserialize_i16 deserialize_i32 deserialize_i64 deserialize_i128
        deserialize_u8 deserialize_u16 deserialize_u32 deserialize_u64 deserialize_u128 deserialize_f32 deserialize_f64
        deserialize_char deserialize_str deserialize_string deserialize_bytes deserialize_byte_buf deserialize_option
        deserialize_unit deserialize_seq deserialize_map deserialize_identifier deserialize_ignored_any
    }

    fn deserialize_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        _: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, D::Error> {
        self.0.deserialize_map(Within(visitor))
    }

    fn deserialize_unit_struct<V: Visitor<'de>>(
        self,
        name: &'static str,
        visitor: V,
    ) -> Result<V::Value, D::Error> {
        self.0.deserialize_unit_struct(name, Within(visitor))
    }

    fn deserialize_newtype_struct<V: Visitor<'de>>(
        self,
        name: &'static str,
        visitor: V,
    ) -> Result<V::Value, D::Error> {
        self.0.deserialize_newtype_struct(name, Within(visitor))
    }

    fn deserialize_tuple<V: Visitor<'de>>(self, len: usize, visitor: V) -> Result<V::Value, D::Error> {
        self.0.deserialize_tuple(len, Within(visitor))
    }

    fn deserialize_tuple_struct<V: Visitor<'de>>(
        self,
        name: &'static str,
        len: usize,
        visitor: V,
    ) -> Result<V::Value, D::Error> {
        self.0.deserialize_tuple_struct(name, len, Within(visitor))
    }

    fn deserialize_enum<V: Visitor<'de>>(
        self,
        name: &'static str,
        variants: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, D::Error> {
        self.0.deserialize_enum(name, variants, Within(visitor))
    }

    fn is_human_readable(&self) -> bool {
        self.0.is_human_readable()
    }
}

macro_rules! see {
    ($($name:ident($of:ty))*) => {
        $(fn $name<E: Error>(self, it: $of) -> Result<V::Value, E> {
            self.0.$name(it)
        })*
    };
}

impl<'de, V: Visitor<'de>> Visitor<'de> for Within<V> {
    type Value = V::Value;

    fn expecting(&self, to: &mut fmt::Formatter) -> fmt::Result {
        self.0.expecting(to)
    }

    see! {
        visit_bool(bool) visit_i8(i8) visit_i16(i16) visit_i32(i32) visit_i64(i64) visit_i128(i128)
        visit_u8(u8) visit_u16(u16) visit_u32(u32) visit_u64(u64) visit_u128(u128) visit_f32(f32) visit_f64(f64)
        visit_char(char) visit_str(&str) visit_borrowed_str(&'de str) visit_string(String)
        visit_bytes(&[u8]) visit_borrowed_bytes(&'de [u8]) visit_byte_buf(Vec<u8>)
    }

    fn visit_none<E: Error>(self) -> Result<V::Value, E> {
        self.0.visit_none()
    }

    fn visit_unit<E: Error>(self) -> Result<V::Value, E> {
        self.0.visit_unit()
    }

    fn visit_some<D: Deserializer<'de>>(self, it: D) -> Result<V::Value, D::Error> {
        self.0.visit_some(Objects(it))
    }

    fn visit_newtype_struct<D: Deserializer<'de>>(self, it: D) -> Result<V::Value, D::Error> {
        self.0.visit_newtype_struct(Objects(it))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, it: A) -> Result<V::Value, A::Error> {
        self.0.visit_seq(Within(it))
    }

    fn visit_map<A: MapAccess<'de>>(self, it: A) -> Result<V::Value, A::Error> {
        self.0.visit_map(Within(it))
    }

    fn visit_enum<A: EnumAccess<'de>>(self, it: A) -> Result<V::Value, A::Error> {
        self.0.visit_enum(Within(it))
    }
}

impl<'de, S: DeserializeSeed<'de>> DeserializeSeed<'de> for Within<S> {
    type Value = S::Value;

    fn deserialize<D: Deserializer<'de>>(self, it: D) -> Result<S::Value, D::Error> {
        self.0.deserialize(Objects(it))
    }
}

impl<'de, A: SeqAccess<'de>> SeqAccess<'de> for Within<A> {
    type Error = A::Error;

    fn next_element_seed<S: DeserializeSeed<'de>>(&mut self, seed: S) -> Result<Option<S::Value>, A::Error> {
        self.0.next_element_seed(Within(seed))
    }

    fn size_hint(&self) -> Option<usize> {
        self.0.size_hint()
    }
}

impl<'de, A: MapAccess<'de>> MapAccess<'de> for Within<A> {
    type Error = A::Error;

    fn next_key_seed<S: DeserializeSeed<'de>>(&mut self, seed: S) -> Result<Option<S::Value>, A::Error> {
        self.0.next_key_seed(Within(seed))
    }

    fn next_value_seed<S: DeserializeSeed<'de>>(&mut self, seed: S) -> Result<S::Value, A::Error> {
        self.0.next_value_seed(Within(seed))
    }

    fn size_hint(&self) -> Option<usize> {
        self.0.size_hint()
    }
}

impl<'de, A: EnumAccess<'de>> EnumAccess<'de> for Within<A> {
    type Error = A::Error;
    type Variant = Within<A::Variant>;

    fn variant_seed<S: DeserializeSeed<'de>>(self, seed: S) -> Result<(S::Value, Self::Variant), A::Error> {
        let (value, variant) = self.0.variant_seed(Within(seed))?;
        Ok((value, Within(variant)))
    }
}

/// A variant's own fields, from an object alone.
struct Fields<V>(V);

impl<'de, V: Visitor<'de>> DeserializeSeed<'de> for Fields<V> {
    type Value = V::Value;

    fn deserialize<D: Deserializer<'de>>(self, it: D) -> Result<V::Value, D::Error> {
        it.deserialize_map(Within(self.0))
    }
}

impl<'de, A: VariantAccess<'de>> VariantAccess<'de> for Within<A> {
    type Error = A::Error;

    fn unit_variant(self) -> Result<(), A::Error> {
        self.0.unit_variant()
    }

    fn newtype_variant_seed<S: DeserializeSeed<'de>>(self, seed: S) -> Result<S::Value, A::Error> {
        self.0.newtype_variant_seed(Within(seed))
    }

    fn tuple_variant<V: Visitor<'de>>(self, len: usize, visitor: V) -> Result<V::Value, A::Error> {
        self.0.tuple_variant(len, Within(visitor))
    }

    fn struct_variant<V: Visitor<'de>>(
        self,
        _: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, A::Error> {
        self.0.newtype_variant_seed(Fields(visitor))
    }
}

#[cfg(test)]
mod tests {
    use serde::Deserialize;
    use serde_json::{Value, json};

    use super::*;

    #[derive(Deserialize, PartialEq, Debug)]
    #[serde(rename_all = "snake_case")]
    enum Way {
        Open { gap: u8 },
        Shut,
    }

    #[derive(Deserialize, PartialEq, Debug, Default)]
    #[serde(default)]
    struct Whole {
        name: String,
        inner: Option<Box<Whole>>,
        many: Vec<Whole>,
        pair: Option<[u8; 2]>,
        way: Option<Way>,
    }

    fn read(value: Value) -> Result<Whole, String> {
        Whole::deserialize(Objects(value)).map_err(|error| error.to_string())
    }

    #[test]
    fn an_object_is_read_from_an_object_alone() {
        let it = json!({"name": "a", "inner": {"name": "b"}, "many": [{"name": "c"}], "pair": [1, 2],
                        "way": {"open": {"gap": 3}}});
        let found = read(it).unwrap();
        assert_eq!((found.pair, found.way), (Some([1, 2]), Some(Way::Open { gap: 3 })));
        assert_eq!(found.many[0].name, "c");
        assert_eq!(read(json!({"way": "shut"})).unwrap().way, Some(Way::Shut));
        for list in [
            json!(["a"]),
            json!({"inner": ["b"]}),
            json!({"many": [["c"]]}),
            json!({"inner": {"many": [{"inner": []}]}}),
            json!({"way": {"open": [3]}}),
        ] {
            assert!(read(list.clone()).unwrap_err().contains("invalid type: sequence"), "{list}");
        }
    }
}
