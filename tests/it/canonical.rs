//! Canonical JSON against the RFC 8785 reference suite, and what has no canonical text.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use fettle::ledger::canonical::{CanonicalError, LARGEST_INTEGER, canonical};
use proptest::prelude::*;
use serde_json::{Map, Value, json};
use sha2::{Digest, Sha256};

fn vectors() -> Value {
    serde_json::from_str(include_str!("../specimens/jcs_rfc8785_vectors.json")).unwrap()
}

#[test]
fn documents_have_the_published_bytes() {
    for file in vectors()["files"].as_array().unwrap() {
        let value: Value = serde_json::from_str(file["input_utf8"].as_str().unwrap()).unwrap();
        let text = canonical(&value).unwrap();
        assert_eq!(hex::encode(&text), file["canonical_hex"].as_str().unwrap(), "{}", file["name"]);
        assert_eq!(hex::encode(Sha256::digest(&text)), file["sha256"].as_str().unwrap(), "{}", file["name"]);
    }
}

#[test]
fn numbers_have_the_published_form() {
    for number in vectors()["numbers_first_300"].as_array().unwrap() {
        let bits = u64::from_str_radix(number["ieee_hex"].as_str().unwrap(), 16).unwrap();
        let text = canonical(&json!(f64::from_bits(bits))).unwrap();
        assert_eq!(text, number["expected"].as_str().unwrap(), "{bits:016x}");
    }
}

/// The text of a value, or None where it has none.
fn check(input: &Value, expected: Option<&str>) {
    let text = canonical(input);
    match expected {
        Some(expected) => assert_eq!(text.as_deref(), Ok(expected), "{input}"),
        None => assert!(matches!(text, Err(CanonicalError::IntegerTooLarge(_))), "{input}: {text:?}"),
    }
}

#[test]
fn values_on_the_edge() {
    let largest = LARGEST_INTEGER;
    check(&json!(largest), Some("9007199254740991"));
    check(&json!(-9_007_199_254_740_991_i64), Some("-9007199254740991"));
    check(&json!(largest + 1), None);
    check(&json!(i64::MIN), None);
    check(&json!([u64::MAX]), None);
    check(&json!(-0.0), Some("0"));
    check(&json!(1e21), Some("1e+21"));
    check(
        &json!("\u{0}\u{1f}\u{7f}\u{8}\t\n\u{c}\r\"\\/"),
        Some("\"\\u0000\\u001f\u{7f}\\b\\t\\n\\f\\r\\\"\\\\/\""),
    );
    // As UTF-16 the face comes before the ligature, as UTF-8 it comes after.
    check(
        &json!({"\u{fb33}": 1, "\u{1f602}": 2, "b": {}, "a": []}),
        Some("{\"a\":[],\"b\":{},\"😂\":2,\"\u{fb33}\":1}"),
    );
}

fn values() -> impl Strategy<Value = Value> {
    let leaf = prop_oneof![
        Just(Value::Null),
        any::<bool>().prop_map(Value::from),
        (-(1_i64 << 53) + 1..1_i64 << 53).prop_map(Value::from),
        any::<f64>()
            .prop_filter("finite, and no integer too large", |n| {
                n.is_finite() && (n.abs() < 9e15 || n.abs() >= 1e21)
            })
            .prop_map(Value::from),
        any::<String>().prop_map(Value::from),
    ];
    leaf.prop_recursive(4, 40, 6, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..6).prop_map(Value::from),
            prop::collection::vec((any::<String>(), inner), 0..6)
                .prop_map(|members| Value::Object(members.into_iter().collect::<Map<_, _>>())),
        ]
    })
}

proptest! {
    /// The text means what the value meant, and reading it back changes nothing more.
    #[test]
    fn text_is_a_fixed_point(value in values()) {
        let text = canonical(&value).unwrap();
        let again: Value = serde_json::from_str(&text).unwrap();
        prop_assert_eq!(canonical(&again).unwrap(), text);
    }

    #[test]
    fn order_of_insertion_is_nothing(mut names in prop::collection::vec(any::<String>(), 0..8)) {
        names.sort();
        names.dedup();
        let object = |names: &mut dyn Iterator<Item = &String>| {
            Value::Object(names.map(|name| (name.clone(), Value::Null)).collect())
        };
        let forwards = canonical(&object(&mut names.iter())).unwrap();
        prop_assert_eq!(canonical(&object(&mut names.iter().rev())).unwrap(), forwards);
    }
}
