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

/// Every kind of form that serde knows, its fields in no order.
#[derive(serde::Serialize)]
struct Form<'a> {
    zone: Option<&'a str>,
    b: Shape,
    a: [Shape; 4],
    #[serde(rename = "\u{fb33}")]
    ligature: (u8, i64, f64, char, bool, ()),
    #[serde(rename = "\u{1f602}")]
    face: std::collections::BTreeMap<&'a str, Vec<u32>>,
    #[serde(rename = "quote\"d")]
    quoted: Option<u8>,
    #[serde(flatten)]
    more: More,
}

#[derive(serde::Serialize)]
struct More {
    m: &'static [u8],
    aa: u64,
}

#[derive(serde::Serialize)]
enum Shape {
    Unit,
    New(i32),
    Pair(i8, u16),
    Named { y: f32, x: &'static str },
}

#[test]
fn a_form_has_the_text_of_its_value() {
    let of = |n: u64| Form {
        zone: None,
        b: Shape::Named { y: 0.5, x: "\t" },
        a: [Shape::Unit, Shape::New(-3), Shape::Pair(-1, 2), Shape::Named { y: 1.0, x: "" }],
        ligature: (1, -2, 0.1, '"', true, ()),
        face: [("b\u{0}", vec![1]), ("a", vec![]), ("\u{1f602}", vec![2]), ("\u{fb33}", vec![3])].into(),
        quoted: Some(7),
        more: More { m: &[1, 2], aa: n },
    };
    let form = of(LARGEST_INTEGER);
    let text = canonical(&form).unwrap();
    assert_eq!(text, canonical(&serde_json::to_value(&form).unwrap()).unwrap());
    // By hand, after RFC 8785 section 3.2: sorted by UTF-16 code units, so that the face stands before the ligature.
    let expected = "{\"a\":[\"Unit\",{\"New\":-3},{\"Pair\":[-1,2]},{\"Named\":{\"x\":\"\",\"y\":1}}],\
                    \"aa\":9007199254740991,\"b\":{\"Named\":{\"x\":\"\\t\",\"y\":0.5}},\"m\":[1,2],\
                    \"quote\\\"d\":7,\"zone\":null,\"\u{1f602}\":{\"a\":[],\"b\\u0000\":[1],\
                    \"\u{1f602}\":[2],\"\u{fb33}\":[3]},\"\u{fb33}\":[1,-2,0.1,\"\\\"\",true,null]}";
    assert_eq!(text, expected);
    assert!(matches!(canonical(&of(LARGEST_INTEGER + 1)), Err(CanonicalError::IntegerTooLarge(_))));
    assert!(matches!(canonical(&f64::NAN), Err(CanonicalError::NotFinite(_))));
    let numbered: std::collections::BTreeMap<u8, u8> = [(1, 2)].into();
    assert!(matches!(canonical(&numbered), Err(CanonicalError::NoJson(_))));
}
